//! How items are bought and kept.

diesel::table! {
    upkeep (item_id) {
        item_id -> BigInt,
        club_id -> BigInt,
        lead_days -> Nullable<BigInt>,
        cover_days -> Nullable<BigInt>,
    }
}
