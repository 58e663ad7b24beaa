//! The files as they stand: one type a file, one field a column, and the line of every row for who has to
//! mend it. What a cell means (how much, which item) is read where it is recorded.

use chrono::NaiveTime;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer};

use super::Error;
use crate::actions;
use crate::domain::plans::StepKind;
use crate::domain::refusal::Refusal;

/// A file of `seeds/` inside the program.
pub(super) struct Embedded {
    name: &'static str,
    text: &'static str,
}

macro_rules! embedded {
    ($($name:ident: $file:literal),* $(,)?) => {$(
        pub(super) const $name: Embedded =
            Embedded { name: $file, text: include_str!(concat!("../../../seeds/", $file)) };
    )*};
}

embedded! {
    CLUB: "club.toml",
    MEMBERS: "members.csv",
    PLACES: "places.csv",
    ITEMS: "items.csv",
    RECEIPTS: "receipts.csv",
    DIARY: "diary.csv",
    READINGS: "readings.csv",
    PLANS: "plans.csv",
    BOTTLINGS: "bottlings.csv",
    WITHDRAWALS: "withdrawals.csv",
    MOVES: "moves.csv",
    COUNTS: "counts.csv",
    REVERSALS: "reversals.csv",
    TASTINGS: "tastings.csv",
    SHEETS: "sheets.csv",
    INSTRUMENTS: "instruments.csv",
    EFFORTS: "efforts.csv",
    LOGGER: "logger.csv",
    CLIMATE: "climate.csv",
    RECIPES: "recipes.toml",
    MAKING: "making.csv",
    VESSELS: "vessels.csv",
    FILLINGS: "fillings.csv",
    HOLDS: "holds.csv",
    STOCKTAKINGS: "stocktakings.csv",
    FINDS: "finds.csv",
    SHARES: "shares.csv",
    WISHES: "wishes.csv",
    UPKEEP: "upkeep.csv",
}

/// Where a row stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// In which file of `seeds/`.
    pub file: &'static str,
    /// The first line of the file is 1.
    pub line: u64,
}

impl Line {
    /// The head of a file, for what is wrong with the whole of it.
    pub(super) const fn first(file: &'static str) -> Self {
        Self { file, line: 1 }
    }

    /// The error that this row was not recorded.
    pub(super) fn failed(self, why: actions::Error) -> Error {
        Error::Row { at: self, why }
    }

    /// The error that this row cannot be meant.
    pub(super) fn refused(self, refusal: Refusal) -> Error {
        self.failed(refusal.into())
    }
}

/// A row with its line.
#[derive(Debug, Clone)]
pub(super) struct Row<T> {
    pub at: Line,
    cells: T,
}

impl<T> std::ops::Deref for Row<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.cells
    }
}

impl Embedded {
    /// All rows in the order of the file.
    pub(super) fn rows<T: DeserializeOwned>(&self) -> Result<Vec<Row<T>>, Error> {
        let mut reader = csv::Reader::from_reader(self.text.as_bytes());
        let mut rows = Vec::new();
        let mut records = reader.deserialize();
        loop {
            let at = Line { file: self.name, line: records.reader().position().line() };
            match records.next() {
                Some(Ok(cells)) => rows.push(Row { at, cells }),
                Some(Err(why)) => return Err(at.refused(Refusal::unfit("", why))),
                None => return Ok(rows),
            }
        }
    }
}

/// `club.toml`.
pub(super) fn club() -> Result<ClubFile, Error> {
    toml::from_str(CLUB.text).map_err(|why| Line::first(CLUB.name).refused(Refusal::unfit("", why)))
}

/// `recipes.toml`, revision by revision.
pub(super) fn recipes() -> Result<Vec<Row<RecipeRow>>, Error> {
    #[derive(Deserialize)]
    struct File {
        revision: Vec<toml::Spanned<RecipeRow>>,
    }
    let file: File = toml::from_str(RECIPES.text)
        .map_err(|why| Line::first(RECIPES.name).refused(Refusal::unfit("", why)))?;
    let row = |found: toml::Spanned<RecipeRow>| {
        let before = RECIPES.text.get(..found.span().start).unwrap_or_default();
        let line = u64::try_from(before.matches('\n').count()).unwrap_or(0) + 1;
        Row { at: Line { file: RECIPES.name, line }, cells: found.into_inner() }
    };
    Ok(file.revision.into_iter().map(row).collect())
}

fn time<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveTime, D::Error> {
    let text = String::deserialize(from)?;
    NaiveTime::parse_from_str(&text, "%H:%M").map_err(serde::de::Error::custom)
}

/// The club itself.
#[derive(Debug, Deserialize)]
pub(super) struct ClubFile {
    pub name: String,
    pub currency: String,
    pub time_zone: String,
    pub password: String,
    pub sign_in_as: String,
}

/// `instruments.csv`.
#[derive(Debug, Deserialize)]
pub(super) struct InstrumentRow {
    pub name: String,
    pub kind: String,
    pub made_for_c: String,
    pub offset: String,
    pub checked_days_ago: u32,
}

/// `efforts.csv`: work, energy, and readings with an instrument of the club.
#[derive(Debug, Deserialize)]
pub(super) struct EffortRow {
    pub days_ago: u32,
    #[serde(deserialize_with = "time")]
    pub time: NaiveTime,
    pub by: String,
    pub batch: String,
    pub kind: String,
    pub amount: String,
    pub sum: String,
    pub note: String,
    pub instrument: String,
}

/// `logger.csv`: what a logger in one vat measured.
#[derive(Debug, Deserialize)]
pub(super) struct LoggerRow {
    pub batch: String,
    pub days_ago: u32,
    #[serde(deserialize_with = "time")]
    pub time: NaiveTime,
    pub temperature: String,
}

/// `climate.csv`: what was read at places.
#[derive(Debug, Deserialize)]
pub(super) struct ClimateRow {
    pub place: String,
    pub days_ago: u32,
    #[serde(deserialize_with = "time")]
    pub time: NaiveTime,
    pub temperature: String,
    pub humidity: String,
}

/// `members.csv`; the first of them founds the club.
#[derive(Debug, Deserialize)]
pub(super) struct MemberRow {
    pub name: String,
    pub email: String,
    pub role: String,
    pub joined_days_ago: u32,
}

/// `places.csv`
#[derive(Debug, Deserialize)]
pub(super) struct PlaceRow {
    pub name: String,
    pub within: String,
    pub capacity: Option<u32>,
}

/// `items.csv`
#[derive(Debug, Deserialize)]
pub(super) struct ItemRow {
    pub name: String,
    pub kind: String,
    pub unit: String,
    pub density_g_per_ml: String,
    pub allergens: String,
    pub value_per_unit: String,
    pub low_at: String,
    pub sugar_g_per_kg: String,
    pub lactose_g_per_kg: String,
    pub fat_g_per_kg: String,
    pub casein_g_per_kg: String,
    pub splits_lactose: String,
    pub made_for_bar: String,
}

/// Declares the row of an event: when it was recorded and by whom, and the columns of its own.
macro_rules! event_row {
    ($(#[$doc:meta])* $name:ident, by $by:ident { $($(#[$attr:meta])* $field:ident: $type:ty,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Deserialize)]
        pub(super) struct $name {
            pub days_ago: u32,
            #[serde(deserialize_with = "time")]
            pub time: NaiveTime,
            pub by: String,
            $($(#[$attr])* pub $field: $type,)*
        }

        impl EventRow for $name {
            fn stamp(&self) -> (u32, NaiveTime, &str) {
                (self.days_ago, self.time, &self.$by)
            }
        }
    };
}

/// A row that says when it was recorded and by whom.
pub(super) trait EventRow: DeserializeOwned + Clone {
    /// Days ago, the time of that day, the member's name.
    fn stamp(&self) -> (u32, NaiveTime, &str);
}

event_row! {
    /// `receipts.csv`: one line of a receipt.
    ReceiptRow, by by {
        receipt: String,
        paid_by: String,
        item: String,
        quantity: String,
        cost: String,
        place: String,
        best_before_in_days: Option<u32>,
        supplier: String,
    }
}

/// What an entry of the diary is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Deed {
    Plan,
    Draw,
    Pitch,
    ByProduct,
    LossNormal,
    LossAbnormal,
    Rack,
    Split,
    Blend,
    Close,
    Abandon,
}

event_row! {
    /// `diary.csv`: one line of an entry on a batch.
    DiaryRow, by by {
        key: String,
        batch: String,
        what: Deed,
        item: String,
        quantity: String,
        place: String,
        note: String,
        extra: String,
    }
}

event_row! {
    /// `readings.csv`
    ReadingRow, by by {
        batch: String,
        kind: String,
        value: String,
        sample_temperature_c: String,
        note: String,
    }
}

event_row! {
    /// `plans.csv`: a way to a strength that became a planned batch.
    PlanRow, by by {
        name: String,
        base: String,
        amount: String,
        goal: String,
        share_boiled: String,
        route: String,
    }
}

event_row! {
    /// `recipes.toml`: a revision of a recipe.
    RecipeRow, by by {
        recipe: String,
        drink: String,
        base: String,
        base_amount: String,
        supplies: Vec<(String, String)>,
        by_products: Vec<(String, String)>,
        strength: String,
        #[serde(default)]
        sugar_g_l: String,
        months: String,
        note: String,
        steps: Vec<StepRow>,
    }
}

/// A step of a revision.
#[derive(Debug, Clone, Deserialize)]
#[serde(default)]
pub(super) struct StepRow {
    pub kind: StepKind,
    pub what: String,
    pub item: String,
    pub amount: String,
    pub target_c: String,
    pub minutes: String,
    pub caution: String,
}

impl Default for StepRow {
    fn default() -> Self {
        let empty = String::new;
        Self {
            kind: StepKind::Note,
            what: empty(),
            item: empty(),
            amount: empty(),
            target_c: empty(),
            minutes: empty(),
            caution: empty(),
        }
    }
}

event_row! {
    /// `bottlings.csv`
    BottlingRow, by by {
        bottling: String,
        batch: String,
        bottles: u32,
        bottle_volume: String,
        lost_volume: String,
        place: String,
        tasting_ages_days: String,
        packaging: String,
        because: String,
    }
}

event_row! {
    /// `withdrawals.csv`
    WithdrawalRow, by by {
        key: String,
        bottling: String,
        bottles: u32,
        reason: String,
        member: String,
        place: String,
    }
}

event_row! {
    /// `moves.csv`
    MoveRow, by by {
        item_or_bottling: String,
        quantity: String,
        from: String,
        to: String,
    }
}

event_row! {
    /// `counts.csv`: the second person is the one who posts it.
    CountRow, by posted_by {
        posted_by: String,
        item_or_bottling: String,
        place: String,
        counted: String,
        note: String,
    }
}

event_row! {
    /// `stocktakings.csv`: a count of places; of the day of loading where it was no days ago.
    StocktakingRow, by by {
        key: String,
        counters: String,
        posted_by: String,
        places: String,
        title: String,
        left: usize,
    }
}

event_row! {
    /// `reversals.csv`
    ReversalRow, by by {
        which: String,
        reason: String,
    }
}

/// `vessels.csv`
#[derive(Debug, Clone, Deserialize)]
pub(super) struct VesselRow {
    pub code: String,
    pub material: String,
    pub capacity: String,
    pub safe_filling: String,
    pub place: String,
    pub closure: String,
    pub worn: String,
    pub marks: String,
}

event_row! {
    /// `fillings.csv`: what was done to a vessel.
    FillingRow, by by {
        what: String,
        vessel: String,
        batch: String,
        volume: String,
        into: String,
        temperature: String,
        because: String,
    }
}

event_row! {
    /// `holds.csv`: the bottles of a bottling held back, or released.
    HoldRow, by by {
        bottling: String,
        what: String,
        all: String,
        reason: String,
    }
}

event_row! {
    /// `tastings.csv`
    TastingRow, by by {
        key: String,
        in_days: Option<u32>,
        title: String,
        place: String,
        method: String,
        pour: String,
        samples: String,
        tasters: String,
        pourer: String,
    }
}

/// `sheets.csv`: what a taster says of one glass.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct SheetRow {
    pub tasting: String,
    pub taster: String,
    pub bottling: String,
    pub marks: String,
    pub words: String,
}
