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
INSERT INTO plan_steps (batch_id, line, club_id, kind, what, amount, unit, target_micro_c, minutes, caution)
SELECT batch_id, line, club_id, kind, what, amount, unit, target_micro_c, minutes, caution FROM steps;
DROP TABLE step_readings;
DROP TABLE step_records;
DROP TABLE steps;
