-- How many bottles a place takes. None: nobody said, or it is not for bottles.

ALTER TABLE places ADD COLUMN capacity BIGINT
    CONSTRAINT what_a_place_takes CHECK (capacity BETWEEN 1 AND 100000);
