-- What was known of the drink that a split or blend moved: the gravity it began with, and its strength, in millionths.

ALTER TABLE entries ADD COLUMN moved_first_gravity BIGINT;
ALTER TABLE entries ADD COLUMN moved_strength BIGINT;
