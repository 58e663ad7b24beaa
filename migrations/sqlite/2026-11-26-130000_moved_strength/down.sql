ALTER TABLE entries DROP COLUMN moved_strength;
ALTER TABLE entries DROP COLUMN moved_first_gravity;
