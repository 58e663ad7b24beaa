//! What can be done to a batch, one form each: draw, pitch, weigh off, rack, read, split, blend, bottle, lose, end.

use super::read;
use crate::actions::{Done, Error, batches as acts, bottles};
use crate::db::batches::{self, Batch, Reading};
use crate::db::stock::{self, Place, StockFilter, Stocked, Units};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::{Stage, Standing};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::stock::{Item, ItemKind};
use crate::units::days;
use crate::units::ids::{BatchId, ItemId};
use crate::units::measure::ReadingKind;
use crate::units::quantity::BaseUnit;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Caution, Choice, Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::{supplies, words};

/// One of the things that can be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the words are those of the trade")]
pub enum Task {
    Draw,
    Pitch,
    ByProduct,
    Reading,
    Rack,
    Split,
    Blend,
    Bottle,
    Loss,
    Close,
    Abandon,
}

impl Task {
    /// All tasks.
    pub const ALL: [Task; 11] = [
        Self::Draw,
        Self::Pitch,
        Self::ByProduct,
        Self::Reading,
        Self::Rack,
        Self::Split,
        Self::Blend,
        Self::Bottle,
        Self::Loss,
        Self::Close,
        Self::Abandon,
    ];

    /// Its place in the address.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Draw => "draw",
            Self::Pitch => "pitch",
            Self::ByProduct => "by-product",
            Self::Reading => "reading",
            Self::Rack => "rack",
            Self::Split => "split",
            Self::Blend => "blend",
            Self::Bottle => "bottle",
            Self::Loss => "loss",
            Self::Close => "close",
            Self::Abandon => "abandon",
        }
    }

    /// From its place in the address.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|task| task.code() == code)
    }

    /// What the link to it says, the heading of its form, and what its button says.
    pub const fn says(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Self::Draw => ("Draw supplies", "Draw supplies into the batch", "Draw them"),
            Self::Pitch => ("Pitch the yeast", "Pitch the yeast", "Record the pitch"),
            Self::ByProduct => {
                ("Weigh off a by-product", "Weigh off a by-product", "Record what was weighed")
            }
            Self::Reading => ("Record a reading", "Record a reading", "Record the reading"),
            Self::Rack => ("Rack, or measure the volume", "Rack, or measure the volume", "Record it"),
            Self::Split => ("Split", "Split part of it into a new batch", "Split it"),
            Self::Blend => ("Blend into another", "Blend part of it into another batch", "Blend it"),
            Self::Bottle => ("Bottle", "Bottle it", "Record the bottling"),
            Self::Loss => ("Record a loss", "Record a loss", "Record the loss"),
            Self::Close => ("Close", "Close the batch", "Close it"),
            Self::Abandon => ("Give it up", "Give the batch up", "Give it up"),
        }
    }

    /// What makes sense next at a stage, the likeliest first.
    pub fn next(stage: Stage, empty: bool) -> &'static [Task] {
        match stage {
            Stage::Planned => &[Self::Draw, Self::Abandon],
            Stage::Preparing => &[
                Self::Draw,
                Self::ByProduct,
                Self::Pitch,
                Self::Reading,
                Self::Rack,
                Self::Split,
                Self::Blend,
                Self::Loss,
                Self::Abandon,
            ],
            Stage::LaidDown => &[Self::Close],
            Stage::Working | Stage::Resting if empty => &[Self::Close, Self::Reading],
            Stage::Working => &[
                Self::Reading,
                Self::Rack,
                Self::Draw,
                Self::ByProduct,
                Self::Bottle,
                Self::Split,
                Self::Blend,
                Self::Loss,
                Self::Pitch,
                Self::Abandon,
            ],
            Stage::Resting => &[
                Self::Bottle,
                Self::Reading,
                Self::Rack,
                Self::Draw,
                Self::Split,
                Self::Blend,
                Self::Loss,
                Self::Pitch,
                Self::Abandon,
            ],
            Stage::Closed | Stage::Abandoned => &[],
        }
    }
}

/// What the forms choose from.
struct Material {
    batch: Batch,
    standing: Standing,
    dairy: bool,
    stock: Vec<Stocked>,
    places: Vec<Place>,
    items: Vec<(ItemId, Item)>,
    others: Vec<Batch>,
    gravities: Vec<Reading>,
    units: Units,
}

fn material(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    draft: &Draft,
) -> Result<Option<Material>, Failure> {
    let club = doer.club;
    let batch = match batches::batch(conn, club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let (mut items, mut lots) = supplies::named(draft, "lines");
    let packaging = supplies::named(draft, "packaging");
    items.extend(packaging.0);
    lots.extend(packaging.1);
    items.extend(draft.typed("item").and_then(|id| id.parse::<ItemId>().ok()));
    let open = [Stage::Planned, Stage::Preparing, Stage::Working, Stage::Resting];
    let readings = batches::readings(conn, club, id, 60)?;
    Ok(Some(Material {
        standing: batches::standing(conn, club, id)?,
        dairy: batches::story(conn, club, id)?.dairy(),
        stock: stock::stock(conn, club, &StockFilter::default(), 2000)?,
        places: stock::places(conn, club)?,
        items: stock::items(conn, club, 1000)?,
        others: batches::batches(conn, club, &open, None, 200)?
            .into_iter()
            .filter(|other| other.id != id)
            .collect(),
        gravities: readings
            .into_iter()
            .filter(|reading| reading.kind == ReadingKind::Gravity && reading.struck.is_none())
            .collect(),
        units: stock::units(conn, club, &items, &lots)?,
        batch,
    }))
}

/// Shows the form of a task.
pub async fn show(hand: Cellarhand, site: Site, path: Path<(BatchId, String)>) -> Reply {
    let (id, task) = which(path.0)?;
    let (facts, found) =
        site.read(&hand, move |conn, doer| material(conn, doer, id, &Draft::default())).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let view = form(&site, &hand, task, &found, &Draft::default());
    let frame = site.frame(&hand, Room::Batches, task.says().1, facts);
    respond::page(&FormPage::new(frame, Some(up(&site, &found.batch)), view))
}

/// Does it.
pub async fn perform(hand: Cellarhand, site: Site, path: Path<(BatchId, String)>, sent: Form) -> Reply {
    let (id, task) = which(path.0)?;
    let draft = sent.draft.clone();
    let (facts, found) = site.read(&hand, move |conn, doer| material(conn, doer, id, &draft)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    match act(&site, &hand, task, &found, &sent).await {
        Ok(to) => Ok(site.see_other(&to)),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(form(&site, &hand, task, &found, &sent.draft), &refusal);
            let frame = site.frame(&hand, Room::Batches, task.says().1, facts);
            respond::refused(&FormPage::new(frame, Some(up(&site, &found.batch)), view), &refusal)
        }
    }
}

fn which((id, task): (BatchId, String)) -> Result<(BatchId, Task), Problem> {
    Task::from_code(&task).map(|task| (id, task)).ok_or_else(|| Problem::missing("page"))
}

fn up(site: &Site, batch: &Batch) -> (String, String) {
    (site.at(&format!("/batches/{}", batch.id)), format!("Batch {}, {}", batch.code, batch.name))
}

async fn act(site: &Site, hand: &Cellarhand, task: Task, found: &Material, sent: &Form) -> Done<String> {
    let (db, draft, key) = (&site.db, &sent.draft, sent.key.clone());
    let id = found.batch.id;
    match task {
        Task::Draw | Task::Pitch => {
            let order = read::draw(draft, hand, id, task == Task::Pitch, &found.units)?;
            acts::draw(db, hand, key, order).await?;
        }
        Task::ByProduct => {
            let order = read::by_product(draft, hand, id, &found.units)?;
            acts::by_product(db, hand, key, order).await?;
        }
        Task::Reading => {
            let readings = read::readings(draft, hand, id)?;
            acts::record_readings(db, hand, key, readings).await.map_err(beside_its_field)?;
        }
        Task::Rack => {
            acts::record_racking(db, hand, key, read::racking(draft, hand, id)?).await?;
        }
        Task::Split => {
            let made = acts::record_transfer(db, hand, key, read::split(draft, hand, id)?).await?;
            return Ok(format!("/batches/{}", made.into));
        }
        Task::Blend => {
            acts::record_transfer(db, hand, key, read::blend(draft, hand, id)?).await?;
        }
        Task::Bottle => {
            let order = read::bottling(draft, hand, id, &found.units)?;
            let made = bottles::record_bottling(db, hand, key, order).await?;
            return Ok(format!("/bottles/{}", made.bottling));
        }
        Task::Loss => {
            acts::record_loss(db, hand, key, read::loss(draft, hand, id)?).await?;
        }
        Task::Close | Task::Abandon => {
            let order = read::ending(draft, hand, id, task == Task::Abandon)?;
            acts::record_end(db, hand, key, order).await?;
        }
    }
    Ok(format!("/batches/{id}"))
}

/// On the page each kind of reading has a field of its own; the rule names the kind and the value.
fn beside_its_field(error: Error) -> Error {
    match error {
        Error::Refused(mut refusal) => {
            for fault in &mut refusal.faults {
                if fault.field == "kind" {
                    "brix".clone_into(&mut fault.field);
                } else if fault.field == "value" {
                    "gravity".clone_into(&mut fault.field);
                }
            }
            Error::Refused(refusal)
        }
        Error::Failed(failure) => Error::Failed(failure),
    }
}

fn form(site: &Site, doer: &Doer, task: Task, found: &Material, draft: &Draft) -> FormView {
    let (_, heading, submit) = task.says();
    let path = format!("/batches/{}/{}", found.batch.id, task.code());
    let holds = found.standing.holding.quantity.shown(BaseUnit::Millilitre);
    let view = site
        .form(&path, heading, submit)
        .intro(format!("Batch {}, {}: {holds} in it.", found.batch.code, found.batch.name))
        .leave(up(site, &found.batch).0);
    let day = || Field::day("day", "Day").value(days::long(doer.today()));
    let remark = || Field::area("remark", "Remark");
    let view = match task {
        Task::Draw => draw_form(view, found, draft, day(), remark()),
        Task::Pitch => pitch_form(view, found, draft, day(), remark()),
        Task::ByProduct => by_product_form(view, doer, found, day(), remark()),
        Task::Reading => reading_form(view, found),
        Task::Rack => view.fields([
            day(),
            Field::text("volume_after", "Volume afterwards")
                .hint("As measured, such as 34.5 L. What is missing counts as lees; leave it empty if it was not measured."),
            remark(),
        ]),
        Task::Split => view.fields([
            day(),
            Field::text("volume", "How much goes into the new batch").hint("Such as 10 L."),
            Field::text("name", "What the new batch is called").hint("Leave it empty to keep the name."),
            remark(),
        ]),
        Task::Blend => view.fields([
            day(),
            Field::select("into", "Into which batch", other_batches(found)),
            Field::text("volume", "How much").hint("Such as 10 L."),
            remark(),
        ]),
        Task::Bottle => bottle_form(view, found, draft, day(), remark()),
        Task::Loss => view.fields([
            day(),
            Field::text("volume", "How much").hint("Such as 1.5 L."),
            Field::radios(
                "normal",
                "What kind of loss",
                vec![
                    Choice::new("yes", "Normal: lees, samples, what clings. Its cost stays in the drink."),
                    Choice::new("no", "Abnormal: spilt, spoilt, broken. Its cost goes with it."),
                ],
            )
            .value("yes"),
            Field::text("reason", "How it happened"),
        ]),
        Task::Close => view.fields([day(), Field::area("reason", "Remark")]),
        Task::Abandon => view.fields([
            day(),
            Field::text("reason", "Why it is given up").hint("All that is left in it, and its cost, becomes a loss."),
        ]),
    };
    task_cautions(task, found.dairy, found.batch.stage).into_iter().fold(view, FormView::caution)
}

fn draw_form(view: FormView, found: &Material, draft: &Draft, day: Field, remark: Field) -> FormView {
    let kinds = [ItemKind::Ingredient, ItemKind::Aid, ItemKind::ByProduct, ItemKind::Drink];
    let choices = supplies::choices(&found.stock, &kinds);
    view.group(supplies::group("What is drawn", "lines", &choices, draft, 2)).group(Group::new(
        "When, and what it gives",
        [
            day,
            Field::text("volume_after", "Volume afterwards").hint(
                "As measured, such as 60 L. Left empty, liquids add their volume, sugar and honey what they take up \
                 when dissolved.",
            ),
            remark,
        ],
    ))
}

fn pitch_form(view: FormView, found: &Material, draft: &Draft, day: Field, remark: Field) -> FormView {
    let choices = supplies::choices(&found.stock, &[ItemKind::Aid, ItemKind::Ingredient]);
    view.group(supplies::group("The yeast, and what goes in with it", "lines", &choices, draft, 1)).group(
        Group::new(
            "When",
            [
                day,
                Field::text("volume_after", "Volume afterwards")
                    .hint("As measured. Leave it empty if it is as before."),
                remark,
            ],
        ),
    )
}

fn by_product_form(view: FormView, doer: &Doer, found: &Material, day: Field, remark: Field) -> FormView {
    let choices = found
        .items
        .iter()
        .filter(|(_, item)| item.kind == ItemKind::ByProduct)
        .map(|(id, item)| Choice::new(id.to_string(), item.name.clone()));
    let choices = std::iter::once(Choice::new("", "Choose what it is")).chain(choices).collect();
    view.group(Group::new(
        "What came off",
        [
            Field::select("item", "What it is", choices).hint("By-products are made under Stores, Items."),
            Field::text("quantity", "How much").hint("With its unit: 8.8 kg, or 19 lb 6 oz."),
            Field::text("volume_after", "Volume left in the batch")
                .hint("As measured, such as 51 L. Left empty, it is worked out from the mass."),
        ],
    ))
    .group(Group::new(
        "Where it goes",
        [
            Field::select("place", "Place", place_choices(&found.places)),
            Field::day("best_before", "Use by").hint(format!("Such as {}.", days::long(doer.today()))),
            Field::decimal("value_per_unit", "Worth, if other than usual")
                .hint("In money for one gram, millilitre or piece. Left empty, the item’s own net value is taken.")
                .after(words::sign(&doer.currency).trim().to_owned()),
            day,
            remark,
        ],
    ))
}

fn reading_form(view: FormView, found: &Material) -> FormView {
    let last = found
        .gravities
        .last()
        .map(|last| format!(" The last one was {}.", last.value.shown(ReadingKind::Gravity)));
    view.fields([
        Field::decimal("gravity", "Gravity")
            .hint(format!("As the hydrometer shows it, such as 1.0450 or 1045.{}", last.unwrap_or_default()))
            .after("SG 20/20"),
        Field::decimal("sample_temperature_c", "Temperature of the sample")
            .hint("The gravity is then corrected to 20 °C. Between 5 and 40 °C.")
            .after("°C"),
        Field::decimal("temperature", "Temperature of the batch").after("°C"),
        Field::decimal("ph", "pH").after("pH"),
        Field::decimal("acidity", "Acidity").after("g/L as tartaric"),
        Field::decimal("free-sulphite", "Free sulphite").after("mg/L"),
        Field::decimal("brix", "Sugar by refractometer")
            .hint("Only before the yeast is pitched: later, alcohol reads as sugar.")
            .after("°Brix"),
        Field::decimal("volume", "Volume").hint("Only noted; to put the books right, use Rack.").after("L"),
        Field::text("at", "When").hint("Left empty it is now. Such as 2026-06-23 18:40."),
        Field::area("remark", "Remark"),
    ])
}

fn bottle_form(view: FormView, found: &Material, draft: &Draft, day: Field, remark: Field) -> FormView {
    let choices = supplies::choices(&found.stock, &[ItemKind::Packaging]);
    view.group(Group::new(
        "The bottles",
        [
            Field::whole("bottles", "How many bottles"),
            Field::text("bottle_volume", "What one holds").hint("Such as 75 cl.").value("75 cl"),
            Field::text("lost_volume", "Left over or spilt")
                .hint("Such as 400 mL. Its cost stays in the bottles."),
        ],
    ))
    .group(supplies::group("Bottles, closures, labels used", "packaging", &choices, draft, 2))
    .group(Group::new(
        "Where and when",
        [
            Field::select("place", "Where they are laid", place_choices(&found.places)),
            day,
            Field::text("tasting_ages_days", "Tasting ages, in days")
                .hint("When it should be opened and judged: such as 90, 180, 365.")
                .value("90, 180, 365"),
            remark,
        ],
    ))
}

fn place_choices(places: &[Place]) -> Vec<Choice> {
    let each = places.iter().map(|place| Choice::new(place.id.to_string(), place.path.clone()));
    std::iter::once(Choice::new("", "Choose a place")).chain(each).collect()
}

fn other_batches(found: &Material) -> Vec<Choice> {
    let each = found.others.iter().map(|batch| {
        Choice::new(
            batch.id.to_string(),
            format!("Batch {}, {} ({})", batch.code, batch.name, batch.stage.label()),
        )
    });
    std::iter::once(Choice::new("", "Choose a batch")).chain(each).collect()
}

/// The usual cautions of a task, where a person can still act on them. Common practice, no source, where none is named.
fn task_cautions(task: Task, dairy: bool, stage: Stage) -> Vec<Caution> {
    let mut cautions = Vec::new();
    if task == Task::Draw && stage <= Stage::Preparing {
        cautions.push(Caution::new(
            "Caution: heat and glass",
            [
                "Boiling whey and juice foam over, sugar syrup sticks: fill a pan two thirds at most, lift the lid away \
                 from you, keep children and pets away.",
                "Nothing above 40 °C warmer than the glass goes into it, and nothing hot into old or scratched glass: \
                 it breaks. Cool first.",
            ],
        ));
    }
    if task == Task::Draw && dairy {
        cautions.push(Caution::new(
            "Caution: milk",
            [
                "Raw milk can carry germs that make ill, above all the pregnant, the very young and the old: heat it \
                 to 72 °C for 15 seconds or 63 °C for 30 minutes (21 CFR 1240.61). A log kept here is no legal record \
                 of it.",
                "Enzymes go into liquid below 40 °C. Warm whey spoils: keep it below 8 °C or go on within 2 hours.",
            ],
        ));
    }
    match task {
        Task::ByProduct if dairy => cautions.push(Caution::new(
            "Caution: fresh cheese",
            ["Curds are food that spoils: below 5 °C at once, use-by day on the lot. Allergen: milk."],
        )),
        Task::Pitch => cautions.push(Caution::new(
            "Caution: heat, pressure and gas",
            [
                "Yeast goes into liquid below 30 °C; hot liquid kills it.",
                "From now on it makes gas: an airlock, never a stopper, and air in the room. A sealed jar bursts; 20 L \
                 give about a cubic metre of carbon dioxide, which gathers low down.",
            ],
        )),
        Task::Rack => cautions.push(Caution::new(
            "Caution: glass and weight",
            [
                "Siphon from where the jar stands; two people move a full one, never by the neck.",
                "While it works: airlock only.",
            ],
        )),
        Task::Bottle => cautions.push(Caution::new(
            "Caution: bottles burst if it has not finished",
            [
                "Bottle only when three gravities over at least three days, at 18 °C or more, are the same within \
                 0.001 and as low as expected. That it has stopped is not proof that it has finished.",
                "Sugar that is left can start again in the bottle; about 4 g/L make 1 bar more. Ordinary bottles are \
                 made for 1 bar.",
            ],
        )),
        _ => {}
    }
    cautions
}
