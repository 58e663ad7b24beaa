//! What is done to a vessel, one form each: keep it, change it, fill, move what is in it, empty, clean, take it out of
//! use and back.

use super::read;
use crate::actions::{Done, vessels as acts};
use crate::db::batches::{self, Batch};
use crate::db::stock::{self, Place};
use crate::db::vessels::{self as rows, Filled, Kept};
use crate::db::{AnyConn, Failure, cautions as known};
use crate::domain::batches::Stage;
use crate::domain::cautions::{Doing, Facts, cautions};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::vessels::{Closure, Material, Vessel};
use crate::units::days;
use crate::units::ids::{BatchId, VesselId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::body::Form;
use crate::web::cautions::shown;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// One of the things that can be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "plain words")]
pub enum Deed {
    Fill,
    Move,
    Empty,
    Clean,
    OutOfUse,
    InUse,
    Edit,
}

impl Deed {
    const ALL: [Self; 7] =
        [Self::Fill, Self::Move, Self::Empty, Self::Clean, Self::OutOfUse, Self::InUse, Self::Edit];

    /// Its place in the address.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Fill => "fill",
            Self::Move => "move",
            Self::Empty => "empty",
            Self::Clean => "clean",
            Self::OutOfUse => "out-of-use",
            Self::InUse => "in-use",
            Self::Edit => "edit",
        }
    }

    /// What the link to it says, and what its button says.
    pub const fn says(self) -> (&'static str, &'static str) {
        match self {
            Self::Fill => ("Fill it", "Record the filling"),
            Self::Move => ("Move it into another vessel", "Record the move"),
            Self::Empty => ("It is empty", "Record that it is empty"),
            Self::Clean => ("It was cleaned", "Record the cleaning"),
            Self::OutOfUse => ("Take it out of use", "Take it out of use"),
            Self::InUse => ("Put it back in use", "Put it back in use"),
            Self::Edit => ("Change what is said of it", "Keep the changes"),
        }
    }
}

/// What makes sense next, the likeliest first.
pub fn next(kept: &Kept, inside: Option<&Filled>, last: Option<&Filled>) -> Vec<Deed> {
    if kept.out_of_use.is_some() {
        return vec![Deed::InUse, Deed::Edit];
    }
    match inside {
        Some(_) => vec![Deed::Move, Deed::Empty, Deed::Fill, Deed::Edit],
        None if super::is_clean(kept, last) => vec![Deed::Fill, Deed::OutOfUse, Deed::Edit],
        None => vec![Deed::Clean, Deed::Fill, Deed::OutOfUse, Deed::Edit],
    }
}

/// What the forms choose from.
struct Chosen {
    kept: Kept,
    inside: Option<Filled>,
    all: Vec<Kept>,
    full: Vec<Filled>,
    open: Vec<Batch>,
    places: Vec<Place>,
    /// Of the batch that goes into a vessel.
    known: Option<(Facts, Milli)>,
}

fn find(conn: &mut AnyConn, doer: &Doer, id: VesselId, draft: &Draft) -> Result<Chosen, Failure> {
    let inside = rows::inside(conn, id)?;
    let stages = [Stage::Preparing, Stage::Working, Stage::Resting];
    let batch = draft.typed("batch").and_then(|id| id.parse::<BatchId>().ok());
    let batch = batch.or(inside.as_ref().map(|filled| filled.inside.batch));
    let known = match batch.map(|batch| known::facts(conn, doer, batch)) {
        None | Some(Err(Failure::Gone)) => None,
        Some(found) => {
            let facts = found?;
            let volume = facts.volume.unwrap_or_default();
            Some((facts, volume))
        }
    };
    Ok(Chosen {
        kept: rows::vessel(conn, doer.club, id)?,
        inside,
        all: rows::all(conn, doer.club)?,
        full: rows::inside_all(conn, doer.club)?,
        open: batches::batches(conn, doer.club, &stages, None, 500)?,
        places: stock::places(conn, doer.club)?,
        known,
    })
}

/// Shows the form of a deed.
pub async fn show_deed(hand: Cellarhand, site: Site, path: Path<(VesselId, String)>) -> Reply {
    let (id, deed) = which(path.0)?;
    respond::page(&page(&site, &hand, id, deed, &Draft::default(), |view| view).await?)
}

/// Does it.
pub async fn perform(hand: Cellarhand, site: Site, path: Path<(VesselId, String)>, form: Form) -> Reply {
    let (id, deed) = which(path.0)?;
    match act(&site, &hand, id, deed, &form).await {
        Ok(vessel) => Ok(site.see_other(&format!("/vessels/{vessel}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let draft = form.draft.clone();
            let page = page(&site, &hand, id, deed, &draft, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

fn which((id, code): (VesselId, String)) -> Result<(VesselId, Deed), Problem> {
    let deed = Deed::ALL.into_iter().find(|deed| deed.code() == code);
    deed.map(|deed| (id, deed)).ok_or_else(|| Problem::missing("page"))
}

async fn act(site: &Site, hand: &Cellarhand, id: VesselId, deed: Deed, form: &Form) -> Done<VesselId> {
    let (db, draft, key) = (&site.db, &form.draft, form.key.clone());
    let (day, deed) = match deed {
        Deed::Fill => {
            acts::fill_vessel(db, hand, key, read::filling(draft, hand, id)?).await?;
            return Ok(id);
        }
        Deed::Move => {
            let order = read::decant(draft, hand, id)?;
            let into = order.into;
            acts::decant(db, hand, key, order).await?;
            return Ok(into);
        }
        Deed::Edit => return acts::change_vessel(db, hand, key, id, read::vessel(draft, hand)?).await,
        Deed::Empty => read::emptied(draft, hand)?,
        Deed::Clean => read::cleaned(draft, hand)?,
        Deed::OutOfUse => read::out_of_use(draft, hand)?,
        Deed::InUse => read::in_use(draft, hand)?,
    };
    acts::tend(db, hand, key, id, day, deed).await
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    id: VesselId,
    deed: Deed,
    draft: &Draft,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let typed = draft.clone();
    let (facts, found) = site.read(hand, move |conn, doer| find(conn, doer, id, &typed)).await?;
    let code = &found.kept.vessel.code;
    let heading = match deed {
        Deed::Fill => format!("Fill vessel {code}"),
        Deed::Move => format!("Move what is in vessel {code}"),
        Deed::Empty => format!("Vessel {code} is empty"),
        Deed::Clean => format!("Vessel {code} was cleaned"),
        Deed::OutOfUse => format!("Take vessel {code} out of use"),
        Deed::InUse => format!("Put vessel {code} back in use"),
        Deed::Edit => format!("Change vessel {code}"),
    };
    let here = site.at(&format!("/vessels/{id}"));
    let view =
        site.form(&format!("/vessels/{id}/{}", deed.code()), &heading, deed.says().1).leave(here.clone());
    let day = Field::day("day", "Day").value(days::long(hand.today()));
    let view = match deed {
        Deed::Fill => fill_form(view, &found, draft, day),
        Deed::Move => move_form(view, &found, draft, day),
        Deed::Empty => view.intro(holds(&found)).fields([
            Field::text("reason", "Where it went")
                .hint("Drunk, poured away, into a vessel that is not listed."),
            day,
        ]),
        Deed::Clean | Deed::InUse => view.fields([day]),
        Deed::OutOfUse => view.fields([
            Field::text("reason", "Why it is out of use")
                .hint("Cracked at the neck, lent to a member, smells."),
            day,
        ]),
        Deed::Edit => questions(view, Some(&found.kept.vessel), &found.places),
    };
    let frame = site.frame(hand, Room::Batches, &heading, facts);
    Ok(FormPage::new(frame, Some((here, format!("Vessel {code}"))), fill(view)))
}

fn holds(found: &Chosen) -> String {
    match &found.inside {
        Some(filled) => {
            let volume = filled.inside.volume.shown(BaseUnit::Millilitre);
            format!("{volume} of batch {}, {}, are in it.", filled.inside.code, filled.drink)
        }
        None => "Nothing is in it.".to_owned(),
    }
}

fn fill_form(view: FormView, found: &Chosen, draft: &Draft, day: Field) -> FormView {
    let vessel = &found.kept.vessel;
    let own = found.inside.as_ref().map(|filled| filled.inside.batch);
    let open = found.open.iter().filter(|batch| own.is_none_or(|own| own == batch.id));
    let each = open.map(|batch| {
        let words = format!("Batch {}, {} ({})", batch.code, batch.name, batch.stage.label());
        Choice::new(batch.id.to_string(), words)
    });
    let batches: Vec<Choice> = std::iter::once(Choice::new("", "Choose a batch")).chain(each).collect();
    let most = vessel.safe_filling.shown(BaseUnit::Millilitre);
    let closures: Vec<Choice> =
        Closure::ALL.into_iter().map(|closure| Choice::new(closure.code(), closure.label())).collect();
    let heat = vessel.holder(Milli::ZERO).glass.is_some();
    let warm = if heat {
        "It may break from heat: measure it, unless it is cold."
    } else {
        "Left empty if it is cold."
    };
    let view = view.intro(holds(found)).group(Group::new(
        "",
        [
            Field::select("batch", "Which batch", batches)
                .value(own.map(|batch| batch.to_string()).unwrap_or_default()),
            Field::text("volume", "How much is in it then")
                .hint(format!("Such as 18 L; {most} at most while it works.")),
            Field::decimal("temperature_c", "How warm the liquid is").hint(warm).after("°C"),
            Field::radios("closure", "Closed with", closures).value(vessel.closure.code()),
            day,
        ],
    ));
    let closure = draft.typed("closure").and_then(|code| Closure::from_code(&code));
    let vessel = Vessel { closure: closure.unwrap_or(vessel.closure), ..vessel.clone() };
    warned(view, found, Some(&vessel), draft)
}

fn move_form(view: FormView, found: &Chosen, draft: &Draft, day: Field) -> FormView {
    let batch = found.inside.as_ref().map(|filled| filled.inside.batch);
    let others = choices(&found.all, &found.full, batch, Some(found.kept.id), "Choose a vessel");
    let view = view.intro(holds(found)).fields([
        Field::select("into", "Into which vessel", others),
        Field::text("volume", "How much goes into it").hint("Left empty it is all of it."),
        Field::decimal("temperature_c", "How warm the liquid is")
            .hint("Left empty if it is cold.")
            .after("°C"),
        day,
    ]);
    let into = named(&found.all, draft, "into");
    warned(view, found, into, draft)
}

fn warned(view: FormView, found: &Chosen, vessel: Option<&Vessel>, draft: &Draft) -> FormView {
    let (mut facts, all) = found.known.clone().unwrap_or_default();
    add_vessel(&mut facts, vessel, draft, "volume", all);
    cautions(&facts, Doing::Fill).iter().map(shown).fold(view, FormView::caution)
}

/// What a draft says of the vessel that is filled, for the cautions that stand on its form.
pub fn add_vessel(facts: &mut Facts, vessel: Option<&Vessel>, draft: &Draft, volume: &str, all: Milli) {
    let typed = |field: &str| draft.typed(field).unwrap_or_default();
    let warm = ReadingKind::Temperature.read(&typed("temperature_c")).ok().map(Measured::number);
    facts.liquid_c = warm.or(facts.liquid_c);
    let filling = Milli::read(&typed(volume), BaseUnit::Millilitre).unwrap_or(all);
    facts.vessel = vessel.map(|vessel| vessel.holder(filling));
}

/// The vessel that a draft names in a field.
pub fn named<'v>(all: &'v [Kept], draft: &Draft, field: &str) -> Option<&'v Vessel> {
    let id = draft.typed(field)?.parse::<VesselId>().ok()?;
    all.iter().find(|kept| kept.id == id).map(|kept| &kept.vessel)
}

/// Vessels into which something can go: the free ones by their size, and those in which the batch stands already.
pub fn choices(
    all: &[Kept],
    full: &[Filled],
    batch: Option<BatchId>,
    but: Option<VesselId>,
    first: &str,
) -> Vec<Choice> {
    let mut free = Vec::new();
    let mut own = Vec::new();
    for kept in all.iter().filter(|kept| kept.out_of_use.is_none() && Some(kept.id) != but) {
        let holds = kept.vessel.capacity.shown(BaseUnit::Millilitre);
        let words = format!("{}: {holds}, {}", kept.vessel.code, kept.vessel.material.label().to_lowercase());
        let choice = Choice::new(kept.id.to_string(), words);
        match full.iter().find(|filled| filled.vessel == kept.id) {
            None => free.push((kept.vessel.capacity, choice.under("Free"))),
            Some(filled) if Some(filled.inside.batch) == batch => {
                own.push(choice.under("It stands there already"));
            }
            Some(_) => {}
        }
    }
    free.sort_by_key(|(capacity, _)| *capacity);
    let free = free.into_iter().map(|(_, choice)| choice);
    std::iter::once(Choice::new("", first)).chain(free).chain(own).collect()
}

fn questions(view: FormView, of: Option<&Vessel>, places: &[Place]) -> FormView {
    let litres = |volume: fn(&Vessel) -> Milli| of.map(|vessel| volume(vessel).shown(BaseUnit::Millilitre));
    let materials = Material::ALL.into_iter().map(|one| Choice::new(one.code(), one.label()));
    let materials = std::iter::once(Choice::new("", "Choose what it is made of")).chain(materials).collect();
    let closures = Closure::ALL.into_iter().map(|one| Choice::new(one.code(), one.label())).collect();
    let place = of.map(|vessel| vessel.place.to_string()).unwrap_or_default();
    let places = places.iter().map(|place| Choice::new(place.id.to_string(), place.path.clone()));
    let places = std::iter::once(Choice::new("", "Choose a place")).chain(places).collect();
    let worn = of.is_some_and(|vessel| vessel.worn);
    view.fields([
        Field::text("code", "Code")
            .hint("Short, as it stands on the vessel: G3, T60.")
            .value(of.map(|vessel| vessel.code.clone()).unwrap_or_default()),
        Field::select("material", "Made of", materials)
            .value(of.map(|vessel| vessel.material.code()).unwrap_or_default()),
        Field::text("capacity", "What it holds to the brim")
            .hint("Such as 25 L.")
            .value(litres(|vessel| vessel.capacity).unwrap_or_default()),
        Field::text("safe_filling", "The most in it while it works")
            .hint("Foam needs room. Left empty, nine tenths of what it holds.")
            .value(litres(|vessel| vessel.safe_filling).unwrap_or_default()),
        Field::radios("closure", "Closed with", closures)
            .value(of.map_or(Closure::Airlock, |vessel| vessel.closure).code()),
        Field::check("worn", "It is old, scratched or chipped").value(if worn { "yes" } else { "" }),
        Field::select("place", "Where it stands", places).value(place),
        Field::area("marks", "What to know of it")
            .value(of.map(|vessel| vessel.marks.clone()).unwrap_or_default()),
    ])
}

/// The form of a new vessel.
pub async fn new_form(hand: Cellarhand, site: Site) -> Reply {
    respond::page(&new_page(&site, &hand, |view| view).await?)
}

/// A new vessel.
pub async fn add(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let vessel = read::vessel(&form.draft, &hand)?;
        acts::add_vessel(&site.db, &hand, form.key.clone(), vessel).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/vessels/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = new_page(&site, &hand, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn new_page(
    site: &Site,
    hand: &Cellarhand,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, places) = site.read(hand, |conn, doer| stock::places(conn, doer.club)).await?;
    let view = site.form("/vessels", "A new vessel", "Record the vessel").leave(site.at("/vessels"));
    let frame = site.frame(hand, Room::Batches, "A new vessel", facts);
    let view = questions(view, None, &places);
    Ok(FormPage::new(frame, Some((site.at("/vessels"), "Vessels".to_owned())), fill(view)))
}
