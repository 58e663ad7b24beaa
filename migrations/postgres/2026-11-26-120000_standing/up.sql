-- How far the drink was that a split or blend moved, so that the stage of a batch follows from its entries alone; which
-- batch and bottling a reversal concerns; and what an account held on a past day, found by an index.

ALTER TABLE entries ADD COLUMN moved_as TEXT;
ALTER TABLE entries ADD COLUMN moved_pitched_on DATE;

ALTER TABLE entries DISABLE TRIGGER entries_stay;
UPDATE entries SET
    moved_as = (
        SELECT b.came_as FROM postings p JOIN accounts a ON a.id = p.account_id JOIN batches b ON b.id = a.batch_id
        WHERE p.entry_id = entries.id AND p.quantity > 0
    ),
    moved_pitched_on = (
        SELECT b.came_pitched_on FROM postings p JOIN accounts a ON a.id = p.account_id
        JOIN batches b ON b.id = a.batch_id WHERE p.entry_id = entries.id AND p.quantity > 0
    )
WHERE kind IN ('split', 'blend');
UPDATE entries SET
    batch_id = (SELECT e.batch_id FROM entries e WHERE e.id = entries.reverses),
    bottling_id = (SELECT e.bottling_id FROM entries e WHERE e.id = entries.reverses)
WHERE reverses IS NOT NULL;
ALTER TABLE entries ENABLE TRIGGER entries_stay;

ALTER TABLE batches DROP COLUMN came_as;
ALTER TABLE batches DROP COLUMN came_pitched_on;

CREATE INDEX postings_by_account_day ON postings (account_id, day);
