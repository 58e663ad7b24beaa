-- How many bottles broke while they were filled; what they held is part of what was lost.

ALTER TABLE bottlings ADD COLUMN broken BIGINT NOT NULL DEFAULT 0;
