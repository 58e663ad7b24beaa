//! Counts: their lines, what was counted, and in which order one walks.

diesel::table! {
    walking_order (place_id) {
        place_id -> BigInt,
        club_id -> BigInt,
        number -> BigInt,
    }
}

diesel::table! {
    counts (id) {
        id -> BigInt,
        club_id -> BigInt,
        code -> Text,
        title -> Text,
        started_by -> BigInt,
        started_at -> Timestamp,
        ended_at -> Nullable<Timestamp>,
        ended_by -> Nullable<BigInt>,
        over_at -> Nullable<Timestamp>,
        called_off_because -> Text,
    }
}

diesel::table! {
    count_lines (id) {
        id -> BigInt,
        club_id -> BigInt,
        count_id -> BigInt,
        number -> BigInt,
        place_id -> BigInt,
        lot_id -> Nullable<BigInt>,
        what -> Text,
        unit -> Text,
        found -> Bool,
        asked_at -> Nullable<Timestamp>,
        asked_by -> Nullable<BigInt>,
        chosen_id -> Nullable<BigInt>,
        reason -> Nullable<Text>,
        words -> Text,
        outcome -> Nullable<Text>,
        settled_at -> Nullable<Timestamp>,
        settled_by -> Nullable<BigInt>,
        entry_id -> Nullable<BigInt>,
        counted -> Nullable<BigInt>,
        book -> Nullable<BigInt>,
        worth -> Nullable<BigInt>,
    }
}

diesel::table! {
    tallies (id) {
        id -> BigInt,
        club_id -> BigInt,
        count_id -> BigInt,
        line_id -> BigInt,
        member_id -> BigInt,
        counted -> BigInt,
        gross -> Nullable<BigInt>,
        tare -> Nullable<BigInt>,
        opened -> Bool,
        remark -> Text,
        counted_at -> Timestamp,
        recorded_at -> Timestamp,
    }
}
