ALTER TABLE invitations DROP COLUMN member_id;
DROP TABLE intake_columns;
DROP TABLE intake_things;
DROP TABLE intake_parts;
DROP TABLE intakes;
