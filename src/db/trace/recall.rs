//! A recall: from lots to everything that came of them, where it is now, and whom to tell.

use std::collections::{BTreeMap, HashMap};

use diesel::prelude::*;

use super::{Found, MOST, Node, Way, described, walk_from};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{
    accounts, batches, bottlings, entries, lots, members, places, postings, tasting_samples, tasting_sheets,
    tastings,
};
use crate::db::vessels;
use crate::domain::batches::Stage;
use crate::domain::books::EntryKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, ClubId, EntryId, LotId, MemberId, TastingId};
use crate::units::quantity::Milli;

/// Bottles that left the cellar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gone {
    /// The entry.
    pub entry: EntryId,
    /// When.
    pub day: Day,
    /// The bottling's code.
    pub code: String,
    /// How many.
    pub bottles: i64,
    /// The member who took them.
    pub member: Option<MemberId>,
    /// Their name, or what else became of them: tasted, given, lost.
    pub who: String,
    /// What was written: for a gift often to whom.
    pub remark: String,
}

/// A member who is to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Who.
    pub member: MemberId,
    /// Their name.
    pub name: String,
    /// When they left the club, if they did.
    pub left_on: Option<Day>,
    /// How many bottles they took.
    pub bottles: i64,
    /// When they took the first and the last of them.
    pub days: Option<(Day, Day)>,
    /// At which tastings they were when it was poured.
    pub tastings: Vec<String>,
}

/// A batch in which some of it is or was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InBatch {
    /// Which.
    pub batch: BatchId,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub drink: String,
    /// How far it is.
    pub stage: Stage,
    /// What it holds.
    pub left: Milli,
    /// The vessels in which it stands: code and place.
    pub vessels: Vec<(String, String)>,
}

/// All of a recall.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Recall {
    /// The lots from which it starts, and all that came of them.
    pub lots: Vec<Found>,
    /// What of them stands where: lot, place, how much.
    pub stands: Vec<(LotId, String, Milli)>,
    /// The batches.
    pub batches: Vec<InBatch>,
    /// Bottles that left the cellar, the latest first.
    pub gone: Vec<Gone>,
    /// Whom to tell.
    pub tell: Vec<Told>,
    /// There is more than is told here.
    pub cut: bool,
}

/// Follows lots down to everything that came of them.
pub fn recall(conn: &mut AnyConn, club: ClubId, of: &[LotId]) -> Result<Recall, Failure> {
    let own: Vec<LotId> = lots::table
        .filter(lots::id.eq_any(padded(of)).and(lots::club_id.eq(club)))
        .select(lots::id)
        .prepared()
        .load(conn)?;
    if own.is_empty() {
        return Err(Failure::Gone);
    }
    let from: Vec<Node> = own.into_iter().map(Node::Lot).collect();
    let reached = walk_from(conn, &from, Way::Down, MOST)?;
    let lots = reached.lots();
    let gone = gone(conn, &lots)?;
    let ids: Vec<BatchId> = reached.batches().into_iter().collect();
    Ok(Recall {
        tell: tell(conn, &gone)?,
        stands: stands(conn, &lots)?,
        batches: in_batches(conn, &ids)?,
        lots: described(conn, &lots)?,
        cut: reached.cut,
        gone,
    })
}

/// The lots that a receipt brought.
pub fn of_receipt(conn: &mut AnyConn, club: ClubId, entry: EntryId) -> Result<Vec<LotId>, Failure> {
    Ok(lots::table
        .inner_join(entries::table.on(entries::id.eq(lots::entry_id)))
        .filter(lots::entry_id.eq(entry).and(lots::club_id.eq(club)))
        .filter(entries::kind.eq(EntryKind::Receipt))
        .order(lots::id)
        .select(lots::id)
        .load(conn)?)
}

fn stands(conn: &mut AnyConn, of: &[LotId]) -> Result<Vec<(LotId, String, Milli)>, Failure> {
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<(Option<LotId>, String, Milli)> = accounts::table
            .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
            .filter(accounts::lot_id.eq_any(padded(&some.iter().copied().map(Some).collect::<Vec<_>>())))
            .filter(accounts::kind.eq("stock").and(accounts::quantity.gt(Milli::ZERO)))
            .order((accounts::lot_id, places::path))
            .select((accounts::lot_id, places::path, accounts::quantity))
            .prepared()
            .load(conn)?;
        found.extend(rows.into_iter().filter_map(|(lot, place, left)| Some((lot?, place, left))));
    }
    Ok(found)
}

fn in_batches(conn: &mut AnyConn, of: &[BatchId]) -> Result<Vec<InBatch>, Failure> {
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<(BatchId, String, String, Stage)> = batches::table
            .filter(batches::id.eq_any(padded(some)))
            .order(batches::id)
            .select((batches::id, batches::code, batches::name, batches::stage))
            .prepared()
            .load(conn)?;
        let held = crate::db::batches::holdings(conn, some)?;
        let stands = vessels::standing_in(conn, some)?;
        for (batch, code, drink, stage) in rows {
            let left = held.iter().find(|row| row.0 == batch).map(|row| row.1.quantity).unwrap_or_default();
            let own = stands.iter().filter(|row| row.0 == batch);
            let vessels = own.map(|row| (row.1.code.clone(), row.1.place.clone())).collect();
            found.push(InBatch { batch, code, drink, stage, left, vessels });
        }
    }
    Ok(found)
}

fn gone(conn: &mut AnyConn, of: &[LotId]) -> Result<Vec<Gone>, Failure> {
    type Row = (EntryId, Day, String, Milli, String);
    type Whom = (EntryId, String, Option<MemberId>, Option<String>);
    let back = diesel::alias!(entries as back);
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<Row> = entries::table
            .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
            .inner_join(bottlings::table.on(bottlings::lot_id.eq(lots::id)))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(entries::kind.eq(EntryKind::Withdrawal).and(lots::id.eq_any(padded(some))))
            .filter(back.field(entries::id).nullable().is_null())
            .order(entries::id)
            .select((entries::id, entries::day, bottlings::code, postings::quantity, entries::remark))
            .prepared()
            .load(conn)?;
        let ids: Vec<EntryId> = rows.iter().map(|row| row.0).collect();
        let mut whom: HashMap<EntryId, Whom> = HashMap::new();
        for part in ids.chunks(500) {
            let to: Vec<Whom> = postings::table
                .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
                .left_join(members::table.on(members::id.nullable().eq(accounts::member_id)))
                .filter(postings::entry_id.eq_any(padded(part)).and(accounts::kind.ne("stock")))
                .select((postings::entry_id, accounts::kind, accounts::member_id, members::name.nullable()))
                .prepared()
                .load(conn)?;
            whom.extend(to.into_iter().map(|row| (row.0, row)));
        }
        for (entry, day, code, quantity, remark) in rows {
            let (member, who) = whom
                .get(&entry)
                .map(|(_, kind, member, name)| (*member, name.clone().unwrap_or_else(|| kind.clone())))
                .unwrap_or_default();
            found.push(Gone { entry, day, code, bottles: quantity.get() / -1000, member, who, remark });
        }
    }
    found.sort_by_key(|gone| std::cmp::Reverse((gone.day, gone.entry)));
    Ok(found)
}

/// Whoever took bottles, and whoever was at a tasting for which some were opened.
fn tell(conn: &mut AnyConn, gone: &[Gone]) -> Result<Vec<Told>, Failure> {
    let mut by_member: BTreeMap<MemberId, Told> = BTreeMap::new();
    let new = |member| Told {
        member,
        name: String::new(),
        left_on: None,
        bottles: 0,
        days: None,
        tastings: Vec::new(),
    };
    for one in gone {
        let Some(member) = one.member else { continue };
        let told = by_member.entry(member).or_insert_with(|| new(member));
        told.bottles += one.bottles;
        told.days = Some(
            told.days.map_or((one.day, one.day), |(first, last)| (first.min(one.day), last.max(one.day))),
        );
    }
    let opened: Vec<EntryId> = gone.iter().filter(|one| one.who == "tasted").map(|one| one.entry).collect();
    for some in opened.chunks(500) {
        let tables: Vec<(TastingId, String)> = tasting_samples::table
            .inner_join(tastings::table.on(tastings::id.eq(tasting_samples::tasting_id)))
            .filter(
                tasting_samples::entry_id.eq_any(padded(&some.iter().copied().map(Some).collect::<Vec<_>>())),
            )
            .select((tastings::id, tastings::title))
            .distinct()
            .prepared()
            .load(conn)?;
        let ids: Vec<TastingId> = tables.iter().map(|table| table.0).collect();
        let sat: Vec<(TastingId, MemberId)> = tasting_sheets::table
            .filter(
                tasting_sheets::tasting_id.eq_any(padded(&ids)).and(tasting_sheets::may_taste.eq(Some(true))),
            )
            .select((tasting_sheets::tasting_id, tasting_sheets::member_id))
            .prepared()
            .load(conn)?;
        for (tasting, member) in sat {
            let told = by_member.entry(member).or_insert_with(|| new(member));
            let titles = tables.iter().filter(|table| table.0 == tasting).map(|table| table.1.clone());
            told.tastings.extend(titles);
        }
    }
    let ids: Vec<MemberId> = by_member.keys().copied().collect();
    for some in ids.chunks(500) {
        let rows: Vec<(MemberId, String, Option<Day>)> = members::table
            .filter(members::id.eq_any(padded(some)))
            .select((members::id, members::name, members::left_on))
            .prepared()
            .load(conn)?;
        for (member, name, left_on) in rows {
            if let Some(told) = by_member.get_mut(&member) {
                (told.name, told.left_on) = (name, left_on);
            }
        }
    }
    let mut found: Vec<Told> = by_member.into_values().collect();
    found.sort_by(|one, other| one.name.cmp(&other.name));
    Ok(found)
}
