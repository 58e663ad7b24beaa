//! Instruments, files of loggers, and what is kept beside the books.

diesel::table! {
    instruments (id) {
        id -> BigInt,
        club_id -> BigInt,
        name -> Text,
        kind -> Text,
        made_for_micro_c -> Nullable<BigInt>,
        offset_micro -> BigInt,
        checked_on -> Date,
        retired_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    reading_imports (id) {
        id -> BigInt,
        club_id -> BigInt,
        batch_id -> BigInt,
        file_name -> Text,
        kept -> BigInt,
        known -> BigInt,
        left_out -> BigInt,
        recorded_by -> BigInt,
        recorded_at -> Timestamp,
        undone_at -> Nullable<Timestamp>,
        undone_by -> Nullable<BigInt>,
    }
}

diesel::table! {
    by_product_shares (entry_id) {
        entry_id -> BigInt,
        club_id -> BigInt,
        method -> Text,
        worth -> BigInt,
        mass -> BigInt,
        drink_mass -> BigInt,
        drink_worth -> Nullable<BigInt>,
    }
}

diesel::table! {
    efforts (id) {
        id -> BigInt,
        club_id -> BigInt,
        batch_id -> BigInt,
        day -> Date,
        kind -> Text,
        amount -> Nullable<BigInt>,
        cost -> BigInt,
        remark -> Text,
        recorded_by -> BigInt,
        recorded_at -> Timestamp,
        struck_at -> Nullable<Timestamp>,
        struck_by -> Nullable<BigInt>,
        struck_because -> Text,
    }
}

diesel::table! {
    reading_weeks (batch_id, kind, week) {
        batch_id -> BigInt,
        kind -> Text,
        week -> BigInt,
        packed -> Binary,
    }
}
