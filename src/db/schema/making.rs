//! The tables of recipes, plans and steps.

diesel::table! {
    recipes (id) {
        id -> BigInt,
        club_id -> BigInt,
        aside_at -> Nullable<Timestamp>,
        aside_by -> Nullable<BigInt>,
    }
}

diesel::table! {
    recipe_revisions (id) {
        id -> BigInt,
        club_id -> BigInt,
        recipe_id -> BigInt,
        number -> BigInt,
        drink -> Text,
        base_item_id -> BigInt,
        base_amount -> BigInt,
        strength_micro -> Nullable<BigInt>,
        sugar_micro_g_l -> Nullable<BigInt>,
        tasting_ages_months -> Text,
        note -> Text,
        made_by -> BigInt,
        made_at -> Timestamp,
        ages_by_warmth -> Bool,
    }
}

diesel::table! {
    recipe_supplies (revision_id, line) {
        revision_id -> BigInt,
        line -> BigInt,
        club_id -> BigInt,
        item_id -> BigInt,
        amount -> BigInt,
    }
}

diesel::table! {
    recipe_by_products (revision_id, line) {
        revision_id -> BigInt,
        line -> BigInt,
        club_id -> BigInt,
        item_id -> BigInt,
        amount -> BigInt,
    }
}

diesel::table! {
    recipe_steps (revision_id, line) {
        revision_id -> BigInt,
        line -> BigInt,
        club_id -> BigInt,
        kind -> Text,
        what -> Text,
        amount -> Nullable<BigInt>,
        unit -> Nullable<Text>,
        item_id -> Nullable<BigInt>,
        target_micro_c -> Nullable<BigInt>,
        minutes -> Nullable<BigInt>,
        caution -> Text,
    }
}

diesel::table! {
    steps (batch_id, line) {
        batch_id -> BigInt,
        line -> BigInt,
        club_id -> BigInt,
        turn -> BigInt,
        kind -> Text,
        what -> Text,
        amount -> Nullable<BigInt>,
        unit -> Nullable<Text>,
        item_id -> Nullable<BigInt>,
        target_micro_c -> Nullable<BigInt>,
        minutes -> Nullable<BigInt>,
        caution -> Text,
        added_by -> Nullable<BigInt>,
    }
}

diesel::table! {
    step_records (id) {
        id -> BigInt,
        club_id -> BigInt,
        batch_id -> BigInt,
        line -> BigInt,
        kind -> Text,
        begun_at -> Nullable<Timestamp>,
        begun_by -> Nullable<BigInt>,
        done_at -> Nullable<Timestamp>,
        done_by -> Nullable<BigInt>,
        temperature_micro_c -> Nullable<BigInt>,
        amount -> Nullable<BigInt>,
        unit -> Nullable<Text>,
        entry_id -> Nullable<BigInt>,
        remark -> Text,
        because -> Text,
        recorded_at -> Timestamp,
        struck_at -> Nullable<Timestamp>,
        struck_by -> Nullable<BigInt>,
        struck_because -> Text,
    }
}

diesel::table! {
    step_readings (record_id, reading_id) {
        record_id -> BigInt,
        reading_id -> BigInt,
        club_id -> BigInt,
    }
}

diesel::table! {
    plan_supplies (batch_id, item_id) {
        batch_id -> BigInt,
        item_id -> BigInt,
        club_id -> BigInt,
        line -> BigInt,
        amount -> BigInt,
    }
}
