-- Recipes in numbered revisions, which are never changed; and which revision a batch was made by.

CREATE TABLE recipes (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    aside_at TIMESTAMP,
    aside_by BIGINT REFERENCES members (id)
);
CREATE INDEX recipes_by_club ON recipes (club_id, id);

CREATE TABLE recipe_revisions (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    recipe_id BIGINT NOT NULL REFERENCES recipes (id),
    number BIGINT NOT NULL CHECK (number > 0),
    drink TEXT NOT NULL,
    base_item_id BIGINT NOT NULL REFERENCES items (id),
    base_amount BIGINT NOT NULL CHECK (base_amount > 0),
    strength_micro BIGINT,
    sugar_micro_g_l BIGINT,
    tasting_ages_months TEXT NOT NULL,
    note TEXT NOT NULL,
    made_by BIGINT NOT NULL REFERENCES members (id),
    made_at TIMESTAMP NOT NULL,
    UNIQUE (recipe_id, number)
);

CREATE TABLE recipe_supplies (
    revision_id BIGINT NOT NULL REFERENCES recipe_revisions (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    item_id BIGINT NOT NULL REFERENCES items (id),
    amount BIGINT NOT NULL CHECK (amount > 0),
    PRIMARY KEY (revision_id, line)
);

CREATE TABLE recipe_by_products (
    revision_id BIGINT NOT NULL REFERENCES recipe_revisions (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    item_id BIGINT NOT NULL REFERENCES items (id),
    amount BIGINT NOT NULL CHECK (amount > 0),
    PRIMARY KEY (revision_id, line)
);

CREATE TABLE recipe_steps (
    revision_id BIGINT NOT NULL REFERENCES recipe_revisions (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    kind TEXT NOT NULL,
    what TEXT NOT NULL,
    amount BIGINT CHECK (amount > 0),
    unit TEXT,
    item_id BIGINT REFERENCES items (id),
    target_micro_c BIGINT,
    minutes BIGINT CHECK (minutes >= 0),
    caution TEXT NOT NULL,
    PRIMARY KEY (revision_id, line)
);

ALTER TABLE batches ADD COLUMN recipe_revision_id BIGINT REFERENCES recipe_revisions (id);
CREATE INDEX batches_by_recipe ON batches (recipe_revision_id, id);

CREATE TRIGGER recipe_revisions_stay BEFORE UPDATE ON recipe_revisions
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never changed'); END;
CREATE TRIGGER recipe_revisions_remain BEFORE DELETE ON recipe_revisions
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never deleted'); END;
CREATE TRIGGER recipe_supplies_stay BEFORE UPDATE ON recipe_supplies
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never changed'); END;
CREATE TRIGGER recipe_supplies_remain BEFORE DELETE ON recipe_supplies
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never deleted'); END;
CREATE TRIGGER recipe_by_products_stay BEFORE UPDATE ON recipe_by_products
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never changed'); END;
CREATE TRIGGER recipe_by_products_remain BEFORE DELETE ON recipe_by_products
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never deleted'); END;
CREATE TRIGGER recipe_steps_stay BEFORE UPDATE ON recipe_steps
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never changed'); END;
CREATE TRIGGER recipe_steps_remain BEFORE DELETE ON recipe_steps
BEGIN SELECT RAISE(ABORT, 'revisions of recipes are never deleted'); END;
