-- Lots that nobody draws, bottles, takes or pours: why, by whom, since when, and until when.

CREATE TABLE holds (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    -- The lot of which it came, where that was held with everything that came of it.
    because_of BIGINT REFERENCES lots (id),
    reason TEXT NOT NULL,
    held_by BIGINT NOT NULL REFERENCES members (id),
    held_at TIMESTAMP NOT NULL,
    released_at TIMESTAMP,
    released_by BIGINT REFERENCES members (id),
    released_because TEXT NOT NULL
);
CREATE UNIQUE INDEX held_once ON holds (lot_id) WHERE released_at IS NULL;
CREATE INDEX holds_by_lot ON holds (lot_id, id);
CREATE INDEX holds_open ON holds (club_id, id) WHERE released_at IS NULL;
