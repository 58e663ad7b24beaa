//! The record of a batch: one document with everything that was kept of it, to be printed or shown to whoever inspects
//! the cellar. What was reversed or struck out stays in it and is marked. Where the bottles went is told in numbers: no
//! document that leaves the house names who took them.

use std::collections::BTreeMap;

use askama::Template;

use super::{mass, readings};
use crate::db::batches::{self as rows, Batch, Part, Reading};
use crate::db::books::{self, Told, Which};
use crate::db::bottles::{self, Bottling};
use crate::db::stock::{self, Supplier};
use crate::db::{AnyConn, Failure, cautions, costs, efforts, steps, trace, vessels};
use crate::domain::books::{Account, EntryKind};
use crate::domain::costs::{BatchCost, CostLine, Effect};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::steps::Step;
use crate::units::days::{self, Day};
use crate::units::ids::{BatchId, LotId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::paper::{self, Grid, GridRow, Paper};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::spreadsheet;
use crate::web::steps::told;
use crate::web::{trail, words};

/// Entries, and readings by hand, that are told one by one; of more the document says so.
const ENTRIES: i64 = 1000;
const READINGS: i64 = 500;

/// A part of the document: words, then a table.
#[derive(Debug, Clone, Default)]
pub struct Section {
    /// Its heading.
    pub name: &'static str,
    /// Sentences under it.
    pub says: Vec<String>,
    /// The heads of its table, and whether figures stand under them.
    pub heads: Vec<(&'static str, bool)>,
    /// Its rows.
    pub rows: Vec<Vec<String>>,
}

impl Section {
    fn new(name: &'static str, heads: &[(&'static str, bool)]) -> Self {
        Self { name, heads: heads.to_vec(), ..Self::default() }
    }
}

/// The document.
pub struct Record {
    /// The batch.
    pub batch: Batch,
    /// Its parts.
    pub sections: Vec<Section>,
}

#[derive(Template)]
#[template(path = "batches/record.html")]
struct RecordPage {
    frame: Frame,
    href: String,
    code: String,
    drink: String,
    made: String,
    sections: Vec<Section>,
}

/// What it is made of.
struct Material {
    batch: Batch,
    told: Vec<Told>,
    more: bool,
    by_hand: Vec<Reading>,
    more_readings: bool,
    imports: Vec<rows::Import>,
    lines: Vec<CostLine>,
    suppliers: BTreeMap<LotId, Supplier>,
    bottlings: Vec<(Bottling, Vec<String>, Vec<Told>, i64)>,
    given: Vec<cautions::Given>,
    efforts: Vec<efforts::Effort>,
    steps: Vec<Step>,
    stands: Vec<vessels::In>,
    held: Milli,
}

/// Loads it; none where there is no such batch.
pub fn find(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Record>, Failure> {
    let club = doer.club;
    let Some((batch, balance, recoveries, _)) = mass::find(conn, doer, id)? else { return Ok(None) };
    let mut told = books::tell(conn, club, Which::Batch(id), None, ENTRIES + 1)?;
    let more = told.len() > usize::try_from(ENTRIES).unwrap_or_default();
    told.reverse();
    let mut by_hand = rows::part(conn, club, id, &Part::by_hand(READINGS + 1))?;
    let more_readings = by_hand.len() > usize::try_from(READINGS).unwrap_or_default();
    by_hand.truncate(usize::try_from(READINGS).unwrap_or_default());
    let lines = costs::of_batch(conn, id, None)?;
    let lots: Vec<LotId> = lines.iter().filter_map(|line| line.lot.as_ref().map(|lot| lot.0)).collect();
    let mut bottlings = Vec::new();
    for bottling in bottles::of_batch(conn, club, id)? {
        let gone = books::tell(conn, club, Which::Bottling(bottling.id), None, ENTRIES)?;
        let left = stock::shelves(conn, club, stock::Shelved::Lot(bottling.lot))?;
        let left = left.iter().map(|shelf| shelf.holding.quantity.get() / 1000).sum();
        bottlings.push((trace::allergens(conn, bottling.lot)?, gone, left, bottling));
    }
    let material = Material {
        told,
        more,
        by_hand,
        more_readings,
        imports: rows::imports(conn, club, id, 100)?,
        suppliers: stock::suppliers_of(conn, club, &lots)?,
        lines,
        bottlings: bottlings
            .into_iter()
            .map(|(allergens, gone, left, one)| (one, allergens, gone, left))
            .collect(),
        given: cautions::given(conn, club, cautions::Which::Batch(id), READINGS)?,
        efforts: efforts::efforts(conn, club, &[id])?,
        steps: steps::steps(conn, club, id)?,
        stands: vessels::of_batch(conn, id)?,
        held: rows::standing(conn, club, id)?.holding.quantity,
        batch,
    };
    let mut sections = material.sections(doer);
    let at = sections.len() - 1;
    sections.insert(at, mass_section(&balance, &recoveries));
    Ok(Some(Record { batch: material.batch, sections }))
}

impl Material {
    fn sections(&self, doer: &Doer) -> Vec<Section> {
        let mut found = vec![self.what(doer), self.supplies()];
        if !self.steps.is_empty() {
            let heads = [("Step", false), ("When, and who", false), ("Measured", false), ("Remarks", false)];
            let mut steps = Section::new("Steps", &heads);
            steps.rows = told::rows(&self.steps, doer);
            found.push(steps);
        }
        found.extend([self.entries(doer), self.readings(doer)]);
        if !self.given.is_empty() {
            found.push(self.cautions(doer));
        }
        found.extend([self.by_products(doer), self.losses(doer), self.bottlings(doer), self.cost(doer)]);
        found
    }

    fn what(&self, doer: &Doer) -> Section {
        let batch = &self.batch;
        let mut section = Section::new("What it is", &[("", false), ("", false)]);
        let mut row = |name: &str, value: String| section.rows.push(vec![name.to_owned(), value]);
        row("Batch", batch.code.clone());
        row("Drink", batch.name.clone());
        row("Stage", batch.stage.label().to_owned());
        row("Put on paper", days::long(batch.planned_on));
        row("Yeast pitched", batch.pitched_on.map_or_else(|| "not yet".to_owned(), days::long));
        row("In bulk now", self.held.shown(BaseUnit::Millilitre));
        for vessel in &self.stands {
            let since = format!("{}, {}, since {}", vessel.code, vessel.place, days::long(vessel.since));
            row("Stands in vessel", since);
        }
        row("Club", doer.club_name.clone());
        section
    }

    fn supplies(&self) -> Section {
        let heads = [
            ("Day", false),
            ("Supply", false),
            ("How much", true),
            ("Lot", false),
            ("Supplier", false),
            ("Use by", false),
        ];
        let mut section = Section::new("Supplies", &heads);
        let drawn = |line: &&CostLine| matches!(line.kind, EntryKind::Draw | EntryKind::Pitch);
        for line in self.lines.iter().filter(drawn) {
            let supplier = line.lot.as_ref().and_then(|lot| self.suppliers.get(&lot.0));
            let receipt = line.receipt.as_ref().and_then(|receipt| receipt.1.clone());
            let lot = line.lot.as_ref().map(|lot| lot.1.clone()).unwrap_or_default();
            section.rows.push(vec![
                day(line.day),
                line.what.clone(),
                line.quantity.shown(line.unit),
                [lot, receipt.unwrap_or_default()].join(" ").trim().to_owned(),
                supplier
                    .map(|one| [one.name.as_str(), one.mark.as_str()].join(" ").trim().to_owned())
                    .unwrap_or_default(),
                supplier.and_then(|one| one.best_before).map(day).unwrap_or_default(),
            ]);
        }
        for line in
            self.lines.iter().filter(|line| line.effect() == Effect::Came && line.other_batch.is_some())
        {
            let quantity = line.quantity.shown(line.unit);
            let from = "another batch".to_owned();
            section.rows.push(vec![
                day(line.day),
                line.what.clone(),
                quantity,
                String::new(),
                from,
                String::new(),
            ]);
        }
        if section.rows.is_empty() {
            section.says.push("Nothing has been drawn.".to_owned());
        }
        section
    }

    fn entries(&self, doer: &Doer) -> Section {
        let mut section = Section::new(
            "Entries, in the order in which they were written",
            &[("When, and who", false), ("What", false), ("Remarks", false)],
        );
        if self.more {
            section.says.push(format!("These are the latest {ENTRIES}; earlier ones stand in the books."));
        }
        for told in &self.told {
            let row = trail::row(told, doer);
            let mut what = format!("{}. {}", row.title, row.detail);
            if told.reversed.is_some() {
                what = format!("REVERSED: {what}");
            }
            let reasons = row.reasons.iter().map(|(danger, why)| format!("In spite of “{danger}”: {why}"));
            let back = row.back.iter().map(|back| format!("Reversed {back}"));
            let remark = (!row.remark.is_empty()).then(|| row.remark.clone());
            let remarks: Vec<String> = remark.into_iter().chain(reasons).chain(back).collect();
            section.rows.push(vec![row.when, what, remarks.join(" ")]);
        }
        section
    }

    fn readings(&self, doer: &Doer) -> Section {
        let heads = [("When, and who", false), ("What", false), ("Value", true), ("As read", false)];
        let mut section = Section::new("Readings", &heads);
        for reading in &self.by_hand {
            let row = readings::reading_row(reading, doer);
            let struck = row.struck.map(|why| format!("STRUCK OUT {why}")).unwrap_or_default();
            let said = [row.read, row.remark, struck].into_iter().filter(|part| !part.is_empty());
            section.rows.push(vec![
                format!("{} · {}", row.when, row.by),
                row.what.to_owned(),
                row.value,
                said.collect::<Vec<_>>().join(". "),
            ]);
        }
        if self.more_readings {
            section
                .says
                .push(format!("The first {READINGS} that were read by hand; the file of readings has all."));
        }
        for import in &self.imports {
            let undone = if import.undone_at.is_some() { "; UNDONE" } else { "" };
            section.says.push(format!(
                "{} readings of a logger, file “{}”, brought in by {} on {}{undone}.",
                import.kept,
                import.file_name,
                import.by,
                words::when(import.at, doer)
            ));
        }
        if section.rows.is_empty() {
            section.says.push("Nothing was read by hand.".to_owned());
        }
        section
    }

    fn cautions(&self, doer: &Doer) -> Section {
        let mut section = Section::new(
            "Cautions in spite of which somebody went on",
            &[("When, and who", false), ("Danger", false), ("Why", false)],
        );
        for given in &self.given {
            let who = format!("{} · {}", words::when(given.at, doer), given.by);
            section.rows.push(vec![who, given.danger.clone(), given.words.clone()]);
        }
        section
    }

    fn by_products(&self, doer: &Doer) -> Section {
        let sign = words::sign(&doer.currency);
        let mut section = Section::new(
            "By-products",
            &[
                ("Day", false),
                ("What", false),
                ("How much", true),
                ("Lot", false),
                ("Taken off the cost", true),
            ],
        );
        for line in self.lines.iter().filter(|line| line.effect() == Effect::Deducted) {
            section.rows.push(vec![
                day(line.day),
                line.what.clone(),
                line.quantity.negated().shown(line.unit),
                line.lot.as_ref().map(|lot| lot.1.clone()).unwrap_or_default(),
                format!("{sign}{}", words::figure(line.cost.negated())),
            ]);
        }
        none(section, "None was weighed off.")
    }

    fn losses(&self, doer: &Doer) -> Section {
        let sign = words::sign(&doer.currency);
        let mut section = Section::new(
            "Losses, and what was moved on",
            &[("Day", false), ("What", false), ("How much", true), ("Cost that went with it", true)],
        );
        let bottled = |line: &&CostLine| line.effect() == Effect::Went && line.kind != EntryKind::Bottling;
        for line in self.lines.iter().filter(bottled) {
            if line.quantity == Milli::ZERO && line.cost == Money::ZERO {
                continue;
            }
            let cost = format!("{sign}{}", words::figure(line.cost.negated()));
            section.rows.push(vec![
                day(line.day),
                line.what.clone(),
                line.quantity.negated().shown(BaseUnit::Millilitre),
                cost,
            ]);
        }
        none(section, "None was recorded.")
    }

    fn bottlings(&self, _: &Doer) -> Section {
        let heads = [
            ("Lot", false),
            ("Day", false),
            ("Bottles", true),
            ("Strength", false),
            ("Allergens", false),
            ("Where they went", false),
        ];
        let mut section = Section::new("Bottlings", &heads);
        for (bottling, allergens, gone, left) in &self.bottlings {
            let strength = bottling.strength.map_or_else(
                || "not known".to_owned(),
                |strength| format!("about {:.1} % vol", strength.number()),
            );
            let reversed = gone.iter().any(|told| told.id == bottling.entry && told.reversed.is_some());
            let code = if reversed { format!("REVERSED: {}", bottling.code) } else { bottling.code.clone() };
            section.rows.push(vec![
                code,
                day(bottling.bottled_on),
                format!("{} of {}", bottling.bottles, bottling.bottle_volume.shown(BaseUnit::Millilitre)),
                strength,
                if allergens.is_empty() { "none stated".to_owned() } else { allergens.join(", ") },
                where_they_went(gone, *left),
            ]);
        }
        none(section, "Nothing of it is in bottles.")
    }

    fn cost(&self, doer: &Doer) -> Section {
        let cost = BatchCost::of(self.lines.clone());
        let effort: Money = self.efforts.iter().filter(|one| one.struck.is_none()).map(|one| one.cost).sum();
        let mut section = Section::new("Cost", &[("", false), ("", true)]);
        let said = |amount: Money| words::money(&doer.currency, amount);
        let mut row = |name: &str, amount: Money| section.rows.push(vec![name.to_owned(), said(amount)]);
        row("Supplies, and drink from other batches", cost.came());
        row("By-products", cost.deducted());
        row("The drink", cost.drink());
        row("Left with bottles, losses and other batches", cost.went().negated());
        row("Still in the batch", cost.held());
        if effort > Money::ZERO {
            row("Work and energy, beside the books", effort);
        }
        section
    }
}

fn none(mut section: Section, says: &str) -> Section {
    if section.rows.is_empty() {
        section.says.push(says.to_owned());
    }
    section
}

/// "12 taken by members, 3 opened for tastings, 1 broken or spoilt, 4 left".
fn where_they_went(gone: &[Told], left: i64) -> String {
    let mut counts: BTreeMap<&str, i64> = BTreeMap::new();
    for told in gone.iter().filter(|told| told.kind == EntryKind::Withdrawal && told.reversed.is_none()) {
        let stock = told.lines.iter().filter(|line| matches!(line.account, Account::Stock { .. }));
        let bottles: i64 = stock.map(|line| line.quantity.get() / -1000).sum();
        let to = told.lines.iter().find_map(|line| match line.account {
            Account::Member(_) => Some("taken by members"),
            Account::Tasted => Some("opened for tastings"),
            Account::Given => Some("given away"),
            Account::Lost => Some("broken or spoilt"),
            _ => None,
        });
        *counts.entry(to.unwrap_or("gone otherwise")).or_default() += bottles;
    }
    let gone = counts.into_iter().map(|(to, count)| format!("{count} {to}"));
    gone.chain([format!("{left} left")]).collect::<Vec<_>>().join(", ")
}

fn mass_section(
    balance: &crate::domain::yields::Balance,
    recoveries: &[crate::domain::yields::Recovery],
) -> Section {
    let mut section = Section::new("Mass balance and yields", &[("", false), ("", true)]);
    let whole = balance.whole();
    for (side, parts) in [("in", &whole.ins), ("out", &whole.outs)] {
        for (name, grams, about) in parts {
            let about = if *about { "about " } else { "" };
            section.rows.push(vec![format!("{}, {side}", words::capital(name)), format!("{about}{grams} g")]);
        }
    }
    section.rows.push(vec!["Not accounted for".to_owned(), format!("{} g", whole.unaccounted)]);
    for recovery in recoveries {
        section.rows.push(vec![recovery.name.clone(), format!("{:.1} %", recovery.percent)]);
    }
    section
}

fn day(day: Day) -> String {
    days::iso(day)
}

/// Shows the record.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let Record { batch, sections } = found.ok_or_else(|| Problem::missing("batch"))?;
    let page = RecordPage {
        href: site.at(&format!("/batches/{id}")),
        made: made(&who),
        sections,
        frame: site.frame(&who, Room::Batches, &format!("Record of batch {}", batch.code), facts),
        code: batch.code,
        drink: batch.name,
    };
    respond::page(&page)
}

fn made(doer: &Doer) -> String {
    format!("{}, {}, made by {}", doer.club_name, days::long(doer.today()), doer.name)
}

/// The record as a file to print.
pub async fn pdf(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (_, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let Record { batch, sections } = found.ok_or_else(|| Problem::missing("batch"))?;
    let leaving =
        spreadsheet::leaving(&site, &who, &format!("exported the record of batch {}", batch.code)).await?;
    let mut paper = Paper::new(&format!("Record of batch {}", batch.code), made(&who))?;
    paper.part(&format!("Record of batch {}, {}", batch.code, batch.name));
    for section in &sections {
        paper.heading(section.name);
        for words in &section.says {
            paper.say(words);
        }
        if !section.rows.is_empty() {
            let heads = section.heads.iter().map(|(head, figures)| ((*head).to_owned(), *figures)).collect();
            let rows =
                section.rows.iter().map(|cells| GridRow { cells: cells.clone(), sum: false }).collect();
            paper.grid(&Grid { heads, rows });
        }
    }
    paper
        .whisper("Reversed and struck-out lines stay in the record and do not count. “About” marks a guide.");
    paper::file(&leaving, &format!("record-{}.pdf", batch.code), paper)
}
