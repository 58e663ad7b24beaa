//! What the books say of the lines of a count.

use std::collections::{BTreeMap, HashMap};

use chrono_tz::Tz;
use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, entries, postings};
use crate::domain::books::{EntryKind, Holding};
use crate::domain::counts::then::{Movement, When};
use crate::domain::counts::{Books, Line};
use crate::units::days::{Day, Instant, local_day};
use crate::units::ids::{AccountId, ClubId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// So many accounts are asked for at once.
const PART: usize = 500;

/// Reads what the books hold of every line that is not settled, and what moved since the day on which anything of them
/// was counted first: a few queries, however many lines there are.
pub fn with_books(conn: &mut AnyConn, club: ClubId, lines: &mut [Line], zone: Tz) -> Result<(), Failure> {
    let open = |line: &&mut Line| line.settled.is_none();
    let of: Vec<LotId> =
        lines.iter_mut().filter(open).filter_map(|line| Some(line.lot.as_ref()?.id)).collect();
    let held = held(conn, club, &of)?;
    let since = lines.iter().flat_map(|line| &line.tallies).map(|tally| tally.counted_at).min();
    let mut by_account: HashMap<AccountId, Vec<Movement>> = HashMap::new();
    if let Some(since) = since {
        let accounts: Vec<AccountId> = lines
            .iter()
            .filter(|line| !line.tallies.is_empty() && line.settled.is_none())
            .filter_map(|line| held.get(&(line.lot.as_ref()?.id, line.place.0)).map(|found| found.0))
            .collect();
        by_account = moves_since(conn, &accounts, local_day(since, zone))?;
    }
    for line in lines.iter_mut().filter(open) {
        let found = line.lot.as_ref().and_then(|lot| held.get(&(lot.id, line.place.0)));
        line.books = Some(match found {
            Some((account, now)) => {
                Books { now: *now, moves: by_account.remove(account).unwrap_or_default() }
            }
            None => Books::default(),
        });
    }
    Ok(())
}

type Held = HashMap<(LotId, PlaceId), (AccountId, Holding)>;

/// What the books hold of these lots, place by place.
fn held(conn: &mut AnyConn, club: ClubId, of: &[LotId]) -> Result<Held, Failure> {
    type Row = (AccountId, Option<LotId>, Option<PlaceId>, Milli, Money);
    let mut found = HashMap::new();
    for some in of.chunks(PART) {
        let rows: Vec<Row> = accounts::table
            .filter(accounts::lot_id.eq_any(padded(&some.iter().copied().map(Some).collect::<Vec<_>>())))
            .filter(accounts::club_id.eq(club).and(accounts::kind.eq("stock")))
            .select((accounts::id, accounts::lot_id, accounts::place_id, accounts::quantity, accounts::cost))
            .prepared()
            .load(conn)?;
        for (account, lot, place, quantity, cost) in rows {
            if let (Some(lot), Some(place)) = (lot, place) {
                found.insert((lot, place), (account, Holding { quantity, cost }));
            }
        }
    }
    Ok(found)
}

/// What the books hold of each of these lots at all places together.
pub fn everywhere(
    conn: &mut AnyConn,
    club: ClubId,
    of: &[LotId],
) -> Result<BTreeMap<LotId, Holding>, Failure> {
    let mut found: BTreeMap<LotId, Holding> = BTreeMap::new();
    for ((lot, _), (_, holding)) in held(conn, club, of)? {
        let sum = found.entry(lot).or_default();
        *sum = Holding { quantity: sum.quantity + holding.quantity, cost: sum.cost + holding.cost };
    }
    Ok(found)
}

fn moves_since(
    conn: &mut AnyConn,
    of: &[AccountId],
    day: Day,
) -> Result<HashMap<AccountId, Vec<Movement>>, Failure> {
    type Stamp = (EntryKind, Day, Instant, Option<Instant>);
    type MeantStamp = (Option<EntryKind>, Option<Day>, Option<Instant>, Option<Instant>);
    type Row = (AccountId, Milli, Stamp, MeantStamp, Option<crate::units::ids::EntryId>);
    let (meant, back) = diesel::alias!(entries as meant, entries as back);
    let mut found: HashMap<AccountId, Vec<Movement>> = HashMap::new();
    for some in of.chunks(PART) {
        let rows: Vec<Row> = postings::table
            .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
            .left_join(meant.on(meant.field(entries::id).nullable().eq(entries::reverses)))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(postings::account_id.eq_any(padded(some)).and(postings::day.ge(day)))
            .select((
                postings::account_id,
                postings::quantity,
                (entries::kind, entries::day, entries::recorded_at, entries::happened_at),
                (
                    meant.field(entries::kind).nullable(),
                    meant.field(entries::day).nullable(),
                    meant.field(entries::recorded_at).nullable(),
                    meant.field(entries::happened_at).nullable(),
                ),
                back.field(entries::id).nullable(),
            ))
            .prepared()
            .load(conn)?;
        for (account, quantity, own, meant, back) in rows {
            let (kind, day, recorded, happened) = match meant {
                (Some(kind), Some(day), Some(recorded), happened) => (kind, day, recorded, happened),
                _ => own,
            };
            found.entry(account).or_default().push(Movement {
                quantity,
                kind,
                when: When { day, at: happened.unwrap_or(recorded) },
                reversed: back.is_some() || meant.0.is_some(),
            });
        }
    }
    Ok(found)
}
