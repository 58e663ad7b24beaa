-- Whether ages at which a drink should be tasted are counted by the warmth of its shelves, in days at 15 °C. When such an
-- age falls is foreseen from the climate, and changes with it.

ALTER TABLE tasting_ages ADD COLUMN by_warmth BOOLEAN NOT NULL DEFAULT FALSE;
ALTER TABLE recipe_revisions ADD COLUMN ages_by_warmth BOOLEAN NOT NULL DEFAULT FALSE;
