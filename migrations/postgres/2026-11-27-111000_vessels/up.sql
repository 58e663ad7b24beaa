-- What a batch stands in before it is in bottles, and what was in it when. No books: those know the batch.

CREATE TABLE vessels (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    code TEXT NOT NULL,
    material TEXT NOT NULL,
    capacity BIGINT NOT NULL CHECK (capacity > 0),
    safe_filling BIGINT NOT NULL CHECK (safe_filling > 0),
    place_id BIGINT NOT NULL REFERENCES places (id),
    closure TEXT NOT NULL,
    worn BOOLEAN NOT NULL,
    marks TEXT NOT NULL,
    cleaned_on DATE,
    out_of_use_since DATE,
    out_of_use_because TEXT NOT NULL,
    UNIQUE (club_id, code),
    CONSTRAINT safe_within_capacity CHECK (safe_filling <= capacity)
);

CREATE TABLE fillings (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    vessel_id BIGINT NOT NULL REFERENCES vessels (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    volume BIGINT NOT NULL CHECK (volume > 0),
    filled_on DATE NOT NULL,
    -- The entry of the books with which it came in, and the one with which it left.
    entry_id BIGINT REFERENCES entries (id),
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL,
    emptied_on DATE,
    emptied_entry BIGINT REFERENCES entries (id),
    emptied_because TEXT NOT NULL,
    struck_at TIMESTAMP,
    struck_by BIGINT REFERENCES members (id),
    struck_because TEXT NOT NULL,
    CONSTRAINT emptied_after_filling CHECK (emptied_on >= filled_on)
);
-- A vessel holds one batch at a time.
CREATE UNIQUE INDEX one_batch_in_a_vessel ON fillings (vessel_id) WHERE emptied_on IS NULL AND struck_at IS NULL;
CREATE INDEX fillings_by_vessel ON fillings (vessel_id, id);
CREATE INDEX fillings_by_batch ON fillings (batch_id, id);
CREATE INDEX fillings_by_entry ON fillings (entry_id) WHERE entry_id IS NOT NULL;
CREATE INDEX fillings_emptied_by ON fillings (emptied_entry) WHERE emptied_entry IS NOT NULL;
