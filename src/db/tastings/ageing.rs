//! A bottling at the tastings whose key is open.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{
    bottlings, tasting_glasses, tasting_marks, tasting_samples, tasting_sheets, tastings,
};
use crate::domain::tastings::ageing::Sitting;
use crate::domain::tastings::sheet::WHOLE;
use crate::domain::tastings::{Method, State};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BottlingId, ClubId, MemberId, TastingId};

/// The marks for the whole that a bottling was given at each tasting, the first tasting first.
pub fn sittings(conn: &mut AnyConn, club: ClubId, bottling: BottlingId) -> Result<Vec<Sitting>, Failure> {
    type Row = (TastingId, String, Day, Day, MemberId, i64);
    let rows: Vec<Row> = tasting_samples::table
        .inner_join(tastings::table.on(tastings::id.eq(tasting_samples::tasting_id)))
        .inner_join(bottlings::table.on(bottlings::id.eq(tasting_samples::bottling_id)))
        .inner_join(tasting_glasses::table.on(tasting_glasses::sample_id.eq(tasting_samples::id)))
        .inner_join(tasting_marks::table.on(tasting_marks::glass_id.eq(tasting_glasses::id)))
        .inner_join(tasting_sheets::table.on(tasting_sheets::id.eq(tasting_marks::sheet_id)))
        .filter(tasting_samples::bottling_id.eq(bottling).and(tasting_samples::club_id.eq(club)))
        .filter(tastings::opened_at.is_not_null().and(tastings::called_off_at.is_null()))
        .filter(tasting_sheets::handed_in_at.is_not_null())
        .filter(tasting_marks::attribute.eq(i64::from(WHOLE)))
        .order((tastings::day, tastings::id, tasting_sheets::member_id))
        .select((
            tastings::id,
            tastings::code,
            tastings::day,
            bottlings::bottled_on,
            tasting_sheets::member_id,
            tasting_marks::mark,
        ))
        .load(conn)?;
    let mut found: Vec<Sitting> = Vec::new();
    for (tasting, code, day, bottled_on, member, mark) in rows {
        #[allow(clippy::cast_precision_loss, reason = "tenths up to 100")]
        let mark = (member, mark as f64 / 10.0);
        if let Some(last) = found.last_mut().filter(|last| last.tasting == tasting) {
            last.marks.push(mark);
        } else {
            let age_days = (day - bottled_on).num_days();
            found.push(Sitting { tasting, code, day, age_days, marks: vec![mark] });
        }
    }
    Ok(found)
}

/// A tasting at which a bottling was, or will be, poured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appearance {
    /// Which.
    pub tasting: TastingId,
    /// Its number.
    pub code: String,
    /// What the club calls it.
    pub title: String,
    /// When.
    pub day: Day,
    /// How it was judged.
    pub method: Method,
    /// How far it is.
    pub state: State,
}

/// The tastings of a bottling that may be told of, the latest first: those with an open key, and those at which
/// everybody knows what they drink.
pub fn of_bottling(
    conn: &mut AnyConn,
    club: ClubId,
    bottling: BottlingId,
) -> Result<Vec<Appearance>, Failure> {
    type Row = (TastingId, String, String, Day, Method, Option<Instant>, Option<Instant>);
    let rows: Vec<Row> = tasting_samples::table
        .inner_join(tastings::table.on(tastings::id.eq(tasting_samples::tasting_id)))
        .filter(tasting_samples::bottling_id.eq(bottling).and(tasting_samples::club_id.eq(club)))
        .filter(tastings::called_off_at.is_null())
        .filter(tastings::opened_at.is_not_null().or(tastings::blind.eq(false)))
        .order((tastings::day.desc(), tastings::id.desc()))
        .select((
            tastings::id,
            tastings::code,
            tastings::title,
            tastings::day,
            tastings::method,
            tastings::begun_at,
            tastings::opened_at,
        ))
        .load(conn)?;
    let state = |begun: Option<Instant>, opened: Option<Instant>| match (begun, opened) {
        (_, Some(_)) => State::Open,
        (Some(_), None) => State::AtTheTable,
        (None, None) => State::ToCome,
    };
    Ok(rows
        .into_iter()
        .map(|(tasting, code, title, day, method, begun, opened)| Appearance {
            tasting,
            code,
            title,
            day,
            method,
            state: state(begun, opened),
        })
        .collect())
}
