//! What the columns of a table may be, and by what names they are known.

use super::{Kind, in_brackets};
use crate::units::text::folded;

/// What cells of a column are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Words.
    Words,
    /// Numbers.
    Number,
    /// Days, or days with times.
    Day,
}

/// What a column may hold.
#[derive(Debug, PartialEq, Eq)]
pub struct Field {
    /// As in the API.
    pub code: &'static str,
    /// For people.
    pub label: &'static str,
    /// Without it nothing can be brought in.
    pub must: bool,
    /// What its cells are.
    pub shape: Shape,
    /// Other names by which a column may be known, without spaces.
    names: &'static [&'static str],
}

impl Field {
    const fn must(
        code: &'static str,
        label: &'static str,
        shape: Shape,
        names: &'static [&'static str],
    ) -> Self {
        Self { code, label, must: true, shape, names }
    }

    const fn may(
        code: &'static str,
        label: &'static str,
        shape: Shape,
        names: &'static [&'static str],
    ) -> Self {
        Self { code, label, must: false, shape, names }
    }

    /// Whether a heading says that this is in the column.
    pub(super) fn is_called(&self, heading: &str) -> bool {
        let bare = match in_brackets(heading) {
            Some(_) => heading.split(['(', '[']).next().unwrap_or_default(),
            None => heading,
        };
        let bare = letters(bare);
        bare == letters(self.code) || bare == letters(self.label) || self.names.contains(&bare.as_str())
    }
}

fn letters(text: &str) -> String {
    folded(text).chars().filter(|sign| sign.is_alphanumeric()).collect()
}

use Shape::{Day, Number, Words};

const ITEMS: &[Field] = &[
    Field::must("name", "Name", Words, &["item", "what", "article", "description"]),
    Field::must("kind", "Kind", Words, &["type", "category"]),
    Field::must("unit", "Counted in", Words, &["units", "measure"]),
    Field::may("density_g_per_ml", "Density, g/mL", Number, &["density"]),
    Field::may("allergens", "Allergens", Words, &["allergen", "contains"]),
    Field::may("value", "Worth of one kg, L or piece", Number, &["value", "worth"]),
    Field::may("low_at", "Low at", Number, &["minimum", "low"]),
    Field::may("made_for_bar", "Made for, bar", Number, &["pressure", "madefor"]),
    Field::may("sugar_g_per_kg", "Sugar, g/kg", Number, &["sugar"]),
    Field::may("lactose_g_per_kg", "Lactose, g/kg", Number, &["lactose"]),
    Field::may("fat_g_per_kg", "Fat, g/kg", Number, &["fat"]),
    Field::may("casein_g_per_kg", "Casein, g/kg", Number, &["casein"]),
    Field::may("splits_lactose", "Splits lactose", Words, &["lactase"]),
];

const PLACES: &[Field] = &[
    Field::must("name", "Name", Words, &["place", "path", "location", "where"]),
    Field::may("within", "Within", Words, &["in", "room", "inside"]),
    Field::may("capacity", "Bottles it takes", Number, &["bottles", "capacitybottles"]),
];

const MEMBERS: &[Field] = &[
    Field::must("name", "Name", Words, &["member", "who", "person"]),
    Field::may("role", "Role", Words, &["may"]),
    Field::may("joined_on", "Joined on", Day, &["since", "joined", "membersince"]),
];

const LOTS: &[Field] = &[
    Field::must("item", "Item", Words, &["name", "what", "article"]),
    Field::must("quantity", "How much", Number, &["amount", "howmuch", "stock", "instock"]),
    Field::may("unit", "Unit", Words, &["units", "measure"]),
    Field::must("cost", "Cost in all", Number, &["paid", "value", "costs"]),
    Field::must("place", "Place", Words, &["location", "where", "shelf"]),
    Field::may("day", "Came on", Day, &["received", "bought", "date", "receivedon", "day"]),
    Field::may("best_before", "Best before", Day, &["useby", "expires", "expiry", "bbd"]),
    Field::may("supplier", "Who sold it", Words, &["soldby", "vendor", "from"]),
    Field::may("supplier_mark", "Supplier’s lot mark", Words, &["lot", "lotmark", "mark", "batch"]),
];

const BATCHES: &[Field] = &[
    Field::must("name", "Drink", Words, &["name", "batch", "title"]),
    Field::must("day", "Begun on", Day, &["date", "started", "begun", "start", "planned", "plannedon"]),
    Field::may("base_volume", "Base", Number, &["basevolume", "milk", "juice"]),
    Field::may("volume", "Volume now", Number, &["volume", "volumenow"]),
    Field::may("cost", "Cost so far", Number, &["cost", "costs", "paid"]),
    Field::may("stage", "Stage", Words, &["state", "howfar"]),
    Field::may("pitched_on", "Yeast pitched on", Day, &["pitched", "yeast", "pitchedon"]),
    Field::may("place", "Place", Words, &["where", "location"]),
    Field::may("allergens", "Allergens", Words, &["allergen", "contains"]),
];

const READINGS: &[Field] = &[
    Field::must("batch", "Batch", Words, &["batchnumber", "number", "code", "drink"]),
    Field::must("at", "When", Day, &["date", "day", "when", "measuredat", "timestamp"]),
    Field::may("time", "Time of day", Words, &["hour", "clock"]),
    Field::may("gravity", "Gravity", Number, &["sg", "specificgravity", "density"]),
    Field::may("brix", "Sugar, °Brix", Number, &["brix", "refractometer"]),
    Field::may("temperature", "Temperature, °C", Number, &["temperature", "temp"]),
    Field::may("ph", "pH", Number, &[]),
    Field::may("acidity", "Acidity, g/L", Number, &["acidity", "acid", "ta"]),
    Field::may("free-sulphite", "Free sulphite, mg/L", Number, &["freesulphite", "freeso2", "so2"]),
    Field::may("volume", "Volume, L", Number, &["volume"]),
    Field::may("kind", "What was read", Words, &["reading", "what"]),
    Field::may("value", "Value", Number, &["as read", "read"]),
    Field::may("sample_temperature_c", "Sample, °C", Number, &["sample", "sampletemperature"]),
    Field::may("remark", "Remark", Words, &["note", "notes", "comment"]),
];

const BOTTLES: &[Field] = &[
    Field::must("batch", "Batch", Words, &["batchname", "lot"]),
    Field::may("name", "Drink", Words, &["drink", "wine", "title"]),
    Field::must("bottled_on", "Bottled on", Day, &["bottled", "date", "day", "filled"]),
    Field::must("bottles", "Bottles", Number, &["left", "count", "quantity", "howmany"]),
    Field::must("bottle_volume", "Bottle size", Number, &["size", "bottlesize", "volume"]),
    Field::must("cost", "Cost of a bottle", Number, &["cost", "costperbottle", "price"]),
    Field::must("place", "Place", Words, &["where", "location", "shelf"]),
    Field::must("allergens", "Allergens", Words, &["allergen", "contains"]),
    Field::may("strength", "Strength, % vol", Number, &["strength", "abv", "alcohol", "vol"]),
    Field::may("tasting_ages_days", "Tasting ages, days", Words, &["tastingages", "ages"]),
];

pub(super) const fn of(kind: Kind) -> &'static [Field] {
    match kind {
        Kind::Items => ITEMS,
        Kind::Places => PLACES,
        Kind::Members => MEMBERS,
        Kind::Lots => LOTS,
        Kind::Batches => BATCHES,
        Kind::Readings => READINGS,
        Kind::Bottles => BOTTLES,
    }
}
