//! Vessels, what is in them, what is on hold, and why somebody went on in spite of a danger.

diesel::table! {
    reasons (id) {
        id -> BigInt,
        club_id -> BigInt,
        batch_id -> BigInt,
        entry_id -> Nullable<BigInt>,
        rule -> Text,
        danger -> Text,
        words -> Text,
        given_by -> BigInt,
        given_at -> Timestamp,
    }
}

diesel::table! {
    vessels (id) {
        id -> BigInt,
        club_id -> BigInt,
        code -> Text,
        material -> Text,
        capacity -> BigInt,
        safe_filling -> BigInt,
        place_id -> BigInt,
        closure -> Text,
        worn -> Bool,
        marks -> Text,
        cleaned_on -> Nullable<Date>,
        out_of_use_since -> Nullable<Date>,
        out_of_use_because -> Text,
    }
}

diesel::table! {
    fillings (id) {
        id -> BigInt,
        club_id -> BigInt,
        vessel_id -> BigInt,
        batch_id -> BigInt,
        volume -> BigInt,
        filled_on -> Date,
        entry_id -> Nullable<BigInt>,
        recorded_by -> BigInt,
        recorded_at -> Timestamp,
        emptied_on -> Nullable<Date>,
        emptied_entry -> Nullable<BigInt>,
        emptied_because -> Text,
        struck_at -> Nullable<Timestamp>,
        struck_by -> Nullable<BigInt>,
        struck_because -> Text,
    }
}

diesel::table! {
    holds (id) {
        id -> BigInt,
        club_id -> BigInt,
        lot_id -> BigInt,
        because_of -> Nullable<BigInt>,
        reason -> Text,
        held_by -> BigInt,
        held_at -> Timestamp,
        released_at -> Nullable<Timestamp>,
        released_by -> Nullable<BigInt>,
        released_because -> Text,
    }
}
