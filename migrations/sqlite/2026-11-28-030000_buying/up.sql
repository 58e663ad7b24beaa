-- How an item is bought and kept: days from ordering to having it, how many days its safety stock lasts, how many it
-- keeps once it is open, and what it loses of its strength in a year, in thousandths.

CREATE TABLE upkeep (
    item_id BIGINT NOT NULL PRIMARY KEY REFERENCES items (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    lead_days BIGINT CHECK (lead_days >= 0),
    cover_days BIGINT CHECK (cover_days >= 0),
    keeps_open_days BIGINT CHECK (keeps_open_days > 0),
    weakens_permille BIGINT CHECK (weakens_permille > 0 AND weakens_permille < 1000)
);
CREATE INDEX upkeep_by_club ON upkeep (club_id, item_id);

-- What was bought of an item first and last.
CREATE INDEX lots_bought ON lots (item_id, received_on, id) WHERE batch_id IS NULL;

-- When a lot was opened.
CREATE TABLE openings (
    lot_id BIGINT NOT NULL PRIMARY KEY REFERENCES lots (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    opened_on DATE NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL
);

-- What can be used in the place of an item, and how much of it for one unit.

CREATE TABLE substitutes (
    item_id BIGINT NOT NULL REFERENCES items (id),
    other_id BIGINT NOT NULL REFERENCES items (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    line BIGINT NOT NULL,
    factor_micro BIGINT NOT NULL CHECK (factor_micro > 0),
    PRIMARY KEY (item_id, other_id),
    CONSTRAINT another_item CHECK (item_id <> other_id)
);
CREATE INDEX substitutes_by_club ON substitutes (club_id, item_id);
