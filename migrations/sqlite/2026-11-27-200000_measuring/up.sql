-- Instruments and what they are known to be off by; files of loggers that came in as one act; the source of a reading that
-- a program sent, so that it counts once; how by-products carry cost; work and energy beside the books; and the indexes by
-- which curves are read.

CREATE TABLE instruments (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    name TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('hydrometer', 'thermometer', 'ph-meter', 'refractometer')),
    made_for_micro_c BIGINT,
    offset_micro BIGINT NOT NULL,
    checked_on DATE NOT NULL,
    retired_at TIMESTAMP,
    UNIQUE (club_id, name)
);

CREATE TABLE reading_imports (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    file_name TEXT NOT NULL,
    kept BIGINT NOT NULL,
    known BIGINT NOT NULL,
    left_out BIGINT NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL,
    undone_at TIMESTAMP,
    undone_by BIGINT REFERENCES members (id)
);
CREATE INDEX reading_imports_by_batch ON reading_imports (batch_id, id);

ALTER TABLE readings ADD COLUMN instrument_id BIGINT REFERENCES instruments (id);
ALTER TABLE readings ADD COLUMN import_id BIGINT REFERENCES reading_imports (id);
ALTER TABLE readings ADD COLUMN source TEXT NOT NULL DEFAULT '';
DROP INDEX readings_by_batch;
CREATE INDEX readings_by_batch ON readings (batch_id, at, id);
CREATE INDEX readings_by_kind ON readings (batch_id, kind, at, value_micro) WHERE struck_at IS NULL;
CREATE INDEX readings_by_club ON readings (club_id, kind, at) WHERE struck_at IS NULL;
CREATE INDEX readings_by_import ON readings (import_id) WHERE import_id IS NOT NULL;
CREATE UNIQUE INDEX readings_once ON readings (batch_id, kind, at, source) WHERE source <> '' AND struck_at IS NULL;

ALTER TABLE clubs ADD COLUMN by_products_by TEXT NOT NULL DEFAULT 'net-value'
    CONSTRAINT a_known_way CHECK (by_products_by IN ('net-value', 'mass', 'sales-value'));
ALTER TABLE clubs ADD COLUMN litre_worth BIGINT;
ALTER TABLE clubs ADD COLUMN hour_rate BIGINT;
ALTER TABLE clubs ADD COLUMN kwh_price BIGINT;

CREATE TABLE by_product_shares (
    entry_id INTEGER PRIMARY KEY NOT NULL REFERENCES entries (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    method TEXT NOT NULL CHECK (method IN ('net-value', 'mass', 'sales-value')),
    worth BIGINT NOT NULL,
    mass BIGINT NOT NULL,
    drink_mass BIGINT NOT NULL,
    drink_worth BIGINT
);

CREATE TABLE efforts (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    day DATE NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('work', 'energy')),
    amount BIGINT,
    cost BIGINT NOT NULL CHECK (cost >= 0),
    remark TEXT NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL,
    struck_at TIMESTAMP,
    struck_by BIGINT REFERENCES members (id),
    struck_because TEXT NOT NULL
);
CREATE INDEX efforts_by_batch ON efforts (batch_id, id);

CREATE INDEX batches_by_name ON batches (club_id, name, id);

CREATE TABLE tokens_anew (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    secret_hash TEXT NOT NULL UNIQUE,
    label TEXT NOT NULL,
    scope TEXT NOT NULL CHECK (scope IN ('read', 'write', 'readings')),
    created_at TIMESTAMP NOT NULL,
    ends_at TIMESTAMP,
    revoked_at TIMESTAMP,
    used_at TIMESTAMP
);
INSERT INTO tokens_anew SELECT * FROM tokens;
DROP TABLE tokens;
ALTER TABLE tokens_anew RENAME TO tokens;
CREATE INDEX tokens_by_member ON tokens (member_id);
