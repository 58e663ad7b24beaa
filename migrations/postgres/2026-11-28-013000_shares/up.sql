-- Whose the bottles of a batch are, as the club settled it, and what members would like to have of a bottling.

CREATE TABLE shares (
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    laid_out BIGINT NOT NULL CHECK (laid_out >= 0),
    worked BIGINT NOT NULL CHECK (worked >= 0),
    settled_by BIGINT NOT NULL REFERENCES members (id),
    settled_at TIMESTAMP NOT NULL,
    PRIMARY KEY (batch_id, member_id)
);

CREATE TABLE wishes (
    bottling_id BIGINT NOT NULL REFERENCES bottlings (id),
    member_id BIGINT NOT NULL REFERENCES members (id),
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    bottles BIGINT NOT NULL CHECK (bottles > 0),
    remark TEXT NOT NULL,
    wished_at TIMESTAMP NOT NULL,
    PRIMARY KEY (bottling_id, member_id)
);
