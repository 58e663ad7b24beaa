//! Batches: the list, a new one, and the page of one batch, which answers how far it is and what comes next.

use askama::Template;

pub mod mass;
pub mod read;
pub mod task;

use super::body::Form;
use super::entries::trail_of;
use super::extract::{Paging, Path, Query};
use super::form_page::FormPage;
use super::forms::Field;
use super::frame::Frame;
use super::pictures::{Curve, Mark, curve, stem};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::trail::Trail;
use super::words;
use crate::actions::batches as acts;
use crate::db::batches::{self as rows, Batch, Reading};
use crate::db::books::{self, Which};
use crate::db::bottles::{self, Bottling};
use crate::db::reminders::Facts;
use crate::db::{AnyConn, Failure};
use crate::domain::batches::{Stage, Standing};
use crate::domain::books::Holding;
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::yields::{Basis, Story, Strength};
use crate::units::days;
use crate::units::ids::{BatchId, EntryId, ReadingId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::BaseUnit;

use task::Task;

/// Entries on one page of a batch.
const TRAIL: i64 = 20;
/// Batches on one page of the list.
const LIST: i64 = 40;

/// The list of batches.
#[derive(Template)]
#[template(path = "batches/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    may_record: bool,
    views: Vec<(String, String, bool)>,
    rows: Vec<ListRow>,
    more: Option<String>,
}

struct ListRow {
    href: String,
    name: String,
    code: String,
    stage: &'static str,
    when: String,
    holds: String,
    stem: String,
}

/// Which batches the list shows.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Sift {
    /// `open` (not ended: the default), a stage, or `all`.
    pub stage: Option<String>,
}

fn stages(sift: Option<&str>) -> Vec<Stage> {
    match sift {
        None | Some("open" | "") => {
            Stage::ALL.into_iter().filter(|stage| !stage.ended() && *stage != Stage::LaidDown).collect()
        }
        Some(code) => Stage::from_code(code).into_iter().collect(),
    }
}

/// Shows the list.
pub async fn list(who: Onlooker, site: Site, sift: Query<Sift>, paging: Paging<BatchId>) -> Reply {
    let chosen = sift.draft.typed("stage").filter(|stage| !stage.is_empty());
    let wanted = stages(chosen.as_deref());
    let after = paging.after;
    let read = site.read(&who, move |conn, doer| {
        let batches = rows::batches(conn, doer.club, &wanted, after, LIST + 1)?;
        let ids: Vec<BatchId> = batches.iter().map(|batch| batch.id).collect();
        Ok((batches, rows::holdings(conn, &ids)?, rows::gravity_ends(conn, &ids)?))
    });
    let (facts, (batches, holdings, ends)) = read.await?;
    let more = (batches.len() > 40).then(|| {
        let stage = chosen.as_deref().unwrap_or("open");
        site.at(&format!("/batches?stage={stage}&after={}", batches[39].id))
    });
    let views = [
        ("open", "Under way"),
        ("laid-down", "Laid down"),
        ("closed", "Closed"),
        ("abandoned", "Abandoned"),
        ("all", "All"),
    ];
    let current = chosen.unwrap_or_else(|| "open".to_owned());
    let page = ListPage {
        lead: match facts.working {
            0 => "Nothing is working just now.".to_owned(),
            1 => "One batch is working.".to_owned(),
            working => format!("{working} batches are working."),
        },
        may_record: who.role >= Role::Cellarhand,
        views: views
            .map(|(code, name)| {
                (site.at(&format!("/batches?stage={code}")), name.to_owned(), code == current)
            })
            .into(),
        rows: batches.iter().take(40).map(|batch| list_row(&site, &who, batch, &holdings, &ends)).collect(),
        more,
        frame: site.frame(&who, Room::Batches, "Batches", facts),
    };
    respond::page(&page)
}

type Ends = Vec<(BatchId, Measured, Measured, days::Instant)>;

fn list_row(
    site: &Site,
    doer: &Doer,
    batch: &Batch,
    holdings: &[(BatchId, Holding)],
    ends: &Ends,
) -> ListRow {
    let holding = holdings.iter().find(|row| row.0 == batch.id).map(|row| row.1).unwrap_or_default();
    let gravity = ends.iter().find(|row| row.0 == batch.id && batch.stage == Stage::Working);
    ListRow {
        href: site.at(&format!("/batches/{}", batch.id)),
        name: batch.name.clone(),
        code: batch.code.clone(),
        stage: batch.stage.label(),
        when: match batch.pitched_on {
            Some(day) if batch.stage == Stage::Working => format!("day {}", (doer.today() - day).num_days()),
            _ => days::short(batch.planned_on, doer.today()),
        },
        holds: if holding.quantity.get() > 0 {
            holding.quantity.shown(BaseUnit::Millilitre)
        } else {
            String::new()
        },
        stem: gravity.map(|(_, first, last, _)| gauge(*first, *last).2).unwrap_or_default(),
    }
}

/// How far the gravity has come towards 1.000, where most drinks end: the fraction, a sentence, and the ruled scale.
pub fn gauge(first: Measured, last: Measured) -> (f64, String, String) {
    let (first_sg, last_sg) = (first.number(), last.number());
    let way = first_sg - EXPECTED_END;
    let gone = if way > 0.0005 { ((first_sg - last_sg) / way).clamp(0.0, 1.0) } else { 0.0 };
    let shown = |value: Measured| value.shown(ReadingKind::Gravity);
    let percent = format!("about {:.0} %", gone * 100.0);
    let says = format!("{percent} of the way from {} to {EXPECTED_END:.4}", shown(first));
    let left = format!("{}, {percent} of the way", shown(last));
    let picture = stem(gone, &says, &left, &format!("ends about {EXPECTED_END:.3}"), None);
    (gone, says, picture)
}

/// The gravity at which a drink that has fermented out is expected to stand: common practice, no source.
const EXPECTED_END: f64 = 1.000;

/// Shows the form of a new batch.
pub async fn new_form(hand: Cellarhand, site: Site) -> Reply {
    let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
    let frame = site.frame(&hand, Room::Batches, "Start a batch", facts);
    let view = plan_form(&site, &hand);
    respond::page(&FormPage::new(frame, Some((site.at("/batches"), "Batches".to_owned())), view))
}

fn plan_form(site: &Site, doer: &Doer) -> super::forms::FormView {
    site.form("/batches", "Start a batch", "Put it on paper")
        .intro("Nothing is drawn yet: that comes next.")
        .fields([
            Field::text("name", "What will it be").hint("The name of the drink, such as Heather mead."),
            Field::text("base_volume", "How much base there is")
                .hint("Milk, juice or must, such as 60 L. Leave it empty if you do not know yet."),
            Field::day("day", "Day").value(days::long(doer.today())),
        ])
        .leave(site.at("/batches"))
}

/// Puts a batch on paper.
pub async fn new(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let plan = read::plan(&form.draft, &hand)?;
        acts::plan(&site.db, &hand, form.key.clone(), plan).await
    };
    match done.await {
        Ok(made) => Ok(site.see_other(&format!("/batches/{}", made.id))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let frame = site.frame(&hand, Room::Batches, "Start a batch", facts);
            let view = form.back(plan_form(&site, &hand), &refusal);
            let up = (site.at("/batches"), "Batches".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), view), &refusal)
        }
    }
}

/// The page of a batch.
#[derive(Template)]
#[template(path = "batches/batch.html")]
struct BatchPage {
    frame: Frame,
    batch: Batch,
    href: String,
    about: String,
    lead: String,
    stem: String,
    first: Option<(String, &'static str)>,
    also: Vec<(String, &'static str)>,
    caution: Option<&'static str>,
    curve: String,
    readings: Vec<ReadingRow>,
    facts: Vec<Fact>,
    bottlings: Vec<(String, String)>,
    origin: Option<(String, String)>,
    trail: Trail,
    request_keys: Vec<String>,
}

struct ReadingRow {
    id: String,
    when: String,
    what: &'static str,
    value: String,
    read: String,
    by: String,
    remark: String,
    struck: Option<String>,
    may_strike: bool,
}

/// A figure with its unit, and how it is worked out.
struct Fact {
    name: &'static str,
    about: bool,
    value: String,
    unit: String,
    how: Option<(String, String)>,
}

/// What the page of a batch is made of.
pub struct Found {
    batch: Batch,
    standing: Standing,
    readings: Vec<Reading>,
    story: Story,
    bottlings: Vec<Bottling>,
    origin: Option<(BatchId, String)>,
    entries: Vec<books::Told>,
}

/// Reads it; `None` where there is no such batch.
pub fn find(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    before: Option<EntryId>,
) -> Result<Option<Found>, Failure> {
    let club = doer.club;
    let batch = match rows::batch(conn, club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let origin = match batch.came_from {
        Some(from) => Some((from, rows::named(conn, club, from)?.0)),
        None => None,
    };
    Ok(Some(Found {
        standing: rows::standing(conn, club, id)?,
        readings: rows::readings(conn, club, id, 200)?,
        story: rows::story(conn, club, id)?,
        bottlings: bottles::of_batch(conn, club, id)?,
        entries: books::tell(conn, club, Which::Batch(id), before, TRAIL + 1)?,
        origin,
        batch,
    }))
}

/// Shows a batch.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>, paging: Paging<EntryId>) -> Reply {
    let (id, before) = (path.0, paging.after);
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id, before)).await?;
    respond::page(&page(&site, &who, facts, found.ok_or_else(|| Problem::missing("batch"))?))
}

/// The page of a batch, from what was read of it.
pub fn page(site: &Site, who: &Doer, facts: Facts, found: Found) -> impl Template + use<> {
    let Found { batch, standing, readings, story, bottlings, origin, mut entries } = found;
    let id = batch.id;
    let href = site.at(&format!("/batches/{id}"));
    let more = (entries.len() > 20).then(|| {
        entries.truncate(20);
        format!("{href}?after={}#en", entries[19].id)
    });
    let gravities: Vec<&Reading> = readings
        .iter()
        .filter(|reading| reading.kind == ReadingKind::Gravity && reading.struck.is_none())
        .collect();
    let under_way = matches!(batch.stage, Stage::Working | Stage::Resting);
    let gauge =
        gravities.first().zip(gravities.last()).filter(|_| under_way).map(|(a, b)| gauge(a.value, b.value));
    let may_record = who.role >= Role::Cellarhand;
    let next = if may_record { Task::next(batch.stage, standing.holding.quantity.get() == 0) } else { &[] };
    let link = |task: &Task| (format!("{href}/{}", task.code()), task.says().0);
    BatchPage {
        about: about(&batch, &standing, who),
        lead: lead(&batch, gauge.as_ref().map(|gauge| gauge.1.as_str()), gravities.last().copied(), who),
        stem: gauge.map(|gauge| gauge.2).unwrap_or_default(),
        first: next.first().map(link),
        also: next.iter().skip(1).map(link).collect(),
        caution: caution(batch.stage),
        curve: gravity_curve(&batch, &gravities, who),
        readings: readings.iter().rev().map(|reading| reading_row(reading, who)).collect(),
        request_keys: readings.iter().map(|_| site.form("", "", "").request_key).collect(),
        facts: figures(&standing, &story, &readings, who),
        bottlings: bottlings
            .iter()
            .map(|bottling| {
                let bottles = words::count(bottling.bottles, "bottle", "bottles");
                let volume = bottling.bottle_volume.shown(BaseUnit::Millilitre);
                let day = days::short(bottling.bottled_on, who.today());
                (
                    site.at(&format!("/bottles/{}", bottling.id)),
                    format!("{}: {bottles} of {volume}, {day}", bottling.code),
                )
            })
            .collect(),
        origin: origin.map(|(from, code)| (site.at(&format!("/batches/{from}")), code)),
        trail: trail_of(site, who, &entries, more),
        frame: site.frame(who, Room::Batches, &format!("Batch {}, {}", batch.code, batch.name), facts),
        batch,
        href,
    }
}

fn about(batch: &Batch, standing: &Standing, doer: &Doer) -> String {
    let mut parts = vec![format!("Batch {}", batch.code)];
    let day =
        batch.pitched_on.filter(|_| batch.stage == Stage::Working).map(|day| (doer.today() - day).num_days());
    parts.push(match day {
        Some(day) => format!("{}, day {day}", batch.stage.label()),
        None => batch.stage.label().to_owned(),
    });
    if standing.holding.quantity.get() > 0 {
        parts.push(standing.holding.quantity.shown(BaseUnit::Millilitre));
    }
    parts.join(" · ")
}

fn lead(batch: &Batch, far: Option<&str>, last: Option<&Reading>, doer: &Doer) -> String {
    match batch.stage {
        Stage::Planned => "On paper: nothing has been drawn yet.".to_owned(),
        Stage::Preparing => "Supplies are in it. When it is cool, pitch the yeast.".to_owned(),
        Stage::Working => match (far, last) {
            (Some(far), Some(last)) => {
                let day = days::local_day(last.at, doer.zone);
                let ago = (doer.today() - day).num_days();
                let read = if ago == 0 {
                    "read today".to_owned()
                } else {
                    format!("last read {} ago", days::age(ago))
                };
                format!("Sugar is {far}; {read}.")
            }
            _ => "It is working. Record its gravity to see how far it is.".to_owned(),
        },
        Stage::Resting => "Off the lees or done, in bulk. Bottle it when it is clear and safe.".to_owned(),
        Stage::LaidDown => "All of it is in bottles.".to_owned(),
        Stage::Closed => "Its books are settled.".to_owned(),
        Stage::Abandoned => "It was given up.".to_owned(),
    }
}

const fn caution(stage: Stage) -> Option<&'static str> {
    match stage {
        Stage::Working => Some(
            "It is making gas: an airlock, never a stopper, and air in the room. Carbon dioxide gathers low down; do not \
             go alone into a pit or a closed room where much is working.",
        ),
        Stage::Preparing => Some(
            "Yeast and enzymes go into warm liquid, not hot. Boiling liquid never goes into glass that is not made for it.",
        ),
        _ => None,
    }
}

fn reading_row(reading: &Reading, doer: &Doer) -> ReadingRow {
    let (what, unit) = reading.kind.label();
    let value = reading.value.shown(reading.kind);
    let sample = reading.sample_c.map(|sample| {
        let sample = sample.shown(ReadingKind::Temperature);
        format!("read {} at {sample} °C", reading.read.shown(reading.kind))
    });
    ReadingRow {
        id: reading.id.to_string(),
        when: words::when(reading.at, doer),
        what,
        value: format!("{value} {unit}"),
        read: sample.unwrap_or_default(),
        by: reading.by.clone(),
        remark: reading.remark.clone(),
        struck: reading
            .struck
            .as_ref()
            .map(|(at, by, why)| format!("by {by} on {}: {why}", words::when(*at, doer))),
        may_strike: reading.struck.is_none() && doer.role >= Role::Cellarhand,
    }
}

fn gravity_curve(batch: &Batch, gravities: &[&Reading], doer: &Doer) -> String {
    let Some(first) = gravities.first() else { return String::new() };
    let start = days::local_day(first.at, doer.zone);
    #[allow(clippy::cast_precision_loss, reason = "minutes of a fermentation")]
    let day = |reading: &Reading| (reading.at - first.at).num_minutes() as f64 / 1440.0;
    let points: Vec<(f64, f64)> =
        gravities.iter().map(|reading| (day(reading), reading.value.number())).collect();
    let last = gravities.last().map(|last| last.value.shown(ReadingKind::Gravity)).unwrap_or_default();
    let caption = format!(
        "Gravity of batch {} from {} on {} to {last}, {} later. Each dot is a reading, ± 0.0005, corrected to 20 °C.",
        batch.code,
        first.value.shown(ReadingKind::Gravity),
        days::long(start),
        days::age((days::local_day(gravities[gravities.len() - 1].at, doer.zone) - start).num_days()),
    );
    #[allow(clippy::cast_precision_loss, reason = "days of a fermentation")]
    let marks: Vec<Mark> = batch
        .pitched_on
        .map(|pitched| (pitched - start).num_days() as f64)
        .filter(|day| *day > 0.0)
        .map(|day| Mark { day, text: "pitched" })
        .into_iter()
        .collect();
    curve(&Curve {
        id: "gravity",
        title: "Gravity, day by day",
        caption: &caption,
        points: &points,
        unit: "SG",
        decimals: 3,
        last: &last,
        day_text: &|day| (start + chrono::Duration::days(i64::from(day))).format("%-d %b").to_string(),
        marks: &marks,
    })
}

fn figures(standing: &Standing, story: &Story, readings: &[Reading], doer: &Doer) -> Vec<Fact> {
    let mut found = Vec::new();
    for kind in ReadingKind::ALL {
        let last = readings.iter().rev().find(|reading| reading.kind == kind && reading.struck.is_none());
        if let Some(last) = last.filter(|_| kind != ReadingKind::Volume) {
            let (name, unit) = kind.label();
            found.push(Fact {
                name,
                about: false,
                value: last.value.shown(kind),
                unit: unit.to_owned(),
                how: None,
            });
        }
    }
    if let Some(strength) = story.strength() {
        found.push(strength_fact(&strength));
    }
    found.push(Fact {
        name: "Cost so far, by-products deducted",
        about: false,
        value: standing.holding.cost.shown(),
        unit: words::sign(&doer.currency).trim().to_owned(),
        how: None,
    });
    found
}

fn strength_fact(strength: &Strength) -> Fact {
    let warning = strength.warning.clone().unwrap_or_default();
    let (name, how, source) = match &strength.basis {
        Basis::Gravities { first, last } => (
            "Strength so far, ± 0.3",
            format!("From gravity {first:.4} to {last:.4} at 20 °C. {warning}"),
            "Balling’s balance and Tabarié’s rule solved together; densities of OIML R 22 and ICUMSA. Not a strength for \
             a label: that takes a laboratory."
                .to_owned(),
        ),
        Basis::Whey { whey_litres, split, natural_g, added_g, litres } => (
            "Strength when it has fermented out",
            format!(
                "{whey_litres:.1} L of whey with 47 g/L of lactose, {}, give {natural_g:.0} g of glucose; {added_g:.0} g \
                 of sugar were added; together in {litres:.1} L, at 16.83 g/L for 1 % vol. {warning}",
                if *split { "95 % of it split" } else { "not split by an enzyme, which yeast cannot take" }
            ),
            "Gravity would mislead: whey holds salts, protein and galactose that do not ferment. 16.83 g/L is the \
             convention of the European Union. Galactose is not counted here."
                .to_owned(),
        ),
    };
    Fact {
        name,
        about: true,
        value: format!("{:.1}", strength.vol_percent),
        unit: "% vol".to_owned(),
        how: Some((how, source)),
    }
}

/// Strikes a reading out.
pub async fn strike(hand: Cellarhand, site: Site, path: Path<(BatchId, ReadingId)>, form: Form) -> Reply {
    let (batch, reading) = path.0;
    let done = async {
        let order = read::strike(&form.draft, &hand, reading)?;
        acts::strike_reading(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(batch) => Ok(site.see_other(&format!("/batches/{batch}#rd"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let path = format!("/batches/{batch}/readings/{reading}/strike");
            let view = site
                .form(&path, "Strike a reading out", "Strike it out")
                .intro("It stays in the record and no longer counts.")
                .fields([Field::text("reason", "Why is it struck out?")])
                .leave(site.at(&format!("/batches/{batch}")));
            let frame = site.frame(&hand, Room::Batches, "Strike a reading out", facts);
            let up = (site.at(&format!("/batches/{batch}")), "The batch".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), form.back(view, &refusal)), &refusal)
        }
    }
}
