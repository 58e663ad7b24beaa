DROP TABLE openings;
ALTER TABLE upkeep DROP COLUMN keeps_open_days;
