-- The over-pressure that a bottle is made for, in thousandths of a bar. None: not made for pressure.

ALTER TABLE items ADD COLUMN made_for_mbar BIGINT
    CONSTRAINT what_a_bottle_bears CHECK (made_for_mbar BETWEEN 1000 AND 12000);
