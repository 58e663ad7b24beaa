//! The journal by the API: entries with their lines, newest first.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Amount, Page};
use crate::db::books::{self, TakenBack, Told, ToldLine, Which};
use crate::db::{AnyConn, Failure, batches, bottles, members, stock};
use crate::domain::books::Account;
use crate::domain::members::{Onlooker, Role};
use crate::units::days::Instant;
use crate::units::ids::{ClubId, EntryId};
use crate::units::quantity::BaseUnit;
use crate::web::extract::{Paging, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// One event in the books.
#[derive(Serialize, ToSchema)]
#[schema(as = Entry)]
pub struct EntryBody {
    /// Its id.
    pub id: String,
    /// receipt, move, draw, by-product, loss, pitch, racking, split, blend, bottling, withdrawal,
    /// difference, closing, abandonment, payment or reversal.
    pub kind: String,
    /// Its number, where it has one.
    pub code: Option<String>,
    /// When it happened.
    pub day: String,
    /// When it was recorded.
    pub recorded_at: String,
    /// The name of the member who recorded it.
    pub recorded_by: String,
    /// What they wrote.
    pub remark: String,
    /// The batch it is about.
    pub batch: Option<String>,
    /// The bottling it is about.
    pub bottling: Option<String>,
    /// The entry it takes back.
    pub reverses: Option<String>,
    /// What took it back.
    pub reversed: Option<ReversedBy>,
    /// Its lines; their costs add up to zero.
    pub lines: Vec<EntryLine>,
    /// Why it was recorded in spite of dangerous cautions.
    pub reasons: Vec<ReasonBody>,
}

/// What took an entry back.
#[derive(Serialize, ToSchema)]
pub struct ReversedBy {
    /// The reversing entry.
    pub entry: String,
    /// The name of the member who did it.
    pub by: String,
    /// When.
    pub at: String,
    /// Why.
    pub reason: String,
}

/// One line of an entry: what came to an account, or with a minus went from it.
#[derive(Serialize, ToSchema)]
pub struct EntryLine {
    /// stock, batch, member, payer, settled, purse, lost, tasted, given or difference.
    pub account: String,
    /// The lot, for stock.
    pub lot: Option<String>,
    /// The lot's number, for stock.
    pub lot_code: Option<String>,
    /// The name of the item, for stock.
    pub item: Option<String>,
    /// The place, for stock.
    pub place: Option<String>,
    /// The names of the place, for stock.
    pub place_path: Option<String>,
    /// The batch.
    pub batch: Option<String>,
    /// The member.
    pub member: Option<String>,
    /// The number of the batch or the name of the member.
    pub name: Option<String>,
    /// How much, for stock and batches.
    pub quantity: Option<Amount>,
    /// What it cost, in the club's currency.
    pub cost: String,
}

/// Why somebody went on in spite of a dangerous caution.
#[derive(Serialize, ToSchema)]
pub struct ReasonBody {
    /// The caution as it was worded then.
    pub danger: String,
    /// The reason.
    pub words: String,
}

impl From<&(String, String)> for ReasonBody {
    fn from((danger, words): &(String, String)) -> Self {
        Self { danger: danger.clone(), words: words.clone() }
    }
}

impl From<&Told> for EntryBody {
    fn from(told: &Told) -> Self {
        Self {
            id: told.id.to_string(),
            kind: told.kind.code().to_owned(),
            code: told.code.clone(),
            day: told.day.to_string(),
            recorded_at: instant(told.recorded_at),
            recorded_by: told.by.clone(),
            remark: told.remark.clone(),
            batch: told.batch.map(|batch| batch.to_string()),
            bottling: told.bottling.map(|bottling| bottling.to_string()),
            reverses: told.reverses.map(|(entry, _)| entry.to_string()),
            reversed: told.reversed.as_ref().map(ReversedBy::from),
            lines: told.lines.iter().map(EntryLine::from).collect(),
            reasons: told.reasons.iter().map(ReasonBody::from).collect(),
        }
    }
}

impl From<&TakenBack> for ReversedBy {
    fn from(back: &TakenBack) -> Self {
        Self {
            entry: back.entry.to_string(),
            by: back.by.clone(),
            at: instant(back.at),
            reason: back.reason.clone(),
        }
    }
}

impl From<&ToldLine> for EntryLine {
    fn from(line: &ToldLine) -> Self {
        let (mut lot, mut place, mut batch, mut member) = (None, None, None, None);
        let unit = match line.account {
            Account::Stock { lot: of, place: at } => {
                (lot, place) = (Some(of.to_string()), Some(at.to_string()));
                line.unit
            }
            Account::Batch(of) => {
                batch = Some(of.to_string());
                Some(BaseUnit::Millilitre)
            }
            Account::Member(of) | Account::Payer(of) | Account::Settled(of) => {
                member = Some(of.to_string());
                None
            }
            _ => None,
        };
        let (lot_code, item) = line.lot.clone().unzip();
        Self {
            account: line.account.kind().to_owned(),
            lot,
            lot_code,
            item,
            place,
            place_path: line.place.clone(),
            batch,
            member,
            name: line.name.clone(),
            quantity: unit.map(|unit| Amount::of(line.quantity, unit)),
            cost: line.cost.plain(),
        }
    }
}

/// RFC 3339, in UTC.
pub fn instant(at: Instant) -> String {
    at.and_utc().to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true)
}

/// Which entries; all of the club if nothing is said, payments only to stewards. Only one may be given.
#[derive(serde::Deserialize, ToSchema)]
pub struct JournalQuery {
    /// Only those that moved this lot.
    pub lot: Option<String>,
    /// Only those that moved this batch.
    pub batch: Option<String>,
    /// Only those of this bottling: its filling and what was taken.
    pub bottling: Option<String>,
}

/// The journal.
pub async fn list(
    who: Onlooker,
    site: Site,
    query: Query<JournalQuery>,
    paging: Paging<EntryId>,
) -> Result<Answer<Page<EntryBody>>, Problem> {
    let which = query.draft.read(&who, |r| {
        let lot = r.optional_id("lot", "lot").map(Which::Lot);
        let batch = r.optional_id("batch", "batch").map(Which::Batch);
        let bottling = r.optional_id("bottling", "bottling").map(Which::Bottling);
        let mut asked = [lot, batch, bottling].into_iter().flatten();
        let all = if who.role >= Role::Steward { Which::All } else { Which::Common };
        let first = asked.next().unwrap_or(all);
        if asked.next().is_some() {
            r.fault("", "Ask for the entries of one lot, one batch or one bottling, not of several");
        }
        first
    })?;
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let told = site.db.read(move |conn| {
        in_club(conn, club, which)?;
        books::tell(conn, club, which, after, limit)
    });
    let told = told.await?;
    Ok(Answer(paging.page(told, |told| told.id, |told| EntryBody::from(&told))))
}

/// Refuses what is not of this club.
fn in_club(conn: &mut AnyConn, club: ClubId, which: Which) -> Result<(), Failure> {
    match which {
        Which::Lot(id) => stock::lot(conn, club, id).map(drop),
        Which::Batch(id) => batches::standing(conn, club, id).map(drop),
        Which::Bottling(id) => bottles::bottling(conn, club, id).map(drop),
        Which::Member(id) => members::member(conn, club, id).map(drop),
        Which::One(_) | Which::All | Which::Common => Ok(()),
    }
}

/// One entry.
pub async fn show(who: Onlooker, site: Site, path: Path<EntryId>) -> Result<Answer<EntryBody>, Problem> {
    let (club, id) = (who.club, path.0);
    let mut told = site.db.read(move |conn| books::tell(conn, club, Which::One(id), None, 1)).await?;
    let told =
        told.pop().filter(|told| told.may_be_told_to(&who)).ok_or_else(|| Problem::missing("entry"))?;
    Ok(Answer(EntryBody::from(&told)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::books::EntryKind;
    use crate::units::ids::{LotId, MemberId, PlaceId};
    use crate::units::money::Money;
    use crate::units::quantity::Milli;

    fn line(account: Account, unit: Option<BaseUnit>, quantity: i64, cost: i64) -> ToldLine {
        let lot = unit.map(|_| ("L-1".to_owned(), "Cane sugar".to_owned()));
        let (quantity, cost) = (Milli::new(quantity), Money::from_micros(cost));
        ToldLine { account, lot, place: None, unit, name: None, quantity, cost }
    }

    #[test]
    fn an_entry_has_its_quantities_in_units_and_money_without_them() {
        let stock = Account::Stock { lot: LotId::fresh(), place: PlaceId::fresh() };
        let told = Told {
            id: EntryId::fresh(),
            kind: EntryKind::Receipt,
            code: Some("R-1".to_owned()),
            day: "2026-06-23".parse().unwrap(),
            recorded_at: "2026-06-23T16:40:00.25".parse().unwrap(),
            by: "Maren Holt".to_owned(),
            remark: String::new(),
            reasons: Vec::new(),
            batch: None,
            bottling: None,
            reverses: None,
            reversed: None,
            lines: vec![
                line(stock, Some(BaseUnit::Gram), 2_500_000, 4_250_000),
                line(Account::Payer(MemberId::fresh()), None, 0, -4_250_000),
            ],
        };
        let body = EntryBody::from(&told);
        assert_eq!(body.recorded_at, "2026-06-23T16:40:00.250Z");
        let first = body.lines[0].quantity.clone().unwrap();
        assert_eq!((first.amount.as_str(), first.unit.as_str()), ("2500", "g"));
        assert_eq!(body.lines[0].lot_code.as_deref(), Some("L-1"));
        assert_eq!(body.lines[1].account, "payer");
        assert_eq!(body.lines[1].cost, "-4.25");
        assert!(body.lines[1].quantity.is_none() && body.lines[1].lot.is_none());
    }
}
