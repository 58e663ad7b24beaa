-- How warm and how damp places are, and what the readings of a day come to: that follows from them and is kept, so that
-- the age of bottles is worked out without reading all of them again.

CREATE TABLE climate_readings (
    id BIGINT PRIMARY KEY NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    place_id BIGINT NOT NULL REFERENCES places (id),
    at TIMESTAMP NOT NULL,
    day DATE NOT NULL,
    temperature_micro_c BIGINT NOT NULL,
    humidity_micro BIGINT CHECK (humidity_micro BETWEEN 0 AND 100000000),
    source TEXT NOT NULL,
    recorded_by BIGINT NOT NULL REFERENCES members (id),
    recorded_at TIMESTAMP NOT NULL,
    struck_at TIMESTAMP,
    struck_by BIGINT REFERENCES members (id),
    struck_because TEXT NOT NULL
);
CREATE UNIQUE INDEX climate_readings_once ON climate_readings (place_id, at) WHERE struck_at IS NULL;
CREATE INDEX climate_readings_by_day ON climate_readings (place_id, day, at);

CREATE TABLE climate_days (
    id BIGINT PRIMARY KEY NOT NULL,
    place_id BIGINT NOT NULL REFERENCES places (id),
    day DATE NOT NULL,
    club_id BIGINT NOT NULL REFERENCES clubs (id),
    readings BIGINT NOT NULL CHECK (readings > 0),
    mean_micro_c BIGINT NOT NULL,
    lowest_micro_c BIGINT NOT NULL,
    highest_micro_c BIGINT NOT NULL,
    worth_micro BIGINT NOT NULL CHECK (worth_micro >= 0),
    humidity_micro BIGINT,
    UNIQUE (place_id, day)
);
CREATE INDEX climate_days_by_club ON climate_days (club_id, day);

ALTER TABLE reminders ADD COLUMN place_id BIGINT REFERENCES places (id);
