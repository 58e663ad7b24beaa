ALTER TABLE places DROP COLUMN capacity;
