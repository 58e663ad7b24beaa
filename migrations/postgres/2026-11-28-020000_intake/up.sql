-- Tables that a club brings in: what was sent, how it is read, what it made, and what its columns were said to hold.

CREATE TABLE intakes (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    kind TEXT NOT NULL,
    file_name TEXT NOT NULL,
    date_order TEXT NOT NULL,
    sent_by BIGINT NOT NULL REFERENCES members (id),
    sent_at TIMESTAMP NOT NULL,
    kept BIGINT NOT NULL,
    left_out BIGINT NOT NULL,
    -- Readings of it that were there before.
    known BIGINT NOT NULL,
    brought_at TIMESTAMP,
    undone_at TIMESTAMP,
    undone_by BIGINT REFERENCES members (id),
    undone_because TEXT NOT NULL
);
CREATE INDEX intakes_of_club ON intakes (club_id, id);

-- The text of a table, until it is brought in.
CREATE TABLE intake_parts (
    intake_id BIGINT NOT NULL REFERENCES intakes (id),
    line BIGINT NOT NULL,
    text TEXT NOT NULL,
    PRIMARY KEY (intake_id, line)
);

-- What a table made, some hundreds of one kind in a row, in the order in which they were made.
CREATE TABLE intake_things (
    intake_id BIGINT NOT NULL REFERENCES intakes (id),
    line BIGINT NOT NULL,
    what TEXT NOT NULL,
    things TEXT NOT NULL,
    PRIMARY KEY (intake_id, line)
);

-- What columns of this name hold, in tables of this kind, as the club said last.
CREATE TABLE intake_columns (
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    kind TEXT NOT NULL,
    heading TEXT NOT NULL,
    field TEXT NOT NULL,
    PRIMARY KEY (club_id, kind, heading)
);

-- An invitation may be for somebody who is a member already and has no way to sign in yet.
ALTER TABLE invitations ADD COLUMN member_id BIGINT;
