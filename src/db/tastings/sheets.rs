//! What is written on the sheets.

use std::collections::HashMap;

use diesel::prelude::*;

use super::code_of;
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{members, tasting_answers, tasting_glasses, tasting_marks, tasting_sheets};
use crate::domain::tastings::Glass;
use crate::domain::tastings::results::Sheet;
use crate::domain::tastings::sheet::Answer;
use crate::units::days::Instant;
use crate::units::ids::{ClubId, GlassId, MemberId, SheetId, TastingId};

/// What one sheet says, by code.
pub fn answers(conn: &mut AnyConn, sheet: SheetId) -> Result<Vec<Answer>, Failure> {
    let said: Vec<Said> = tasting_answers::table
        .inner_join(tasting_glasses::table.on(tasting_glasses::id.eq(tasting_answers::glass_id)))
        .filter(tasting_answers::sheet_id.eq(sheet))
        .order(tasting_glasses::code)
        .select(SAID)
        .load(conn)?;
    let marks: Vec<Marked> =
        tasting_marks::table.filter(tasting_marks::sheet_id.eq(sheet)).select(MARKED).load(conn)?;
    Ok(together(said, marks).remove(&sheet).unwrap_or_default())
}

type Said = (SheetId, GlassId, i64, Option<i64>, String);
const SAID: (
    tasting_answers::sheet_id,
    tasting_answers::glass_id,
    tasting_glasses::code,
    tasting_answers::place,
    tasting_answers::words,
) = (
    tasting_answers::sheet_id,
    tasting_answers::glass_id,
    tasting_glasses::code,
    tasting_answers::place,
    tasting_answers::words,
);
type Marked = (SheetId, GlassId, i64, i64);
const MARKED: (
    tasting_marks::sheet_id,
    tasting_marks::glass_id,
    tasting_marks::attribute,
    tasting_marks::mark,
) = (tasting_marks::sheet_id, tasting_marks::glass_id, tasting_marks::attribute, tasting_marks::mark);

fn together(said: Vec<Said>, marks: Vec<Marked>) -> HashMap<SheetId, Vec<Answer>> {
    let mut by_glass: HashMap<(SheetId, GlassId), Vec<(u32, i64)>> = HashMap::new();
    for (sheet, glass, attribute, mark) in marks {
        by_glass
            .entry((sheet, glass))
            .or_default()
            .push((u32::try_from(attribute).unwrap_or_default(), mark));
    }
    let mut sheets: HashMap<SheetId, Vec<Answer>> = HashMap::new();
    for (sheet, glass, code, place, words) in said {
        let mut marks = by_glass.remove(&(sheet, glass)).unwrap_or_default();
        marks.sort_unstable();
        sheets.entry(sheet).or_default().push(Answer {
            code: code_of(code),
            marks,
            place: place.and_then(|place| u32::try_from(place).ok()),
            words,
        });
    }
    sheets
}

/// The sheets of a tasting that were handed in, by name.
pub fn handed_in(conn: &mut AnyConn, tasting: TastingId) -> Result<Vec<Sheet>, Failure> {
    let of_this = tasting_sheets::tasting_id.eq(tasting).and(tasting_sheets::handed_in_at.is_not_null());
    let said: Vec<Said> = tasting_answers::table
        .inner_join(tasting_glasses::table.on(tasting_glasses::id.eq(tasting_answers::glass_id)))
        .inner_join(tasting_sheets::table.on(tasting_sheets::id.eq(tasting_answers::sheet_id)))
        .filter(of_this)
        .order((tasting_answers::sheet_id, tasting_glasses::code))
        .select(SAID)
        .load(conn)?;
    let marks: Vec<Marked> = tasting_marks::table
        .inner_join(tasting_sheets::table.on(tasting_sheets::id.eq(tasting_marks::sheet_id)))
        .filter(of_this)
        .select(MARKED)
        .load(conn)?;
    let mut written = together(said, marks);
    let whose: Vec<(SheetId, MemberId, String)> = tasting_sheets::table
        .inner_join(members::table.on(members::id.eq(tasting_sheets::member_id)))
        .filter(of_this)
        .order((members::name, members::id))
        .select((tasting_sheets::id, members::id, members::name))
        .load(conn)?;
    Ok(whose
        .into_iter()
        .map(|(sheet, member, name)| Sheet {
            member,
            name,
            answers: written.remove(&sheet).unwrap_or_default(),
        })
        .collect())
}

/// Write down what a sheet says now; what it said before is gone.
pub fn save(
    conn: &mut AnyConn,
    club: ClubId,
    sheet: SheetId,
    glasses: &[Glass],
    (before, after): (&[Answer], &[Answer]),
    at: Instant,
) -> Result<(), Failure> {
    let id_of = |code: u16| glasses.iter().find(|glass| glass.code == code).map(|glass| glass.id);
    for old in before.iter().filter(|old| !after.contains(old)) {
        let Some(glass) = id_of(old.code) else { continue };
        diesel::delete(
            tasting_marks::table
                .filter(tasting_marks::sheet_id.eq(sheet).and(tasting_marks::glass_id.eq(glass))),
        )
        .execute(conn)?;
        diesel::delete(tasting_answers::table.find((sheet, glass))).execute(conn)?;
    }
    for new in after.iter().filter(|new| !before.contains(new)) {
        let Some(glass) = id_of(new.code) else { continue };
        diesel::insert_into(tasting_answers::table)
            .values((
                tasting_answers::sheet_id.eq(sheet),
                tasting_answers::glass_id.eq(glass),
                tasting_answers::club_id.eq(club),
                tasting_answers::place.eq(new.place.map(i64::from)),
                tasting_answers::words.eq(&new.words),
                tasting_answers::saved_at.eq(at),
            ))
            .execute(conn)?;
        for (attribute, mark) in &new.marks {
            diesel::insert_into(tasting_marks::table)
                .values((
                    tasting_marks::sheet_id.eq(sheet),
                    tasting_marks::glass_id.eq(glass),
                    tasting_marks::attribute.eq(i64::from(*attribute)),
                    tasting_marks::club_id.eq(club),
                    tasting_marks::mark.eq(*mark),
                ))
                .execute(conn)?;
        }
    }
    Ok(())
}

/// When each glass of a sheet was saved last, by code.
pub fn saved_at(conn: &mut AnyConn, sheet: SheetId) -> Result<HashMap<u16, Instant>, Failure> {
    let rows: Vec<(i64, Instant)> = tasting_answers::table
        .inner_join(tasting_glasses::table.on(tasting_glasses::id.eq(tasting_answers::glass_id)))
        .filter(tasting_answers::sheet_id.eq(sheet))
        .select((tasting_glasses::code, tasting_answers::saved_at))
        .load(conn)?;
    Ok(rows.into_iter().map(|(code, at)| (code_of(code), at)).collect())
}

/// A sheet is in.
pub fn hand_in(conn: &mut AnyConn, sheet: SheetId, at: Instant) -> Result<(), Failure> {
    diesel::update(tasting_sheets::table.find(sheet))
        .set(tasting_sheets::handed_in_at.eq(Some(at)))
        .execute(conn)?;
    Ok(())
}
