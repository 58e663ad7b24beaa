//! Every ten minutes: the reminders of every club are brought in line with its cellar, and what nobody needs
//! any more is forgotten; the database looks over what has grown. An error is logged and the next turn tries again.

use std::time::Duration;

use chrono::{Duration as Span, Utc};
use tokio::sync::watch;
use tokio::time::MissedTickBehavior;

use crate::actions::members::{forget_sessions, forget_unknown};
use crate::actions::reminders::reconcile;
use crate::db::connection::look_over;
use crate::db::{Database, Failure, reminders, requests};
use crate::units::days::Instant;

/// How often.
const EVERY: Duration = Duration::from_mins(10);
/// How long the answer to a request is kept, in case it is sent again.
const ANSWERS_KEPT: Span = Span::days(30);

/// Runs until `stop` says so, or until nobody is left to say so; a turn that has begun ends with the club it
/// is at.
pub async fn run(db: Database, mut stop: watch::Receiver<bool>) {
    let mut turns = tokio::time::interval(EVERY);
    turns.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            () = stopped(&mut stop) => return,
            _ = turns.tick() => turn(&db, &stop, Utc::now().naive_utc()).await,
        }
    }
}

async fn stopped(stop: &mut watch::Receiver<bool>) {
    // An error means that the sender is gone, and with it the server.
    let _ = stop.wait_for(|stop| *stop).await;
}

async fn turn(db: &Database, stop: &watch::Receiver<bool>, now: Instant) {
    let clubs = db.read(reminders::clubs).await.unwrap_or_else(|why| {
        tracing::warn!(%why, "the clubs could not be listed");
        Vec::new()
    });
    for (club, zone) in clubs {
        if *stop.borrow() {
            return;
        }
        let reconciled = match zone.parse() {
            Ok(zone) => reconcile(db, club, zone, now).await.map_err(|why| why.to_string()),
            Err(_) => Err(format!("there is no time zone “{zone}”")),
        };
        if let Err(why) = reconciled {
            tracing::warn!(%club, why, "the reminders of a club could not be brought in line");
        }
    }
    if let Err(why) = forget(db, now).await {
        tracing::warn!(%why, "what is over could not be forgotten");
    }
}

async fn forget(db: &Database, now: Instant) -> Result<(), Failure> {
    db.write(move |conn| requests::forget(conn, now - ANSWERS_KEPT)).await?;
    forget_sessions(db, now).await?;
    forget_unknown(db, now).await?;
    db.write(look_over).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actions::members::{doer_of_member, found_club};
    use crate::actions::stock::{NewPlace, add_item, add_place, record_receipt};
    use crate::db::AnyConn;
    use crate::domain::members::{Cellarhand, NewClub, NewPerson};
    use crate::domain::stock::{Item, ItemKind, Receipt, ReceiptLine};
    use crate::jobs::cellar::Cellar;
    use crate::units::days::Day;
    use crate::units::ids::{ClubId, ItemId, PlaceId};
    use crate::units::money::Money;
    use crate::units::quantity::{BaseUnit, Milli};

    fn now() -> Instant {
        "2026-06-23T16:00:00".parse().unwrap()
    }

    async fn hand(db: &Database) -> Cellarhand {
        let steward = NewPerson::read("Marit", "marit@tidemill.example", "wheel pit at low tide");
        let club = NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward).unwrap();
        let (_, member) = found_club(db, club, now()).await.unwrap();
        Cellarhand::from_doer(doer_of_member(db, member, now()).await.unwrap()).unwrap()
    }

    fn sugar() -> Item {
        Item {
            name: "Cane sugar".to_owned(),
            kind: ItemKind::Ingredient,
            unit: BaseUnit::Gram,
            density_micro: None,
            allergens: Vec::new(),
            value_per_unit: None,
            low_at: Some(Milli::new(3_000_000)),
            made_for_mbar: None,
            sugar_mg_per_kg: None,
            lactose_mg_per_kg: None,
            fat_mg_per_kg: None,
            casein_mg_per_kg: None,
            splits_lactose: false,
        }
    }

    async fn buy(db: &Database, by: &Cellarhand, item: ItemId, place: PlaceId, grams: i64) {
        let line = ReceiptLine {
            item,
            quantity: Milli::new(grams * 1000),
            cost: Money::ZERO,
            place,
            best_before: None,
            supplier: String::new(),
            supplier_mark: String::new(),
        };
        let receipt = Receipt { day: by.today(), paid_by: None, lines: vec![line], remark: String::new() };
        record_receipt(db, by, None, receipt).await.unwrap();
    }

    async fn open(db: &Database, club: ClubId) -> Vec<String> {
        let until: Day = "2100-01-01".parse().unwrap();
        let read = move |conn: &mut AnyConn| reminders::open(conn, club, until, 100);
        db.read(read).await.unwrap().into_iter().map(|reminder| reminder.text).collect()
    }

    #[tokio::test]
    async fn what_runs_low_is_said_once_and_no_more_when_it_was_bought() {
        let cellar = Cellar::new();
        let db = &cellar.db;
        let by = hand(db).await;
        let item = add_item(db, &by, None, sugar()).await.unwrap();
        let shelf = NewPlace { name: "Dry shelf".to_owned(), within: None, capacity: None };
        let place = add_place(db, &by, None, shelf).await.unwrap();
        let (_stop, stopping) = watch::channel(false);

        turn(db, &stopping, now()).await;
        turn(db, &stopping, now()).await;
        assert_eq!(open(db, by.club).await, ["Buy Cane sugar: none is left"]);

        buy(db, &by, item, place, 2000).await;
        assert_eq!(
            open(db, by.club).await,
            ["Buy Cane sugar: 2.0 kg left"],
            "as it is now, before the next turn"
        );
        turn(db, &stopping, now()).await;
        assert_eq!(open(db, by.club).await, ["Buy Cane sugar: 2.0 kg left"]);
        buy(db, &by, item, place, 500).await;
        assert_eq!(open(db, by.club).await, ["Buy Cane sugar: 2.5 kg left"]);

        buy(db, &by, item, place, 2000).await;
        turn(db, &stopping, now()).await;
        assert_eq!(open(db, by.club).await, Vec::<String>::new());
    }

    #[tokio::test]
    async fn the_job_ends_when_it_is_told_to_and_when_nobody_is_left_to_tell() {
        let cellar = Cellar::new();
        let (stop, stopping) = watch::channel(false);
        let job = tokio::spawn(run(cellar.db.clone(), stopping));
        stop.send(true).unwrap();
        job.await.unwrap();

        let (stop, stopping) = watch::channel(false);
        let job = tokio::spawn(run(cellar.db.clone(), stopping));
        drop(stop);
        job.await.unwrap();
    }
}
