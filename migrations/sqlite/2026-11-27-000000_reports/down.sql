DROP INDEX batches_by_plan;
DROP INDEX batches_by_pitch;
ALTER TABLE clubs DROP COLUMN yearly_limit;
