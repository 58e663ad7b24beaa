//! Whose the bottles of a batch are.

diesel::table! {
    shares (batch_id, member_id) {
        batch_id -> BigInt,
        member_id -> BigInt,
        club_id -> BigInt,
        laid_out -> BigInt,
        worked -> BigInt,
        settled_by -> BigInt,
        settled_at -> Timestamp,
    }
}

diesel::table! {
    wishes (bottling_id, member_id) {
        bottling_id -> BigInt,
        member_id -> BigInt,
        club_id -> BigInt,
        bottles -> BigInt,
        remark -> Text,
        wished_at -> Timestamp,
    }
}
