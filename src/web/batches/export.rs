//! The readings of a batch as a file: all of them, oldest first, struck ones too, read and sent part by part.

use crate::db::batches::{self as rows, Part, Reading};
use crate::domain::members::Onlooker;
use crate::units::ids::BatchId;
use crate::units::measure::Measured;
use crate::web::extract::Path;
use crate::web::problem::Problem;
use crate::web::respond::Reply;
use crate::web::site::Site;
use crate::web::spreadsheet::{self, Cell};

/// So many are read at once.
const PART: i64 = 2_000;

/// Every reading of a batch.
pub async fn file(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let (id, club) = (path.0, who.club);
    let (code, _) = site.db.read(move |conn| rows::named(conn, club, id)).await?;
    let header = [
        "batch",
        "at_utc",
        "kind",
        "value_at_20_celsius",
        "read_off",
        "unit",
        "sample_temperature_celsius",
        "read_by",
        "remark",
        "struck_because",
    ];
    let leaving =
        spreadsheet::leaving(&site, &who, &format!("exported the readings of batch {code}")).await?;
    let name = format!("readings-{code}.csv");
    let db = site.db.clone();
    let part = move |after| {
        let (db, code) = (db.clone(), code.clone());
        async move {
            let some = Part::oldest(after, PART);
            let readings = db.read(move |conn| rows::part(conn, club, id, &some)).await?;
            let last = readings.last().map(|reading| (reading.at, reading.id));
            let more = last.filter(|_| readings.len() >= usize::try_from(PART).unwrap_or(usize::MAX));
            Ok::<_, Problem>((readings.into_iter().map(|reading| cells(reading, &code)).collect(), more))
        }
    };
    spreadsheet::sent(leaving, name, header, part).await
}

fn cells(reading: Reading, code: &str) -> Vec<Cell> {
    let (what, unit) = reading.kind.label();
    vec![
        Cell::ours(code),
        Cell::ours(reading.at.and_utc().to_rfc3339_opts(chrono::SecondsFormat::Secs, true)),
        Cell::ours(reading.kind.code()),
        Cell::ours(reading.value.plain()),
        Cell::ours(reading.read.plain()),
        Cell::ours(if unit == what { "" } else { unit }),
        Cell::ours(reading.sample_c.map(Measured::plain).unwrap_or_default()),
        Cell::typed(reading.by),
        Cell::typed(reading.remark),
        Cell::typed(reading.struck.map(|(_, _, because)| because).unwrap_or_default()),
    ]
}
