//! What anybody on the way can make more of is forgotten in time; what is of somebody here stays.

use diesel::prelude::*;
use diesel::sql_types::BigInt;
use undercroft::actions::members::forget_unknown;
use undercroft::db::members::audit::{self, UNKNOWN_NAME};
use undercroft::units::days::Instant;

use crate::ground::{Ground, club, now, on_both};

on_both!(refused_sign_ins_with_unknown_names_are_kept_for_ninety_days);

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    n: i64,
}

async fn refused_sign_ins_with_unknown_names_are_kept_for_ninety_days(ground: &Ground) {
    let db = ground.open();
    let club = club(&db, "Tidemill Cellar Club").await;
    let (id, person) = (club.hand.club, club.hand.person);
    let ago = |days: i64| -> Instant { now() - chrono::Duration::days(days) };
    let written = db.write(move |conn| {
        for days in [200, 91, 89, 1] {
            audit::add(conn, None, None, ago(days), UNKNOWN_NAME, "192.0.2.7")?;
            audit::add(conn, Some(id), Some(person), ago(days), "sign-in refused", "192.0.2.7")?;
        }
        Ok::<_, undercroft::db::Failure>(())
    });
    written.await.expect("the log is written");
    let count = |what: &str| {
        let rows: Vec<Count> =
            diesel::sql_query(format!("SELECT COUNT(*) AS n FROM audit WHERE what = '{what}'"))
                .load(&mut ground.connection())
                .expect("the log is counted");
        rows[0].n
    };
    assert_eq!(forget_unknown(&db, now()).await.expect("the old are forgotten"), 2);
    assert_eq!((count(UNKNOWN_NAME), count("sign-in refused")), (2, 4));
    assert_eq!(forget_unknown(&db, now()).await.expect("again"), 0);
}
