-- Bills that are kept with a receipt: photos and PDFs. What one is stays for good; what it holds goes when it is struck
-- out, and stands apart, so that a list of bills reads none of it.

CREATE TABLE bills (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    entry_id BIGINT NOT NULL REFERENCES entries (id),
    name TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('jpg', 'png', 'webp', 'pdf')),
    size BIGINT NOT NULL CHECK (size > 0),
    -- The SHA-256 of what it holds: the same file is kept once with a receipt.
    fingerprint TEXT NOT NULL,
    added_by BIGINT NOT NULL REFERENCES members (id),
    added_at TIMESTAMP NOT NULL,
    struck_at TIMESTAMP,
    struck_by BIGINT REFERENCES members (id),
    struck_because TEXT NOT NULL
);
CREATE INDEX bills_by_entry ON bills (entry_id, id);
CREATE UNIQUE INDEX bills_once ON bills (entry_id, fingerprint) WHERE struck_at IS NULL;

-- What a bill holds: base64 in parts, each as long as the others but the last, so that no row is large and an archive takes
-- them as they are.
CREATE TABLE bill_parts (
    bill_id BIGINT NOT NULL REFERENCES bills (id),
    number BIGINT NOT NULL CHECK (number >= 0),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    held TEXT NOT NULL,
    PRIMARY KEY (bill_id, number)
);
