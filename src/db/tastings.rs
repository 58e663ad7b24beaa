//! Tastings: what was planned, what stands on the table, and what the sheets say.

use std::collections::HashMap;

use diesel::dsl::count_star;
use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{
    attributes, batches, bottlings, members, tasting_attributes, tasting_glasses, tasting_samples,
    tasting_sheets, tastings,
};
use crate::domain::tastings::serving::Served;
use crate::domain::tastings::sheet::{Attribute, usual_attributes};
use crate::domain::tastings::{Glass, Method, Plan, Sample, Seat, Table, Tasting, letter};
use crate::units::days::{Day, Instant};
use crate::units::ids::{
    BottlingId, ClubId, EntryId, GlassId, LotId, MemberId, SampleId, SheetId, TastingId,
};
use crate::units::measure::Measured;
use crate::units::quantity::Milli;

mod ageing;
mod sheets;

pub use ageing::{Appearance, of_bottling, sittings};
pub use sheets::{answers, hand_in, handed_in, save, saved_at};

type Head = (TastingId, String, String, Day, String, bool, Method, String, Option<i64>, Milli);
type Times = (Option<Instant>, Option<Instant>, Option<Instant>, String);
type Row = (Head, (MemberId, String), (Option<MemberId>, Option<String>), Times);

fn tasting_of((head, host, pourer, times): Row) -> Tasting {
    let (id, code, title, day, place, blind, method, question, expected, pour_volume) = head;
    let (begun_at, opened_at, called_off_at, called_off_because) = times;
    Tasting {
        id,
        code,
        title,
        host,
        pourer: pourer.0.zip(pourer.1),
        day,
        place,
        blind,
        method,
        question,
        expected: expected.and_then(|number| u32::try_from(number).ok()),
        pour_volume,
        begun_at,
        opened_at,
        called_off_at,
        called_off_because,
    }
}

macro_rules! told_tastings {
    ($pourers:ident) => {
        tastings::table
            .inner_join(members::table.on(members::id.eq(tastings::host_id)))
            .left_join($pourers.on($pourers.field(members::id).nullable().eq(tastings::pourer_id)))
            .select((
                (
                    tastings::id,
                    tastings::code,
                    tastings::title,
                    tastings::day,
                    tastings::place,
                    tastings::blind,
                    tastings::method,
                    tastings::question,
                    tastings::expected,
                    tastings::pour_volume,
                ),
                (members::id, members::name),
                (tastings::pourer_id, $pourers.field(members::name).nullable()),
                (
                    tastings::begun_at,
                    tastings::opened_at,
                    tastings::called_off_at,
                    tastings::called_off_because,
                ),
            ))
    };
}

/// One tasting.
pub fn tasting(conn: &mut AnyConn, club: ClubId, id: TastingId) -> Result<Tasting, Failure> {
    let pourers = diesel::alias!(members as pourers);
    let row: Row =
        told_tastings!(pourers).filter(tastings::id.eq(id).and(tastings::club_id.eq(club))).first(conn)?;
    Ok(tasting_of(row))
}

/// A tasting as a list shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// The tasting.
    pub tasting: Tasting,
    /// How many bottlings are poured.
    pub samples: i64,
    /// Who is invited.
    pub seats: Vec<Seat>,
}

/// Tastings, the latest day first, after a place in that order.
pub fn tastings(
    conn: &mut AnyConn,
    club: ClubId,
    after: Option<(Day, TastingId)>,
    limit: i64,
) -> Result<Vec<Listed>, Failure> {
    let pourers = diesel::alias!(members as pourers);
    let mut query = told_tastings!(pourers)
        .filter(tastings::club_id.eq(club))
        .order((tastings::day.desc(), tastings::id.desc()))
        .limit(limit)
        .into_boxed();
    if let Some((day, id)) = after {
        query = query.filter(tastings::day.lt(day).or(tastings::day.eq(day).and(tastings::id.lt(id))));
    }
    let rows: Vec<Row> = query.load(conn)?;
    let found: Vec<Tasting> = rows.into_iter().map(tasting_of).collect();
    let ids: Vec<TastingId> = found.iter().map(|tasting| tasting.id).collect();
    let samples: HashMap<TastingId, i64> = tasting_samples::table
        .filter(tasting_samples::tasting_id.eq_any(&ids))
        .group_by(tasting_samples::tasting_id)
        .select((tasting_samples::tasting_id, count_star()))
        .load(conn)?
        .into_iter()
        .collect();
    let mut seats = seats_of(conn, &ids)?;
    let listed = |tasting: Tasting| Listed {
        samples: samples.get(&tasting.id).copied().unwrap_or_default(),
        seats: seats.remove(&tasting.id).unwrap_or_default(),
        tasting,
    };
    Ok(found.into_iter().map(listed).collect())
}

/// A tasting with everything on its table.
pub fn table(conn: &mut AnyConn, club: ClubId, id: TastingId) -> Result<Table, Failure> {
    let tasting = tasting(conn, club, id)?;
    let attributes = if tasting.begun_at.is_some() {
        lines_of(
            tasting_attributes::table
                .filter(tasting_attributes::tasting_id.eq(id))
                .order(tasting_attributes::number)
                .select((
                    tasting_attributes::number,
                    tasting_attributes::name,
                    tasting_attributes::low_end,
                    tasting_attributes::high_end,
                ))
                .load(conn)?,
        )
    } else {
        self::attributes(conn, club)?
    };
    Ok(Table {
        samples: samples(conn, id)?,
        glasses: glasses(conn, id)?,
        attributes,
        seats: seats(conn, id)?,
        tasting,
    })
}

fn samples(conn: &mut AnyConn, id: TastingId) -> Result<Vec<Sample>, Failure> {
    type Poured = (SampleId, i64, Option<EntryId>, Option<i64>);
    type Bottled = (BottlingId, String, String, Day, Milli, Option<Measured>, LotId);
    let rows: Vec<(Poured, Bottled)> = tasting_samples::table
        .inner_join(bottlings::table.on(bottlings::id.eq(tasting_samples::bottling_id)))
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .filter(tasting_samples::tasting_id.eq(id))
        .order(tasting_samples::number)
        .select((
            (tasting_samples::id, tasting_samples::number, tasting_samples::entry_id, tasting_samples::bag),
            (
                bottlings::id,
                bottlings::code,
                batches::name,
                bottlings::bottled_on,
                bottlings::bottle_volume,
                bottlings::strength_micro,
                bottlings::lot_id,
            ),
        ))
        .load(conn)?;
    let each = |((id, number, entry, bag), bottled): (Poured, Bottled)| {
        let (bottling, code, drink, bottled_on, bottle_volume, strength, lot) = bottled;
        Ok(Sample {
            id,
            number: u32::try_from(number).unwrap_or(u32::MAX),
            bottling,
            code,
            drink,
            bottled_on,
            bottle_volume,
            strength,
            allergens: super::trace::allergens(conn, lot)?,
            entry,
            bag: bag.and_then(|bag| u32::try_from(bag).ok()).map(letter),
        })
    };
    rows.into_iter().map(each).collect()
}

fn glasses(conn: &mut AnyConn, id: TastingId) -> Result<Vec<Glass>, Failure> {
    let rows: Vec<(GlassId, SampleId, i64)> = tasting_glasses::table
        .filter(tasting_glasses::tasting_id.eq(id))
        .order(tasting_glasses::code)
        .select((tasting_glasses::id, tasting_glasses::sample_id, tasting_glasses::code))
        .load(conn)?;
    Ok(rows.into_iter().map(|(id, sample, code)| Glass { id, sample, code: code_of(code) }).collect())
}

fn code_of(kept: i64) -> u16 {
    u16::try_from(kept).unwrap_or_default()
}

fn seats(conn: &mut AnyConn, id: TastingId) -> Result<Vec<Seat>, Failure> {
    Ok(seats_of(conn, &[id])?.remove(&id).unwrap_or_default())
}

/// Who is invited to each of these, by name.
fn seats_of(conn: &mut AnyConn, ids: &[TastingId]) -> Result<HashMap<TastingId, Vec<Seat>>, Failure> {
    type SeatRow = (TastingId, SheetId, MemberId, String, Option<bool>, String, String, Option<Instant>);
    let rows: Vec<SeatRow> = tasting_sheets::table
        .inner_join(members::table.on(members::id.eq(tasting_sheets::member_id)))
        .filter(tasting_sheets::tasting_id.eq_any(ids))
        .order((members::name, members::id))
        .select((
            tasting_sheets::tasting_id,
            tasting_sheets::id,
            members::id,
            members::name,
            tasting_sheets::may_taste,
            tasting_sheets::asked,
            tasting_sheets::serving,
            tasting_sheets::handed_in_at,
        ))
        .load(conn)?;
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect();
    let mut found: HashMap<TastingId, Vec<Seat>> = HashMap::new();
    for (tasting, sheet, member, name, may_taste, asked, serving, handed_in_at) in rows {
        found.entry(tasting).or_default().push(Seat {
            sheet,
            member,
            name,
            may_taste,
            asked: words(&asked),
            serving: serving.split_whitespace().filter_map(|code| code.parse().ok()).collect(),
            handed_in_at,
        });
    }
    Ok(found)
}

/// Keep a new tasting with its samples and those who are invited.
pub fn add(
    conn: &mut AnyConn,
    club: ClubId,
    id: TastingId,
    code: &str,
    plan: &Plan,
    at: Instant,
) -> Result<(), Failure> {
    diesel::insert_into(tastings::table)
        .values((
            (
                tastings::id.eq(id),
                tastings::club_id.eq(club),
                tastings::code.eq(code),
                tastings::title.eq(&plan.title),
                tastings::host_id.eq(plan.host),
                tastings::pourer_id.eq(plan.pourer),
                tastings::day.eq(plan.day),
                tastings::place.eq(&plan.place),
                tastings::blind.eq(plan.blind),
            ),
            (
                tastings::method.eq(plan.method),
                tastings::question.eq(plan.question()),
                tastings::expected.eq(plan.expected.map(i64::from)),
                tastings::pour_volume.eq(plan.pour_volume),
                tastings::planned_at.eq(at),
                tastings::called_off_because.eq(""),
            ),
        ))
        .execute(conn)?;
    add_samples(conn, club, id, &plan.samples)?;
    plan.tasters.iter().try_for_each(|member| invite(conn, club, id, *member))
}

/// Another plan for a tasting to come. Those who stay invited keep what they said.
pub fn change(conn: &mut AnyConn, club: ClubId, id: TastingId, plan: &Plan) -> Result<(), Failure> {
    diesel::update(tastings::table.find(id))
        .set((
            tastings::title.eq(&plan.title),
            tastings::host_id.eq(plan.host),
            tastings::pourer_id.eq(plan.pourer),
            tastings::day.eq(plan.day),
            tastings::place.eq(&plan.place),
            tastings::blind.eq(plan.blind),
            tastings::method.eq(plan.method),
            tastings::question.eq(plan.question()),
            tastings::expected.eq(plan.expected.map(i64::from)),
            tastings::pour_volume.eq(plan.pour_volume),
        ))
        .execute(conn)?;
    diesel::delete(tasting_samples::table.filter(tasting_samples::tasting_id.eq(id))).execute(conn)?;
    add_samples(conn, club, id, &plan.samples)?;
    let of_this = tasting_sheets::tasting_id.eq(id);
    diesel::delete(
        tasting_sheets::table.filter(of_this.and(tasting_sheets::member_id.ne_all(plan.tasters.clone()))),
    )
    .execute(conn)?;
    let stay: Vec<MemberId> =
        tasting_sheets::table.filter(of_this).select(tasting_sheets::member_id).load(conn)?;
    let new = plan.tasters.iter().filter(|member| !stay.contains(member));
    new.copied().try_for_each(|member| invite(conn, club, id, member))
}

fn add_samples(
    conn: &mut AnyConn,
    club: ClubId,
    id: TastingId,
    poured: &[BottlingId],
) -> Result<(), Failure> {
    for (number, bottling) in (1_i64..).zip(poured) {
        diesel::insert_into(tasting_samples::table)
            .values((
                tasting_samples::id.eq(SampleId::fresh()),
                tasting_samples::club_id.eq(club),
                tasting_samples::tasting_id.eq(id),
                tasting_samples::number.eq(number),
                tasting_samples::bottling_id.eq(*bottling),
            ))
            .execute(conn)?;
    }
    Ok(())
}

fn invite(conn: &mut AnyConn, club: ClubId, id: TastingId, member: MemberId) -> Result<(), Failure> {
    diesel::insert_into(tasting_sheets::table)
        .values((
            tasting_sheets::id.eq(SheetId::fresh()),
            tasting_sheets::club_id.eq(club),
            tasting_sheets::tasting_id.eq(id),
            tasting_sheets::member_id.eq(member),
            tasting_sheets::asked.eq(""),
            tasting_sheets::serving.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// What somebody said to a list of allergens, and what is put before them if they come late.
pub fn set_answer(
    conn: &mut AnyConn,
    sheet: SheetId,
    may_taste: bool,
    asked: &[String],
    serving: &[u16],
) -> Result<(), Failure> {
    diesel::update(tasting_sheets::table.find(sheet))
        .set((
            tasting_sheets::may_taste.eq(Some(may_taste)),
            tasting_sheets::asked.eq(asked.join(" ")),
            tasting_sheets::serving.eq(codes(serving)),
        ))
        .execute(conn)?;
    Ok(())
}

fn codes(serving: &[u16]) -> String {
    serving.iter().map(u16::to_string).collect::<Vec<_>>().join(" ")
}

/// It has begun: codes, orders, and the list of what is marked as it is now.
pub fn begin(
    conn: &mut AnyConn,
    club: ClubId,
    id: TastingId,
    served: &Served,
    lines: &[Attribute],
    at: Instant,
) -> Result<(), Failure> {
    diesel::update(tastings::table.find(id)).set(tastings::begun_at.eq(Some(at))).execute(conn)?;
    for (sample, code) in &served.glasses {
        diesel::insert_into(tasting_glasses::table)
            .values((
                tasting_glasses::id.eq(GlassId::fresh()),
                tasting_glasses::club_id.eq(club),
                tasting_glasses::tasting_id.eq(id),
                tasting_glasses::sample_id.eq(*sample),
                tasting_glasses::code.eq(i64::from(*code)),
            ))
            .execute(conn)?;
    }
    for (sample, bag) in &served.bags {
        diesel::update(tasting_samples::table.find(*sample))
            .set(tasting_samples::bag.eq(Some(i64::from(*bag))))
            .execute(conn)?;
    }
    for (sheet, serving) in &served.servings {
        diesel::update(tasting_sheets::table.find(*sheet))
            .set(tasting_sheets::serving.eq(codes(serving)))
            .execute(conn)?;
    }
    for line in lines {
        diesel::insert_into(tasting_attributes::table)
            .values((
                tasting_attributes::tasting_id.eq(id),
                tasting_attributes::number.eq(i64::from(line.number)),
                tasting_attributes::club_id.eq(club),
                tasting_attributes::name.eq(&line.name),
                tasting_attributes::low_end.eq(&line.low_end),
                tasting_attributes::high_end.eq(&line.high_end),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// What took the bottles of a sample out of the cellar.
pub fn set_entry(conn: &mut AnyConn, sample: SampleId, entry: EntryId) -> Result<(), Failure> {
    diesel::update(tasting_samples::table.find(sample))
        .set(tasting_samples::entry_id.eq(Some(entry)))
        .execute(conn)?;
    Ok(())
}

/// The key is open.
pub fn open(conn: &mut AnyConn, id: TastingId, at: Instant) -> Result<(), Failure> {
    diesel::update(tastings::table.find(id)).set(tastings::opened_at.eq(Some(at))).execute(conn)?;
    Ok(())
}

/// It does not take place.
pub fn call_off(conn: &mut AnyConn, id: TastingId, because: &str, at: Instant) -> Result<(), Failure> {
    diesel::update(tastings::table.find(id))
        .set((tastings::called_off_at.eq(Some(at)), tastings::called_off_because.eq(because)))
        .execute(conn)?;
    Ok(())
}

/// What the club marks: its own list, or the usual one.
pub fn attributes(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Attribute>, Failure> {
    let own = lines_of(
        attributes::table
            .filter(attributes::club_id.eq(club))
            .order(attributes::number)
            .select((attributes::number, attributes::name, attributes::low_end, attributes::high_end))
            .load(conn)?,
    );
    Ok(if own.is_empty() { usual_attributes() } else { own })
}

/// In the order in which they are asked: the whole, which is number 0, comes last.
fn lines_of(mut rows: Vec<(i64, String, String, String)>) -> Vec<Attribute> {
    rows.sort_by_key(|row| (row.0 == 0, row.0));
    rows.into_iter()
        .map(|(number, name, low_end, high_end)| Attribute {
            number: u32::try_from(number).unwrap_or_default(),
            name,
            low_end,
            high_end,
        })
        .collect()
}

/// Another list for the club; tastings that have begun keep theirs.
pub fn set_attributes(conn: &mut AnyConn, club: ClubId, lines: &[Attribute]) -> Result<(), Failure> {
    diesel::delete(attributes::table.filter(attributes::club_id.eq(club))).execute(conn)?;
    for line in lines {
        diesel::insert_into(attributes::table)
            .values((
                attributes::club_id.eq(club),
                attributes::number.eq(i64::from(line.number)),
                attributes::name.eq(&line.name),
                attributes::low_end.eq(&line.low_end),
                attributes::high_end.eq(&line.high_end),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// The day of the tasting that comes next, or of one at the table.
pub fn next_on(conn: &mut AnyConn, club: ClubId) -> Result<Option<Day>, Failure> {
    Ok(tastings::table
        .filter(tastings::club_id.eq(club))
        .filter(tastings::opened_at.is_null().and(tastings::called_off_at.is_null()))
        .order((tastings::day, tastings::id))
        .select(tastings::day)
        .first(conn)
        .optional()?)
}
