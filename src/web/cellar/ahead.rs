//! The stock of bottles by drink and by age, what it is worth, and what comes of age in the twelve months ahead.

use askama::Template;
use chrono::Datelike;

use super::covered_page;
use crate::db::{cellar as rows, counts};
use crate::domain::cellar::{AGES, Coming, ComingAge, DrinkStock, Stand, drinks, profile};
use crate::domain::members::{Doer, Onlooker};
use crate::units::days::{self, Day};
use crate::units::money::Money;
use crate::web::frame::Frame;
use crate::web::pictures::{Bar, Bars, Year, YearMark, YearRow, bars, year};
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// Lines of the picture; the table has them all.
const MOST_LINES: usize = 24;

#[derive(Template)]
#[template(path = "cellar/ahead.html")]
struct AheadPage {
    frame: Frame,
    lead: String,
    coming_lead: String,
    picture: String,
    coming: Vec<ComingRow>,
    profile: String,
    ages: Vec<(&'static str, i64)>,
    drinks: Vec<DrinkRow>,
    total: String,
    sign: String,
}

struct ComingRow {
    day: String,
    href: String,
    drink: String,
    code: String,
    age: String,
    what: &'static str,
    bottles: i64,
}

struct DrinkRow {
    drink: String,
    bottles: i64,
    places: usize,
    ages: String,
    value: String,
    last: String,
}

/// Shows them.
pub async fn show(who: Onlooker, site: Site) -> Reply {
    let read = site.read(&who, |conn, doer| {
        let stands = rows::stands(conn, doer.club)?;
        let coming = rows::coming(conn, doer.club, &stands, doer.today())?;
        Ok((coming, stands, counts::covered(conn, doer)?))
    });
    let (facts, (coming, stands, covered)) = read.await?;
    if let Some(words) = covered.words_of(stands.iter().map(|stand| stand.lot)) {
        return covered_page(&site, &who, "The year ahead", words, facts);
    }
    let today = who.today();
    let by_age = profile(&stands, today);
    let worth: Money = stands.iter().map(|stand| stand.cost).sum();
    let page = AheadPage {
        lead: lead(&stands, worth, &who),
        coming_lead: coming_lead(&coming),
        picture: picture(&coming, today),
        coming: coming_rows(&site, &coming, today),
        profile: bars("ages", &age_bars(by_age)),
        ages: AGES.iter().map(|age| age.0).zip(by_age).collect(),
        drinks: drinks(&stands).iter().map(|drink| drink_row(drink, &coming, today)).collect(),
        total: words::figure(worth),
        sign: words::sign(&who.currency).trim().to_owned(),
        frame: site.frame(&who, Room::Bottles, "The year ahead", facts),
    };
    respond::page(&page)
}

fn lead(stands: &[Stand], worth: Money, doer: &Doer) -> String {
    let bottles: i64 = stands.iter().map(|stand| stand.bottles).sum();
    if bottles == 0 {
        return "No bottles are laid down just now.".to_owned();
    }
    format!(
        "{} are laid down, which cost {}.",
        words::count(bottles, "bottle", "bottles"),
        words::money(&doer.currency, worth)
    )
}

fn coming_lead(coming: &[Coming]) -> String {
    let ready: i64 =
        coming.iter().filter(|one| one.ages.iter().any(|age| age.first)).map(|one| one.bottles).sum();
    let last: i64 =
        coming.iter().filter(|one| one.ages.iter().any(|age| age.last)).map(|one| one.bottles).sum();
    match (ready, last) {
        (0, 0) if coming.is_empty() => "Nothing comes of age in the next twelve months.".to_owned(),
        _ => format!(
            "In the next twelve months {} ready, and {} to the last age that is planned for them.",
            words::count(ready, "bottle becomes", "bottles become"),
            words::count(last, "bottle comes", "bottles come"),
        ),
    }
}

#[allow(clippy::cast_precision_loss, reason = "days of a year")]
fn share(day: Day, today: Day) -> f64 {
    (day - today).num_days() as f64 / 365.0
}

fn mark(age: &ComingAge) -> YearMark {
    match (age.first, age.last) {
        (true, _) => YearMark::Begins,
        (false, true) => YearMark::Ends,
        (false, false) => YearMark::Between,
    }
}

fn picture(coming: &[Coming], today: Day) -> String {
    let first = today.with_day(1).unwrap_or(today);
    let months = (0..=12).filter_map(|ahead| first.checked_add_months(chrono::Months::new(ahead)));
    let months = months.filter(|month| *month >= today || *month == first);
    let months = months.map(|month| (share(month.max(today), today), month.format("%b").to_string()));
    let row = |one: &Coming| YearRow {
        name: format!("{}, {}", one.drink, one.code),
        said: words::count(one.bottles, "bottle", "bottles"),
        marks: one.ages.iter().map(|age| (share(age.falls_on, today), mark(age))).collect(),
    };
    year(
        "year",
        &Year {
            title: "What comes of age in the next twelve months",
            caption: "A full round is the first age at which it should be tasted: until then it is not ready. An \
                      open round is a tasting on the way, a bar the last that is planned.",
            months: months.collect(),
            rows: coming.iter().take(MOST_LINES).map(row).collect(),
        },
    )
}

fn coming_rows(site: &Site, coming: &[Coming], today: Day) -> Vec<ComingRow> {
    let mut all: Vec<(&Coming, &ComingAge)> =
        coming.iter().flat_map(|one| one.ages.iter().map(move |age| (one, age))).collect();
    all.sort_by_key(|(one, age)| (age.falls_on, one.bottling));
    let row = |(one, age): (&Coming, &ComingAge)| ComingRow {
        day: days::short(age.falls_on, today),
        href: site.at(&format!("/bottles/{}", one.bottling)),
        drink: one.drink.clone(),
        code: one.code.clone(),
        age: days::age(age.age_days),
        what: match (age.first, age.last) {
            (true, true) => "ready, and the only age that is planned",
            (true, false) => "ready",
            (false, true) => "the last that is planned: drink it from then on",
            (false, false) => "to be tasted",
        },
        bottles: one.bottles,
    };
    all.into_iter().map(row).collect()
}

fn age_bars(by_age: [i64; AGES.len()]) -> Bars {
    #[allow(clippy::cast_precision_loss, reason = "bottles of a cellar")]
    let bar = |((name, _), bottles): (&(&str, i64), i64)| Bar {
        name: words::capital(name),
        value: bottles as f64,
        said: words::count(bottles, "bottle", "bottles"),
    };
    Bars {
        title: "Bottles by age".to_owned(),
        caption: "How many bottles there are of each year of age.".to_owned(),
        bars: AGES.iter().zip(by_age).map(bar).collect(),
        mark: None,
    }
}

fn drink_row(drink: &DrinkStock, coming: &[Coming], today: Day) -> DrinkRow {
    let age = |day: Day| days::age((today - day).num_days());
    let last = coming.iter().filter(|one| one.drink == drink.drink).flat_map(|one| &one.ages);
    let last = last.filter(|age| age.last).map(|age| age.falls_on).min();
    DrinkRow {
        drink: drink.drink.clone(),
        bottles: drink.bottles,
        places: drink.places.len(),
        ages: if age(drink.youngest) == age(drink.oldest) {
            age(drink.oldest)
        } else {
            format!("{} to {}", age(drink.youngest), age(drink.oldest))
        },
        value: words::figure(drink.cost),
        last: last.map_or_else(|| "–".to_owned(), |day| days::short(day, today)),
    }
}
