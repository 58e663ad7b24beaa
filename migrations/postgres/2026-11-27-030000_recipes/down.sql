DROP INDEX batches_by_recipe;
ALTER TABLE batches DROP COLUMN recipe_revision_id;
DROP TABLE recipe_steps;
DROP TABLE recipe_by_products;
DROP TABLE recipe_supplies;
DROP TABLE recipe_revisions;
DROP TABLE recipes;
