//! The rows of a table, read one after another into what they ask for.

use std::collections::HashMap;

use super::cells::{NAME, Told};
use super::made::{Bottles, Held, Known, Made, NewBatch, Read, Supply, Underway};
use super::{Found, Kind, LONGEST_CELL, Row, Sheet};
use crate::domain::batches::Stage;
use crate::domain::bottles::{MOST_BOTTLES, read_ages};
use crate::domain::instruments::corrected;
use crate::domain::intake::tables::moments::{self, Moment};
use crate::domain::members::Role;
use crate::domain::stock::places::{Place, WITHIN, path};
use crate::domain::stock::{Item, ItemKind, ReceiptLine};
use crate::units::days::{self, Day, Instant};
use crate::units::ids::PlaceId;
use crate::units::measure::{Measured, ReadingKind};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::{self, folded};

/// No bottle holds more, in thousandths of a millilitre.
const LARGEST: i64 = 60_000_000;

/// Reads rows, and remembers what those before made.
pub struct Reader {
    kind: Kind,
    known: Known,
    today: Day,
    /// In which line a name stood.
    lines: HashMap<String, u64>,
    /// What was said of the drink that bottles of one batch hold.
    drinks: HashMap<String, (String, Vec<String>)>,
}

impl Reader {
    /// Reads rows of this kind for a club that has this.
    pub fn new(kind: Kind, known: Known) -> Self {
        let today = days::local_day(known.now, known.zone);
        Self { kind, known, today, lines: HashMap::new(), drinks: HashMap::new() }
    }

    /// Reads a whole table; `each` is given what is good, with its line, and may say that it is not.
    pub fn read<E>(
        mut self,
        sheet: &Sheet,
        mut each: impl FnMut(u64, Made) -> Result<Result<(), String>, E>,
    ) -> Result<Found, E> {
        let mut found = Found::default();
        for (line, row) in sheet.each() {
            let row = match row {
                Ok(row) => row,
                Err(why) => {
                    found.refuse(line, String::new(), why);
                    continue;
                }
            };
            match self.row(line, &row) {
                Ok(made) => match each(line, made)? {
                    Ok(()) => found.good += 1,
                    Err(why) => found.refuse(line, row.shown(), why),
                },
                Err(why) => found.refuse(line, row.shown(), why),
            }
        }
        Ok(found)
    }

    fn row(&mut self, line: u64, row: &Row) -> Told<Made> {
        for (column, cell) in row.columns.iter().zip(&row.record) {
            if column.field.is_some() && cell.len() > LONGEST_CELL {
                return Err(format!("“{}” has more than {LONGEST_CELL} letters: shorten it", column.heading));
            }
        }
        match self.kind {
            Kind::Items => self.item(line, row).map(|item| Made::Item(Box::new(item))),
            Kind::Places => self.place(line, row).map(Made::Places),
            Kind::Members => self.member(line, row),
            Kind::Lots => self.lot(row).map(Made::Lot),
            Kind::Batches => self.batch(row).map(Made::Batch),
            Kind::Readings => self.readings(row).map(Made::Readings),
            Kind::Bottles => self.bottles(row).map(Made::Bottles),
        }
    }

    /// Refuses a name that stood in an earlier row.
    fn once(&mut self, line: u64, name: &str) -> Told<()> {
        match self.lines.insert(folded(name), line) {
            None => Ok(()),
            Some(before) => {
                self.lines.insert(folded(name), before);
                Err(format!("“{name}” stands in line {before} already"))
            }
        }
    }

    fn item(&mut self, line: u64, row: &Row) -> Told<Item> {
        let name = row.name("name", "a name")?;
        let kinds = ItemKind::ALL.into_iter().filter(|kind| *kind != ItemKind::Drink);
        let kind = row.choice("kind", kinds.map(|kind| (kind.code(), kind)))?;
        let kind = kind.ok_or_else(|| row.empty("kind"))?;
        let units = [
            ("g", BaseUnit::Gram),
            ("kg", BaseUnit::Gram),
            ("mL", BaseUnit::Millilitre),
            ("L", BaseUnit::Millilitre),
            ("piece", BaseUnit::Piece),
            ("pieces", BaseUnit::Piece),
        ];
        let unit = row.choice("unit", units)?.ok_or_else(|| row.empty("unit"))?;
        let value = row.money("value")?;
        let per_unit = |value: Money| {
            let (priced, holds) = unit.priced();
            let fits = value.micros() % holds == 0;
            let words =
                || row.fault("value", format!("Write what one {priced} is worth with at most three places"));
            fits.then(|| Money::from_micros(value.micros() / holds)).ok_or_else(words)
        };
        let item = Item {
            kind,
            unit,
            density_micro: row.near_one("density_g_per_ml", 1_000_000, (300_000, 5_000_000))?,
            allergens: row.allergens()?.unwrap_or_default(),
            value_per_unit: value.map(per_unit).transpose()?,
            low_at: row.amount("low_at", unit)?,
            made_for_mbar: row.scaled("made_for_bar", 1000, (1000, 12_000))?,
            sugar_mg_per_kg: row.scaled("sugar_g_per_kg", 1000, (0, 1_100_000))?,
            lactose_mg_per_kg: row.scaled("lactose_g_per_kg", 1000, (0, 1_100_000))?,
            fat_mg_per_kg: row.scaled("fat_g_per_kg", 1000, (0, 1_100_000))?,
            casein_mg_per_kg: row.scaled("casein_g_per_kg", 1000, (0, 1_100_000))?,
            splits_lactose: row
                .choice("splits_lactose", [("yes", true), ("no", false), ("true", true), ("false", false)])?
                .unwrap_or(false),
            name,
        };
        item.check().map_err(|refusal| refusal.to_string())?;
        if self.known.items.contains_key(&folded(&item.name)) {
            return Err(format!("There is an item “{}” already", item.name));
        }
        self.once(line, &item.name)?;
        Ok(item)
    }

    fn place(&mut self, line: u64, row: &Row) -> Told<Vec<Place>> {
        let name = row.text("name");
        let within = row.text("within");
        let all = if within.is_empty() { name.to_owned() } else { format!("{within}{WITHIN}{name}") };
        if name.is_empty() {
            return Err(row.empty("name"));
        }
        let capacity = row.whole("capacity", 1, i64::from(MOST_BOTTLES))?;
        let mut made: Vec<Place> = Vec::new();
        let mut around: Option<Place> = None;
        for part in all.split(WITHIN.trim()).map(str::trim) {
            let part =
                text::line(part, NAME, "a name for each place").map_err(|why| row.fault("name", why))?;
            let whole = path(around.as_ref().map(|place| place.path.as_str()), &part);
            let whole = whole.map_err(|refusal| row.fault("name", refusal))?;
            around = Some(if let Some(there) = self.known.places.get(&folded(&whole)) {
                there.clone()
            } else {
                let within = around.map(|place| place.id);
                let place = Place { id: PlaceId::fresh(), within, name: part, path: whole, capacity: None };
                made.push(place.clone());
                place
            });
        }
        let Some(own) = made.last_mut() else { return Err(format!("There is a place “{all}” already")) };
        own.capacity = capacity;
        self.once(line, &own.path)?;
        for place in &made {
            self.known.places.insert(folded(&place.path), place.clone());
        }
        Ok(made)
    }

    fn member(&mut self, line: u64, row: &Row) -> Told<Made> {
        let name = row.name("name", "a name")?;
        // Who runs the club is somebody who can sign in.
        let roles =
            Role::ALL.into_iter().filter(|role| *role != Role::Steward).map(|role| (role.name(), role));
        let role = row.choice("role", roles)?.unwrap_or(Role::Taster);
        let joined_on = row.past("joined_on", self.today)?.unwrap_or(self.today);
        if self.known.members.contains(&folded(&name)) {
            return Err(format!("There is a member “{name}” already"));
        }
        self.once(line, &name)?;
        Ok(Made::Member { name, role, joined_on })
    }

    fn lot(&self, row: &Row) -> Told<Supply> {
        let called = row.text("item");
        let (item, kind, unit) = *self.known.items.get(&folded(called)).ok_or_else(|| match called {
            "" => row.empty("item"),
            _ => row.fault(
                "item",
                format!("There is no item “{called}”; bring items in first, or mend the name"),
            ),
        })?;
        if kind == ItemKind::Drink {
            return Err(row.fault("item", "Drinks come in with a table of bottles"));
        }
        let quantity = row.amount("quantity", unit)?.ok_or_else(|| row.empty("quantity"))?;
        let cost = row.money("cost")?.ok_or_else(|| row.fault("cost", "Write what it cost in all, or 0"))?;
        let line = ReceiptLine {
            item,
            quantity,
            cost,
            place: self.place_of(row)?.ok_or_else(|| row.empty("place"))?,
            best_before: row.day("best_before")?,
            supplier: row.line("supplier", "who sold it")?,
            supplier_mark: row.line("supplier_mark", "the supplier’s lot mark")?,
        };
        Ok(Supply { day: row.past("day", self.today)?.unwrap_or(self.today), line })
    }

    fn place_of(&self, row: &Row) -> Told<Option<PlaceId>> {
        let called = row.text("place");
        if called.is_empty() {
            return Ok(None);
        }
        let whole: Vec<&str> = called.split(WITHIN.trim()).map(str::trim).collect();
        let found = self.known.places.get(&folded(&whole.join(WITHIN))).map(|place| place.id);
        let found = found.or_else(|| {
            // A name that only one place has needs none of those around it.
            let name = folded(called);
            let mut of = self.known.places.values().filter(|place| folded(&place.name) == name);
            of.next().filter(|_| of.next().is_none()).map(|place| place.id)
        });
        let words = || {
            row.fault(
                "place",
                format!("There is no place “{called}”, or several; write its names from outside in"),
            )
        };
        found.map(Some).ok_or_else(words)
    }

    fn batch(&self, row: &Row) -> Told<NewBatch> {
        let name = row.name("name", "what drink it is")?;
        let day = row.past("day", self.today)?.ok_or_else(|| row.empty("day"))?;
        let base_volume = row.amount("base_volume", BaseUnit::Millilitre)?;
        let held = match row.amount("volume", BaseUnit::Millilitre)? {
            None => None,
            Some(volume) => Some(self.held(row, day, volume)?),
        };
        let more = ["cost", "stage", "pitched_on"].into_iter().find(|code| !row.text(code).is_empty());
        if let Some(more) = more.filter(|_| held.is_none()) {
            return Err(row.fault(
                more,
                "Write the volume as well, or leave this empty: a planned batch holds nothing",
            ));
        }
        Ok(NewBatch { name, day, base_volume, held })
    }

    fn held(&self, row: &Row, day: Day, volume: Milli) -> Told<Held> {
        let stages = [Stage::Preparing, Stage::Working, Stage::Resting].map(|stage| (stage.code(), stage));
        let pitched_on = row.past("pitched_on", self.today)?;
        let usual = if pitched_on.is_some() { Stage::Working } else { Stage::Preparing };
        let stage = row.choice("stage", stages)?.unwrap_or(usual);
        if stage == Stage::Preparing && pitched_on.is_some() {
            return Err(row.fault("stage", "With yeast in it a batch is working or resting"));
        }
        if let Some(pitched) = pitched_on.filter(|pitched| *pitched < day) {
            let words = format!("{} is before the batch was begun", days::long(pitched));
            return Err(row.fault("pitched_on", words));
        }
        Ok(Held {
            volume,
            cost: row
                .money("cost")?
                .ok_or_else(|| row.fault("cost", "Write what it has cost so far, or 0"))?,
            stage,
            pitched_on: pitched_on.or((stage > Stage::Preparing).then_some(day)),
            place: self.place_of(row)?.ok_or_else(|| row.fault("place", "Write where it stands"))?,
            allergens: row.allergens()?.ok_or_else(|| row.unsaid())?,
        })
    }

    fn batch_of(&self, row: &Row) -> Told<Underway> {
        let called = row.text("batch");
        match self.known.batches.get(&folded(called)) {
            _ if called.is_empty() => Err(row.empty("batch")),
            None => Err(row.fault("batch", format!("There is no batch “{called}”; write its number"))),
            Some(None) => {
                Err(row.fault("batch", format!("Several batches are “{called}”; write its number")))
            }
            Some(Some(found)) if !found.open => {
                Err(row.fault("batch", format!("Batch “{called}” has ended: nothing more is recorded of it")))
            }
            Some(Some(found)) => Ok(*found),
        }
    }

    fn readings(&self, row: &Row) -> Told<Read> {
        let Underway { id: batch, pitched_on, .. } = self.batch_of(row)?;
        let at = self.moment(row)?;
        let day = days::local_day(at, self.known.zone);
        let sample_c = row.number("sample_temperature_c")?;
        let sample_c = sample_c.map(|text| ReadingKind::Temperature.read(&text)).transpose();
        let sample_c = sample_c.map_err(|why| row.fault("sample_temperature_c", why))?;
        let mut values = Vec::new();
        for kind in ReadingKind::ALL {
            values.extend(
                row.number_of(kind.code(), kind == ReadingKind::Gravity)?
                    .map(|text| (kind.code(), kind, text)),
            );
        }
        let kinds = ReadingKind::ALL.into_iter().map(|kind| (kind.code(), kind));
        if let Some(kind) = row.choice("kind", kinds)? {
            let text =
                row.number_of("value", kind == ReadingKind::Gravity)?.ok_or_else(|| row.empty("value"))?;
            values.push(("value", kind, text));
        }
        let mut read = Vec::new();
        for (code, kind, text) in values {
            if kind == ReadingKind::Brix && pitched_on.is_some_and(|pitched| day > pitched) {
                let words =
                    "A refractometer reads alcohol as sugar: once the yeast is in, only a hydrometer counts";
                return Err(row.fault(code, words));
            }
            let shown = kind.read(&text).map_err(|why| row.fault(code, why))?;
            let right = corrected(kind, shown, sample_c.filter(|_| kind == ReadingKind::Gravity), None);
            read.push((kind, shown, right.map_err(|refusal| row.fault(code, refusal))?.0));
        }
        if read.is_empty() {
            return Err("There is no value in this row".to_owned());
        }
        Ok(Read { batch, at, values: read, sample_c, remark: row.line("remark", "a remark")? })
    }

    /// When something was read: a day, perhaps with a time, in the clock of the club.
    fn moment(&self, row: &Row) -> Told<Instant> {
        let (cell, time) = (row.text("at"), row.text("time"));
        if cell.is_empty() {
            return Err(row.empty("at"));
        }
        let bare = || row.date(cell).filter(|_| time.is_empty());
        let at = match bare() {
            // Of a day without a time it is not known whether it was before or after noon.
            Some(day) if day > self.today => self.known.now + chrono::Duration::days(1),
            Some(day) => days::to_utc(day.and_hms_opt(12, 0, 0).unwrap_or_default(), self.known.zone)
                .min(self.known.now),
            None => match moments::read(cell, Some(time), row.order).map_err(|why| row.fault("at", why))? {
                Moment::Exact(at) => at,
                Moment::Local(local) => days::to_utc(local, self.known.zone),
            },
        };
        if days::local_day(at, self.known.zone) > self.today
            || at > self.known.now + chrono::Duration::minutes(5)
        {
            return Err(row.fault("at", "This is still to come; write when it was measured"));
        }
        Ok(at)
    }

    fn bottles(&mut self, row: &Row) -> Told<Bottles> {
        let batch = row.name("batch", "which batch it is")?;
        if self.known.batches.contains_key(&folded(&batch)) {
            let words = format!(
                "There is a batch “{batch}” already; bottle it on its page, or give this another name"
            );
            return Err(row.fault("batch", words));
        }
        let name = row.line("name", "what drink it is")?;
        let name = if name.is_empty() { batch.clone() } else { name };
        let allergens = row.allergens()?.ok_or_else(|| row.unsaid())?;
        if let Some((drink, said)) = self.drinks.get(&folded(&batch)) {
            if *drink != name {
                return Err(row.fault("name", format!("An earlier row of batch “{batch}” says “{drink}”")));
            }
            if *said != allergens {
                let said = if said.is_empty() { "none".to_owned() } else { said.join(", ") };
                return Err(
                    row.fault("allergens", format!("An earlier row of batch “{batch}” says “{said}”"))
                );
            }
        }
        let read = Bottles {
            day: row.past("bottled_on", self.today)?.ok_or_else(|| row.empty("bottled_on"))?,
            bottles: row
                .whole("bottles", 1, i64::from(MOST_BOTTLES))?
                .and_then(|count| u32::try_from(count).ok())
                .ok_or_else(|| row.empty("bottles"))?,
            bottle_volume: row
                .amount("bottle_volume", BaseUnit::Millilitre)?
                .filter(|volume| volume.get() <= LARGEST)
                .ok_or_else(|| row.fault("bottle_volume", "Write what one bottle holds, such as 75 cl"))?,
            cost: row
                .money("cost")?
                .ok_or_else(|| row.fault("cost", "Write what one bottle has cost, or 0"))?,
            place: self.place_of(row)?.ok_or_else(|| row.empty("place"))?,
            strength: row.scaled("strength", 1_000_000, (0, 25_000_000))?.map(Measured::from_micros),
            tasting_ages_days: read_ages(row.text("tasting_ages_days"))
                .map_err(|why| row.fault("tasting_ages_days", why))?,
            batch,
            name,
            allergens,
        };
        self.drinks.entry(folded(&read.batch)).or_insert_with(|| (read.name.clone(), read.allergens.clone()));
        Ok(read)
    }
}
