//! The ways to a strength: what the base gives by itself, then the ways side by side, and from the chosen one to a
//! batch
//! on paper.

use askama::Template;

use super::asking;
use super::compared::{BaseView, RouteView, Row, base_view, rows, views};
use crate::actions::batches::Plan;
use crate::actions::plans::{self as acts, WholePlan};
use crate::db::workbench::{self as stores, Found};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role as Rank};
use crate::domain::refusal::Refusal;
use crate::domain::stock::{Item, ItemKind};
use crate::domain::workbench::routes::{
    Ask, Base, Bill, Comparison, INPUTS, Role, Route, bill, compare, steps,
};
use crate::domain::workbench::{Given, Value};
use crate::units::days::{self, Day};
use crate::units::dimension::Amount;
use crate::units::ids::ItemId;
use crate::units::quantity::Milli;
use crate::web::body::Form;
use crate::web::extract::Asked;
use crate::web::form_page::FormPage;
use crate::web::forms::{Caution, Choice, Field, FormView, Group};
use crate::web::frame::Frame;
use crate::web::input::{Draft, Reader};
use crate::web::plans::StepRow;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// What was asked, beside the inputs of the comparison.
pub struct Wish {
    given: Given,
    chosen: Vec<(Role, ItemId)>,
    all_there: bool,
}

/// The ways with what they take, and what they were compared with.
pub struct Ways {
    given: Given,
    /// The comparison.
    pub comparison: Comparison,
    /// What each way takes, in the same order.
    pub bills: Vec<Bill>,
}

impl Ways {
    /// What was given, in words.
    pub fn given(&self) -> String {
        self.given.said(INPUTS)
    }
}

/// All items to choose from, and the ways or what stands in their way.
type Compared = (Vec<(ItemId, Item)>, Result<Ways, Refusal>);

/// Reads what was asked.
fn wish(r: &mut Reader, draft: &Draft) -> Wish {
    let given = asking::all(r, Some(draft), INPUTS);
    let chosen =
        Role::ALL.into_iter().filter_map(|role| Some((role, r.optional_id(role.code(), "item")?))).collect();
    Wish { given, chosen, all_there: r.flag("all_there") }
}

/// Compares the ways by what was asked and what the stores hold.
pub fn ways(conn: &mut AnyConn, doer: &Doer, wish: Wish) -> Result<Compared, Failure> {
    let Wish { mut given, chosen, all_there } = wish;
    let base = Base::from_code(given.choice("base"));
    let today = doer.today();
    let bottle_l = given.number("bottle") / 1000.0;
    let Found { stores, items } = stores::load(conn, doer.club, today, (base, bottle_l), &chosen)?;
    if let Some((role, _)) = chosen.iter().find(|(role, _)| stores.of(*role).is_none()) {
        return Ok((items, Err(Refusal::unfit(role.code(), "There is no such item in this club"))));
    }
    if all_there {
        let there = stores.of(Role::Base).and_then(|stocked| stocked.all_there(today));
        let some = there.filter(|there| {
            let (Amount::Litres(size) | Amount::Kilograms(size)) = *there;
            size > 0.0
        });
        let Some(amount) = some else {
            let said = "Nothing of it is in the stores: write how much there is, or choose the item";
            return Ok((items, Err(Refusal::unfit("all_there", said))));
        };
        given.set("amount", Value::Amount(amount));
    }
    let compared = Ask::of(&given).and_then(|ask| compare(&ask));
    let ways = compared.map_err(|unfit| unfit.beside(&given, INPUTS)).map(|comparison| {
        let bills = comparison.routes.iter().map(|route| bill(&comparison, route, &stores, today)).collect();
        Ways { given, comparison, bills }
    });
    Ok((items, ways))
}

/// What a program asked.
pub(in crate::web) fn asked_by_program(draft: &Draft, doer: &Doer) -> Result<Wish, Refusal> {
    draft.read(doer, |r| wish(r, draft))
}

#[derive(Template)]
#[template(path = "workbench/routes.html")]
struct RoutesPage {
    frame: Frame,
    form: FormView,
    example: String,
    answer: Option<Answer>,
}

struct Answer {
    says: String,
    base: BaseView,
    routes: Vec<RouteView>,
    rows: Vec<Row>,
    cautions: Vec<Caution>,
    given: String,
    link: String,
}

/// Shows the ways.
pub async fn show(who: Onlooker, site: Site, asked: Asked) -> Reply {
    let draft = asked.0;
    let blank = draft.fields().is_empty();
    let wanted = draft.read(&who, |r| wish(r, &draft));
    let read = site.read(&who, move |conn, doer| match wanted {
        Ok(wish) => ways(conn, doer, wish),
        Err(refusal) => Ok((crate::db::stock::items(conn, doer.club)?, Err(refusal))),
    });
    let (facts, (items, found)) = read.await?;
    let mut page = RoutesPage {
        form: form(&site, &draft, &items),
        example: site.at("/workbench/routes?base=sheep&amount=60+L&goal=11"),
        answer: None,
        frame: site.frame(&who, Room::Workbench, "Ways to a strength", facts),
    };
    if blank {
        return respond::page(&page);
    }
    match found {
        Ok(ways) => {
            page.answer = Some(answer(&site, &who, &draft, &ways));
            respond::page(&page)
        }
        Err(refusal) => {
            let faults = refusal.faults.iter().map(|fault| (fault.field.clone(), fault.message.clone()));
            page.form = page.form.with_problems(faults.collect());
            page.frame.title = format!("Problem: {}", page.frame.title);
            respond::refused(&page, &refusal)
        }
    }
}

fn answer(site: &Site, doer: &Doer, draft: &Draft, ways: &Ways) -> Answer {
    let typed = asking::address(draft);
    let may_plan = doer.role >= Rank::Cellarhand;
    let to = |code: &str| may_plan.then(|| site.at(&format!("/workbench/routes/batch?{typed}&route={code}")));
    let mut cautions = Vec::new();
    for caution in ways.comparison.routes.iter().flat_map(|route| &route.cautions) {
        if !cautions.contains(caution) {
            cautions.push(*caution);
        }
    }
    let (base, says) = base_view(&ways.comparison);
    Answer {
        says,
        base,
        routes: views(ways, &doer.currency, to),
        rows: rows(ways, &doer.currency),
        cautions: cautions.iter().map(|one| Caution::new(one.title, one.points.iter().copied())).collect(),
        given: ways.given(),
        link: site.address(&format!("/workbench/routes?{typed}")),
    }
}

/// The form of the comparison: the questions, the items, the settings.
fn form(site: &Site, draft: &Draft, items: &[(ItemId, Item)]) -> FormView {
    let mut form = asking::form(&site.at("/workbench/routes"), INPUTS, draft);
    if let Some(group) = form.groups.first_mut() {
        let all = Field::check("all_there", "Take all of it that is in the stores");
        group.fields.insert(2, all.value(draft.typed("all_there").unwrap_or_default()));
    }
    let field = |role: Role| {
        let kinds: &[ItemKind] = match role {
            Role::Base | Role::Sugar => &[ItemKind::Ingredient],
            Role::Rennet | Role::Lactase | Role::Yeast => &[ItemKind::Aid],
            Role::Bottle | Role::Closure => &[ItemKind::Packaging],
        };
        let mut choices = vec![Choice::new("", "recognised by its name")];
        let fitting = items.iter().filter(|(_, item)| kinds.contains(&item.kind));
        choices.extend(fitting.map(|(id, item)| Choice::new(id.to_string(), item.name.clone())));
        let label = match role {
            Role::Base => "What it is made from",
            Role::Sugar => "Sugar",
            Role::Rennet => "Rennet",
            Role::Lactase => "Lactase",
            Role::Yeast => "Yeast",
            Role::Bottle => "Bottles",
            Role::Closure => "Closures",
        };
        Field::select(role.code(), label, choices).value(draft.typed(role.code()).unwrap_or_default())
    };
    let at = form.groups.len().saturating_sub(1);
    form.groups.insert(at, Group::new(STORES, Role::ALL.map(field)));
    form
}

/// The name of the group of items.
const STORES: &str = "From the stores";

#[derive(Template)]
#[template(path = "plans/new.html")]
struct PlanPage {
    frame: Frame,
    back: String,
    name: &'static str,
    steps: Vec<StepRow>,
    takes: Vec<(String, String, String)>,
    form: FormView,
}

/// Shows the plan of a way, to be made a batch.
pub async fn plan_form(hand: Cellarhand, site: Site, asked: Asked) -> Reply {
    let draft = asked.0;
    let (facts, page) = page_of(&site, &hand, draft.clone()).await?;
    let (name, steps, takes) = page;
    let frame = site.frame(&hand, Room::Workbench, "A planned batch", facts);
    let back = site.at(&format!("/workbench/routes?{}", asking::address(&draft)));
    let form = view(&site, &draft, hand.today());
    respond::page(&PlanPage { frame, back, name, steps, takes, form })
}

type Shown = (&'static str, Vec<StepRow>, Vec<(String, String, String)>);

/// One way with its plan, or what stands in the way of it.
async fn page_of(
    site: &Site,
    doer: &Doer,
    draft: Draft,
) -> Result<(crate::db::reminders::Facts, Shown), Problem> {
    let code = draft.typed("route").unwrap_or_default();
    let wish = draft.read(doer, |r| wish(r, &draft))?;
    let (facts, (_, found)) = site.read(doer, move |conn, doer| ways(conn, doer, wish)).await?;
    let ways = found?;
    let (at, route) = way(&ways, &code)?;
    let steps = steps(&ways.comparison, route);
    let takes = super::compared::takes(&ways.bills[at], &doer.currency);
    Ok((facts, (route.name, crate::web::plans::step_rows(&steps), takes)))
}

/// The way of this code, if it can be gone.
fn way<'w>(ways: &'w Ways, code: &str) -> Result<(usize, &'w Route), Refusal> {
    let routes = &ways.comparison.routes;
    let found = routes.iter().enumerate().find(|(_, route)| route.code == code).ok_or_else(|| {
        let codes: Vec<&str> = routes.iter().map(|route| route.code).collect();
        Refusal::unfit("route", format!("Choose one of these ways: {}", codes.join(", ")))
    })?;
    match &found.1.cannot {
        Some(why) => Err(Refusal::unfit("route", why.trim_end_matches('.'))),
        None => Ok(found),
    }
}

fn view(site: &Site, draft: &Draft, today: Day) -> FormView {
    let carried: Vec<Field> = draft
        .fields()
        .into_iter()
        .filter(|(name, _)| name != "name" && name != "day")
        .map(|(name, text)| Field::hidden(name, text))
        .collect();
    let mut fields = vec![
        Field::text("name", "What will it be").hint("The name of the drink."),
        Field::day("day", "Day").value(days::long(today)),
    ];
    fields.extend(carried);
    site.form("/workbench/routes/batch", "", "Put it on paper").fields(fields)
}

/// Makes a way a planned batch.
pub async fn make(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let plan = whole_plan(&site, &hand, &form.draft).await?;
        acts::plan(&site.db, &hand, form.key.clone(), plan).await.map_err(Problem::or_refusal)
    };
    let refusal = match done.await {
        Ok(made) => return Ok(site.see_other(&format!("/batches/{}#pl", made.id))),
        Err(refusal) => refusal?,
    };
    let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
    let frame = site.frame(&hand, Room::Workbench, "A planned batch", facts);
    let mut view = form.back(view(&site, &form.draft, hand.today()), &refusal);
    "A planned batch".clone_into(&mut view.heading);
    let up = (site.at(&format!("/workbench/routes?{}", asking::address(&form.draft))), "The ways".to_owned());
    respond::refused(&FormPage::new(frame, Some(up), view), &refusal)
}

/// The plan of the way that was chosen, with the name and the day of the batch.
pub(in crate::web) async fn whole_plan(
    site: &Site,
    doer: &Doer,
    draft: &Draft,
) -> Result<WholePlan, Result<Refusal, Problem>> {
    let read = draft.read(doer, |r| {
        let wish = wish(r, draft);
        (wish, r.text("route"), r.line("name", 80, "the name of the drink"), r.day("day"))
    });
    let (wish, code, name, day) = read.map_err(Ok)?;
    let (_, (_, found)) = site.read(doer, move |conn, doer| ways(conn, doer, wish)).await.map_err(Err)?;
    let ways = found.map_err(Ok)?;
    let (at, route) = way(&ways, &code).map_err(Ok)?;
    let base_volume =
        Milli::from_base(1000.0 * ways.comparison.base.litres).filter(|base| *base > Milli::ZERO);
    Ok(WholePlan {
        batch: Plan { name, base_volume, day },
        steps: steps(&ways.comparison, route),
        supplies: ways.bills[at].supplies(),
    })
}
