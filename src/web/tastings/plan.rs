//! Planning a tasting and changing the plan: the form, and what was sent by page or API.

use super::missing;
use crate::actions::tastings as acts;
use crate::db::bottles::{self, Left};
use crate::db::members::{self, Member};
use crate::db::{AnyConn, Failure, tastings as rows};
use crate::domain::members::{Cellarhand, Doer, Role};
use crate::domain::refusal::Refusal;
use crate::domain::tastings::serving::MANY_GLASSES;
use crate::domain::tastings::{Method, Plan, State, Table};
use crate::units::days;
use crate::units::ids::TastingId;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::body::Form;
use crate::web::extract::{Asked, Path};
use crate::web::form_page::FormPage;
use crate::web::forms::{Caution, Choice, Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// Poured where nobody says how much.
const USUAL_POUR: Milli = Milli::new(30_000);
/// Lines for bottlings that stand ready.
const LINES: usize = 6;

/// What was sent, by page or API.
pub fn read(draft: &Draft, doer: &Doer) -> Result<Plan, Refusal> {
    draft.read(doer, |r| {
        let title = r.line("title", 80, "what you call it");
        let day = r.any_day("day");
        let place = r.optional_line("place", 80, "the place");
        let method = r.choice("method", &Method::ALL, Method::code);
        let blind = r.is_empty("blind") || r.flag("blind");
        let question = r.optional_line("question", 160, "what is asked");
        let expected = r.optional_whole("expected", 1..=2);
        let pour_volume = r.optional_volume("pour_volume").unwrap_or(USUAL_POUR);
        let samples = r.rows("samples", |r| r.id("bottling", "bottling"));
        let host = r.optional_id("host", "member").unwrap_or(doer.member);
        let pourer = r.optional_id("pourer", "member");
        let tasters = r.ids("tasters", "member");
        Plan {
            title,
            host,
            day,
            place,
            blind,
            method,
            question,
            expected,
            samples,
            pour_volume,
            tasters,
            pourer,
        }
    })
}

/// Who and what can be chosen.
struct Offered {
    members: Vec<Member>,
    bottlings: Vec<Left>,
}

fn offered(conn: &mut AnyConn, doer: &Doer) -> Result<Offered, Failure> {
    let mut members = members::members(conn, doer.club)?;
    members.retain(|member| member.left_on.is_none());
    Ok(Offered { members, bottlings: bottles::with_bottles_left(conn, doer.club)? })
}

fn form(
    site: &Site,
    doer: &Doer,
    offered: &Offered,
    at: Option<TastingId>,
    (lines, first): (usize, &str),
) -> FormView {
    let methods = Method::ALL.map(|method| Choice::new(method.code(), method.label()));
    let yes_no = vec![
        Choice::new("yes", "Blind: nobody knows which glass holds what"),
        Choice::new("no", "In the open: everybody knows what they drink"),
    ];
    let expected = vec![
        Choice::new("", "Nothing is expected"),
        Choice::new("1", "The first bottling should be named"),
        Choice::new("2", "The second bottling should be named"),
    ];
    let what = Group::new(
        "What and when",
        [
            Field::text("title", "What do you call it").hint("Such as: Perries at one year."),
            Field::day("day", "Day").value(days::long(doer.today())),
            Field::text("place", "Where").hint("Not needed. Such as: mill loft, at eight."),
            Field::radios("method", "How are the glasses judged", methods.into())
                .value(Method::Scored.code()),
            Field::radios("blind", "Who knows what is poured", yes_no).value("yes"),
            Field::text("question", "What is asked")
                .hint("For an order or a pair only; left empty, it is which is liked best."),
            Field::select("expected", "In a pair, is it known beforehand which should be named", expected),
            Field::text("pour_volume", "How much goes into each glass")
                .value(USUAL_POUR.shown(BaseUnit::Millilitre))
                .hint("20 to 40 mL are usual (common practice)."),
        ],
    );
    let mut bottlings = vec![Choice::new("", "None")];
    bottlings.extend(offered.bottlings.iter().map(|left| {
        let bottling = &left.bottling;
        let about = format!("{}, {}: {} left", bottling.name, bottling.code, left.left);
        Choice::new(bottling.id.to_string(), about)
    }));
    let poured = Group::repeated("Which bottlings", "bottling", "samples", lines.max(LINES), |at| {
        let field = Field::select("bottling", "Bottling", bottlings.clone());
        vec![if at == 0 { field.value(first) } else { field }]
    });
    let site_path = at.map_or_else(|| "/tastings".to_owned(), |id| format!("/tastings/{id}/plan"));
    let (heading, button) = if at.is_some() {
        ("Change the plan", "Keep the plan")
    } else {
        ("Plan a tasting", "Plan it and invite")
    };
    let leave = at.map_or_else(|| "/tastings".to_owned(), |id| format!("/tastings/{id}"));
    site.form(&site_path, heading, button)
        .intro("Nothing is poured yet. Those who are invited are asked about allergens first.")
        .group(what)
        .group(poured)
        .group(people(doer, offered))
        .caution(caution())
        .leave(site.at(&leave))
}

fn people(doer: &Doer, offered: &Offered) -> Group {
    let choice = |member: &Member| Choice::new(member.id.to_string(), member.name.clone());
    let hands = offered.members.iter().filter(|member| member.role >= Role::Cellarhand).map(choice).collect();
    let mut pourers = vec![Choice::new("", "Not settled yet")];
    pourers.extend(offered.members.iter().map(choice));
    let mut fields = vec![
        Field::select("host", "Host", hands)
            .value(doer.member.to_string())
            .hint("Wraps the bottles in bags with letters, if it is blind, and never sees the codes."),
        Field::select("pourer", "Who pours", pourers).hint(
            "Needed if it is blind: sees which bag each glass is poured from, and not what is in the bags. In a \
             triangle or a duo-trio they cannot taste.",
        ),
    ];
    let tasters = offered.members.iter().filter(|member| member.role >= Role::Taster);
    for (at, member) in tasters.enumerate() {
        let field = Field::check(format!("tasters.{}", member.id), member.name.clone());
        fields.push(if at == 0 { field.hint("Who is invited to taste. Nobody under age.") } else { field });
    }
    Group::new("Who", fields)
}

fn caution() -> Caution {
    Caution::new(
        "Caution: alcohol",
        [
            "Nobody under age is invited or poured for: the law of the place counts.".to_owned(),
            format!(
                "More than {MANY_GLASSES} glasses tire the tongue, and more than 20 g of alcohol is not poured for one \
                 taster (common practice, no source)."
            ),
            "Whoever drives spits, or does not taste.".to_owned(),
        ],
    )
}

/// Shows the form of a new tasting; a bottling may be named in the address.
pub async fn new_form(hand: Cellarhand, site: Site, asked: Asked) -> Reply {
    let first = asked.0.typed("bottling").unwrap_or_default();
    let (facts, offered) = site.read(&hand, offered).await?;
    let frame = site.frame(&hand, Room::Tastings, "Plan a tasting", facts);
    let up = Some((site.at("/tastings"), "All tastings".to_owned()));
    respond::page(&FormPage::new(frame, up, form(&site, &hand, &offered, None, (0, &first))))
}

/// Plans a tasting.
pub async fn new(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let plan = read(&form.draft, &hand)?;
        acts::plan_tasting(&site.db, &hand, form.key.clone(), plan).await
    };
    match done.await {
        Ok(planned) => Ok(site.see_other(&format!("/tastings/{}?said=planned", planned.id))),
        Err(error) => refused(&site, &hand, &form, None, &Problem::or_refusal(error)?).await,
    }
}

async fn refused(
    site: &Site,
    hand: &Cellarhand,
    sent: &Form,
    at: Option<TastingId>,
    refusal: &Refusal,
) -> Reply {
    let (facts, offered) = site.read(hand, offered).await?;
    let frame = site.frame(hand, Room::Tastings, "Plan a tasting", facts);
    let (path, name) = at.map_or_else(
        || ("/tastings".to_owned(), "All tastings"),
        |id| (format!("/tastings/{id}"), "The tasting"),
    );
    let view = form(site, hand, &offered, at, (sent.draft.count("samples"), ""));
    respond::refused(
        &FormPage::new(frame, Some((site.at(&path), name.to_owned())), sent.back(view, refusal)),
        refusal,
    )
}

/// Shows the plan to be changed.
pub async fn change_form(hand: Cellarhand, site: Site, path: Path<TastingId>) -> Reply {
    let id = path.0;
    let read = site.read(&hand, move |conn, doer| match rows::table(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => Ok(Some((found?, offered(conn, doer)?))),
    });
    let (facts, found) = read.await?;
    let (table, offered) = found.ok_or_else(missing)?;
    table.tasting.planned_by(&hand)?;
    table.tasting.expect(&[State::ToCome])?;
    let frame = site.frame(&hand, Room::Tastings, "Change the plan", facts);
    let up = Some((site.at(&format!("/tastings/{id}")), "The tasting".to_owned()));
    let view = form(&site, &hand, &offered, Some(id), (table.samples.len(), ""))
        .filled(|name| planned(&table, name));
    respond::page(&FormPage::new(frame, up, view))
}

/// What stands in each field of a plan. Bottlings are the host's to see.
fn planned(table: &Table, name: &str) -> Option<String> {
    let tasting = &table.tasting;
    Some(match name {
        "title" => tasting.title.clone(),
        "day" => days::long(tasting.day),
        "place" => tasting.place.clone(),
        "method" => tasting.method.code().to_owned(),
        "blind" => if tasting.blind { "yes" } else { "no" }.to_owned(),
        "question" if tasting.method.asks() => tasting.question.clone(),
        "expected" => tasting.expected.map(|number| number.to_string())?,
        "pour_volume" => tasting.pour_volume.shown(BaseUnit::Millilitre),
        "host" => tasting.host.0.to_string(),
        "pourer" => tasting.pourer.as_ref()?.0.to_string(),
        _ => {
            if let Some(id) = name.strip_prefix("tasters.") {
                let invited = table.seats.iter().any(|seat| seat.member.to_string() == id);
                return invited.then(|| "yes".to_owned());
            }
            let line: usize = name.strip_prefix("samples.")?.strip_suffix(".bottling")?.parse().ok()?;
            table.samples.get(line)?.bottling.to_string()
        }
    })
}

/// Changes a plan.
pub async fn change(hand: Cellarhand, site: Site, path: Path<TastingId>, form: Form) -> Reply {
    let id = path.0;
    let done = async {
        let plan = read(&form.draft, &hand)?;
        acts::change_tasting(&site.db, &hand, form.key.clone(), id, plan).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/tastings/{id}?said=changed"))),
        Err(error) => refused(&site, &hand, &form, Some(id), &Problem::or_refusal(error)?).await,
    }
}

/// "2 bottles of Moor Mead, 6-1".
pub(super) fn bottles_of(bottles: u32, name: &str) -> String {
    format!("{} of {name}", words::count(i64::from(bottles), "bottle", "bottles"))
}
