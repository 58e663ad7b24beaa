-- How a member is reached: at which hour of the club's day a letter is written (none: never), up to which day that was
-- looked at, the secret with which letters are stopped, and the hash of the secret of their calendar.
CREATE TABLE reach (
    member_id BIGINT PRIMARY KEY NOT NULL REFERENCES members (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    letter_hour BIGINT CHECK (letter_hour BETWEEN 0 AND 23),
    looked_on DATE,
    stop_secret TEXT NOT NULL UNIQUE,
    calendar_hash TEXT UNIQUE,
    calendar_since TIMESTAMP
);

-- A letter to a member, one a day at most. It is tried until it is sent or given up.
CREATE TABLE letters (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    day DATE NOT NULL,
    made_at TIMESTAMP NOT NULL,
    tries BIGINT NOT NULL DEFAULT 0,
    next_try_at TIMESTAMP,
    sent_at TIMESTAMP,
    trouble TEXT NOT NULL DEFAULT '',
    UNIQUE (member_id, day)
);
CREATE INDEX letters_to_send ON letters (next_try_at) WHERE next_try_at IS NOT NULL;

-- What a letter says. Of the same thing due on the same day a member is told once.
CREATE TABLE letter_lines (
    letter_id BIGINT NOT NULL REFERENCES letters (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    key TEXT NOT NULL,
    due_on DATE NOT NULL,
    text TEXT NOT NULL,
    path TEXT NOT NULL,
    PRIMARY KEY (letter_id, line),
    UNIQUE (member_id, key, due_on)
);

-- How often a reminder was changed: calendars take the later one.
ALTER TABLE reminders ADD COLUMN revision BIGINT NOT NULL DEFAULT 0;

-- Reminders that no longer followed: calendars are told that they are off.
CREATE TABLE reminders_gone (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    member_id BIGINT REFERENCES members (id),
    key TEXT NOT NULL,
    due_on DATE NOT NULL,
    text TEXT NOT NULL,
    revision BIGINT NOT NULL,
    at TIMESTAMP NOT NULL
);
CREATE INDEX reminders_gone_by_club ON reminders_gone (club_id, at);
CREATE INDEX reminders_done ON reminders (club_id, done_at) WHERE done_at IS NOT NULL;
