-- When a lot was opened, and how long an item keeps once it is.

ALTER TABLE upkeep ADD COLUMN keeps_open_days BIGINT CHECK (keeps_open_days > 0);

CREATE TABLE openings (
    lot_id BIGINT NOT NULL PRIMARY KEY REFERENCES lots (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    opened_on DATE NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL
);
