ALTER TABLE bottlings DROP COLUMN broken;
