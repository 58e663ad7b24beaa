DELETE FROM reminders WHERE place_id IS NOT NULL;
ALTER TABLE reminders DROP COLUMN place_id;
DROP TABLE climate_days;
DROP TABLE climate_readings;
