-- What was planned for a batch grows into the steps of a batch: planned or added, begun, done or left out, with what was
-- measured. A record that was wrong is struck out and stays; one with an entry counts while that entry stands.

CREATE TABLE steps (
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    turn BIGINT NOT NULL,
    kind TEXT NOT NULL,
    what TEXT NOT NULL,
    amount BIGINT CHECK (amount > 0),
    unit TEXT,
    item_id BIGINT REFERENCES items (id),
    target_micro_c BIGINT,
    minutes BIGINT CHECK (minutes >= 0),
    caution TEXT NOT NULL,
    added_by BIGINT REFERENCES members (id),
    PRIMARY KEY (batch_id, line)
);
INSERT INTO steps (batch_id, line, club_id, turn, kind, what, amount, unit, target_micro_c, minutes, caution)
SELECT batch_id, line, club_id, line, kind, what, amount, unit, target_micro_c, minutes, caution FROM plan_steps;
DROP TABLE plan_steps;

CREATE TABLE step_records (
    id BIGINT PRIMARY KEY,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    line BIGINT NOT NULL,
    kind TEXT NOT NULL,
    begun_at TIMESTAMP,
    begun_by BIGINT REFERENCES members (id),
    done_at TIMESTAMP,
    done_by BIGINT REFERENCES members (id),
    temperature_micro_c BIGINT,
    amount BIGINT CHECK (amount >= 0),
    unit TEXT,
    entry_id BIGINT REFERENCES entries (id),
    remark TEXT NOT NULL,
    because TEXT NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    struck_at TIMESTAMP,
    struck_by BIGINT REFERENCES members (id),
    struck_because TEXT NOT NULL
);
CREATE INDEX step_records_by_batch ON step_records (batch_id, id);
CREATE INDEX step_records_by_entry ON step_records (entry_id);
CREATE INDEX step_records_running ON step_records (club_id, begun_at) WHERE done_at IS NULL AND struck_at IS NULL;

CREATE TABLE step_readings (
    record_id BIGINT NOT NULL REFERENCES step_records (id),
    reading_id BIGINT NOT NULL REFERENCES readings (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    PRIMARY KEY (record_id, reading_id)
);
