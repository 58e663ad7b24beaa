-- Tastings: what is poured for whom, under which codes and in which order, and what each sheet says.

CREATE TABLE tastings (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    code TEXT NOT NULL,
    title TEXT NOT NULL,
    host_id BIGINT NOT NULL REFERENCES members (id),
    pourer_id BIGINT REFERENCES members (id),
    day DATE NOT NULL,
    place TEXT NOT NULL,
    blind BOOLEAN NOT NULL,
    method TEXT NOT NULL CHECK (method IN ('scored', 'ranking', 'triangle', 'paired', 'duo-trio', 'words')),
    question TEXT NOT NULL,
    expected BIGINT CHECK (expected IN (1, 2)),
    pour_volume BIGINT NOT NULL CHECK (pour_volume > 0),
    planned_at TIMESTAMP NOT NULL,
    begun_at TIMESTAMP,
    opened_at TIMESTAMP,
    called_off_at TIMESTAMP,
    called_off_because TEXT NOT NULL,
    UNIQUE (club_id, code)
);
CREATE INDEX tastings_by_day ON tastings (club_id, day, id);
CREATE INDEX tastings_to_come ON tastings (club_id, day, id) WHERE opened_at IS NULL AND called_off_at IS NULL;

CREATE TABLE tasting_samples (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    tasting_id BIGINT NOT NULL REFERENCES tastings (id),
    number BIGINT NOT NULL CHECK (number > 0),
    bottling_id BIGINT NOT NULL REFERENCES bottlings (id),
    -- What took its bottles out of the cellar; none until the tasting begins.
    entry_id BIGINT REFERENCES entries (id),
    -- Which bag it is wrapped in; drawn when the tasting begins, so that who planned it does not know.
    bag BIGINT CHECK (bag > 0),
    UNIQUE (tasting_id, number),
    UNIQUE (tasting_id, bottling_id)
);
CREATE INDEX tasting_samples_by_bottling ON tasting_samples (bottling_id, tasting_id);

-- A coded glass. Of a sample in a triangle there are two.
CREATE TABLE tasting_glasses (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    tasting_id BIGINT NOT NULL REFERENCES tastings (id),
    sample_id BIGINT NOT NULL REFERENCES tasting_samples (id),
    code BIGINT NOT NULL CHECK (code BETWEEN 100 AND 999),
    UNIQUE (tasting_id, code)
);

-- What is marked on a line: the club's list, and that of a tasting as it was when it began. Number 0 is the whole.
CREATE TABLE attributes (
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    number BIGINT NOT NULL,
    name TEXT NOT NULL,
    low_end TEXT NOT NULL,
    high_end TEXT NOT NULL,
    PRIMARY KEY (club_id, number)
);
CREATE TABLE tasting_attributes (
    tasting_id BIGINT NOT NULL REFERENCES tastings (id),
    number BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    name TEXT NOT NULL,
    low_end TEXT NOT NULL,
    high_end TEXT NOT NULL,
    PRIMARY KEY (tasting_id, number)
);

-- One who is invited, and their sheet. Of what they may not drink only the answer to a list of allergens is kept.
CREATE TABLE tasting_sheets (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    tasting_id BIGINT NOT NULL REFERENCES tastings (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    may_taste BOOLEAN,
    asked TEXT NOT NULL,
    -- The codes of the glasses in the order in which they are served to this one.
    serving TEXT NOT NULL,
    handed_in_at TIMESTAMP,
    UNIQUE (tasting_id, member_id)
);
CREATE INDEX tasting_sheets_by_member ON tasting_sheets (member_id, tasting_id);

-- Of a glass: its place in the order, or 1 for the one that was chosen; and words.
CREATE TABLE tasting_answers (
    sheet_id BIGINT NOT NULL REFERENCES tasting_sheets (id),
    glass_id BIGINT NOT NULL REFERENCES tasting_glasses (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    place BIGINT CHECK (place > 0),
    words TEXT NOT NULL,
    saved_at TIMESTAMP NOT NULL,
    PRIMARY KEY (sheet_id, glass_id)
);

-- Marks in tenths, 0 to 100.
CREATE TABLE tasting_marks (
    sheet_id BIGINT NOT NULL REFERENCES tasting_sheets (id),
    glass_id BIGINT NOT NULL REFERENCES tasting_glasses (id),
    attribute BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    mark BIGINT NOT NULL CHECK (mark BETWEEN 0 AND 100),
    PRIMARY KEY (sheet_id, glass_id, attribute)
);
