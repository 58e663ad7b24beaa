DROP INDEX postings_by_account_day;
ALTER TABLE batches ADD COLUMN came_as TEXT;
ALTER TABLE batches ADD COLUMN came_pitched_on DATE;
ALTER TABLE entries DROP COLUMN moved_pitched_on;
ALTER TABLE entries DROP COLUMN moved_as;
