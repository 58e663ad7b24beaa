-- How an item is bought: days from ordering to having it, and how many days its safety stock lasts.

CREATE TABLE upkeep (
    item_id BIGINT NOT NULL PRIMARY KEY REFERENCES items (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    lead_days BIGINT CHECK (lead_days >= 0),
    cover_days BIGINT CHECK (cover_days >= 0)
);
CREATE INDEX upkeep_by_club ON upkeep (club_id, item_id);

-- What was bought of an item first and last.
CREATE INDEX lots_bought ON lots (item_id, received_on, id) WHERE batch_id IS NULL;
