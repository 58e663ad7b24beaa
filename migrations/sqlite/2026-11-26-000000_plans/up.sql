-- What a batch is planned to be: steps and supplies. Paper, not books.

CREATE TABLE plan_steps (
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    kind TEXT NOT NULL,
    what TEXT NOT NULL,
    amount BIGINT CHECK (amount > 0),
    unit TEXT,
    target_micro_c BIGINT,
    minutes BIGINT CHECK (minutes >= 0),
    caution TEXT NOT NULL,
    PRIMARY KEY (batch_id, line)
);

CREATE TABLE plan_supplies (
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    item_id BIGINT NOT NULL REFERENCES items (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    line BIGINT NOT NULL,
    amount BIGINT NOT NULL CHECK (amount > 0),
    PRIMARY KEY (batch_id, item_id)
);
CREATE INDEX plan_supplies_by_club ON plan_supplies (club_id, batch_id);
