//! Money between a member and the club, from the member's statement.

use super::body::Form;
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView};
use super::input::Draft;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::payments::record_payment;
use crate::db::reports as rows;
use crate::domain::members::{Doer, Steward};
use crate::domain::payments::{Payment, Way};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::MemberId;
use crate::units::money::Money;

/// Reads what was paid, from a page or a program.
pub fn read_payment(draft: &Draft, doer: &Doer, member: MemberId) -> Result<Payment, Refusal> {
    draft.read(doer, |r| Payment {
        day: r.day("day"),
        member,
        way: r.choice("way", &Way::ALL, Way::code),
        amount: r.money("amount"),
        remark: r.remark("remark"),
    })
}

/// The form of a payment.
pub async fn form(steward: Steward, site: Site, path: Path<MemberId>) -> Reply {
    respond::page(&page(&site, &steward, path.0, |view| view).await?)
}

/// Records a payment.
pub async fn record(steward: Steward, site: Site, path: Path<MemberId>, sent: Form) -> Reply {
    let member = path.0;
    let done = async {
        let payment = read_payment(&sent.draft, &steward, member)?;
        record_payment(&site.db, &steward, sent.key.clone(), payment).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/reports/members/{member}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &steward, member, |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    steward: &Steward,
    member: MemberId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(steward, move |conn, doer| {
        Ok(rows::seen_by(conn, doer)?.into_iter().find(|money| money.member == member))
    });
    let (facts, money) = read.await?;
    let money = money.ok_or_else(|| Problem::missing("member"))?;
    let here = format!("/reports/members/{member}");
    let balance = money.owes.paid();
    let owes = balance > Money::ZERO;
    let due = if owes { balance } else { balance.negated() };
    let intro = match due {
        Money::ZERO => format!("{} and the club are even.", money.name),
        due if owes => format!("{} owes the club {}.", money.name, words::money(&steward.currency, due)),
        due => format!("The club owes {} {}.", money.name, words::money(&steward.currency, due)),
    };
    let ways = vec![
        Choice::new(Way::ToClub.code(), format!("{} pays the club", money.name)),
        Choice::new(Way::ToMember.code(), format!("The club pays {}", money.name)),
    ];
    let first = if balance < Money::ZERO { Way::ToMember } else { Way::ToClub };
    let typical = if due == Money::ZERO { String::new() } else { due.shown() };
    let view = site
        .form(&format!("{here}/payments"), "Record a payment", "Record the payment")
        .intro(intro)
        .fields([
            Field::radios("way", "Which way", ways).value(first.code()),
            Field::decimal("amount", "How much")
                .after(words::sign(&steward.currency).trim().to_owned())
                .value(typical),
            Field::day("day", "Day").value(days::long(steward.today())),
            Field::area("remark", "Remark"),
        ])
        .leave(site.at(&here));
    let frame = site.frame(steward, Room::Reports, "Record a payment", facts);
    Ok(FormPage::new(frame, Some((site.at(&here), money.name)), fill(view)))
}
