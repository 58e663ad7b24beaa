//! What a file of an archive is: its columns, and the columns of the database that follow from them.

use serde_json::Value;

use super::super::books::account_of;
use crate::domain::archive::Kind;
use crate::domain::books::Account;
use crate::units::ids::{BatchId, LotId, MemberId, PlaceId};
use crate::units::text::folded;

/// One kind of thing that a club owns: a file of the archive, a table of the database.
pub struct File {
    /// Its name in the archive.
    pub name: &'static str,
    /// The table.
    pub table: &'static str,
    /// What a row is, for people.
    pub says: &'static str,
    /// Which rows are the club's.
    pub scope: Scope,
    /// The numbers by which the rows are ordered, each row's own; empty where there are so few that they are read at
    /// once.
    pub keys: &'static [&'static str],
    /// The columns, in their order.
    pub columns: &'static [Column],
    /// Columns of the table that follow from the others: they are not in the file.
    pub derived: &'static [(&'static str, Derive)],
}

/// How a derived column follows from a row.
#[derive(Debug, Clone, Copy)]
pub enum Derive {
    /// It is empty.
    Empty,
    /// It is this column as it is searched.
    Folded(&'static str),
    /// It is the key of the account that the row says.
    AccountKey,
}

/// Which rows of a table are a club's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// Those with its `club_id`, which is not in the file.
    Club,
    /// The club itself.
    Itself,
    /// The persons behind its members and in its audit log, who may be members of other clubs, too.
    Persons,
}

/// A column of a file.
pub struct Column {
    /// Its name in the file.
    pub name: &'static str,
    /// That in the database.
    pub column: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Whether the cell may be empty.
    pub optional: bool,
    /// What it means, where the name does not say it.
    pub says: &'static str,
}

impl Column {
    pub(super) const fn says(mut self, says: &'static str) -> Self {
        self.says = says;
        self
    }

    pub(super) const fn kept_as(mut self, column: &'static str) -> Self {
        self.column = column;
        self
    }
}

/// A column that is never empty.
pub(super) const fn has(name: &'static str, kind: Kind) -> Column {
    Column { name, column: name, kind, optional: false, says: "" }
}

/// A column that may be empty.
pub(super) const fn may(name: &'static str, kind: Kind) -> Column {
    Column { name, column: name, kind, optional: true, says: "" }
}

impl Derive {
    /// The value in this row, or what is wrong with the row.
    pub fn value(self, file: &File, row: &[Value]) -> Result<String, String> {
        match self {
            Self::Empty => Ok(String::new()),
            Self::Folded(name) => Ok(folded(file.text(row, name))),
            Self::AccountKey => account_key(file, row),
        }
    }
}

impl File {
    /// The cell of a row in the column of this name.
    pub fn value<'a>(&self, row: &'a [Value], name: &str) -> Option<&'a Value> {
        row.get(self.columns.iter().position(|column| column.name == name)?)
    }

    /// Where the id of a row stands, if rows have one.
    pub fn id_at(&self) -> Option<usize> {
        self.columns.iter().position(|column| matches!(column.kind, Kind::Id))
    }

    fn text<'a>(&self, row: &'a [Value], name: &str) -> &'a str {
        self.value(row, name).and_then(Value::as_str).unwrap_or_default()
    }
}

fn account_key(file: &File, row: &[Value]) -> Result<String, String> {
    let id = |name| file.value(row, name).and_then(Value::as_i64);
    let kind = file.text(row, "kind");
    let (lot, place) = (id("lot_id").map(LotId), id("place_id").map(PlaceId));
    let (batch, member) = (id("batch_id").map(BatchId), id("member_id").map(MemberId));
    let account =
        account_of(&(kind.to_owned(), lot, place, batch, member)).map_err(|failure| failure.to_string())?;
    let names = match account {
        Account::Stock { lot, place } => (Some(lot), Some(place), None, None),
        Account::Batch(batch) => (None, None, Some(batch), None),
        Account::Member(of) | Account::Payer(of) | Account::Settled(of) => (None, None, None, Some(of)),
        _ => (None, None, None, None),
    };
    if names == (lot, place, batch, member) {
        Ok(account.key())
    } else {
        Err(format!("an account of kind “{kind}” names something else"))
    }
}
