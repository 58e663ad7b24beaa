//! What a phone needs where there is no signal: one page that holds nothing of the club, and the names, places and
//! codes
//! from which its script draws what can be counted, read and taken. What the books say, and money, never get there.

use actix_web::HttpResponse;
use askama::Template;
use serde::Serialize;

use super::extract::{Anyone, now};
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::Site;
use crate::db::counts as rows;
use crate::db::{AnyConn, Failure, batches, bottles, stock};
use crate::domain::batches::Stage;
use crate::domain::counts::Line;
use crate::domain::members::{Doer, Onlooker, Role};

/// Batches and counts of which a phone is told at most.
const MOST: i64 = 100;

#[derive(Template)]
#[template(path = "phone.html")]
struct PhonePage {
    frame: Frame,
}

/// The page that opens without a signal. Nobody's name is on it: it stays on the device.
pub async fn show(_: Anyone, site: Site) -> Reply {
    respond::page(&PhonePage { frame: site.stranger_frame("Without a signal") })
}

/// Who is signed in, for an outbox that wants to send.
#[derive(Serialize)]
struct Who {
    member: String,
    form_token: String,
    now: String,
}

/// Says who is signed in, with the token that forms carry.
pub async fn who(onlooker: Onlooker, site: Site) -> Result<HttpResponse, Problem> {
    Ok(HttpResponse::Ok().json(Who {
        member: onlooker.member.to_string(),
        form_token: site.form_token().to_owned(),
        now: now().and_utc().to_rfc3339(),
    }))
}

#[derive(Serialize)]
struct Data {
    member_name: String,
    club: String,
    counts: Vec<CountData>,
    batches: Vec<Named>,
    bottlings: Vec<Named>,
    places: Vec<PlaceData>,
}

#[derive(Serialize)]
struct CountData {
    id: String,
    code: String,
    title: String,
    lines: Vec<LineData>,
}

#[derive(Serialize)]
struct LineData {
    line: u32,
    place: String,
    name: String,
    code: String,
    lot_code: String,
    lot: String,
    bottling: Option<String>,
    counted_in: &'static str,
    example: &'static str,
    weighs: bool,
    progress: &'static str,
}

#[derive(Serialize)]
struct Named {
    id: String,
    code: String,
    name: String,
}

#[derive(Serialize)]
struct PlaceData {
    id: String,
    path: String,
}

/// What a phone keeps for the cellar.
pub async fn data(onlooker: Onlooker, site: Site) -> Result<HttpResponse, Problem> {
    let doer = Doer::clone(&onlooker);
    let data = site.db.read(move |conn| gather(conn, &doer)).await?;
    Ok(HttpResponse::Ok().json(data))
}

fn gather(conn: &mut AnyConn, doer: &Doer) -> Result<Data, Failure> {
    let (takes, records) = (doer.role >= Role::Taster, doer.role >= Role::Cellarhand);
    let mut counts = Vec::new();
    if takes {
        for listed in rows::counts(conn, doer.club, true, None, MOST)? {
            if listed.count.check_counter(doer, doer.now).is_ok() {
                let lines = rows::lines(conn, doer.club, listed.count.id, None)?;
                counts.push(CountData {
                    id: listed.count.id.to_string(),
                    code: listed.count.code,
                    title: listed.count.title,
                    lines: lines.iter().map(line_data).collect(),
                });
            }
        }
    }
    let working = if records {
        batches::batches(conn, doer.club, &[Stage::Working, Stage::Resting], None, MOST)?
    } else {
        Vec::new()
    };
    let left = if takes { bottles::with_bottles_left(conn, doer.club)? } else { Vec::new() };
    let places = if takes { stock::places(conn, doer.club)? } else { Vec::new() };
    let bottling = |left: &bottles::Left| Named {
        id: left.bottling.id.to_string(),
        code: left.bottling.code.clone(),
        name: left.bottling.name.clone(),
    };
    Ok(Data {
        member_name: doer.name.clone(),
        club: doer.club_name.clone(),
        counts,
        batches: working
            .into_iter()
            .map(|batch| Named { id: batch.id.to_string(), code: batch.code, name: batch.name })
            .collect(),
        bottlings: left.iter().map(bottling).collect(),
        places: places
            .into_iter()
            .map(|place| PlaceData { id: place.id.to_string(), path: place.path })
            .collect(),
    })
}

fn line_data(line: &Line) -> LineData {
    let lot = line.lot.as_ref();
    let (counted_in, example) = line.asked_in();
    LineData {
        line: line.number,
        place: line.place.1.clone(),
        name: line.name().to_owned(),
        code: line.code().to_owned(),
        lot_code: lot.map(|lot| lot.code.clone()).unwrap_or_default(),
        lot: lot.map(|lot| lot.id.to_string()).unwrap_or_default(),
        bottling: lot.and_then(|lot| Some(lot.bottling.as_ref()?.0.to_string())),
        counted_in,
        example,
        weighs: line.weighs(),
        progress: line.progress().code(),
    }
}
