//! The tables, as both databases have them. `tests/schema.rs` compares this with what the migrations make.

#![allow(missing_docs, reason = "the migrations say what each column is")]

pub use billing::*;
pub use buying::*;
pub use climate::*;
pub use counting::*;
pub use intake::*;
pub use keeping::*;
pub use making::*;
pub use measured::*;
pub use reaching::*;
pub use sharing::*;

mod billing;
mod buying;
mod climate;
mod counting;
mod intake;
mod keeping;
mod making;
mod measured;
mod reaching;
mod sharing;

diesel::table! {
    clubs (id) {
        id -> BigInt,
        name -> Text,
        currency -> Text,
        time_zone -> Text,
        created_at -> Timestamp,
        yearly_limit -> Nullable<BigInt>,
        by_products_by -> Text,
        litre_worth -> Nullable<BigInt>,
        hour_rate -> Nullable<BigInt>,
        kwh_price -> Nullable<BigInt>,
        tolerance_permille -> BigInt,
        tolerance_pieces -> BigInt,
    }
}

diesel::table! {
    counters (club_id, name) {
        club_id -> BigInt,
        name -> Text,
        last -> BigInt,
    }
}

diesel::table! {
    persons (id) {
        id -> BigInt,
        email -> Text,
        name -> Text,
        password_hash -> Text,
        created_at -> Timestamp,
    }
}

diesel::table! {
    members (id) {
        id -> BigInt,
        club_id -> BigInt,
        person_id -> BigInt,
        name -> Text,
        role -> Text,
        joined_on -> Date,
        left_on -> Nullable<Date>,
    }
}

diesel::table! {
    sessions (id) {
        id -> BigInt,
        secret_hash -> Text,
        person_id -> BigInt,
        member_id -> BigInt,
        created_at -> Timestamp,
        seen_at -> Timestamp,
        ends_at -> Timestamp,
        device -> Text,
    }
}

diesel::table! {
    invitations (id) {
        id -> BigInt,
        club_id -> BigInt,
        secret_hash -> Text,
        name -> Text,
        role -> Text,
        invited_by -> BigInt,
        created_at -> Timestamp,
        ends_at -> Timestamp,
        used_at -> Nullable<Timestamp>,
        withdrawn_at -> Nullable<Timestamp>,
        member_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    tokens (id) {
        id -> BigInt,
        club_id -> BigInt,
        member_id -> BigInt,
        secret_hash -> Text,
        label -> Text,
        scope -> Text,
        created_at -> Timestamp,
        ends_at -> Nullable<Timestamp>,
        revoked_at -> Nullable<Timestamp>,
        used_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    set_ups (id) {
        id -> BigInt,
        secret_hash -> Text,
        created_at -> Timestamp,
        ends_at -> Timestamp,
        used_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    audit (id) {
        id -> BigInt,
        club_id -> Nullable<BigInt>,
        person_id -> Nullable<BigInt>,
        at -> Timestamp,
        what -> Text,
        address -> Text,
    }
}

diesel::table! {
    items (id) {
        id -> BigInt,
        club_id -> BigInt,
        name -> Text,
        folded -> Text,
        kind -> Text,
        unit -> Text,
        density_micro -> Nullable<BigInt>,
        allergens -> Text,
        value_per_unit -> Nullable<BigInt>,
        low_at -> Nullable<BigInt>,
        sugar_mg_per_kg -> Nullable<BigInt>,
        lactose_mg_per_kg -> Nullable<BigInt>,
        fat_mg_per_kg -> Nullable<BigInt>,
        casein_mg_per_kg -> Nullable<BigInt>,
        splits_lactose -> Bool,
        made_for_mbar -> Nullable<BigInt>,
    }
}

diesel::table! {
    places (id) {
        id -> BigInt,
        club_id -> BigInt,
        within -> Nullable<BigInt>,
        name -> Text,
        path -> Text,
        folded -> Text,
        capacity -> Nullable<BigInt>,
    }
}

diesel::table! {
    batches (id) {
        id -> BigInt,
        club_id -> BigInt,
        code -> Text,
        name -> Text,
        base_volume -> Nullable<BigInt>,
        planned_on -> Date,
        created_by -> BigInt,
        came_from -> Nullable<BigInt>,
        stage -> Text,
        pitched_on -> Nullable<Date>,
        recipe_revision_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    entries (id) {
        id -> BigInt,
        club_id -> BigInt,
        kind -> Text,
        code -> Nullable<Text>,
        day -> Date,
        recorded_at -> Timestamp,
        recorded_by -> BigInt,
        batch_id -> Nullable<BigInt>,
        bottling_id -> Nullable<BigInt>,
        reverses -> Nullable<BigInt>,
        remark -> Text,
        moved_as -> Nullable<Text>,
        moved_pitched_on -> Nullable<Date>,
        moved_first_gravity -> Nullable<BigInt>,
        moved_strength -> Nullable<BigInt>,
        happened_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    lots (id) {
        id -> BigInt,
        club_id -> BigInt,
        item_id -> BigInt,
        code -> Text,
        entry_id -> BigInt,
        batch_id -> Nullable<BigInt>,
        received_on -> Date,
        best_before -> Nullable<Date>,
        supplier -> Text,
        supplier_mark -> Text,
    }
}

diesel::table! {
    bottlings (id) {
        id -> BigInt,
        club_id -> BigInt,
        batch_id -> BigInt,
        lot_id -> BigInt,
        entry_id -> BigInt,
        code -> Text,
        bottled_on -> Date,
        bottles -> BigInt,
        broken -> BigInt,
        bottle_volume -> BigInt,
        lost_volume -> BigInt,
        strength_micro -> Nullable<BigInt>,
        strength_basis -> Text,
    }
}

diesel::table! {
    accounts (id) {
        id -> BigInt,
        club_id -> BigInt,
        key -> Text,
        kind -> Text,
        lot_id -> Nullable<BigInt>,
        place_id -> Nullable<BigInt>,
        batch_id -> Nullable<BigInt>,
        member_id -> Nullable<BigInt>,
        opened_on -> Date,
        quantity -> BigInt,
        cost -> BigInt,
    }
}

diesel::table! {
    postings (entry_id, line) {
        entry_id -> BigInt,
        line -> BigInt,
        club_id -> BigInt,
        account_id -> BigInt,
        day -> Date,
        quantity -> BigInt,
        cost -> BigInt,
    }
}

diesel::table! {
    readings (id) {
        id -> BigInt,
        club_id -> BigInt,
        batch_id -> BigInt,
        at -> Timestamp,
        kind -> Text,
        read_micro -> BigInt,
        sample_micro_c -> Nullable<BigInt>,
        value_micro -> BigInt,
        remark -> Text,
        recorded_by -> BigInt,
        recorded_at -> Timestamp,
        struck_at -> Nullable<Timestamp>,
        struck_by -> Nullable<BigInt>,
        struck_because -> Text,
        instrument_id -> Nullable<BigInt>,
        import_id -> Nullable<BigInt>,
        source -> Text,
    }
}

diesel::table! {
    tasting_ages (id) {
        id -> BigInt,
        club_id -> BigInt,
        bottling_id -> BigInt,
        age_days -> BigInt,
        falls_on -> Date,
        by_warmth -> Bool,
    }
}

diesel::table! {
    requests (club_id, member_id, key) {
        club_id -> BigInt,
        member_id -> BigInt,
        key -> Text,
        fingerprint -> Text,
        answer -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    tastings (id) {
        id -> BigInt,
        club_id -> BigInt,
        code -> Text,
        title -> Text,
        host_id -> BigInt,
        pourer_id -> Nullable<BigInt>,
        day -> Date,
        place -> Text,
        blind -> Bool,
        method -> Text,
        question -> Text,
        expected -> Nullable<BigInt>,
        pour_volume -> BigInt,
        planned_at -> Timestamp,
        begun_at -> Nullable<Timestamp>,
        opened_at -> Nullable<Timestamp>,
        called_off_at -> Nullable<Timestamp>,
        called_off_because -> Text,
    }
}

diesel::table! {
    tasting_samples (id) {
        id -> BigInt,
        club_id -> BigInt,
        tasting_id -> BigInt,
        number -> BigInt,
        bottling_id -> BigInt,
        entry_id -> Nullable<BigInt>,
        bag -> Nullable<BigInt>,
    }
}

diesel::table! {
    tasting_glasses (id) {
        id -> BigInt,
        club_id -> BigInt,
        tasting_id -> BigInt,
        sample_id -> BigInt,
        code -> BigInt,
    }
}

diesel::table! {
    attributes (club_id, number) {
        club_id -> BigInt,
        number -> BigInt,
        name -> Text,
        low_end -> Text,
        high_end -> Text,
    }
}

diesel::table! {
    tasting_attributes (tasting_id, number) {
        tasting_id -> BigInt,
        number -> BigInt,
        club_id -> BigInt,
        name -> Text,
        low_end -> Text,
        high_end -> Text,
    }
}

diesel::table! {
    tasting_sheets (id) {
        id -> BigInt,
        club_id -> BigInt,
        tasting_id -> BigInt,
        member_id -> BigInt,
        may_taste -> Nullable<Bool>,
        asked -> Text,
        serving -> Text,
        handed_in_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    tasting_answers (sheet_id, glass_id) {
        sheet_id -> BigInt,
        glass_id -> BigInt,
        club_id -> BigInt,
        place -> Nullable<BigInt>,
        words -> Text,
        saved_at -> Timestamp,
    }
}

diesel::table! {
    tasting_marks (sheet_id, glass_id, attribute) {
        sheet_id -> BigInt,
        glass_id -> BigInt,
        attribute -> BigInt,
        club_id -> BigInt,
        mark -> BigInt,
    }
}

diesel::allow_tables_to_appear_in_same_query!(
    clubs,
    counters,
    persons,
    members,
    sessions,
    invitations,
    tokens,
    set_ups,
    audit,
    items,
    places,
    batches,
    entries,
    lots,
    bottlings,
    accounts,
    postings,
    steps,
    step_records,
    step_readings,
    recipes,
    recipe_revisions,
    recipe_supplies,
    recipe_by_products,
    recipe_steps,
    plan_supplies,
    reasons,
    vessels,
    fillings,
    holds,
    walking_order,
    counts,
    count_lines,
    tallies,
    readings,
    tasting_ages,
    reminders,
    reminders_gone,
    reach,
    letters,
    letter_lines,
    requests,
    tastings,
    tasting_samples,
    tasting_glasses,
    attributes,
    tasting_attributes,
    tasting_sheets,
    tasting_answers,
    tasting_marks,
    instruments,
    reading_imports,
    reading_weeks,
    by_product_shares,
    efforts,
    shares,
    wishes,
    intakes,
    intake_parts,
    intake_things,
    intake_columns,
    climate_readings,
    climate_days,
    upkeep,
    bills,
    bill_parts,
    openings,
    substitutes,
);
