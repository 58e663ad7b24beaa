//! What is not in an archive.

/// Tables of which nothing is in an archive, and why.
pub const LEFT_OUT: &[(&str, &str)] = &[
    ("sessions", "who is signed in: each browser signs in anew"),
    ("invitations", "links that were sent: they lead to the server that made them"),
    ("tokens", "secrets of programs: they are made anew"),
    ("set_ups", "addresses for the first club of a server: they belong to no club"),
    ("reach", "secret addresses of letters and calendars: each member asks for them anew"),
    ("letters", "what was mailed to members and when: it has been told"),
    ("letter_lines", "what was mailed to members: it has been told"),
    ("reminders_gone", "what calendars are told for some weeks"),
    ("reading_weeks", "what curves are drawn from: it follows from the readings"),
    ("intakes", "tables that were brought in: what they made is in the other files"),
    ("intake_parts", "tables that were sent and not brought in yet"),
    ("intake_things", "what undoing a table takes back: it is undone where it came in"),
    ("intake_columns", "what the columns of such tables were said to hold"),
    ("requests", "answers kept for requests that are sent twice: they last for days only"),
];
