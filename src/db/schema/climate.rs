//! How warm and how damp places are.

diesel::table! {
    climate_readings (id) {
        id -> BigInt,
        club_id -> BigInt,
        place_id -> BigInt,
        at -> Timestamp,
        day -> Date,
        temperature_micro_c -> BigInt,
        humidity_micro -> Nullable<BigInt>,
        source -> Text,
        recorded_by -> BigInt,
        recorded_at -> Timestamp,
        struck_at -> Nullable<Timestamp>,
        struck_by -> Nullable<BigInt>,
        struck_because -> Text,
    }
}

diesel::table! {
    climate_days (id) {
        id -> BigInt,
        place_id -> BigInt,
        day -> Date,
        club_id -> BigInt,
        readings -> BigInt,
        mean_micro_c -> BigInt,
        lowest_micro_c -> BigInt,
        highest_micro_c -> BigInt,
        worth_micro -> BigInt,
        humidity_micro -> Nullable<BigInt>,
    }
}
