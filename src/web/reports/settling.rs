//! Who pays whom so that all are even, and saying that it was paid. A member sees what concerns them, stewards see all.

use std::collections::HashMap;

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, text};
use crate::actions::shares::record_transfer;
use crate::db::reports::{self as money, MemberMoney};
use crate::db::{AnyConn, Failure, shares as rows};
use crate::domain::members::{Doer, Role, Steward};
use crate::domain::refusal::Refusal;
use crate::domain::shares::{EXACT_UP_TO, Made, Paid, even_out};
use crate::units::days;
use crate::units::ids::MemberId;
use crate::units::money::Money;
use crate::web::body::Form;
use crate::web::extract::Query;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

const HERE: &str = "/reports/settling-up";
const PURSE: &str = "The club’s purse";

/// The report. It is of today, whatever year is asked for.
pub fn report(conn: &mut AnyConn, doer: &Doer, _: &Asked) -> Result<Report, Failure> {
    let members = money::by_member(conn, doer.club)?;
    let purse = rows::purse(conn, doer.club)?;
    let owes: Vec<(MemberId, Money)> = members.iter().map(|money| (money.member, money.owes)).collect();
    let evening = even_out(&owes, purse);
    let names: HashMap<MemberId, &str> = members.iter().map(|money| (money.member, &*money.name)).collect();
    let name = |who: Option<MemberId>| match who {
        Some(member) => Value::typed(names.get(&member).copied().unwrap_or_default()),
        None => Value::ours(PURSE),
    };
    let sees = |who: Option<MemberId>| who.is_some_and(|member| doer.may_see_money_of(member));
    let steward = doer.role >= Role::Steward;
    let row = |Paid { from, to, amount }: &Paid| {
        let row = Row::new([name(*from), Value::Money(*amount), name(*to), Value::ours(&doer.currency)]);
        let id = |who: &Option<MemberId>| who.map(|member| member.to_string()).unwrap_or_default();
        let paid = format!("{HERE}/paid?from={}&to={}&amount={}", id(from), id(to), amount.plain());
        if steward { row.to(paid) } else { row }
    };
    let own = evening.transfers.iter().filter(|one| sees(one.from) || sees(one.to));
    let transfers: Vec<Row> = own.map(row).collect();
    let waits = evening.waits.iter().filter(|wait| sees(Some(wait.0)));
    let waits: Vec<Row> = waits
        .map(|(member, sum)| Row::new([name(Some(*member)), Value::Money(*sum), Value::ours(&doer.currency)]))
        .collect();
    let few = words::count(i64::try_from(transfers.len()).unwrap_or(i64::MAX), "payment", "payments");
    let lead = match (transfers.len(), steward) {
        (0, true) => "Nobody has to pay anybody now.".to_owned(),
        (0, false) => "You have to pay nobody, and nobody has to pay you now.".to_owned(),
        (_, true) if evening.fewest => format!("With {few} all are even; with fewer they cannot be."),
        (_, true) => format!("With {few} all are even."),
        (_, false) => format!("With {few} you are even."),
    };
    let mut notes = vec![
        "What members owe the club goes to those whom the club owes. The purse takes what is over, and gives what it \
         has. Only whole hundredths are paid."
            .to_owned(),
    ];
    if !evening.fewest {
        notes.push(format!(
            "With more than {EXACT_UP_TO} who pay or are paid, this is about the fewest payments there can be."
        ));
    }
    if steward {
        notes.push("Each line leads to where it is recorded once it was paid.".to_owned());
    } else {
        notes.push("Only you and the stewards see these lines.".to_owned());
    }
    let sign = words::sign(&doer.currency);
    let caption = |what: &str| format!("{what}, in {}, on {}", sign.trim(), days::long(doer.today()));
    let mut tables = vec![Table {
        name: "Who pays whom",
        caption: caption("Payments that would make all even"),
        columns: vec![
            text("from", "Who pays"),
            figures("amount", "How much"),
            text("to", "Who is paid"),
            in_file("currency"),
        ],
        rows: transfers,
        none: "Nobody has to pay anybody.",
        file: true,
    }];
    if !waits.is_empty() {
        tables.push(Table {
            name: "What waits",
            caption: caption(
                "What the club goes on owing: it is in supplies and bottles that nobody has taken yet",
            ),
            columns: vec![text("member", "Member"), figures("waits", "How much"), in_file("currency")],
            rows: waits,
            none: "",
            file: false,
        });
    }
    Ok(Report { lead, tables, notes, ..Report::default() })
}

/// Reads what was paid, from a page or a program: nobody stands for the purse.
pub fn read(draft: &Draft, doer: &Doer) -> Result<Made, Refusal> {
    draft.read(doer, |r| Made {
        day: r.day("day"),
        paid: Paid {
            from: r.optional_id("from", "member"),
            to: r.optional_id("to", "member"),
            amount: r.money("amount"),
        },
        remark: r.remark("remark"),
    })
}

/// What the form begins with.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct PaidQuery {
    /// Who paid; empty for the purse.
    pub from: Option<String>,
    /// Who was paid; empty for the purse.
    pub to: Option<String>,
    /// How much.
    pub amount: Option<String>,
}

/// The form of what was paid.
pub async fn form(steward: Steward, site: Site, query: Query<PaidQuery>) -> Reply {
    respond::page(&page(&site, &steward, &query.draft, |view| view).await?)
}

/// Records it.
pub async fn record(steward: Steward, site: Site, sent: Form) -> Reply {
    let done = async {
        let made = read(&sent.draft, &steward)?;
        record_transfer(&site.db, &steward, sent.key.clone(), made).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(HERE)),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &steward, &Draft::default(), |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    steward: &Steward,
    typed: &Draft,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, members) = site.read(steward, |conn, doer| money::by_member(conn, doer.club)).await?;
    let choice = |money: &MemberMoney| Choice::new(money.member.to_string(), money.name.clone());
    let purse = std::iter::once(Choice::new("", PURSE));
    let who: Vec<Choice> = purse.chain(members.iter().map(choice)).collect();
    let value = |field: &str| typed.typed(field).unwrap_or_default();
    let view = site
        .form(&format!("{HERE}/paid"), "Record what was paid", "Record the payment")
        .intro("Between two members it goes by way of the club: one pays it in, the other is paid it back.")
        .fields([
            Field::select("from", "Who paid", who.clone()).value(value("from")),
            Field::select("to", "Who was paid", who).value(value("to")),
            Field::decimal("amount", "How much")
                .after(words::sign(&steward.currency).trim().to_owned())
                .value(value("amount")),
            Field::day("day", "Day").value(days::long(steward.today())),
            Field::area("remark", "Remark"),
        ])
        .leave(site.at(HERE));
    let frame = site.frame(steward, Room::Reports, "Record what was paid", facts);
    Ok(FormPage::new(frame, Some((site.at(HERE), "Settling up".to_owned())), fill(view)))
}
