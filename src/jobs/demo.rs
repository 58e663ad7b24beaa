//! The demo club: the files of `seeds/` (their README says how they are read), recorded through the same
//! actions that members use, in the order in which it all happened.
//!
//! `files` holds the rows as they stand in the files, `story` puts them in the order of time, `scribe`
//! records one event after another. Nothing here goes around a rule: a row that the rules refuse ends the
//! loading and is named.

use std::collections::HashMap;
use std::fmt;

use chrono::{Duration, NaiveTime};
use chrono_tz::Tz;
use tokio::task::JoinSet;

use crate::actions::{self, Done, members, reminders, stock};
use crate::db::{Database, Failure};
use crate::domain::members::{Cellarhand, Doer, NewClub, NewPerson, Role};
use crate::domain::refusal::Refusal;
use crate::domain::stock::{Item, ItemKind};
use crate::units::days::{Day, Instant, local_day, to_utc};
use crate::units::ids::{ClubId, ItemId, PlaceId};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};

mod files;
mod scribe;
mod story;
#[cfg(test)]
mod tests;

use files::{ClubFile, ItemRow, Line, MemberRow, PlaceRow, Row};
use scribe::Scribe;

/// The demo club, and how to look at it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loaded {
    /// The club.
    pub club: ClubId,
    /// Its name.
    pub club_name: String,
    /// A steward's address, to sign in with.
    pub sign_in_as: String,
    /// The password of every member of the demo club.
    pub password: String,
}

impl Loaded {
    fn new(club: ClubId, file: ClubFile) -> Self {
        Self { club, club_name: file.name, sign_in_as: file.sign_in_as, password: file.password }
    }
}

/// Why the demo club was not loaded. What was recorded before that stays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Error {
    /// There is another club in this database.
    Occupied,
    /// A row cannot be read, or the rules refuse it.
    Row {
        /// Where it stands.
        at: Line,
        /// What was said of it.
        why: actions::Error,
    },
    /// The database could not.
    Failed(actions::Error),
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Occupied => f.write_str(
                "There is another club in this database already. The demo club needs one of its own: its password is \
                 known to everybody",
            ),
            Self::Row { at, why: actions::Error::Refused(refusal) } => {
                write!(f, "seeds/{}, line {}", at.file, at.line)?;
                for fault in &refusal.faults {
                    let field = if fault.field.is_empty() { "" } else { ": " };
                    write!(f, "{field}{}: {}", fault.field, fault.message)?;
                }
                Ok(())
            }
            Self::Row { at, why } => write!(f, "seeds/{}, line {}: {why}", at.file, at.line),
            Self::Failed(why) => why.fmt(f),
        }
    }
}

impl std::error::Error for Error {}

impl From<Failure> for Error {
    fn from(failure: Failure) -> Self {
        Self::Failed(failure.into())
    }
}

/// The demo club as an earlier run left it; nothing of an empty database.
pub async fn found(db: &Database) -> Result<Option<Loaded>, Error> {
    let file = files::club()?;
    match db.read(crate::db::members::clubs).await?.as_slice() {
        [] => Ok(None),
        [(club, name)] if *name == file.name => Ok(Some(Loaded::new(*club, file))),
        _ => Err(Error::Occupied),
    }
}

/// Makes the demo club in an empty database, as if it had been at work until yesterday.
pub async fn load(db: &Database, now: Instant) -> Result<Loaded, Error> {
    if db.read(crate::db::members::any_club).await? {
        return Err(Error::Occupied);
    }
    let file = files::club()?;
    let events = story::events()?;
    let (founder, people) = gather(db, &file, now).await?;
    let places = furnish(db, &founder).await?;
    let items = list_items(db, &founder).await?;
    let mut scribe = Scribe::new(db, Calendar::new(now, founder.zone), people, places, items);
    scribe.set_up_vessels(&founder).await?;
    scribe.walk(&founder).await?;
    for some in events.chunk_by(|event, next| event.is_reading() && next.is_reading()) {
        scribe.record(some).await?;
    }
    scribe.make_today(now).await?;
    scribe.count_today(now).await?;
    scribe.beside(&founder).await?;
    scribe.share_out(&founder).await?;
    scribe.send_table(&founder).await?;
    scribe.keep_up(&founder).await?;
    reminders::reconcile(db, founder.club, founder.zone, now).await.map_err(Error::Failed)?;
    Ok(Loaded::new(founder.club, file))
}

/// Turns "so many days ago" into a day and an instant.
#[derive(Debug, Clone, Copy)]
struct Calendar {
    today: Day,
    zone: Tz,
}

impl Calendar {
    fn new(now: Instant, zone: Tz) -> Self {
        Self { today: local_day(now, zone), zone }
    }

    fn day(self, days_ago: u32) -> Day {
        self.today - Duration::days(i64::from(days_ago))
    }

    fn instant(self, days_ago: u32, time: NaiveTime) -> Instant {
        to_utc(self.day(days_ago).and_time(time), self.zone)
    }
}

/// Founds the club with its first member and lets in the others, each on the day they joined. Gives back the
/// founder, as on that first day, and everybody by name.
async fn gather(
    db: &Database,
    file: &ClubFile,
    now: Instant,
) -> Result<(Cellarhand, HashMap<String, Doer>), Error> {
    let rows: Vec<Row<MemberRow>> = files::MEMBERS.rows()?;
    let Some((first, others)) = rows.split_first() else {
        return Err(Line::first("members.csv").refused(Refusal::unfit("", "The club needs a first member")));
    };
    let steward = NewPerson::read(&first.name, &first.email, &file.password);
    let new = NewClub::read(&file.name, &file.currency, &file.time_zone, steward)
        .map_err(|refusal| Line::first("club.toml").refused(refusal))?;
    let (calendar, password) = (Calendar::new(now, new.zone), new.steward.password.clone());
    let joined_at = |row: &MemberRow| calendar.instant(row.joined_days_ago, NaiveTime::MIN);
    let (club, founder) =
        members::found_club(db, new, joined_at(first)).await.map_err(|why| first.at.failed(why))?;
    let founder = members::doer_of_member(db, founder, joined_at(first)).await?;
    let hash = members::hash(&password).await.map_err(Error::Failed)?;
    let mut newcomers = Vec::new();
    for row in others {
        let refused = |refusal| row.at.refused(refusal);
        let role = Role::from_name(&row.role)
            .ok_or_else(|| refused(Refusal::unfit("role", format!("“{}” is no role", row.role))))?;
        let person = NewPerson::read(&row.name, &row.email, &file.password).map_err(refused)?;
        let joined_on = calendar.day(row.joined_days_ago);
        let new = members::NewMember { person, hash: hash.clone(), role, joined_on };
        newcomers.push(let_in(db.clone(), club, row.at, new, joined_at(row)));
    }
    let mut people = HashMap::from([(first.name.clone(), founder.clone())]);
    people.extend(at_once(newcomers).await?);
    let founder = Cellarhand::from_doer(founder)
        .ok_or_else(|| first.at.refused(Refusal::unfit("role", "The first member runs the club")))?;
    Ok((founder, people))
}

async fn let_in(
    db: Database,
    club: ClubId,
    row: Line,
    new: members::NewMember,
    at: Instant,
) -> Result<(String, Doer), Error> {
    let member = members::add_member(&db, club, new, at).await.map_err(|why| row.failed(why))?;
    let doer = members::doer_of_member(&db, member, at).await?;
    Ok((doer.name.clone(), doer))
}

/// Carries out at once what does not depend on each other: on SQLite all of it is made durable together.
async fn at_once<T, W>(work: Vec<W>) -> Result<Vec<T>, Error>
where
    T: Send + 'static,
    W: Future<Output = Result<T, Error>> + Send + 'static,
{
    let mut running: JoinSet<_> = work.into_iter().collect();
    let mut done = Vec::new();
    while let Some(one) = running.join_next().await {
        done.push(one.map_err(|error| Failure::Fault(error.to_string()))??);
    }
    Ok(done)
}

/// Makes the places, the outer before the inner.
async fn furnish(db: &Database, by: &Cellarhand) -> Result<HashMap<String, PlaceId>, Error> {
    let mut places = HashMap::new();
    for row in files::PLACES.rows::<PlaceRow>()? {
        let within = match row.within.as_str() {
            "" => None,
            name => Some(*scribe::known(&places, name, "within").map_err(|why| row.at.failed(why))?),
        };
        let new = stock::NewPlace { name: row.name.clone(), within, capacity: row.capacity.map(i64::from) };
        let id = stock::add_place(db, by, None, new).await.map_err(|why| row.at.failed(why))?;
        places.insert(row.name.clone(), id);
    }
    Ok(places)
}

/// Makes the items; each with the unit it is counted in.
async fn list_items(db: &Database, by: &Cellarhand) -> Result<HashMap<String, (ItemId, BaseUnit)>, Error> {
    let mut items = Vec::new();
    for row in files::ITEMS.rows::<ItemRow>()? {
        let item = item(&row).map_err(|why| row.at.failed(why))?;
        let (db, by) = (db.clone(), by.clone());
        items.push(async move {
            let (name, unit) = (item.name.clone(), item.unit);
            let id = stock::add_item(&db, &by, None, item).await.map_err(|why| row.at.failed(why))?;
            Ok((name, (id, unit)))
        });
    }
    Ok(at_once(items).await?.into_iter().collect())
}

fn item(row: &ItemRow) -> Done<Item> {
    let kind = ItemKind::from_code(&row.kind)
        .ok_or_else(|| Refusal::unfit("kind", format!("“{}” is no kind of item", row.kind)))?;
    let unit = BaseUnit::from_sign(&row.unit)
        .ok_or_else(|| Refusal::unfit("unit", format!("“{}” is no unit", row.unit)))?;
    let per_kg = |field: &str, text: &str| {
        let read = |text: &str| number::scaled(text, 1000, "48");
        scribe::optional(text).map(read).transpose().map_err(|why| Refusal::unfit(field, why))
    };
    let density = |text: &str| number::scaled(text, 1_000_000, "1.036");
    Ok(Item {
        name: row.name.clone(),
        kind,
        unit,
        density_micro: scribe::optional(&row.density_g_per_ml)
            .map(density)
            .transpose()
            .map_err(|why| Refusal::unfit("density_g_per_ml", why))?,
        allergens: row.allergens.split_whitespace().map(str::to_owned).collect(),
        value_per_unit: scribe::optional(&row.value_per_unit)
            .map(Money::read)
            .transpose()
            .map_err(|why| Refusal::unfit("value_per_unit", why))?,
        low_at: scribe::optional(&row.low_at)
            .map(|text| Milli::read(text, unit))
            .transpose()
            .map_err(|why| Refusal::unfit("low_at", why))?,
        made_for_mbar: scribe::optional(&row.made_for_bar)
            .map(|text| number::scaled(text, 1000, "2.5"))
            .transpose()
            .map_err(|why| Refusal::unfit("made_for_bar", why))?,
        sugar_mg_per_kg: per_kg("sugar_g_per_kg", &row.sugar_g_per_kg)?,
        lactose_mg_per_kg: per_kg("lactose_g_per_kg", &row.lactose_g_per_kg)?,
        fat_mg_per_kg: per_kg("fat_g_per_kg", &row.fat_g_per_kg)?,
        casein_mg_per_kg: per_kg("casein_g_per_kg", &row.casein_g_per_kg)?,
        splits_lactose: row.splits_lactose == "yes",
    })
}
