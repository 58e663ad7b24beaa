//! Running a tasting: the answer to the allergens, the beginning, the key, calling it off.

use super::plan::bottles_of;
use super::{find, missing};
use crate::actions::tastings::{self as acts, Beginning, CallingOff};
use crate::db::tastings as rows;
use crate::domain::members::{Cellarhand, Doer, Taster};
use crate::domain::refusal::Refusal;
use crate::domain::tastings::serving::{most_for_one, serve};
use crate::domain::tastings::{Sample, State, Table};
use crate::units::ids::TastingId;
use crate::web::body::Form;
use crate::web::bottles::take::PRESSURE;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Caution, Field, FormView};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// Whether somebody may taste, from what was sent by page or API.
pub fn read_answer(draft: &Draft, doer: &Doer, tasting: TastingId) -> Result<acts::Reply, Refusal> {
    draft.read(doer, |r| {
        if r.is_empty("may_taste") {
            r.fault("may_taste", "Say yes or no: whether you may taste everything that is poured");
        }
        acts::Reply { tasting, may_taste: r.flag("may_taste") }
    })
}

/// Says whether one may taste.
pub async fn answer(taster: Taster, site: Site, path: Path<TastingId>, form: Form) -> Reply {
    let reply = read_answer(&form.draft, &taster, path.0)?;
    let word = if reply.may_taste { "yes" } else { "no" };
    let id = acts::answer_allergens(&site.db, &taster, form.key.clone(), reply).await?;
    Ok(site.see_other(&format!("/tastings/{id}?said={word}")))
}

/// That it begins, from what was sent by page or API.
pub fn read_beginning(draft: &Draft, doer: &Doer, tasting: TastingId) -> Result<Beginning, Refusal> {
    draft.read(doer, |r| Beginning { tasting, of_age: r.flag("of_age") })
}

/// A tasting that this member runs and that is as far as `states`.
async fn run_by(
    site: &Site,
    hand: &Cellarhand,
    id: TastingId,
    states: &[State],
) -> Result<(crate::db::reminders::Facts, Table), Problem> {
    let (facts, found) = site.read(hand, move |conn, doer| find(conn, doer, id)).await?;
    let table = found.ok_or_else(missing)?.table;
    table.tasting.run_by(hand)?;
    table.tasting.expect(states)?;
    Ok((facts, table))
}

fn begin_view(site: &Site, doer: &Doer, table: &Table) -> FormView {
    let tasting = &table.tasting;
    let allergens = table.allergens();
    let tasters = table.seats.iter().filter(|seat| seat.may(&allergens)).count();
    let waiting: Vec<&str> =
        table.seats.iter().filter(|seat| seat.may_taste.is_none()).map(|seat| seat.name.as_str()).collect();
    // How many bottles there are does not depend on the draw.
    let served = serve(table, || 0);
    let names = served.bottles.iter().zip(&table.samples);
    let bottles: Vec<String> = if table.seen_by(doer).sight.bags {
        names.map(|((_, bottles), sample)| bottles_of(*bottles, &sample.name())).collect()
    } else {
        let of = |sample: &Sample| format!("sample {}", sample.number);
        names.map(|((_, bottles), sample)| bottles_of(*bottles, &of(sample))).collect()
    };
    let later = if waiting.is_empty() {
        String::new()
    } else {
        let waiting = waiting.join(", ");
        format!(
            " Not yet answered: {waiting}. Nothing is poured for them; who answers later still gets glasses."
        )
    };
    let bottles = bottles.join("; ");
    let intro = format!("For {tasters} tasters: {bottles}. They leave the cellar at cost.{later}");
    let grams = most_for_one(tasting.method, &table.samples, tasting.pour_volume).grams.ceil();
    let alcohol = [
        "Nobody under age tastes: the law of the place counts.".to_owned(),
        format!(
            "At most {grams:.0} g of alcohol for one taster, if all of it is swallowed. Put water and a bucket for \
                 spitting on the table."
        ),
        "Whoever drives, is pregnant, or takes medicine that does not go with alcohol leaves it out."
            .to_owned(),
    ];
    site.form(&format!("/tastings/{}/begin", tasting.id), "Open the bottles and begin", "Begin")
        .intro(intro)
        .fields([Field::check("of_age", "Everybody who tastes is of age where we are: I have asked")])
        .caution(Caution::new("Caution: alcohol", alcohol))
        .caution(Caution::new("Caution: glass under pressure", PRESSURE))
        .leave(site.at(&format!("/tastings/{}", tasting.id)))
}

fn up(site: &Site, id: TastingId) -> (String, String) {
    (site.at(&format!("/tastings/{id}")), "The tasting".to_owned())
}

/// Shows what is opened.
pub async fn begin_form(hand: Cellarhand, site: Site, path: Path<TastingId>) -> Reply {
    let (facts, table) = run_by(&site, &hand, path.0, &[State::ToCome]).await?;
    let frame = site.frame(&hand, Room::Tastings, "Begin a tasting", facts);
    respond::page(&FormPage::new(frame, Some(up(&site, path.0)), begin_view(&site, &hand, &table)))
}

/// Begins.
pub async fn begin(hand: Cellarhand, site: Site, path: Path<TastingId>, form: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read_beginning(&form.draft, &hand, id)?;
        acts::begin_tasting(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/tastings/{id}?said=begun"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            // The form is shown again as long as it can help.
            let Ok((facts, table)) = run_by(&site, &hand, id, &[State::ToCome]).await else {
                return Err(refusal.into());
            };
            let frame = site.frame(&hand, Room::Tastings, "Begin a tasting", facts);
            let view = form.back(begin_view(&site, &hand, &table), &refusal);
            respond::refused(&FormPage::new(frame, Some(up(&site, id)), view), &refusal)
        }
    }
}

/// Opens the key.
pub async fn open(hand: Cellarhand, site: Site, path: Path<TastingId>, form: Form) -> Reply {
    let id = acts::open_key(&site.db, &hand, form.key.clone(), path.0).await?;
    Ok(site.see_other(&format!("/tastings/{id}")))
}

/// Why it does not take place, from what was sent by page or API.
pub fn read_calling_off(draft: &Draft, doer: &Doer, tasting: TastingId) -> Result<CallingOff, Refusal> {
    draft.read(doer, |r| CallingOff { tasting, reason: r.line("reason", 200, "why it is called off") })
}

fn call_off_view(site: &Site, table: &Table) -> FormView {
    let begun = table.tasting.begun_at.is_some();
    let intro = if begun {
        "The bottles go back in the books, as if they had not been opened, and the reminders are open again. If they \
         were opened all the same, record them as opened for a tasting, or as broken."
    } else {
        "Those who are invited see that it does not take place."
    };
    site.form(&format!("/tastings/{}/call-off", table.tasting.id), "Call it off", "Call it off")
        .intro(intro)
        .fields([Field::text("reason", "Why")])
        .leave(site.at(&format!("/tastings/{}", table.tasting.id)))
}

/// Shows what calling it off does.
pub async fn call_off_form(hand: Cellarhand, site: Site, path: Path<TastingId>) -> Reply {
    let (facts, table) = run_by(&site, &hand, path.0, &[State::ToCome, State::AtTheTable]).await?;
    let frame = site.frame(&hand, Room::Tastings, "Call a tasting off", facts);
    respond::page(&FormPage::new(frame, Some(up(&site, path.0)), call_off_view(&site, &table)))
}

/// Calls it off.
pub async fn call_off(hand: Cellarhand, site: Site, path: Path<TastingId>, form: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read_calling_off(&form.draft, &hand, id)?;
        acts::call_off(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/tastings/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let club = hand.club;
            let table = site.db.read(move |conn| rows::table(conn, club, id)).await?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let frame = site.frame(&hand, Room::Tastings, "Call a tasting off", facts);
            let view = form.back(call_off_view(&site, &table), &refusal);
            respond::refused(&FormPage::new(frame, Some(up(&site, id)), view), &refusal)
        }
    }
}
