//! The loops that the server is measured against: the same queries, the same page, the same writes, without HTTP and, for
//! writes, with one transaction each.

use std::net::SocketAddr;
use std::sync::OnceLock;
use std::time::{Duration, Instant as Clock};

use actix_web::web::Data;
use askama::Template;
use undercroft::actions::batches::drawn;
use undercroft::actions::members::{self, NewToken, Visitor};
use undercroft::actions::once::{Request, RequestKey, carry_out};
use undercroft::db::connection::{Address, read_now, write_now};
use undercroft::db::{Database, Failure, reminders};
use undercroft::domain::batches::{Draw, DrawLine, Source};
use undercroft::domain::members::{Doer, NewClub, NewPerson, Onlooker, Password, Scope};
use undercroft::units::days::Instant;
use undercroft::units::quantity::Milli;
use undercroft::web::server::Settings;
use undercroft::web::site::{Site, State};
use undercroft::web::stock::overview;
use undercroft::web::{batches, health, limits};

use super::{Tried, cellar};

const EMAIL: &str = "bench@tidemill.example";
const PASSWORD: &str = "low tide at the sluice";

/// A club with one steward, a session's secret and an API token.
pub async fn founder(db: &Database, now: Instant) -> Tried<(Doer, String, String)> {
    let steward = NewPerson::read("Maren Holt", EMAIL, PASSWORD);
    let club = NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward)?;
    members::found_club(db, club, now).await?;
    let visitor = Visitor { device: "bench".to_owned(), address: "127.0.0.1".to_owned(), now };
    let (secret, member) = members::sign_in(db, EMAIL, &Password::new(PASSWORD), &visitor).await?;
    let doer = cellar::doer(db, &member.to_string(), now).await?;
    let by = Onlooker::from_doer(doer.clone()).ok_or("a steward is an onlooker")?;
    let (_, token) = members::new_token(db, &by, None, NewToken::read("bench", Scope::Write, 2)?).await?;
    Ok((doer, secret.reveal().to_owned(), token.reveal().to_owned()))
}

/// `FILE MEMBER,BATCH,VAT,ITEM PAGE SECONDS`: prints how often a second the page's queries run and it is rendered.
pub fn pages(arguments: &[String]) -> Tried<()> {
    let [path, who, which, seconds] = arguments else { return Err("four arguments".into()) };
    let db = Database::open(&Address::read(path))?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let mut ids = who.split(',');
    let member = ids.next().ok_or("no member")?;
    let batch = ids.next().ok_or("no batch")?.parse()?;
    let doer = runtime.block_on(cellar::doer(&db, member, chrono::Utc::now().naive_utc()))?;
    let mut conn = db.connection()?;
    let settings = Settings::on(SocketAddr::from(([127, 0, 0, 1], 1)));
    let (metrics, limits) = (health::Metrics::default(), limits::Limits::default());
    let site = Site::new(
        Data::new(State { db, settings, metrics, limits, description: OnceLock::new() }),
        "token".to_owned(),
    );
    let rate = repeated(seconds, || {
        let member = doer.member;
        let doer: Doer = read_now(&mut conn, |conn| {
            undercroft::db::members::doer_of_member(conn, member, chrono::Utc::now().naive_utc())
        })?;
        let body = if which == "stores" {
            let (facts, found) = read_now(&mut conn, |conn| {
                let facts = reminders::facts(conn, doer.club, doer.today())?;
                Ok::<_, Failure>((facts, overview::find(conn, &doer)?))
            })?;
            overview::first_page(&site, &doer, facts, found).render()?
        } else {
            let (facts, found) = read_now(&mut conn, |conn| {
                let facts = reminders::facts(conn, doer.club, doer.today())?;
                Ok::<_, Failure>((facts, batches::find(conn, &doer, batch, None)?))
            })?;
            batches::page(&site, &doer, facts, found.ok_or("no such batch")?).render()?
        };
        Ok(body.len())
    })?;
    println!("{rate}");
    Ok(())
}

/// `FILE MEMBER,BATCH,VAT,ITEM SECONDS TURN`: prints how many draws a second one connection records, one durable
/// transaction each.
pub fn draws(arguments: &[String]) -> Tried<()> {
    let [path, who, seconds, turn] = arguments else { return Err("four arguments".into()) };
    let db = Database::open(&Address::read(path))?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let ids: Vec<&str> = who.split(',').collect();
    let [member, _, batch, item] = ids[..] else { return Err("member, batch, vat and item".into()) };
    let doer = runtime.block_on(cellar::doer(&db, member, chrono::Utc::now().naive_utc()))?;
    let mut conn = db.connection()?;
    let (batch, item) = (batch.parse()?, item.parse()?);
    let mut number = 0_u64;
    let rate = repeated(seconds, || {
        number += 1;
        let line = DrawLine { source: Source::Item(item), quantity: Milli::new(1000), expired_because: None };
        let command = Draw {
            batch,
            day: doer.today(),
            pitch: false,
            lines: vec![line],
            volume_after: None,
            remark: String::new(),
        };
        let key = RequestKey::read(&format!("bare-{turn}-{number:08}"))?;
        let request = Request { name: "draw", command, act: drawn };
        let id = write_now(&mut conn, |conn| carry_out(conn, &doer, Some(&key), &request))?;
        Ok(id.to_string().len())
    })?;
    println!("{rate}");
    Ok(())
}

/// How often a second this can be done.
pub fn repeated(seconds: &str, mut once: impl FnMut() -> Tried<usize>) -> Tried<f64> {
    let until = Clock::now() + Duration::from_secs(seconds.parse()?);
    let started = Clock::now();
    let mut count = 0_u32;
    while Clock::now() < until {
        std::hint::black_box(once()?);
        count += 1;
    }
    Ok(f64::from(count) / started.elapsed().as_secs_f64())
}
