DROP INDEX batches_by_name;
DROP TABLE efforts;
DROP TABLE by_product_shares;
ALTER TABLE clubs DROP COLUMN kwh_price;
ALTER TABLE clubs DROP COLUMN hour_rate;
ALTER TABLE clubs DROP COLUMN litre_worth;
ALTER TABLE clubs DROP COLUMN by_products_by;
DROP INDEX readings_once;
DROP INDEX readings_by_import;
DROP INDEX readings_by_club;
DROP INDEX readings_by_kind;
DROP INDEX readings_by_batch;
ALTER TABLE readings DROP COLUMN source;
ALTER TABLE readings DROP COLUMN import_id;
ALTER TABLE readings DROP COLUMN instrument_id;
CREATE INDEX readings_by_batch ON readings (batch_id, kind, at);
DROP TABLE reading_imports;
DROP TABLE instruments;
CREATE TABLE tokens_anew (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    secret_hash TEXT NOT NULL UNIQUE,
    label TEXT NOT NULL,
    scope TEXT NOT NULL CHECK (scope IN ('read', 'write')),
    created_at TIMESTAMP NOT NULL,
    ends_at TIMESTAMP,
    revoked_at TIMESTAMP,
    used_at TIMESTAMP
);
INSERT INTO tokens_anew SELECT * FROM tokens WHERE scope <> 'readings';
DROP TABLE tokens;
ALTER TABLE tokens_anew RENAME TO tokens;
CREATE INDEX tokens_by_member ON tokens (member_id);
