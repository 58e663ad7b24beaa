//! Every minute: the letters of members whose hour has come are written, and those that wait are sent.
//!
//! What is written and what was tried is kept in the database: a server that stops, a clock that jumps, a mail server
//! that refuses, or a second server on the same database neither lose a letter nor double it. One thing cannot be
//! excluded by anybody: a server that stops between the mail server's yes and its own note of it sends the letter once
//! more, with the same `Message-ID`, by which mail programs know it again.

use std::future::Future;
use std::time::Duration;

use chrono::Utc;
use tokio::sync::watch;
use tokio::time::MissedTickBehavior;

use crate::actions::letters::{Outcome, take, tried, write};
use crate::db::letters::Letter;
use crate::db::{Database, Failure, letters as rows, reminders};
use crate::units::days::Instant;

pub mod post;

/// How often.
const EVERY: Duration = Duration::from_mins(1);
/// Letters taken at once.
const TOGETHER: i64 = 20;
/// What members were told is kept for so long: nothing is due twice after it.
const TOLD_KEPT: chrono::Duration = chrono::Duration::days(400);

/// Whatever brings a letter to its reader.
pub trait Post: Send + Sync {
    /// Send it, or say why not.
    fn send(&self, letter: &Letter) -> impl Future<Output = Outcome> + Send;
}

/// Runs until `stop` says so.
pub async fn run(db: Database, post: impl Post, stop: watch::Receiver<bool>) {
    let mut stopped = stop.clone();
    let mut turns = tokio::time::interval(EVERY);
    turns.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            _ = stopped.wait_for(|stop| *stop) => return,
            _ = turns.tick() => turn(&db, &post, &stop, Utc::now().naive_utc()).await,
        }
    }
}

/// One turn, at this time.
pub async fn turn(db: &Database, post: &impl Post, stop: &watch::Receiver<bool>, now: Instant) {
    let clubs = db.read(reminders::clubs).await.unwrap_or_else(|why| {
        tracing::warn!(%why, "the clubs could not be listed");
        Vec::new()
    });
    for (club, zone) in clubs {
        // A club without a zone that is known is said by the job of its reminders.
        let Ok(zone) = zone.parse() else { continue };
        if let Err(why) = write(db, club, zone, now).await {
            tracing::warn!(%club, %why, "the letters of a club could not be written");
        }
    }
    if let Err(why) = deliver(db, post, stop, now).await {
        tracing::warn!(%why, "letters could not be sent");
    }
    if let Err(why) = forget(db, now).await {
        tracing::warn!(%why, "old letters could not be forgotten");
    }
}

async fn forget(db: &Database, now: Instant) -> Result<(), Failure> {
    db.write(move |conn| {
        rows::forget(conn, now - TOLD_KEPT)?;
        reminders::forget_gone(conn, now - TOLD_KEPT)
    })
    .await
}

/// Send what waits, one after the other.
async fn deliver(
    db: &Database,
    post: &impl Post,
    stop: &watch::Receiver<bool>,
    now: Instant,
) -> crate::actions::Done<()> {
    loop {
        let letters = take(db, now, TOGETHER).await?;
        if letters.is_empty() {
            return Ok(());
        }
        for letter in letters {
            if *stop.borrow() {
                return Ok(());
            }
            let outcome = post.send(&letter).await;
            if let Outcome::Later(why) | Outcome::Never(why) = &outcome {
                tracing::warn!(letter = %letter.id, tries = letter.tries, why, "a letter was not sent");
            }
            tried(db, letter.id, letter.made_at, outcome, now).await?;
        }
    }
}
