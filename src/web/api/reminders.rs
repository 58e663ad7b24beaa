//! Reminders by the API: what is due, and what becomes of it.

use serde::Serialize;
use utoipa::ToSchema;

use super::Page;
use crate::actions::reminders as actions;
use crate::db::reminders::{self as rows, Reminder};
use crate::domain::members::{Onlooker, Taster};
use crate::units::days;
use crate::units::ids::ReminderId;
use crate::web::body::Json;
use crate::web::extract::{ByDay, Key, Paging, Path, Query};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::reminders::settle::{Way, read};
use crate::web::respond::Answer;
use crate::web::site::Site;

/// Up to which day.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct UntilQuery {
    /// The last day on which it is due; today if left out.
    pub until: Option<String>,
}

/// Something that somebody should do by a day.
#[derive(Serialize, ToSchema)]
#[schema(as = Reminder)]
pub struct ReminderBody {
    /// Its id.
    pub id: String,
    /// tasting, reading, use-by, low, step, too-warm, frost or swing.
    pub kind: String,
    /// What to do.
    pub text: String,
    /// The day by which.
    pub due_on: String,
    /// When it was done, RFC 3339; null where it is still to do.
    pub done_at: Option<String>,
    /// The member whose it is; null where it is everyone's.
    pub member: Option<String>,
    /// The bottling it is about.
    pub bottling: Option<String>,
    /// The batch it is about, or that the bottling came from.
    pub batch: Option<String>,
    /// The lot it is about.
    pub lot: Option<String>,
    /// The item it is about.
    pub item: Option<String>,
    /// The place it is about.
    pub place: Option<String>,
}

impl From<Reminder> for ReminderBody {
    fn from(reminder: Reminder) -> Self {
        Self {
            id: reminder.id.to_string(),
            kind: reminder.kind.code().to_owned(),
            text: reminder.text,
            due_on: days::iso(reminder.due_on),
            done_at: reminder.done_at.map(|at| at.and_utc().to_rfc3339()),
            member: reminder.member.map(|member| member.0.to_string()),
            bottling: reminder.bottling.map(|bottling| bottling.0.to_string()),
            batch: reminder.batch.map(|batch| batch.0.to_string()),
            lot: reminder.lot.map(|lot| lot.0.to_string()),
            item: reminder.item.map(|item| item.0.to_string()),
            place: reminder.place.map(|place| place.0.to_string()),
        }
    }
}

/// What is to be done, the longest due first.
pub async fn list(
    who: Onlooker,
    site: Site,
    query: Query<UntilQuery>,
    paging: Paging<ByDay<ReminderId>>,
) -> Result<Answer<Page<ReminderBody>>, Problem> {
    let until = query.draft.read(&who, |r| r.optional_day("until"))?.unwrap_or(who.today());
    let (club, limit) = (who.club, paging.rows());
    let after = paging.after.map(|ByDay(day, id)| (day, id));
    let found = site.db.read(move |conn| rows::part(conn, club, Some(until), after, limit)).await?;
    Ok(Answer(paging.page(found, |reminder| ByDay(reminder.due_on, reminder.id), ReminderBody::from)))
}

/// To which day.
#[derive(ToSchema)]
pub struct PutOff {
    /// A day to come.
    pub day: String,
}

/// To whom.
#[derive(ToSchema)]
pub struct Give {
    /// The member.
    pub member: String,
}

/// Nothing has to be said.
#[derive(ToSchema)]
pub struct Nothing {}

async fn become_of(
    taster: Taster,
    site: Site,
    id: ReminderId,
    key: Key,
    draft: &Draft,
    way: Way,
) -> Result<Answer<ReminderBody>, Problem> {
    let what = read(draft, &taster, way)?;
    actions::settle(&site.db, &taster, key.0, id, what).await?;
    let club = taster.club;
    let reminder = site.db.read(move |conn| rows::reminder(conn, club, id)).await?;
    Ok(Answer(reminder.into()))
}

/// Marks a reminder done.
pub async fn done(
    taster: Taster,
    site: Site,
    path: Path<ReminderId>,
    key: Key,
    sent: Json<Nothing>,
) -> Result<Answer<ReminderBody>, Problem> {
    become_of(taster, site, path.0, key, &sent.draft, Way::Done).await
}

/// Puts a reminder off.
pub async fn put_off(
    taster: Taster,
    site: Site,
    path: Path<ReminderId>,
    key: Key,
    sent: Json<PutOff>,
) -> Result<Answer<ReminderBody>, Problem> {
    become_of(taster, site, path.0, key, &sent.draft, Way::PutOff).await
}

/// Gives a reminder to a member.
pub async fn give(
    taster: Taster,
    site: Site,
    path: Path<ReminderId>,
    key: Key,
    sent: Json<Give>,
) -> Result<Answer<ReminderBody>, Problem> {
    become_of(taster, site, path.0, key, &sent.draft, Way::Give).await
}

/// Opens a reminder again.
pub async fn undone(
    taster: Taster,
    site: Site,
    path: Path<ReminderId>,
    key: Key,
    sent: Json<Nothing>,
) -> Result<Answer<ReminderBody>, Problem> {
    become_of(taster, site, path.0, key, &sent.draft, Way::Undone).await
}
