-- How much the club may make in a calendar year, as it says itself, in thousandths of a millilitre; and the batches of a
-- year, found by the day of their yeast, or of their plan where none was pitched.

ALTER TABLE clubs ADD COLUMN yearly_limit BIGINT;
CREATE INDEX batches_by_pitch ON batches (club_id, pitched_on);
CREATE INDEX batches_by_plan ON batches (club_id, planned_on);
