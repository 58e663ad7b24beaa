//! Whose the bottles of a batch are: what is due to each, what they took, and what members would like to have.

use askama::Template;

use super::body::Form;
use super::bottles::size;
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView, Group};
use super::frame::Frame;
use super::input::Draft;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::shares::{self as acts};
use crate::db::bottles::Bottling;
use crate::db::shares::{self as rows, Settled, Wished};
use crate::db::{AnyConn, Failure, batches, bottles, members};
use crate::domain::members::{Doer, Onlooker, Role, Steward, Taster};
use crate::domain::refusal::Refusal;
use crate::domain::shares::{MOST_SHARES, Share, Sharing, Wish, due};
use crate::units::days;
use crate::units::ids::{BatchId, BottlingId, MemberId};
use crate::units::money::Money;

/// The bottles of one bottling, as they are shared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shared {
    /// Which.
    pub bottling: Bottling,
    /// Who, what is due to them, and what they took; those without a part who took some at the end.
    pub lines: Vec<(MemberId, String, i64, i64)>,
}

/// How a bottling is shared: what is left of it and what members took, by the parts of its batch.
pub fn shared(
    conn: &mut AnyConn,
    doer: &Doer,
    settled: &Settled,
    bottling: Bottling,
) -> Result<Shared, Failure> {
    let mut taken = rows::taken(conn, doer.club, bottling.lot)?;
    let left: i64 = bottles::standing(conn, doer.club, bottling.lot)?.iter().map(|place| place.2).sum();
    let due = due(left + taken.values().sum::<i64>(), &settled.parts());
    let with = settled.shares.iter().zip(due);
    let mut lines: Vec<(MemberId, String, i64, i64)> = with
        .map(|((share, name), due)| {
            (share.member, name.clone(), due, taken.remove(&share.member).unwrap_or_default())
        })
        .collect();
    let mut others: Vec<(MemberId, i64)> = taken.into_iter().filter(|one| one.1 != 0).collect();
    others.sort_unstable();
    for (member, took) in others {
        lines.push((member, members::member(conn, doer.club, member)?.name, 0, took));
    }
    Ok(Shared { bottling, lines })
}

/// A line for people: who, due, taken, and what that leaves.
struct Line {
    who: String,
    due: i64,
    taken: i64,
    left: String,
    over: bool,
}

fn lines(shared: &Shared) -> Vec<Line> {
    let line = |(_, who, due, taken): &(MemberId, String, i64, i64)| Line {
        who: who.clone(),
        due: *due,
        taken: *taken,
        left: if taken > due { format!("{} over", taken - due) } else { (due - taken).to_string() },
        over: taken > due,
    };
    shared.lines.iter().map(line).collect()
}

/// What members would like to have: who, and what they say.
fn wished(wishes: &[Wished]) -> Vec<(String, String)> {
    let words = |wish: &Wished| match &*wish.3 {
        "" => words::count(wish.2, "bottle", "bottles"),
        more => format!("{}, {more}", words::count(wish.2, "bottle", "bottles")),
    };
    wishes.iter().map(|wish| (wish.1.clone(), words(wish))).collect()
}

/// What the page of a bottling says of whose its bottles are.
#[derive(Template)]
#[template(path = "shares/bottling.html")]
pub(super) struct OfBottling {
    shares: String,
    lines: Vec<Line>,
    wishes: Vec<(String, String)>,
    is_shared: bool,
    form: Option<FormView>,
}

/// What is read for it.
pub(super) struct Found {
    shared: Shared,
    settled: bool,
    wishes: Vec<Wished>,
}

pub(super) fn find(conn: &mut AnyConn, doer: &Doer, bottling: &Bottling) -> Result<Found, Failure> {
    let settled = rows::settled(conn, doer.club, bottling.batch)?;
    Ok(Found {
        wishes: rows::wishes(conn, doer.club, bottling.id)?,
        settled: !settled.shares.is_empty(),
        shared: shared(conn, doer, &settled, bottling.clone())?,
    })
}

/// Nothing, where the batch is nobody’s in particular and nobody wishes for anything.
pub(super) fn of_bottling(site: &Site, doer: &Doer, found: &Found) -> Option<OfBottling> {
    let bottling = &found.shared.bottling;
    if !found.settled && found.wishes.is_empty() {
        return None;
    }
    let own = found.wishes.iter().find(|wish| wish.0 == doer.member);
    let form = (doer.role >= Role::Taster).then(|| wish_form(site, bottling.id, own));
    let lines = if found.settled { lines(&found.shared) } else { Vec::new() };
    let shares = site.at(&format!("/batches/{}/shares", bottling.batch));
    Some(OfBottling { shares, lines, wishes: wished(&found.wishes), is_shared: found.settled, form })
}

fn wish_form(site: &Site, bottling: BottlingId, own: Option<&Wished>) -> FormView {
    let (bottles, remark) = own.map(|wish| (wish.2.to_string(), wish.3.clone())).unwrap_or_default();
    site.form(&format!("/bottles/{bottling}/wish"), "", "Keep my wish").fields([
        Field::whole("bottles", "I would like to have")
            .hint("How many bottles; 0 takes the wish back.")
            .value(bottles),
        Field::text("remark", "What else").value(remark),
    ])
}

/// Reads a wish, from a page or a program.
pub fn read_wish(draft: &Draft, doer: &Doer, bottling: BottlingId) -> Result<Wish, Refusal> {
    draft.read(doer, |r| Wish {
        bottling,
        bottles: r.whole("bottles", 0..=10_000),
        remark: r.optional_line("remark", 200, "what else you wish"),
    })
}

/// Keeps a wish.
pub async fn wish(taster: Taster, site: Site, path: Path<BottlingId>, sent: Form) -> Reply {
    let done = async {
        let wish = read_wish(&sent.draft, &taster, path.0)?;
        acts::wish(&site.db, &taster, sent.key.clone(), wish).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/bottles/{id}#whose"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&taster, |_, _| Ok(())).await?;
            let back = site.at(&format!("/bottles/{}", path.0));
            let mut view = wish_form(&site, path.0, None).leave(back.clone());
            "What I would like to have".clone_into(&mut view.heading);
            let frame = site.frame(&taster, Room::Bottles, "What I would like to have", facts);
            let up = Some((back, "The bottling".to_owned()));
            respond::refused(&FormPage::new(frame, up, sent.back(view, &refusal)), &refusal)
        }
    }
}

#[derive(Template)]
#[template(path = "shares/batch.html")]
struct BatchPage {
    frame: Frame,
    up: (String, String),
    lead: String,
    about: String,
    parts: Vec<Part>,
    bottlings: Vec<BottlingPart>,
    settle: Option<String>,
    currency: String,
}

struct Part {
    who: String,
    percent: String,
    /// What they put in, for those who may see it.
    put_in: Option<String>,
}

struct BottlingPart {
    href: String,
    name: String,
    lines: Vec<Line>,
    wishes: Vec<(String, String)>,
}

/// All that the page shows.
pub struct OfBatch {
    /// The batch's number and drink.
    pub named: (String, String),
    /// The parts.
    pub settled: Settled,
    /// Each bottling with its wishes.
    pub bottlings: Vec<(Shared, Vec<Wished>)>,
}

/// How a batch is shared.
pub fn of_batch(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<OfBatch, Failure> {
    let named = batches::named(conn, doer.club, id)?;
    let settled = rows::settled(conn, doer.club, id)?;
    let mut found = Vec::new();
    for bottling in bottles::of_batch(conn, doer.club, id)? {
        if !bottles::is_reversed(conn, &bottling)? {
            let wishes = rows::wishes(conn, doer.club, bottling.id)?;
            found.push((shared(conn, doer, &settled, bottling)?, wishes));
        }
    }
    Ok(OfBatch { named, settled, bottlings: found })
}

/// The part of a whole, in per cent.
#[allow(clippy::cast_precision_loss, reason = "a share for people")]
pub fn percent(share: &Share, all: &[Share]) -> String {
    let whole: i64 = all.iter().map(|share| share.put_in().micros()).sum();
    format!("{:.1}", 100.0 * share.put_in().micros() as f64 / whole.max(1) as f64)
}

/// Shows how a batch is shared.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (facts, found) = site
        .read(&who, move |conn, doer| match of_batch(conn, doer, id) {
            Err(Failure::Gone) => Ok(None),
            found => found.map(Some),
        })
        .await?;
    let OfBatch { named: (code, drink), settled, bottlings } =
        found.ok_or_else(|| Problem::missing("batch"))?;
    let all = settled.parts();
    let many = i64::try_from(all.len()).unwrap_or(i64::MAX);
    let part = |(share, name): &(Share, String)| Part {
        who: name.clone(),
        percent: percent(share, &all),
        put_in: who.may_see_money_of(share.member).then(|| words::figure(share.put_in())),
    };
    let page = BatchPage {
        up: (site.at(&format!("/batches/{id}")), format!("Batch {code}, {drink}")),
        lead: match many {
            0 => "The bottles of this batch belong to all.".to_owned(),
            _ => format!(
                "The bottles of this batch are shared by {}.",
                words::count(many, "member", "members")
            ),
        },
        about: settled.by.as_ref().map_or_else(String::new, |(name, at)| {
            let day = days::local_day(*at, who.zone);
            format!("Settled by {name} on {}.", days::long(day))
        }),
        parts: settled.shares.iter().map(part).collect(),
        bottlings: bottlings
            .iter()
            .map(|(shared, wishes)| {
                let bottling = &shared.bottling;
                BottlingPart {
                    href: site.at(&format!("/bottles/{}", bottling.id)),
                    name: format!("Bottling {}, {}", bottling.code, size(bottling)),
                    lines: lines(shared),
                    wishes: wished(wishes),
                }
            })
            .collect(),
        settle: (who.role >= Role::Steward).then(|| site.at(&format!("/batches/{id}/shares/new"))),
        currency: words::sign(&who.currency).trim().to_owned(),
        frame: site.frame(&who, Room::Batches, &format!("Whose the bottles of batch {code} are"), facts),
    };
    respond::page(&page)
}

/// Reads how a batch is shared, from a page or a program.
pub fn read(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<Sharing, Refusal> {
    draft.read(doer, |r| Sharing {
        batch,
        shares: r.rows_up_to("shares", MOST_SHARES, |r| Share {
            member: r.id("member", "member"),
            laid_out: r.optional_money("laid_out").unwrap_or_default(),
            worked: r.optional_money("worked").unwrap_or_default(),
        }),
    })
}

/// The form in which it is settled.
pub async fn form(steward: Steward, site: Site, path: Path<BatchId>) -> Reply {
    respond::page(&page(&site, &steward, path.0, None).await?)
}

/// Settles it.
pub async fn settle(steward: Steward, site: Site, path: Path<BatchId>, sent: Form) -> Reply {
    let done = async {
        let sharing = read(&sent.draft, &steward, path.0)?;
        acts::settle_shares(&site.db, &steward, sent.key.clone(), sharing).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/batches/{id}/shares"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            respond::refused(&page(&site, &steward, path.0, Some((&sent, &refusal))).await?, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    steward: &Steward,
    id: BatchId,
    sent: Option<(&Form, &Refusal)>,
) -> Result<FormPage, Problem> {
    let read = site.read(steward, move |conn, doer| match batches::named(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        named => Ok(Some((
            named?,
            members::members(conn, doer.club)?,
            rows::settled(conn, doer.club, id)?.parts(),
            rows::put_in(conn, doer.club, id)?,
        ))),
    });
    let (facts, found) = read.await?;
    let ((code, drink), members, settled, recorded) = found.ok_or_else(|| Problem::missing("batch"))?;
    let begins = if settled.is_empty() { recorded } else { settled };
    let choices: Vec<Choice> = std::iter::once(Choice::new("", "Choose a member"))
        .chain(members.iter().map(|member| Choice::new(member.id.to_string(), member.name.clone())))
        .collect();
    let sign = words::sign(&steward.currency).trim().to_owned();
    let typed = sent.map_or(0, |(sent, _)| sent.draft.count("shares"));
    let count = (begins.len().max(typed) + 2).min(MOST_SHARES);
    let group = Group::repeated("Who has a part", "member", "shares", count, |at| {
        let begin = begins.get(at).filter(|_| sent.is_none());
        let sum = |of: fn(&Share) -> Money| match begin.map(of) {
            None | Some(Money::ZERO) => String::new(),
            Some(money) => money.shown(),
        };
        let member = begin.map(|share| share.member.to_string()).unwrap_or_default();
        vec![
            Field::select("member", "Who", choices.clone()).value(member),
            Field::decimal("laid_out", "Laid out for it")
                .after(sign.clone())
                .value(sum(|share| share.laid_out)),
            Field::decimal("worked", "What their work counts for")
                .after(sign.clone())
                .value(sum(|share| share.worked)),
        ]
    });
    let here = format!("/batches/{id}/shares");
    let view = site
        .form(&here, "Settle the shares", "Settle it like this")
        .intro(format!(
            "Batch {code}, {drink}. It begins with what is recorded: supplies that members paid for, and work they \
             noted. Bottles are handed out in these proportions. Empty, they belong to all.",
        ))
        .group(group)
        .leave(site.at(&here));
    let view = match sent {
        Some((sent, refusal)) => sent.back(view, refusal),
        None => view,
    };
    let frame = site.frame(steward, Room::Batches, "Settle the shares", facts);
    let up = (site.at(&here), format!("Whose the bottles of batch {code} are"));
    Ok(FormPage::new(frame, Some(up), view))
}
