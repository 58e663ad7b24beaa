//! The statement of one member: what they paid and took, entry by entry. It is shown to that member and to stewards;
//! to others there is none.

use askama::Template;

use crate::db::books::{self, Told, Which};
use crate::db::reports::{self as rows, MemberMoney};
use crate::domain::members::{Onlooker, Role};
use crate::units::ids::{EntryId, MemberId};
use crate::units::money::Money;
use crate::web::entries::trail_of;
use crate::web::extract::{Paging, Path};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::trail::Trail;
use crate::web::words;

#[derive(Template)]
#[template(path = "reports/member.html")]
struct MemberPage {
    frame: Frame,
    name: String,
    own: bool,
    lead: String,
    /// Where a payment is recorded, for who may.
    pay: Option<String>,
    trail: Trail,
}

/// Shows what a member paid and took.
pub async fn show(who: Onlooker, site: Site, path: Path<MemberId>, paging: Paging<EntryId>) -> Reply {
    let (member, before, limit) = (path.0, paging.after, paging.rows());
    let read = site.read(&who, move |conn, doer| {
        let money = rows::seen_by(conn, doer)?.into_iter().find(|money| money.member == member);
        Ok((money, books::tell(conn, doer.club, Which::Member(member), before, limit)?))
    });
    let (facts, (money, entries)) = read.await?;
    let money = money.ok_or_else(|| Problem::missing("member"))?;
    let part = paging.page(entries, |told: &Told| told.id, |told| told);
    let more = part.next.map(|next| site.at(&format!("/reports/members/{member}?after={next}")));
    let page = MemberPage {
        lead: lead(&money, &who.currency),
        pay: (who.role >= Role::Steward).then(|| site.at(&format!("/reports/members/{member}/payments/new"))),
        trail: trail_of(&site, &who, &part.items, more),
        frame: site.frame(&who, Room::Reports, &format!("Money of {}", money.name), facts),
        own: member == who.member,
        name: money.name,
    };
    respond::page(&page)
}

fn lead(money: &MemberMoney, currency: &str) -> String {
    let said = |amount: Money| words::money(currency, amount);
    let balance = match money.owes.paid() {
        Money::ZERO => "that is even".to_owned(),
        owes if owes > Money::ZERO => format!("{} is owed to the club", said(owes)),
        owes => format!("the club owes {}", said(owes.negated())),
    };
    let paid_in = match money.paid_in {
        Money::ZERO => String::new(),
        paid if paid > Money::ZERO => format!(", paid {} to the club", said(paid)),
        paid => format!(", was paid {} by the club", said(paid.negated())),
    };
    format!(
        "Paid {} for supplies{paid_in}, took home {} at cost: {balance}.",
        said(money.paid),
        said(money.took)
    )
}
