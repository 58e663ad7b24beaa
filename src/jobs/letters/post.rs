//! Mail by SMTP: over TLS, or with STARTTLS; without either to this machine only.

use std::net::IpAddr;
use std::time::Duration;

use askama::Template;
use lettre::message::header::{HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message, MultiPart};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::{AsyncSmtpTransport, Error};
use lettre::{AsyncTransport, Tokio1Executor};

use super::Post;
use crate::actions::letters::Outcome;
use crate::db::letters::Letter;
use crate::domain::letters::{Line, subject};
use crate::units::days;

/// How long a mail server may take for one step.
const LONGEST: Duration = Duration::from_secs(30);

/// Where mail goes and what it says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Route {
    /// It speaks TLS from the beginning.
    pub tls: bool,
    /// The name of the server.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// As whom to sign in.
    pub user: Option<String>,
}

impl Route {
    /// `smtps://USER@HOST:PORT` for TLS, `smtp://USER@HOST:PORT` for STARTTLS; user and port may be left out.
    pub fn read(text: &str) -> Result<Self, String> {
        let form = || "write it as smtps://USER@HOST or smtp://USER@HOST:587".to_owned();
        let (scheme, rest) = text.trim().split_once("://").ok_or_else(form)?;
        let tls = match scheme {
            "smtps" => true,
            "smtp" => false,
            _ => return Err(form()),
        };
        let (user, place) = match rest.trim_end_matches('/').rsplit_once('@') {
            Some((user, place)) => (Some(user.to_owned()), place),
            None => (None, rest.trim_end_matches('/')),
        };
        if user.as_ref().is_some_and(|user| user.contains(':')) {
            return Err("leave the password out of it: it stands in UNDERCROFT_MAIL_PASSWORD_FILE".to_owned());
        }
        let (host, port) = match place.rsplit_once(':') {
            Some((host, port)) => (host, port.parse().map_err(|_| form())?),
            None => (place, if tls { 465 } else { 587 }),
        };
        let plain = |c: char| c.is_ascii_alphanumeric() || ".-".contains(c);
        if host.is_empty() || !host.chars().all(plain) {
            return Err(form());
        }
        Ok(Self { tls, host: host.to_owned(), port, user })
    }

    fn here(&self) -> bool {
        self.host == "localhost" || self.host.parse().is_ok_and(|ip: IpAddr| ip.is_loopback())
    }
}

/// The mail server, and who writes.
pub struct MailServer {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
    /// What links begin with.
    root: String,
}

#[derive(Template)]
#[template(path = "letters/letter.txt")]
struct Plain<'a> {
    letter: &'a Letter,
    root: &'a str,
}

#[derive(Template)]
#[template(path = "letters/letter.html")]
struct Html<'a> {
    letter: &'a Letter,
    root: &'a str,
}

impl Plain<'_> {
    fn when(&self, line: &Line) -> String {
        days::short(line.due_on, self.letter.day)
    }
}

impl Html<'_> {
    fn when(&self, line: &Line) -> String {
        days::short(line.due_on, self.letter.day)
    }
}

impl MailServer {
    /// One that is reached by a route; `root` is what links begin with.
    pub fn new(route: &Route, password: Option<String>, from: &str, root: &str) -> Result<Self, String> {
        let from: Mailbox = from.parse().map_err(|error| format!("the sender of letters: {error}"))?;
        let way = |error: Error| format!("the mail server {}: {error}", route.host);
        let builder = if route.tls {
            AsyncSmtpTransport::<Tokio1Executor>::relay(&route.host).map_err(way)?
        } else if route.here() {
            AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&route.host)
        } else {
            AsyncSmtpTransport::<Tokio1Executor>::starttls_relay(&route.host).map_err(way)?
        };
        let builder = builder.port(route.port).timeout(Some(LONGEST));
        let builder = match (&route.user, password) {
            (Some(user), Some(password)) => builder.credentials(Credentials::new(user.clone(), password)),
            (Some(user), None) => {
                return Err(format!("the password of {user} at the mail server is missing"));
            }
            (None, _) => builder,
        };
        Ok(Self { transport: builder.build(), from, root: root.to_owned() })
    }

    fn message(&self, letter: &Letter) -> Result<Message, String> {
        let (name, email) = &letter.to;
        let words = |error: &dyn std::fmt::Display| error.to_string();
        let to =
            Mailbox::new(Some(name.clone()), email.parse().map_err(|error| format!("{email}: {error}"))?);
        let stop = format!("<{}/letters/{}>", self.root, letter.stop_secret);
        let header = |name, value| HeaderValue::new(HeaderName::new_from_ascii_str(name), value);
        let text = Plain { letter, root: &self.root }.render().map_err(|error| words(&error))?;
        let html = Html { letter, root: &self.root }.render().map_err(|error| words(&error))?;
        Message::builder()
            .from(self.from.clone())
            .to(to)
            .subject(subject(&letter.club, letter.lines.len()))
            .message_id(Some(format!("<letter-{}@{}>", letter.id, self.from.email.domain())))
            .date(letter.made_at.and_utc().into())
            .raw_header(header("List-Unsubscribe", stop))
            .raw_header(header("List-Unsubscribe-Post", "List-Unsubscribe=One-Click".to_owned()))
            .raw_header(header("Auto-Submitted", "auto-generated".to_owned()))
            .multipart(MultiPart::alternative_plain_html(text, html))
            .map_err(|error| words(&error))
    }
}

impl Post for MailServer {
    async fn send(&self, letter: &Letter) -> Outcome {
        let message = match self.message(letter) {
            Ok(message) => message,
            Err(why) => return Outcome::Never(why),
        };
        match self.transport.send(message).await {
            Ok(_) => Outcome::Sent,
            Err(error) => outcome_of(&error),
        }
    }
}

/// What a mail server refuses for good is not sent again; that it does not let us in is ours to mend.
fn outcome_of(error: &Error) -> Outcome {
    let code = error.status().map(|code| code.to_string());
    let lets_us_in = !matches!(code.as_deref(), Some("530" | "534" | "535" | "538"));
    let why = error.to_string();
    if error.is_permanent() && lets_us_in { Outcome::Never(why) } else { Outcome::Later(why) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::ids::LetterId;

    #[test]
    fn a_route_is_read_and_holds_no_password() {
        let route = Route::read("smtps://cellar@mail.example.org").unwrap();
        assert_eq!((route.tls, route.port, route.user.as_deref()), (true, 465, Some("cellar")));
        let route = Route::read("smtp://cellar@example.org@mail.example.org:2525/").unwrap();
        assert_eq!((route.tls, route.port, route.host.as_str()), (false, 2525, "mail.example.org"));
        assert!(Route::read("smtp://127.0.0.1:2525").unwrap().here());
        assert!(!Route::read("smtp://mail.example.org").unwrap().here());
        for bad in ["mail.example.org", "http://a", "smtp://", "smtp://a b", "smtp://u@h:port", "smtps://h/p"]
        {
            assert!(Route::read(bad).is_err(), "{bad}");
        }
        assert!(Route::read("smtp://u:secret@h").unwrap_err().contains("PASSWORD_FILE"));
    }

    #[test]
    fn a_letter_says_what_is_due_and_how_to_stop_it() {
        let route = Route::read("smtp://127.0.0.1").unwrap();
        let server =
            MailServer::new(&route, None, "Tidemill <cellar@tidemill.example>", "https://c.example").unwrap();
        let letter = Letter {
            id: LetterId::fresh(),
            club: "Tidemill Cellar Club".to_owned(),
            to: ("Marit <Oldewelt>".to_owned(), "marit@tidemill.example".to_owned()),
            day: "2026-06-23".parse().unwrap(),
            made_at: "2026-06-23T05:00:00".parse().unwrap(),
            tries: 1,
            stop_secret: "s3cret".to_owned(),
            lines: vec![Line {
                key: "k".to_owned(),
                due_on: "2026-06-23".parse().unwrap(),
                text: "Buy <sugar> & yeast".to_owned(),
                path: "/reminders/x".to_owned(),
            }],
        };
        let text = String::from_utf8(server.message(&letter).unwrap().formatted()).unwrap();
        for part in [
            "Subject: Tidemill Cellar Club: one thing is due",
            "List-Unsubscribe: <https://c.example/letters/s3cret>",
            "List-Unsubscribe-Post: List-Unsubscribe=One-Click",
            "Auto-Submitted: auto-generated",
            "multipart/alternative",
            "Buy <sugar> & yeast",
            "Buy &#60;sugar&#62; &#38; yeast",
            "https://c.example/reminders/x",
        ] {
            assert!(text.replace("=\r\n", "").contains(part), "{part} in {text}");
        }
        assert!(!text.to_lowercase().contains("<img"), "nothing in it tells who opened it");
    }
}
