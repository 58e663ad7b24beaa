//! Curves are drawn from values that are kept packed: whatever happens to the readings, they are those that stand.

use undercroft::actions::batches::{self, Strike, Undoing};
use undercroft::db::Database;
use undercroft::db::batches as rows;
use undercroft::units::days::Instant;
use undercroft::units::ids::BatchId;
use undercroft::units::measure::{Measured, ReadingKind};

use crate::ground::cellar::{Cellar, gravity, logged};
use crate::ground::{Ground, day, findings, on_both};

on_both!(curves_follow_the_readings);

type Values = Vec<(Instant, Measured)>;

/// The curve of a kind, and the readings of that kind that stand.
async fn both(db: &Database, cellar: &Cellar, kind: ReadingKind) -> (Values, Values) {
    let (club, batch) = (cellar.club.hand.club, cellar.batch);
    let read = move |conn: &mut undercroft::db::AnyConn| {
        let curve = rows::series(conn, &[batch], &[kind])?.remove(&(batch, kind)).unwrap_or_default();
        Ok::<_, undercroft::db::Failure>((curve, rows::readings(conn, club, batch, 10_000)?))
    };
    let (curve, all) = db.read(read).await.expect("both are read");
    let stand = all.into_iter().filter(|one| one.kind == kind && one.struck.is_none());
    (curve, stand.map(|one| (one.at, one.value)).collect())
}

/// Both are alike, so many values long; and the check finds nothing.
async fn alike(db: &Database, cellar: &Cellar, kind: ReadingKind, count: usize) {
    let (curve, stand) = both(db, cellar, kind).await;
    assert_eq!(curve, stand);
    assert_eq!(curve.len(), count);
    assert_eq!(findings(db).off, Vec::<String>::new());
}

/// A file of a logger with a temperature every six hours, over some weeks.
fn file(batch: BatchId, readings: i64) -> batches::NewImport {
    let start = day("2026-03-08").and_hms_opt(6, 0, 0).expect("six in the morning");
    let value = |n: i64| Measured::from_micros(18_000_000 + 10_000 * (n % 7));
    let row = |n| (start + chrono::Duration::hours(6 * n), ReadingKind::Temperature, value(n));
    batches::NewImport { rows: (0..readings).map(row).collect(), ..logged(batch) }
}

async fn curves_follow_the_readings(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, batch) = (&cellar.club.hand, cellar.batch);
    alike(&db, &cellar, ReadingKind::Gravity, 1).await;
    alike(&db, &cellar, ReadingKind::Temperature, 2).await;
    // One that was read before those that are there, in another week.
    let earlier = batches::NewReading {
        at: day("2026-03-01").and_hms_opt(23, 59, 59).expect("a second to midnight"),
        ..gravity(batch)
    };
    let earlier = batches::record_reading(&db, hand, None, earlier).await.expect("it is read").id;
    alike(&db, &cellar, ReadingKind::Gravity, 2).await;
    let brought = batches::bring_in(&db, hand, None, file(batch, 120)).await.expect("a file comes in");
    alike(&db, &cellar, ReadingKind::Temperature, 122).await;
    let wrong = Strike { reading: earlier, reason: "of another batch".to_owned() };
    batches::strike_reading(&db, hand, None, wrong).await.expect("it is struck out");
    alike(&db, &cellar, ReadingKind::Gravity, 1).await;
    let import = brought.import.expect("it has an id");
    let undoing = Undoing { import, reason: "of another vat".to_owned() };
    batches::undo_import(&db, hand, None, undoing).await.expect("it is undone");
    alike(&db, &cellar, ReadingKind::Temperature, 2).await;
}
