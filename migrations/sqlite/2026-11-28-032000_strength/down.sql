ALTER TABLE upkeep DROP COLUMN weakens_permille;
