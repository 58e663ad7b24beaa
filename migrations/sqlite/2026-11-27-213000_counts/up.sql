-- Counts: what stands in a cellar, line by line, as several people count it without knowing what the books say. What
-- somebody counted is kept as it was said; what is put right is one entry of the books, named by its lines.

-- How far a line may be off before it is counted a second time: of what is weighed or measured, in thousandths of what
-- the books say; of what is counted, in pieces.
ALTER TABLE clubs ADD COLUMN tolerance_permille BIGINT NOT NULL DEFAULT 20
    CONSTRAINT tolerance_in_range CHECK (tolerance_permille BETWEEN 0 AND 1000);
ALTER TABLE clubs ADD COLUMN tolerance_pieces BIGINT NOT NULL DEFAULT 0
    CONSTRAINT pieces_not_below_zero CHECK (tolerance_pieces >= 0);

-- When something happened that was sent later, such as from a cellar without signal.
ALTER TABLE entries ADD COLUMN happened_at TIMESTAMP;

-- In which order one walks past the places; those that are not here come last.
CREATE TABLE walking_order (
    place_id INTEGER PRIMARY KEY NOT NULL REFERENCES places (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    number BIGINT NOT NULL
);
CREATE INDEX walking_order_by_club ON walking_order (club_id, number);

CREATE TABLE counts (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    code TEXT NOT NULL,
    title TEXT NOT NULL,
    started_by BIGINT NOT NULL REFERENCES members (id),
    started_at TIMESTAMP NOT NULL,
    -- Since when its differences are looked at.
    ended_at TIMESTAMP,
    ended_by BIGINT REFERENCES members (id),
    -- Since when nothing of it is open.
    over_at TIMESTAMP,
    called_off_because TEXT NOT NULL,
    UNIQUE (club_id, code)
);
CREATE INDEX counts_by_club ON counts (club_id, id);
CREATE INDEX counts_open ON counts (club_id, id) WHERE over_at IS NULL;

CREATE TABLE count_lines (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    count_id BIGINT NOT NULL REFERENCES counts (id),
    number BIGINT NOT NULL,
    place_id BIGINT NOT NULL REFERENCES places (id),
    -- Nothing where something was found that the books do not know; then `what` says what.
    lot_id BIGINT REFERENCES lots (id),
    what TEXT NOT NULL,
    unit TEXT NOT NULL,
    -- It was not on the sheet when the count began.
    found BOOLEAN NOT NULL,
    -- Since when a second count is asked for.
    asked_at TIMESTAMP,
    asked_by BIGINT REFERENCES members (id),
    -- Which of several counts stands, where somebody had to say.
    chosen_id BIGINT,
    reason TEXT,
    words TEXT NOT NULL,
    -- How it ended, and what stood against what.
    outcome TEXT CHECK (outcome IN ('right', 'posted', 'left-out')),
    settled_at TIMESTAMP,
    settled_by BIGINT REFERENCES members (id),
    entry_id BIGINT REFERENCES entries (id),
    counted BIGINT,
    book BIGINT,
    -- What the difference was worth.
    worth BIGINT,
    UNIQUE (count_id, number),
    UNIQUE (count_id, lot_id, place_id)
);
CREATE INDEX count_lines_by_lot ON count_lines (lot_id, place_id, id) WHERE lot_id IS NOT NULL;
CREATE INDEX count_lines_by_entry ON count_lines (entry_id) WHERE entry_id IS NOT NULL;
CREATE INDEX count_lines_settled ON count_lines (club_id, settled_at) WHERE settled_at IS NOT NULL;

-- What somebody counted. Never changed: who counts anew says something new.
CREATE TABLE tallies (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    count_id BIGINT NOT NULL REFERENCES counts (id),
    line_id BIGINT NOT NULL REFERENCES count_lines (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    counted BIGINT NOT NULL CHECK (counted >= 0),
    -- What was weighed, and what of that is the vessel, in thousandths of a gram.
    gross BIGINT,
    tare BIGINT,
    opened BOOLEAN NOT NULL,
    remark TEXT NOT NULL,
    counted_at TIMESTAMP NOT NULL,
    recorded_at TIMESTAMP NOT NULL
);
CREATE INDEX tallies_by_line ON tallies (line_id, id);
CREATE INDEX tallies_by_count ON tallies (count_id, line_id, member_id);
