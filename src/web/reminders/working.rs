//! The working batches as Today shows them.

use crate::db::batches::{self as rows, Batch};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::Stage;
use crate::domain::members::Doer;
use crate::domain::reminders::READ_EVERY_DAYS;
use crate::units::days;
use crate::units::ids::ClubId;
use crate::web::batches::Course;
use crate::web::site::Site;

/// A working batch with the course of its gravity.
pub(super) struct Found {
    batch: Batch,
    course: Option<Course>,
}

pub(super) fn find(conn: &mut AnyConn, club: ClubId, limit: i64) -> Result<Vec<Found>, Failure> {
    let batches = rows::batches(conn, club, &[Stage::Working], None, limit)?;
    let ids: Vec<_> = batches.iter().map(|batch| batch.id).collect();
    let mut courses = Course::of_batches(conn, &ids)?;
    Ok(batches.into_iter().map(|batch| Found { course: courses.remove(&batch.id), batch }).collect())
}

/// A working batch as a row.
pub(super) struct WorkingRow {
    pub(super) href: String,
    pub(super) day: String,
    pub(super) code: String,
    pub(super) drink: String,
    pub(super) stem: String,
    /// "Last read 6 days ago."
    pub(super) read: Option<String>,
    /// "Has not moved for 5 days."
    pub(super) stopped: Option<String>,
}

pub(super) fn row(site: &Site, doer: &Doer, found: &Found) -> WorkingRow {
    let Found { batch, course } = found;
    let unread_days = course.as_ref().map(|course| (doer.today() - course.last_day(doer)).num_days());
    WorkingRow {
        href: site.at(&format!("/batches/{}", batch.id)),
        day: batch
            .pitched_on
            .map(|day| format!("day {}", (doer.today() - day).num_days()))
            .unwrap_or_default(),
        code: batch.code.clone(),
        drink: batch.name.clone(),
        stem: course.as_ref().map(|course| course.stem(doer)).unwrap_or_default(),
        read: match unread_days {
            None => Some("No gravity has been read yet.".to_owned()),
            Some(unread) if unread > READ_EVERY_DAYS => Some(format!("Last read {} ago.", days::age(unread))),
            Some(_) => None,
        },
        stopped: course.as_ref().and_then(Course::stopped),
    }
}
