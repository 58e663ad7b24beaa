//! All rows of the files as events, in the order in which they happened. Rows that are lines of one receipt
//! or of one draw are one event; events of the same minute keep the order of the files below and of the rows
//! in them.

use std::cmp::Reverse;

use chrono::NaiveTime;

use super::Error;
use super::files::{
    self, BottlingRow, CountRow, Deed, DiaryRow, Embedded, EventRow, FillingRow, HoldRow, Line, MoveRow,
    PlanRow, ReadingRow, ReceiptRow, RecipeRow, ReversalRow, Row, SheetRow, StocktakingRow, TastingRow,
    WithdrawalRow,
};

/// Something that was recorded.
#[derive(Debug)]
pub(super) struct Event {
    /// The first of its rows.
    pub at: Line,
    pub days_ago: u32,
    pub time: NaiveTime,
    /// The member's name.
    pub by: String,
    pub what: What,
}

impl Event {
    /// Readings that follow each other do not depend on each other.
    pub(super) fn is_reading(&self) -> bool {
        matches!(self.what, What::Reading(_))
    }
}

/// What was recorded.
#[derive(Debug)]
pub(super) enum What {
    Receipt(Vec<Row<ReceiptRow>>),
    Diary(Vec<Row<DiaryRow>>),
    Reading(Row<ReadingRow>),
    Plan(Row<PlanRow>),
    Recipe(Row<RecipeRow>),
    Bottling(Row<BottlingRow>),
    Filling(Row<FillingRow>),
    Hold(Row<HoldRow>),
    Withdrawal(Row<WithdrawalRow>),
    Move(Row<MoveRow>),
    Count(Row<CountRow>),
    Stocktaking(Row<StocktakingRow>),
    Reversal(Row<ReversalRow>),
    Tasting(Row<TastingRow>, Vec<Row<SheetRow>>),
}

/// Everything that happened, first to last.
pub(super) fn events() -> Result<Vec<Event>, Error> {
    let mut events = grouped(&files::RECEIPTS, |row, next| row.receipt == next.receipt, What::Receipt)?;
    events.extend(grouped(&files::DIARY, same_entry, What::Diary)?);
    events.extend(single(&files::READINGS, What::Reading)?);
    events.extend(single(&files::PLANS, What::Plan)?);
    events.extend(files::recipes()?.into_iter().map(|row| event(&row, What::Recipe(row.clone()))));
    events.extend(single(&files::FILLINGS, What::Filling)?);
    events.extend(single(&files::BOTTLINGS, What::Bottling)?);
    events.extend(single(&files::HOLDS, What::Hold)?);
    events.extend(single(&files::WITHDRAWALS, What::Withdrawal)?);
    events.extend(single(&files::MOVES, What::Move)?);
    events.extend(single(&files::COUNTS, What::Count)?);
    events.extend(
        single(&files::STOCKTAKINGS, What::Stocktaking)?.into_iter().filter(|event| event.days_ago > 0),
    );
    events.extend(single(&files::REVERSALS, What::Reversal)?);
    let sheets: Vec<Row<SheetRow>> = files::SHEETS.rows()?;
    for row in files::TASTINGS.rows::<TastingRow>()? {
        let own = sheets.iter().filter(|sheet| sheet.tasting == row.key).cloned().collect();
        events.push(event(&row, What::Tasting(row.clone(), own)));
    }
    events.sort_by_key(|event| (Reverse(event.days_ago), event.time));
    Ok(events)
}

fn same_entry(row: &DiaryRow, next: &DiaryRow) -> bool {
    matches!(row.what, Deed::Draw | Deed::Pitch)
        && (row.stamp(), &row.batch, row.what) == (next.stamp(), &next.batch, next.what)
}

/// Rows that follow each other and belong together are one event.
fn grouped<T: EventRow>(
    file: &Embedded,
    together: fn(&T, &T) -> bool,
    what: fn(Vec<Row<T>>) -> What,
) -> Result<Vec<Event>, Error> {
    let rows = file.rows()?;
    let groups = rows.chunk_by(|row, next| together(row, next));
    Ok(groups.map(|group| event(&group[0], what(group.to_vec()))).collect())
}

fn single<T: EventRow>(file: &Embedded, what: fn(Row<T>) -> What) -> Result<Vec<Event>, Error> {
    Ok(file.rows::<T>()?.into_iter().map(|row| event(&row, what(row.clone()))).collect())
}

fn event<T: EventRow>(first: &Row<T>, what: What) -> Event {
    let (days_ago, time, by) = first.stamp();
    Event { at: first.at, days_ago, time, by: by.to_owned(), what }
}
