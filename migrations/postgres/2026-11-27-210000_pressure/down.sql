ALTER TABLE items DROP COLUMN made_for_mbar;
