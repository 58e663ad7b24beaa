-- Why somebody went on in spite of a dangerous caution: the rule, its words then, and the reason.

CREATE TABLE reasons (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    entry_id BIGINT REFERENCES entries (id),
    rule TEXT NOT NULL,
    danger TEXT NOT NULL,
    words TEXT NOT NULL,
    given_by BIGINT NOT NULL REFERENCES members (id),
    given_at TIMESTAMP NOT NULL
);
CREATE INDEX reasons_by_batch ON reasons (batch_id, id);
CREATE INDEX reasons_by_entry ON reasons (entry_id) WHERE entry_id IS NOT NULL;
