-- The foundation: clubs and people, stores, batches, bottles, the books, reminders.

CREATE TABLE clubs (
    id INTEGER PRIMARY KEY NOT NULL,
    name TEXT NOT NULL,
    currency TEXT NOT NULL,
    time_zone TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL
);

-- Numbers that people read: batches, lots, receipts.
CREATE TABLE counters (
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    name TEXT NOT NULL,
    last BIGINT NOT NULL,
    PRIMARY KEY (club_id, name)
);

CREATE TABLE persons (
    id INTEGER PRIMARY KEY NOT NULL,
    email TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    created_at TIMESTAMP NOT NULL
);

CREATE TABLE members (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    person_id BIGINT NOT NULL REFERENCES persons (id),
    name TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('steward', 'cellarhand', 'taster', 'onlooker')),
    joined_on DATE NOT NULL,
    left_on DATE,
    UNIQUE (club_id, person_id)
);
CREATE INDEX members_by_person ON members (person_id);

-- Only the SHA-256 of a session's, invitation's, token's or set-up address's secret is kept.
CREATE TABLE sessions (
    id INTEGER PRIMARY KEY NOT NULL,
    secret_hash TEXT NOT NULL UNIQUE,
    person_id BIGINT NOT NULL REFERENCES persons (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    created_at TIMESTAMP NOT NULL,
    seen_at TIMESTAMP NOT NULL,
    ends_at TIMESTAMP NOT NULL,
    device TEXT NOT NULL
);
CREATE INDEX sessions_by_person ON sessions (person_id);

CREATE TABLE invitations (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    secret_hash TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    invited_by BIGINT NOT NULL REFERENCES members (id),
    created_at TIMESTAMP NOT NULL,
    ends_at TIMESTAMP NOT NULL,
    used_at TIMESTAMP,
    withdrawn_at TIMESTAMP
);
CREATE INDEX invitations_by_club ON invitations (club_id, created_at);

CREATE TABLE tokens (
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
CREATE INDEX tokens_by_member ON tokens (member_id);

CREATE TABLE set_ups (
    id INTEGER PRIMARY KEY NOT NULL,
    secret_hash TEXT NOT NULL UNIQUE,
    created_at TIMESTAMP NOT NULL,
    ends_at TIMESTAMP NOT NULL,
    used_at TIMESTAMP
);

CREATE TABLE audit (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT REFERENCES clubs (id),
    person_id BIGINT REFERENCES persons (id),
    at TIMESTAMP NOT NULL,
    what TEXT NOT NULL,
    address TEXT NOT NULL
);
CREATE INDEX audit_by_club ON audit (club_id, id);

CREATE TABLE items (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    name TEXT NOT NULL,
    folded TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('ingredient', 'aid', 'packaging', 'by-product', 'drink')),
    unit TEXT NOT NULL CHECK (unit IN ('g', 'mL', 'piece')),
    density_micro BIGINT CHECK (density_micro > 0),
    allergens TEXT NOT NULL,
    value_per_unit BIGINT CHECK (value_per_unit >= 0),
    low_at BIGINT CHECK (low_at >= 0),
    sugar_mg_per_kg BIGINT,
    lactose_mg_per_kg BIGINT,
    fat_mg_per_kg BIGINT,
    casein_mg_per_kg BIGINT,
    splits_lactose BOOLEAN NOT NULL,
    UNIQUE (club_id, folded)
);

CREATE TABLE places (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    within BIGINT REFERENCES places (id),
    name TEXT NOT NULL,
    path TEXT NOT NULL,
    folded TEXT NOT NULL,
    UNIQUE (club_id, folded)
);

CREATE TABLE batches (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    code TEXT NOT NULL,
    name TEXT NOT NULL,
    base_volume BIGINT CHECK (base_volume > 0),
    planned_on DATE NOT NULL,
    created_by BIGINT NOT NULL REFERENCES members (id),
    -- Where a split came from, and how far that batch was.
    came_from BIGINT REFERENCES batches (id),
    came_as TEXT,
    came_pitched_on DATE,
    -- Kept: these follow from the entries.
    stage TEXT NOT NULL CHECK (stage IN
        ('planned', 'preparing', 'working', 'resting', 'laid-down', 'closed', 'abandoned')),
    pitched_on DATE,
    UNIQUE (club_id, code)
);
CREATE INDEX batches_by_stage ON batches (club_id, stage, id);

CREATE TABLE entries (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    kind TEXT NOT NULL,
    code TEXT,
    day DATE NOT NULL,
    recorded_at TIMESTAMP NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    batch_id BIGINT REFERENCES batches (id),
    bottling_id BIGINT,
    reverses BIGINT REFERENCES entries (id),
    remark TEXT NOT NULL
);
-- Partial, so that no query looks for what reverses nothing by it: that is almost everything.
CREATE UNIQUE INDEX entries_reversed_once ON entries (reverses) WHERE reverses IS NOT NULL;
CREATE INDEX entries_by_club ON entries (club_id, id);
CREATE INDEX entries_by_batch ON entries (batch_id, id) WHERE batch_id IS NOT NULL;
CREATE INDEX entries_by_bottling ON entries (bottling_id, id) WHERE bottling_id IS NOT NULL;

CREATE TABLE lots (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    item_id BIGINT NOT NULL REFERENCES items (id),
    code TEXT NOT NULL,
    entry_id BIGINT NOT NULL REFERENCES entries (id),
    batch_id BIGINT REFERENCES batches (id),
    received_on DATE NOT NULL,
    best_before DATE,
    supplier TEXT NOT NULL,
    supplier_mark TEXT NOT NULL,
    UNIQUE (club_id, code)
);
CREATE INDEX lots_by_item ON lots (item_id, id);
CREATE INDEX lots_by_entry ON lots (entry_id);
CREATE INDEX lots_by_club ON lots (club_id, id);

CREATE TABLE bottlings (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    lot_id BIGINT NOT NULL UNIQUE REFERENCES lots (id),
    entry_id BIGINT NOT NULL UNIQUE REFERENCES entries (id),
    code TEXT NOT NULL,
    bottled_on DATE NOT NULL,
    bottles BIGINT NOT NULL CHECK (bottles > 0),
    bottle_volume BIGINT NOT NULL CHECK (bottle_volume > 0),
    lost_volume BIGINT NOT NULL CHECK (lost_volume >= 0),
    strength_micro BIGINT,
    strength_basis TEXT NOT NULL,
    UNIQUE (club_id, code)
);
CREATE INDEX bottlings_by_batch ON bottlings (batch_id, id);
CREATE INDEX bottlings_by_club ON bottlings (club_id, id);
CREATE INDEX bottlings_by_day ON bottlings (club_id, bottled_on, id);

CREATE TABLE accounts (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    key TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN
        ('stock', 'batch', 'member', 'payer', 'settled', 'purse', 'lost', 'tasted', 'given', 'difference')),
    lot_id BIGINT REFERENCES lots (id),
    place_id BIGINT REFERENCES places (id),
    batch_id BIGINT REFERENCES batches (id),
    member_id BIGINT REFERENCES members (id),
    opened_on DATE NOT NULL,
    quantity BIGINT NOT NULL,
    cost BIGINT NOT NULL,
    UNIQUE (club_id, key),
    CONSTRAINT never_below_zero CHECK (kind NOT IN ('stock', 'batch') OR (quantity >= 0 AND cost >= 0)),
    CONSTRAINT no_cost_without_quantity CHECK (kind <> 'stock' OR quantity > 0 OR cost = 0)
);
CREATE INDEX accounts_by_lot ON accounts (lot_id) WHERE lot_id IS NOT NULL;
CREATE INDEX accounts_by_batch ON accounts (batch_id) WHERE batch_id IS NOT NULL;
CREATE INDEX accounts_in_stock ON accounts (club_id, place_id) WHERE kind = 'stock' AND quantity > 0;

CREATE TABLE postings (
    entry_id BIGINT NOT NULL REFERENCES entries (id),
    line BIGINT NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    account_id BIGINT NOT NULL REFERENCES accounts (id),
    day DATE NOT NULL,
    quantity BIGINT NOT NULL,
    cost BIGINT NOT NULL,
    PRIMARY KEY (entry_id, line)
) WITHOUT ROWID;
-- What is added up is in the indexes themselves.
CREATE INDEX postings_by_account ON postings (account_id, entry_id, quantity, cost);
CREATE INDEX postings_by_day ON postings (club_id, day, account_id, quantity, cost);

CREATE TABLE readings (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    at TIMESTAMP NOT NULL,
    kind TEXT NOT NULL,
    read_micro BIGINT NOT NULL,
    sample_micro_c BIGINT,
    value_micro BIGINT NOT NULL,
    remark TEXT NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL,
    struck_at TIMESTAMP,
    struck_by BIGINT REFERENCES members (id),
    struck_because TEXT NOT NULL
);
CREATE INDEX readings_by_batch ON readings (batch_id, kind, at);

CREATE TABLE tasting_ages (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    bottling_id BIGINT NOT NULL REFERENCES bottlings (id),
    age_days BIGINT NOT NULL CHECK (age_days > 0),
    falls_on DATE NOT NULL,
    UNIQUE (bottling_id, age_days)
);
CREATE INDEX tasting_ages_by_day ON tasting_ages (club_id, falls_on);

CREATE TABLE reminders (
    id INTEGER PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    key TEXT NOT NULL,
    kind TEXT NOT NULL,
    due_on DATE NOT NULL,
    text TEXT NOT NULL,
    member_id BIGINT REFERENCES members (id),
    bottling_id BIGINT REFERENCES bottlings (id),
    batch_id BIGINT REFERENCES batches (id),
    lot_id BIGINT REFERENCES lots (id),
    item_id BIGINT REFERENCES items (id),
    made_at TIMESTAMP NOT NULL,
    done_at TIMESTAMP,
    done_by BIGINT REFERENCES members (id),
    UNIQUE (club_id, key)
);
CREATE INDEX reminders_by_bottling ON reminders (bottling_id) WHERE bottling_id IS NOT NULL;
CREATE INDEX reminders_by_batch ON reminders (batch_id) WHERE batch_id IS NOT NULL;
CREATE INDEX reminders_open ON reminders (club_id, due_on, id) WHERE done_at IS NULL;

-- A request that was carried out, so that sending it again gives the same answer.
CREATE TABLE requests (
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    answer TEXT NOT NULL,
    at TIMESTAMP NOT NULL,
    PRIMARY KEY (club_id, member_id, key)
) WITHOUT ROWID;
CREATE INDEX requests_by_time ON requests (at);

-- The books are never changed: corrections are new entries.
CREATE TRIGGER entries_stay BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entries_remain BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never deleted'); END;
CREATE TRIGGER postings_stay BEFORE UPDATE ON postings
BEGIN SELECT RAISE(ABORT, 'postings are never changed'); END;
CREATE TRIGGER postings_remain BEFORE DELETE ON postings
BEGIN SELECT RAISE(ABORT, 'postings are never deleted'); END;
