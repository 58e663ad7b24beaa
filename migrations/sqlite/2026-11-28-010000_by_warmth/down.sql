ALTER TABLE recipe_revisions DROP COLUMN ages_by_warmth;
ALTER TABLE tasting_ages DROP COLUMN by_warmth;
