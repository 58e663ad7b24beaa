//! How items are bought and kept.

diesel::table! {
    upkeep (item_id) {
        item_id -> BigInt,
        club_id -> BigInt,
        lead_days -> Nullable<BigInt>,
        cover_days -> Nullable<BigInt>,
        keeps_open_days -> Nullable<BigInt>,
        weakens_permille -> Nullable<BigInt>,
    }
}

diesel::table! {
    openings (lot_id) {
        lot_id -> BigInt,
        club_id -> BigInt,
        opened_on -> Date,
        recorded_by -> BigInt,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    substitutes (item_id, other_id) {
        item_id -> BigInt,
        other_id -> BigInt,
        club_id -> BigInt,
        line -> BigInt,
        factor_micro -> BigInt,
    }
}
