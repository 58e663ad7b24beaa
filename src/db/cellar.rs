//! Where bottles stand, and what the places take.

use std::collections::{BTreeMap, HashMap};

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, bottlings, places};
use super::stock::InStock;
use super::{bottles as bottling_rows, climate, stock};
use crate::domain::cellar::{Coming, Spot, Stand, coming as ahead};
use crate::domain::climate::{measured_by, troubles};
use crate::domain::stock::places::Place;
use crate::units::days::Day;
use crate::units::ids::{BottlingId, ClubId, PlaceId};
use crate::units::quantity::Milli;

/// All bottles that are laid down, by place and filling, the oldest first. There are as many rows as the cellar holds
/// now, however long its history.
pub fn stands(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Stand>, Failure> {
    let rows = accounts::table
        .inner_join(bottlings::table.on(bottlings::lot_id.nullable().eq(accounts::lot_id)))
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .filter(accounts::club_id.eq(club).and(InStock))
        .order((bottlings::bottled_on, bottlings::id, places::folded))
        .select((
            bottlings::id,
            bottlings::lot_id,
            bottlings::code,
            batches::name,
            bottlings::bottled_on,
            places::id,
            places::path,
            accounts::quantity,
            accounts::cost,
        ))
        .load::<(_, _, _, _, _, _, _, Milli, _)>(conn)?;
    let stand = |(bottling, lot, code, drink, bottled_on, place, path, quantity, cost)| Stand {
        bottling,
        lot,
        code,
        drink,
        bottled_on,
        place,
        path,
        bottles: Milli::get(quantity) / 1000,
        cost,
    };
    Ok(rows.into_iter().map(stand).collect())
}

/// The days that tell what a place is like.
const MONTH: i64 = 30;

/// The places for bottles: those that take a number of them, and those where some stand, in the order of their names.
pub fn spots(conn: &mut AnyConn, club: ClubId, today: Day) -> Result<Vec<Spot>, Failure> {
    let all = stock::places(conn, club)?;
    let mut stands: BTreeMap<PlaceId, Vec<Stand>> = BTreeMap::new();
    for stand in self::stands(conn, club)? {
        stands.entry(stand.place).or_default().push(stand);
    }
    let days = climate::since(conn, club, today - chrono::Duration::days(MONTH))?;
    let by = measured_by(&all, &days.keys().copied().collect::<Vec<_>>());
    #[allow(clippy::cast_precision_loss, reason = "days of a month")]
    let air = |place: PlaceId| {
        let days = days.get(by.get(&place)?)?;
        let mean = days.iter().map(|day| day.mean_c).sum::<f64>() / days.len() as f64;
        Some((mean, !troubles(days, today).is_empty()))
    };
    let spot = |place: Place| Spot {
        air: air(place.id),
        stands: stands.remove(&place.id).unwrap_or_default(),
        place: place.id,
        path: place.path,
        capacity: place.capacity,
    };
    let mut spots: Vec<Spot> = all.into_iter().map(spot).collect();
    spots.retain(|spot| spot.capacity.is_some() || !spot.stands.is_empty());
    Ok(spots)
}

/// How far ahead it is looked.
const AHEAD_DAYS: i64 = 365;

/// What comes of age within a year of what is laid down.
pub fn coming(
    conn: &mut AnyConn,
    club: ClubId,
    stands: &[Stand],
    today: Day,
) -> Result<Vec<Coming>, Failure> {
    let mut ids: Vec<BottlingId> = stands.iter().map(|stand| stand.bottling).collect();
    ids.sort_unstable();
    ids.dedup();
    let mut planned: HashMap<BottlingId, Vec<(i64, Day)>> = HashMap::new();
    for some in ids.chunks(500) {
        for (id, ages) in bottling_rows::tastings(conn, club, some)? {
            planned.insert(id, ages.iter().map(|age| (age.age_days, age.falls_on)).collect());
        }
    }
    let of = |id: BottlingId| planned.get(&id).cloned().unwrap_or_default();
    Ok(ahead(stands, of, (today, today + chrono::Duration::days(AHEAD_DAYS))))
}
