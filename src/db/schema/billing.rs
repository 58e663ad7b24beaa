//! Bills that are kept with a receipt.

diesel::table! {
    bills (id) {
        id -> BigInt,
        club_id -> BigInt,
        entry_id -> BigInt,
        name -> Text,
        kind -> Text,
        size -> BigInt,
        fingerprint -> Text,
        added_by -> BigInt,
        added_at -> Timestamp,
        struck_at -> Nullable<Timestamp>,
        struck_by -> Nullable<BigInt>,
        struck_because -> Text,
    }
}

diesel::table! {
    bill_parts (bill_id, number) {
        bill_id -> BigInt,
        number -> BigInt,
        club_id -> BigInt,
        held -> Text,
    }
}
