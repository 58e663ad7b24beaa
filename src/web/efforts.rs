//! Work and energy beside the books, and how the club counts: what by-products take, what an hour and a kilowatt-hour
//! cost.

use super::body::Form;
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView, Group};
use super::input::{Draft, Reader};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::efforts::{self as acts, Counting, StrikeEffort};
use crate::db::efforts::{self as rows, Rates};
use crate::db::{Failure, batches};
use crate::domain::costs::by_products::By;
use crate::domain::efforts::{EffortKind, NewEffort};
use crate::domain::members::{Cellarhand, Doer, Steward};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::{BatchId, EffortId};
use crate::units::quantity::Milli;

/// Reads work or energy, from a page or a program.
pub fn read(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<NewEffort, Refusal> {
    draft.read(doer, |r: &mut Reader| NewEffort {
        batch,
        day: r.day("day"),
        kind: r.choice("kind", &EffortKind::ALL, EffortKind::code),
        amount: r.optional_scaled("amount", 1000, &(1..=10_000_000), "2.5").map(Milli::new),
        sum: r.optional_money("sum"),
        remark: r.optional_line("remark", 200, "what it was for"),
    })
}

/// Reads why a line is struck out.
pub fn read_strike(draft: &Draft, doer: &Doer, effort: EffortId) -> Result<StrikeEffort, Refusal> {
    draft.read(doer, |r| StrikeEffort { effort, reason: r.line("reason", 300, "why it is struck out") })
}

/// Reads how the club counts.
pub fn read_counting(draft: &Draft, doer: &Doer) -> Result<Counting, Refusal> {
    draft.read(doer, |r: &mut Reader| Counting {
        by: r.choice("by_products_by", &By::ALL, By::code),
        litre_worth: r.optional_money("litre_worth"),
        hour_rate: r.optional_money("hour_rate"),
        kwh_price: r.optional_money("kwh_price"),
    })
}

/// Shows the form of work or energy.
pub async fn form(hand: Cellarhand, site: Site, path: Path<BatchId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, |view| view).await?)
}

/// Notes it.
pub async fn record(hand: Cellarhand, site: Site, path: Path<BatchId>, sent: Form) -> Reply {
    let done = async {
        let new = read(&sent.draft, &hand, path.0)?;
        acts::record_effort(&site.db, &hand, sent.key.clone(), new).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/batches/{}/cost#ef", path.0))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &hand, path.0, |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    id: BatchId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(hand, move |conn, doer| match batches::named(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => Ok(Some((found?, rows::rates(conn, doer.club)?))),
    });
    let (facts, found) = read.await?;
    let ((code, drink), rates) = found.ok_or_else(|| Problem::missing("batch"))?;
    let said = |rate: Option<crate::units::money::Money>, each: &str| match rate {
        Some(rate) => format!("{} {each}", words::money(&hand.currency, rate)),
        None => format!("no rate {each}"),
    };
    let rate =
        format!("The club counts {}, {}.", said(rates.hour_rate, "an hour"), said(rates.kwh_price, "a kWh"));
    let kinds = EffortKind::ALL.map(|kind| {
        let (name, unit) = kind.label();
        Choice::new(kind.code(), format!("{name}, in {unit}"))
    });
    let sign = words::sign(&hand.currency).trim().to_owned();
    let view = site
        .form(&format!("/batches/{id}/effort"), "Note work or energy", "Note it")
        .intro(format!("Batch {code}, {drink}. It stands beside the books and changes nothing in them."))
        .fields([
            Field::radios("kind", "What was it?", kinds.into()).value("work"),
            Field::decimal("amount", "How much").hint(format!("Hours of all together, or kWh. {rate}")),
            Field::decimal("sum", "Or what it cost").hint("Left empty, the amount at the rate.").after(sign),
            Field::text("remark", "What for"),
            Field::day("day", "Day").value(days::long(hand.today())),
        ])
        .leave(site.at(&format!("/batches/{id}/cost")));
    let frame = site.frame(hand, Room::Batches, "Note work or energy", facts);
    let up = (site.at(&format!("/batches/{id}/cost")), format!("Cost of batch {code}"));
    Ok(FormPage::new(frame, Some(up), fill(view)))
}

/// Strikes a line out.
pub async fn strike(hand: Cellarhand, site: Site, path: Path<(BatchId, EffortId)>, sent: Form) -> Reply {
    let (batch, effort) = path.0;
    let done = async {
        let order = read_strike(&sent.draft, &hand, effort)?;
        acts::strike_effort(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(batch) => Ok(site.see_other(&format!("/batches/{batch}/cost#ef"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let back = site.at(&format!("/batches/{batch}/cost"));
            let view = site
                .form(
                    &format!("/batches/{batch}/efforts/{effort}/strike"),
                    "Strike a line out",
                    "Strike it out",
                )
                .fields([Field::text("reason", "Why is it struck out?")])
                .leave(back.clone());
            let frame = site.frame(&hand, Room::Batches, "Strike a line out", facts);
            let up = Some((back, "What the batch cost".to_owned()));
            respond::refused(&FormPage::new(frame, up, sent.back(view, &refusal)), &refusal)
        }
    }
}

/// Shows how the club counts.
pub async fn counting_form(steward: Steward, site: Site) -> Reply {
    respond::page(&counting_page(&site, &steward, |view| view).await?)
}

/// Counts otherwise from now on.
pub async fn set_counting(steward: Steward, site: Site, sent: Form) -> Reply {
    let done = async {
        let now = read_counting(&sent.draft, &steward)?;
        acts::set_counting(&site.db, &steward, sent.key.clone(), now).await
    };
    match done.await {
        Ok(()) => Ok(site.see_other("/club/counting")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = counting_page(&site, &steward, |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn counting_page(
    site: &Site,
    steward: &Steward,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, rates) = site.read(steward, |conn, doer| rows::rates(conn, doer.club)).await?;
    let view = counting_view(site, steward, &rates);
    let frame = site.frame(steward, Room::Club, "How the club counts", facts);
    Ok(FormPage::new(frame, Some((site.at("/club"), "Club".to_owned())), fill(view)))
}

fn counting_view(site: &Site, steward: &Steward, rates: &Rates) -> FormView {
    let ways = [
        (
            By::NetValue,
            "At what they are worth: it comes off the cost of the drink (IAS 2, paragraph 14). The usual way.",
        ),
        (
            By::Mass,
            "By mass: a kilogram of curd carries as much as a kilogram of what stays, at 1 kg a litre.",
        ),
        (
            By::SalesValue,
            "By what each would sell for: the item’s value, and below what a litre of drink would.",
        ),
    ];
    let ways = ways.map(|(by, says)| Choice::new(by.code(), says));
    let sign = words::sign(&steward.currency).trim().to_owned();
    let money = |name: &str, label: &str, value: Option<crate::units::money::Money>| {
        let value = value.map(crate::units::money::Money::plain).unwrap_or_default();
        Field::decimal(name, label).value(value).after(sign.clone())
    };
    site.form("/club/counting", "How the club counts", "Count like this from now on")
        .intro(
            "It holds for what is recorded from now on: what is in the books stays as it was booked. The cost of a \
             bottling shows what a bottle would cost by each way.",
        )
        .group(Group::new(
            "By-products",
            [
                Field::radios("by_products_by", "How does a by-product take its share of the cost?", ways.into())
                    .value(rates.by.code()),
                money("litre_worth", "What a litre of the drink would sell for", rates.litre_worth)
                    .hint("Only for the third way."),
            ],
        ))
        .group(Group::new(
            "Work and energy",
            [
                money("hour_rate", "An hour of work", rates.hour_rate)
                    .hint("Beside the books: nobody is owed it. Empty for none."),
                money("kwh_price", "A kilowatt-hour", rates.kwh_price).hint("As on the last bill. Empty for none."),
            ],
        ))
        .leave(site.at("/club"))
}
