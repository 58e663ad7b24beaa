//! The readings of a batch as a file: all of them, oldest first, struck ones too.

use crate::db::Failure;
use crate::db::batches as rows;
use crate::domain::members::Onlooker;
use crate::units::ids::BatchId;
use crate::units::measure::Measured;
use crate::web::extract::Path;
use crate::web::respond::Reply;
use crate::web::site::Site;
use crate::web::spreadsheet::{self, Cell};

/// Every reading of a batch.
pub async fn file(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let (id, club) = (path.0, who.club);
    let read = site.db.read(move |conn| {
        let code = rows::named(conn, club, id)?.0;
        Ok::<_, Failure>((code, rows::readings(conn, club, id, i64::MAX)?))
    });
    let (code, readings) = read.await?;
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
    let row = |reading: rows::Reading| {
        let (what, unit) = reading.kind.label();
        vec![
            Cell::ours(&code),
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
    };
    let leaving =
        spreadsheet::leaving(&site, &who, &format!("exported the readings of batch {code}")).await?;
    spreadsheet::csv(&leaving, &format!("readings-{code}.csv"), &header, readings.into_iter().map(row))
}
