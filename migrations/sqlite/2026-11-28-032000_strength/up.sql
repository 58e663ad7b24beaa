-- What yeast or an enzyme loses of its strength in a year, in thousandths.

ALTER TABLE upkeep ADD COLUMN weakens_permille BIGINT CHECK (weakens_permille > 0 AND weakens_permille < 1000);
