//! The instruments of a club.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::instruments;
use crate::domain::instruments::{Instrument, InstrumentKind};
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, InstrumentId};
use crate::units::measure::Measured;

/// An instrument with its id.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Which.
    pub id: InstrumentId,
    /// What it is.
    pub instrument: Instrument,
    /// It is not used any more.
    pub retired: bool,
}

type Row = (InstrumentId, String, InstrumentKind, Option<Measured>, Measured, Day, Option<Instant>);
type Columns = (
    instruments::id,
    instruments::name,
    instruments::kind,
    instruments::made_for_micro_c,
    instruments::offset_micro,
    instruments::checked_on,
    instruments::retired_at,
);
const COLUMNS: Columns = (
    instruments::id,
    instruments::name,
    instruments::kind,
    instruments::made_for_micro_c,
    instruments::offset_micro,
    instruments::checked_on,
    instruments::retired_at,
);

fn kept((id, name, kind, made_for_c, offset, checked_on, retired_at): Row) -> Kept {
    let instrument = Instrument { name, kind, made_for_c, offset, checked_on };
    Kept { id, instrument, retired: retired_at.is_some() }
}

/// All of them, those in use first, by kind and name.
pub fn instruments(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Kept>, Failure> {
    let rows: Vec<Row> = instruments::table
        .filter(instruments::club_id.eq(club))
        .order((instruments::kind, instruments::name))
        .select(COLUMNS)
        .load(conn)?;
    let mut found: Vec<Kept> = rows.into_iter().map(kept).collect();
    found.sort_by_key(|one| one.retired);
    Ok(found)
}

/// One of them.
pub fn instrument(conn: &mut AnyConn, club: ClubId, id: InstrumentId) -> Result<Kept, Failure> {
    let one = instruments::table.filter(instruments::id.eq(id).and(instruments::club_id.eq(club)));
    Ok(kept(one.select(COLUMNS).first(conn)?))
}

/// Keep a new one.
pub fn add(conn: &mut AnyConn, club: ClubId, id: InstrumentId, new: &Instrument) -> Result<(), Failure> {
    diesel::insert_into(instruments::table)
        .values((
            instruments::id.eq(id),
            instruments::club_id.eq(club),
            instruments::name.eq(&new.name),
            instruments::kind.eq(new.kind),
            instruments::made_for_micro_c.eq(new.made_for_c),
            instruments::offset_micro.eq(new.offset),
            instruments::checked_on.eq(new.checked_on),
        ))
        .execute(conn)?;
    Ok(())
}

/// Change what is known of it.
pub fn change(
    conn: &mut AnyConn,
    club: ClubId,
    id: InstrumentId,
    now: &Instrument,
    retired_at: Option<Instant>,
) -> Result<(), Failure> {
    diesel::update(instruments::table.filter(instruments::id.eq(id).and(instruments::club_id.eq(club))))
        .set((
            instruments::name.eq(&now.name),
            instruments::made_for_micro_c.eq(now.made_for_c),
            instruments::offset_micro.eq(now.offset),
            instruments::checked_on.eq(now.checked_on),
            instruments::retired_at.eq(retired_at),
        ))
        .execute(conn)?;
    Ok(())
}
