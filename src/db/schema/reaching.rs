//! The tables of reminders, letters and calendars.

diesel::table! {
    reminders (id) {
        id -> BigInt,
        club_id -> BigInt,
        key -> Text,
        kind -> Text,
        due_on -> Date,
        text -> Text,
        member_id -> Nullable<BigInt>,
        bottling_id -> Nullable<BigInt>,
        batch_id -> Nullable<BigInt>,
        lot_id -> Nullable<BigInt>,
        item_id -> Nullable<BigInt>,
        made_at -> Timestamp,
        done_at -> Nullable<Timestamp>,
        done_by -> Nullable<BigInt>,
        revision -> BigInt,
        place_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    reminders_gone (id) {
        id -> BigInt,
        club_id -> BigInt,
        member_id -> Nullable<BigInt>,
        key -> Text,
        due_on -> Date,
        text -> Text,
        revision -> BigInt,
        at -> Timestamp,
    }
}

diesel::table! {
    reach (member_id) {
        member_id -> BigInt,
        club_id -> BigInt,
        letter_hour -> Nullable<BigInt>,
        looked_on -> Nullable<Date>,
        stop_secret -> Text,
        calendar_hash -> Nullable<Text>,
        calendar_since -> Nullable<Timestamp>,
    }
}

diesel::table! {
    letters (id) {
        id -> BigInt,
        club_id -> BigInt,
        member_id -> BigInt,
        day -> Date,
        made_at -> Timestamp,
        tries -> BigInt,
        next_try_at -> Nullable<Timestamp>,
        sent_at -> Nullable<Timestamp>,
        trouble -> Text,
    }
}

diesel::table! {
    letter_lines (letter_id, line) {
        letter_id -> BigInt,
        line -> BigInt,
        club_id -> BigInt,
        member_id -> BigInt,
        key -> Text,
        due_on -> Date,
        text -> Text,
        path -> Text,
    }
}
