//! The files of an archive and their columns, each tied to a column of the database: export and import both follow
//! this table and nothing else. `tests/archive.rs` compares it with the schema, so that no table and no column is
//! forgotten.

use chrono_tz::Tz;

use super::files::{Derive, File, Scope, has, may};
use crate::domain::archive::Kind;
use crate::domain::batches::Stage;
use crate::domain::books::EntryKind;
use crate::domain::costs::by_products::By;
use crate::domain::members::Role;
use crate::domain::reminders::ReminderKind;
use crate::domain::tastings::Method;
use crate::units::quantity::BaseUnit;

use Kind::{Day, Flag, Id, Instant, Number, Of, Text, Word};
use measured::{BY_PRODUCT_SHARES, EFFORTS, INSTRUMENTS, READING_IMPORTS, READINGS};

pub use left_out::LEFT_OUT;

mod bills;
mod cellar;
mod climate;
mod counting;
mod left_out;
mod measured;
mod recipes;
mod shares;
mod steps;
mod stores;

const ROLE: Kind = Word(|word| Role::from_name(word).is_some());
const STAGE: Kind = Word(|word| Stage::from_code(word).is_some());
const UNIT: Kind = Word(|word| BaseUnit::from_sign(word).is_some());
const ZONE: Kind = Word(|word| word.parse::<Tz>().is_ok());
const CURRENCY: Kind = Word(|word| word.len() == 3 && word.bytes().all(|byte| byte.is_ascii_uppercase()));
const COUNTED: Kind = Word(|word| ["batch", "lot", "receipt", "tasting", "count"].contains(&word));
/// The codes of glasses in their order.
const CODES: Kind = Word(|word| word.split(' ').all(|code| code.parse().is_ok_and(|code: u16| code < 1000)));
const QUANTITY: Kind = Number(3);
const COST: Kind = Number(6);
const MEASURED: Kind = Number(6);
const WHOLE: Kind = Number(0);

/// Every file, each after those that it names, but for what [`Kind::Of`] names further down.
pub const FILES: &[File] = &[
    File {
        name: "clubs.csv",
        table: "clubs",
        says: "The club itself: one row.",
        scope: Scope::Itself,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("name", Text),
            has("currency", CURRENCY).says("ISO 4217; every cost is in it"),
            has("time_zone", ZONE).says("decides which day it is"),
            has("created_at", Instant),
            may("yearly_limit", QUANTITY)
                .says("how much it may make in a calendar year, mL, as it says itself"),
            has("by_products_by", Word(|word| By::from_code(word).is_some()))
                .says("how by-products carry cost from now on"),
            may("litre_worth", COST).says("what a litre of drink counts for beside by-products"),
            may("hour_rate", COST).says("what an hour of work counts for, beside the books"),
            may("kwh_price", COST).says("what a kilowatt-hour costs, beside the books"),
            has("tolerance_permille", WHOLE)
                .says("how far a count may be off, of what is weighed or measured"),
            has("tolerance_pieces", WHOLE).says("the same, of what is counted"),
        ],
        derived: &[],
    },
    File {
        name: "counters.csv",
        table: "counters",
        says: "The last number given to a batch, a lot, a receipt, a tasting, a count.",
        scope: Scope::Club,
        keys: &[],
        columns: &[has("name", COUNTED), has("last", WHOLE)],
        derived: &[],
    },
    File {
        name: "persons.csv",
        table: "persons",
        says: "The persons behind the members, and others named in the audit log. Passwords are not here.",
        scope: Scope::Persons,
        keys: &["id"],
        columns: &[has("id", Id), has("email", Text), has("name", Text), has("created_at", Instant)],
        derived: &[("password_hash", Derive::Empty)],
    },
    File {
        name: "members.csv",
        table: "members",
        says: "Who is or was in the club.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("person_id", Of("persons.csv")),
            has("name", Text),
            has("role", ROLE),
            has("joined_on", Day),
            may("left_on", Day),
        ],
        derived: &[],
    },
    File {
        name: "audit.csv",
        table: "audit",
        says: "The audit log: who was let in or refused, whose rights changed, what left the house.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            may("person_id", Of("persons.csv")),
            has("at", Instant),
            has("what", Text),
            has("address", Text).says("where the request came from"),
        ],
        derived: &[],
    },
    stores::ITEMS,
    stores::PLACES,
    stores::UPKEEP,
    stores::SUBSTITUTES,
    recipes::RECIPES,
    recipes::REVISIONS,
    recipes::SUPPLIES,
    recipes::BY_PRODUCTS,
    recipes::STEPS,
    File {
        name: "batches.csv",
        table: "batches",
        says: "Makings of a drink.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("code", Text),
            has("name", Text),
            may("base_volume_ml", QUANTITY).kept_as("base_volume"),
            has("planned_on", Day),
            has("created_by", Of("members.csv")),
            may("came_from", Of("batches.csv")).says("the batch that was split"),
            has("stage", STAGE),
            may("pitched_on", Day),
            may("recipe_revision_id", Of("recipe_revisions.csv")).says("by which it was made"),
        ],
        derived: &[],
    },
    File {
        name: "entries.csv",
        table: "entries",
        says: "The journal: one event a row. Its lines are in postings.csv.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("kind", Word(|word| EntryKind::from_code(word).is_some())),
            may("code", Text),
            has("day", Day),
            has("recorded_at", Instant),
            has("recorded_by", Of("members.csv")),
            may("batch_id", Of("batches.csv")),
            may("bottling_id", Of("bottlings.csv")),
            may("reverses", Of("entries.csv")),
            has("remark", Text),
            may("moved_as", STAGE).says("how far the drink was that a split or blend moved"),
            may("moved_pitched_on", Day),
            may("moved_first_gravity", MEASURED),
            may("moved_strength_percent", MEASURED).kept_as("moved_strength"),
            may("happened_at", Instant).says("where it was sent later than it happened"),
        ],
        derived: &[],
    },
    File {
        name: "lots.csv",
        table: "lots",
        says: "Identified quantities of an item.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("item_id", Of("items.csv")),
            has("code", Text),
            has("entry_id", Of("entries.csv")),
            may("batch_id", Of("batches.csv")),
            has("received_on", Day),
            may("best_before", Day),
            has("supplier", Text),
            has("supplier_mark", Text),
        ],
        derived: &[],
    },
    File {
        name: "bottlings.csv",
        table: "bottlings",
        says: "Fillings of a batch into bottles.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("batch_id", Of("batches.csv")),
            has("lot_id", Of("lots.csv")),
            has("entry_id", Of("entries.csv")),
            has("code", Text),
            has("bottled_on", Day),
            has("bottles", WHOLE),
            has("broken", WHOLE),
            has("bottle_volume_ml", QUANTITY).kept_as("bottle_volume"),
            has("lost_volume_ml", QUANTITY).kept_as("lost_volume"),
            may("strength_percent", MEASURED).kept_as("strength_micro").says("% vol at 20 °C"),
            has("strength_basis", Text),
        ],
        derived: &[],
    },
    stores::OPENINGS,
    File {
        name: "accounts.csv",
        table: "accounts",
        says: "The accounts of the books with what they hold: the sum of their postings.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            // Which words are known is seen when the key is derived.
            has("kind", Word(|word| word.bytes().all(|byte| byte.is_ascii_lowercase()))),
            may("lot_id", Of("lots.csv")),
            may("place_id", Of("places.csv")),
            may("batch_id", Of("batches.csv")),
            may("member_id", Of("members.csv")),
            has("opened_on", Day),
            has("quantity", QUANTITY).says("in the unit of the item; of a batch in mL"),
            has("cost", COST),
        ],
        derived: &[("key", Derive::AccountKey)],
    },
    File {
        name: "postings.csv",
        table: "postings",
        says: "The lines of the journal. The costs of an entry add up to zero.",
        scope: Scope::Club,
        keys: &["entry_id", "line"],
        columns: &[
            has("entry_id", Of("entries.csv")),
            has("line", WHOLE),
            has("account_id", Of("accounts.csv")),
            has("day", Day),
            has("quantity", QUANTITY).says("into the account; below zero out of it"),
            has("cost", COST),
        ],
        derived: &[],
    },
    BY_PRODUCT_SHARES,
    EFFORTS,
    climate::READINGS,
    climate::DAYS,
    shares::SHARES,
    shares::WISHES,
    INSTRUMENTS,
    READING_IMPORTS,
    READINGS,
    File {
        name: "tasting_ages.csv",
        table: "tasting_ages",
        says: "Ages at which a bottling should be tasted.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("bottling_id", Of("bottlings.csv")),
            has("age_days", WHOLE),
            has("falls_on", Day),
            has("by_warmth", Flag).says("the age is counted in days at 15 °C"),
        ],
        derived: &[],
    },
    File {
        name: "reminders.csv",
        table: "reminders",
        says: "What somebody should do by a day.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("key", Text).says("what it is about: the same is never made twice"),
            has("kind", Word(|word| ReminderKind::from_code(word).is_some())),
            has("due_on", Day),
            has("text", Text),
            may("member_id", Of("members.csv")),
            may("bottling_id", Of("bottlings.csv")),
            may("batch_id", Of("batches.csv")),
            may("lot_id", Of("lots.csv")),
            may("item_id", Of("items.csv")),
            may("place_id", Of("places.csv")),
            has("made_at", Instant),
            may("done_at", Instant),
            may("done_by", Of("members.csv")),
            has("revision", WHOLE).says("how often it was changed"),
        ],
        derived: &[],
    },
    cellar::REASONS,
    cellar::VESSELS,
    cellar::FILLINGS,
    cellar::HOLDS,
    steps::STEPS,
    steps::RECORDS,
    steps::READINGS,
    File {
        name: "plan_supplies.csv",
        table: "plan_supplies",
        says: "Supplies that a batch is planned to draw.",
        scope: Scope::Club,
        keys: &["batch_id", "item_id"],
        columns: &[
            has("batch_id", Of("batches.csv")),
            has("item_id", Of("items.csv")),
            has("line", WHOLE),
            has("amount", QUANTITY),
        ],
        derived: &[],
    },
    File {
        name: "attributes.csv",
        table: "attributes",
        says: "What the club marks on lines; number 0 is the whole.",
        scope: Scope::Club,
        keys: &["number"],
        columns: &[has("number", WHOLE), has("name", Text), has("low_end", Text), has("high_end", Text)],
        derived: &[],
    },
    File {
        name: "tastings.csv",
        table: "tastings",
        says: "Tastings.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("code", Text),
            has("title", Text),
            has("host_id", Of("members.csv")),
            may("pourer_id", Of("members.csv")),
            has("day", Day),
            has("place", Text),
            has("blind", Flag),
            has("method", Word(|word| Method::from_code(word).is_some())),
            has("question", Text),
            may("expected", WHOLE),
            has("pour_volume_ml", QUANTITY).kept_as("pour_volume"),
            has("planned_at", Instant),
            may("begun_at", Instant),
            may("opened_at", Instant).says("when the key was opened"),
            may("called_off_at", Instant),
            has("called_off_because", Text),
        ],
        derived: &[],
    },
    File {
        name: "tasting_samples.csv",
        table: "tasting_samples",
        says: "What is poured at a tasting.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("tasting_id", Of("tastings.csv")),
            has("number", WHOLE),
            has("bottling_id", Of("bottlings.csv")),
            may("entry_id", Of("entries.csv")).says("what took its bottles out of the cellar"),
            may("bag", WHOLE),
        ],
        derived: &[],
    },
    File {
        name: "tasting_glasses.csv",
        table: "tasting_glasses",
        says: "Coded glasses.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("tasting_id", Of("tastings.csv")),
            has("sample_id", Of("tasting_samples.csv")),
            has("code", WHOLE),
        ],
        derived: &[],
    },
    File {
        name: "tasting_attributes.csv",
        table: "tasting_attributes",
        says: "What is marked at a tasting, as the club’s list was when it began.",
        scope: Scope::Club,
        keys: &["tasting_id", "number"],
        columns: &[
            has("tasting_id", Of("tastings.csv")),
            has("number", WHOLE),
            has("name", Text),
            has("low_end", Text),
            has("high_end", Text),
        ],
        derived: &[],
    },
    File {
        name: "tasting_sheets.csv",
        table: "tasting_sheets",
        says: "The sheets of tasters.",
        scope: Scope::Club,
        keys: &["id"],
        columns: &[
            has("id", Id),
            has("tasting_id", Of("tastings.csv")),
            has("member_id", Of("members.csv")),
            may("may_taste", Flag).says("the answer to the list of allergens"),
            has("asked", Text).says("the allergens that were asked"),
            has("serving", CODES).says("codes of the glasses in their order"),
            may("handed_in_at", Instant),
        ],
        derived: &[],
    },
    File {
        name: "tasting_answers.csv",
        table: "tasting_answers",
        says: "What a sheet says of a glass.",
        scope: Scope::Club,
        keys: &["sheet_id", "glass_id"],
        columns: &[
            has("sheet_id", Of("tasting_sheets.csv")),
            has("glass_id", Of("tasting_glasses.csv")),
            may("place", WHOLE).says("in the order, or 1 for the chosen one"),
            has("words", Text),
            has("saved_at", Instant),
        ],
        derived: &[],
    },
    File {
        name: "tasting_marks.csv",
        table: "tasting_marks",
        says: "Marks on lines.",
        scope: Scope::Club,
        keys: &["sheet_id", "glass_id", "attribute"],
        columns: &[
            has("sheet_id", Of("tasting_sheets.csv")),
            has("glass_id", Of("tasting_glasses.csv")),
            has("attribute", WHOLE),
            has("mark", Number(1)).says("0 to 10"),
        ],
        derived: &[],
    },
    counting::WALKING_ORDER,
    counting::COUNTS,
    counting::COUNT_LINES,
    counting::TALLIES,
    bills::BILLS,
    bills::PARTS,
];
