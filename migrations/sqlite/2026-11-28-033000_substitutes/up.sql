-- What can be used in the place of an item, and how much of it for one unit.

CREATE TABLE substitutes (
    item_id BIGINT NOT NULL REFERENCES items (id),
    other_id BIGINT NOT NULL REFERENCES items (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    line BIGINT NOT NULL,
    factor_micro BIGINT NOT NULL CHECK (factor_micro > 0),
    PRIMARY KEY (item_id, other_id),
    CHECK (item_id <> other_id)
);
CREATE INDEX substitutes_by_club ON substitutes (club_id, item_id);
