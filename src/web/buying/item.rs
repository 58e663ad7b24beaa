//! How one item is bought: a part of its page, with the working behind the reorder point, and the form that changes it.

use askama::Template;

use super::{half_days, in_kitchen, last_price};
use crate::actions::buying::{self as acts, Keeping};
use crate::db::buying::{self as rows, Looked};
use crate::db::stock;
use crate::domain::buying::instead::{FACTORS, MOST_SUBSTITUTES, Substitute};
use crate::domain::buying::{Known, MOST_DAYS, MOST_KEEPS, Needed, Point, USUAL_LEAD_DAYS, Upkeep};
use crate::domain::members::{Cellarhand, Doer, Role};
use crate::domain::refusal::Refusal;
use crate::domain::stock::{Item, ItemKind};
use crate::units::days;
use crate::units::ids::ItemId;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::input::{Draft, Reader};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// The formula, and how well it is known.
pub const FORMULA: &str = "Reorder point = mean daily use × lead time + safety stock, the usual formula of \
     stock-keeping (from memory). The safety stock is the use of some more days.";

/// How an item is bought, on its page.
#[derive(Template)]
#[template(path = "buying/part.html")]
pub struct Part {
    /// Name, figure, unit, how it is worked out.
    facts: Vec<(&'static str, String, String, Vec<String>)>,
    /// What a person should know: why there is no point, what came last.
    says: Vec<String>,
    change: Option<String>,
    list: String,
}

impl Part {
    /// Of what is bought; none of curds and drinks, which are made.
    pub fn of(site: &Site, who: &Doer, looked: &Looked) -> Option<Self> {
        let (item, known) = looked.items.first()?;
        if matches!(item.kind, ItemKind::ByProduct | ItemKind::Drink) {
            return None;
        }
        let needed = known.needed();
        let fact = |name, amount: Milli, how| {
            let shown = in_kitchen(amount, item.unit);
            let (figure, unit) = shown.rsplit_once(' ').unwrap_or((&shown, ""));
            (name, figure.to_owned(), unit.to_owned(), how)
        };
        let mut facts = vec![fact("Reorder point", known.point.quantity(), working(known, &needed))];
        facts.push(fact("Free to use", known.free, Vec::new()));
        if needed.wanted > Milli::ZERO {
            facts.push(fact("Plans still want", needed.wanted, Vec::new()));
        }
        facts.push(fact("To buy", needed.buy, Vec::new()));
        let mut says: Vec<String> = no_point(known).into_iter().collect();
        says.extend(came_last(who, known));
        says.extend(known.upkeep.keeps_open_days.map(|days| {
            format!("Once it is open it keeps for {}.", words::count(i64::from(days), "day", "days"))
        }));
        says.extend(known.upkeep.weakens_permille.map(|share| {
            format!("It loses about {} % of its strength in a year.", number::plain(i64::from(share), 1))
        }));
        Some(Self {
            facts,
            says,
            change: (who.role >= Role::Cellarhand)
                .then(|| site.at(&format!("/stores/items/{}/upkeep", known.id))),
            list: site.at("/stores/shopping"),
        })
    }
}

/// Why no point is worked out.
fn no_point(known: &Known) -> Option<String> {
    match known.point {
        Point::KeepsTooShort(keeps) => Some(format!(
            "What came last kept for {}, less than it would have to last: it is bought for a batch. Type a point of \
             your own at the item to keep some all the same.",
            days::age(keeps)
        )),
        Point::NoUse => Some(
            "None of it was drawn, pitched or put on bottles in a year, so that no point is worked out."
                .to_owned(),
        ),
        Point::Typed(_) | Point::WorkedOut(_) => None,
    }
}

fn came_last(who: &Doer, known: &Known) -> Option<String> {
    let last = known.bought.first()?;
    let from = if last.supplier.is_empty() { String::new() } else { format!(" from {}", last.supplier) };
    let each = last_price(known)
        .map(|(price, _)| format!(", {} a {}", words::money(&who.currency, price), known.unit.priced().0));
    Some(format!(
        "Last bought on {}{from}: {} for {}{}.",
        days::long(last.day),
        last.quantity.shown(known.unit),
        words::money(&who.currency, last.cost),
        each.unwrap_or_default()
    ))
}

/// How the point and the amount to buy come about, a line each; the last says from where the formula is.
pub fn working(known: &Known, needed: &Needed) -> Vec<String> {
    let shown = |amount: Milli| in_kitchen(amount, known.unit);
    let upkeep = &known.upkeep;
    let (lead, cover) = (upkeep.lead(), half_days(upkeep.cover_half_days()));
    let mut lines = vec![match known.used.quantity {
        Milli::ZERO => {
            format!(
                "In {} days none was drawn, pitched or put on bottles; what was taken back does not count.",
                known.used.days
            )
        }
        used => format!(
            "In {} days {} were drawn, pitched or put on bottles; what was taken back does not count: {} a day.",
            known.used.days,
            shown(used),
            a_day(known)
        ),
    }];
    lines.push(match known.point {
        Point::Typed(point) => format!("The reorder point of {} was typed at the item.", shown(point)),
        Point::WorkedOut(point) => format!(
            "{} days of lead time and {cover} days of safety stock: {} × {} = {}, rounded up.",
            lead,
            a_day(known),
            half_days(upkeep.half_days()),
            point.shown(known.unit)
        ),
        Point::KeepsTooShort(keeps) => format!(
            "It would have to last {} days and what came last kept for {keeps}: none is kept in advance.",
            half_days(upkeep.half_days())
        ),
        Point::NoUse => "Without use there is no reorder point.".to_owned(),
    });
    let pack = needed.pack.map_or(String::new(), |pack| {
        format!(", in packs of {} as the last two receipts brought", pack.shown(known.unit))
    });
    lines.push(format!(
        "To buy: {} that plans want, {} as reorder point, less {} free to use: {}{pack}.",
        shown(needed.wanted),
        shown(known.point.quantity()),
        shown(known.free),
        if needed.buy == Milli::ZERO { "nothing".to_owned() } else { needed.buy.shown(known.unit) }
    ));
    lines.push(FORMULA.to_owned());
    lines
}

/// The mean use of a day, with two figures that count.
#[allow(clippy::cast_precision_loss, reason = "days are far below 2^52")]
fn a_day(known: &Known) -> String {
    let each = known.used.quantity.base() / known.used.days as f64;
    let (each, sign) = match known.unit {
        BaseUnit::Gram if each >= 1000.0 => (each / 1000.0, "kg"),
        BaseUnit::Millilitre if each >= 1000.0 => (each / 1000.0, "L"),
        BaseUnit::Piece => (each, "pieces"),
        unit => (each, unit.sign()),
    };
    match each {
        each if each >= 10.0 => format!("{each:.0} {sign}"),
        each if each >= 1.0 => format!("{each:.1} {sign}"),
        each => format!("{each:.3} {sign}"),
    }
}

/// How an item is bought, as it was sent.
pub fn read(draft: &Draft, doer: &Doer, item: ItemId) -> Result<Keeping, Refusal> {
    draft.read(doer, |r| Keeping {
        item,
        upkeep: Upkeep {
            lead_days: r.optional_whole("lead_days", 0..=MOST_DAYS),
            cover_days: r.optional_whole("cover_days", 0..=MOST_DAYS),
            keeps_open_days: r.optional_whole("keeps_open_days", 1..=MOST_KEEPS),
            weakens_permille: r
                .optional_scaled("weakens_percent", 10, &(1..=990), "20")
                .and_then(|share| u32::try_from(share).ok()),
            substitutes: r.rows("substitutes", substitute),
        },
    })
}

fn substitute(r: &mut Reader) -> Substitute {
    let factor = r.optional_scaled("factor", 1_000_000, &FACTORS, "1.2");
    Substitute { other: r.id("item", "item"), factor_micro: factor.unwrap_or(1_000_000) }
}

/// The form.
pub async fn form(hand: Cellarhand, site: Site, path: Path<ItemId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, None, |view| view).await?)
}

/// Keeps what was said.
pub async fn record(hand: Cellarhand, site: Site, path: Path<ItemId>, form: Form) -> Reply {
    let done = async {
        let order = read(&form.draft, &hand, path.0)?;
        acts::keep_up(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/stores/items/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page =
                page(&site, &hand, path.0, Some(&form.draft), |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// What can be used in its place: a line for each, and two more.
fn in_its_place(
    id: ItemId,
    item: &Item,
    upkeep: &Upkeep,
    all: &[(ItemId, Item)],
    draft: Option<&Draft>,
) -> Group {
    let same = all
        .iter()
        .filter(|(other, one)| *other != id && one.unit == item.unit && one.kind != ItemKind::Drink);
    let mut choices = vec![Choice::new("", "Nothing")];
    choices.extend(same.map(|(other, one)| Choice::new(other.to_string(), one.name.clone())));
    let typed = draft.map_or(0, |draft| draft.count("substitutes"));
    let count = (upkeep.substitutes.len() + 1).max(typed).min(MOST_SUBSTITUTES);
    Group::repeated("What can be used in its place", "item", "substitutes", count, |at| {
        let kept = upkeep.substitutes.get(at);
        let factor = kept.map(|one| number::plain(one.factor_micro, 6)).unwrap_or_default();
        let of = item.unit.priced().0;
        vec![
            Field::select("item", "What", choices.clone())
                .value(kept.map(|one| one.other.to_string()).unwrap_or_default()),
            Field::decimal("factor", format!("How much of it for 1 {of}"))
                .hint("Such as 1.2 for honey in the place of sugar. Empty: as much. It is offered, never swapped.")
                .value(factor),
        ]
    })
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    id: ItemId,
    draft: Option<&Draft>,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(hand, move |conn, doer| {
        let all = stock::items(conn, doer.club)?;
        Ok((stock::item(conn, doer.club, id)?, rows::upkeep(conn, doer.club, id)?, all))
    });
    let (facts, (item, upkeep, all)) = read.await?;
    let here = site.at(&format!("/stores/items/{id}"));
    let title = format!("How {} is bought and kept", item.name);
    let days = |days: Option<u32>| days.map(|days| days.to_string()).unwrap_or_default();
    let view = site
        .form(&format!("/stores/items/{id}/upkeep"), &title, "Record it")
        .intro(format!("The shopping list works out from it when to buy again. {FORMULA}"))
        .leave(here.clone())
        .group(Group::new(
            "When to buy again",
            [
            Field::whole("lead_days", "Lead time")
                .hint(format!(
                    "Days from ordering it to having it on the shelf. Empty: {USUAL_LEAD_DAYS} days."
                ))
                .after("days")
                .value(days(upkeep.lead_days)),
            Field::whole("cover_days", "Safety stock")
                .hint(
                    "For how many days of use it lasts when the delivery is late. Empty: half the lead time.",
                )
                .after("days")
                .value(days(upkeep.cover_days)),
            ],
        ))
        .group(Group::new(
            "How it keeps",
            [
            Field::whole("keeps_open_days", "Keeps once it is open")
                .hint(
                    "As it says on the package. When a lot is said to be open, it is good for so many days, or until \
                     its best-before day where that is earlier. Empty: opening changes nothing.",
                )
                .after("days")
                .value(days(upkeep.keeps_open_days)),
            Field::decimal("weakens_percent", "Loses of its strength in a year")
                .hint(
                    "Of yeast and enzymes, such as 20: as their maker says, or as you found (common practice, no \
                     source). It only gives a hint where they are drawn, and changes no amount.",
                )
                .after("%")
                .value(
                    upkeep.weakens_permille.map(|share| number::plain(i64::from(share), 1)).unwrap_or_default(),
                ),
            ],
        ))
        .group(in_its_place(id, &item, &upkeep, &all, draft));
    let frame = site.frame(hand, Room::Stores, &title, facts);
    Ok(FormPage::new(frame, Some((here, item.name)), fill(view)))
}
