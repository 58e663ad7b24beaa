-- The values of a batch that stand, packed week by week: what curves are drawn from. They follow from its readings.
CREATE TABLE reading_weeks (
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    kind TEXT NOT NULL,
    week BIGINT NOT NULL,
    packed BYTEA NOT NULL,
    PRIMARY KEY (batch_id, kind, week)
);
