//! Tables that a club brought in.

diesel::table! {
    intakes (id) {
        id -> BigInt,
        club_id -> BigInt,
        kind -> Text,
        file_name -> Text,
        date_order -> Text,
        sent_by -> BigInt,
        sent_at -> Timestamp,
        kept -> BigInt,
        left_out -> BigInt,
        known -> BigInt,
        brought_at -> Nullable<Timestamp>,
        undone_at -> Nullable<Timestamp>,
        undone_by -> Nullable<BigInt>,
        undone_because -> Text,
    }
}

diesel::table! {
    intake_parts (intake_id, line) {
        intake_id -> BigInt,
        line -> BigInt,
        text -> Text,
    }
}

diesel::table! {
    intake_things (intake_id, line) {
        intake_id -> BigInt,
        line -> BigInt,
        what -> Text,
        things -> Text,
    }
}

diesel::table! {
    intake_columns (club_id, kind, heading) {
        club_id -> BigInt,
        kind -> Text,
        heading -> Text,
        field -> Text,
    }
}
