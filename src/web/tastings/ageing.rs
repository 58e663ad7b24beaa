//! A bottling over time: its marks against its age, what that shows, and the proposal for the next tasting; on the page
//! of the bottling, and in a line on the page of a tasting.

use super::Found;
use crate::actions::tastings::{NewAge, set_tasting_age};
use crate::db::bottles::{self, Bottling};
use crate::db::tastings::{self as rows, Appearance};
use crate::db::{AnyConn, Failure};
use crate::domain::bottles::TastingAge;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::reminders::TASTED_EARLY_DAYS;
use crate::domain::tastings::State;
use crate::domain::tastings::ageing::{Ageing, ageing};
use crate::units::days::{self, Day};
use crate::units::ids::BottlingId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::input::Draft;
use crate::web::pictures::{Ages, ages};
use crate::web::respond::Reply;
use crate::web::site::{Site, fresh_key};

/// What its tastings say of a bottling.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Told {
    /// Its tastings that may be told of.
    pub tastings: Vec<Appearance>,
    /// Its marks over time, if it has any.
    pub ageing: Option<Ageing>,
}

impl Told {
    /// Whether a tasting with an open key answered an age: one on its day or later, or a little before, as long as that
    /// does not answer the next age.
    pub fn tasted(&self, age: &TastingAge, all: &[TastingAge]) -> bool {
        let from = |age: &TastingAge| age.falls_on - chrono::Duration::days(TASTED_EARLY_DAYS);
        let next = all.iter().filter(|other| other.age_days > age.age_days).map(from).min();
        let answers = |day: Day| day >= from(age) && next.is_none_or(|next| day < next);
        self.tastings.iter().any(|one| one.state == State::Open && answers(one.day))
    }
}

/// Loads it.
pub fn told(
    conn: &mut AnyConn,
    doer: &Doer,
    bottling: &Bottling,
    set: &[TastingAge],
) -> Result<Told, Failure> {
    let sittings = rows::sittings(conn, doer.club, bottling.id)?;
    let age_today = (doer.today() - bottling.bottled_on).num_days();
    // An age that was answered a few days early is not proposed again.
    let waiting = set.iter().filter(|age| age.waits_for(doer.today()).is_some());
    let ages: Vec<i64> = waiting.map(|age| age.age_days).collect();
    Ok(Told {
        tastings: rows::of_bottling(conn, doer.club, bottling.id)?,
        ageing: ageing(&sittings, age_today, &ages),
    })
}

/// One line for each sample of a tasting whose key is open: the bottling, its name, and what is proposed.
pub(super) fn of_table(
    conn: &mut AnyConn,
    doer: &Doer,
    found: &Found,
) -> Result<Vec<(BottlingId, String, String)>, Failure> {
    let mut lines = Vec::new();
    if found.table.tasting.state() != State::Open {
        return Ok(lines);
    }
    for sample in &found.table.samples {
        let bottling = bottles::bottling(conn, doer.club, sample.bottling)?;
        let set =
            bottles::tastings(conn, doer.club, &[bottling.id])?.remove(&bottling.id).unwrap_or_default();
        if let Some(ageing) = told(conn, doer, &bottling, &set)?.ageing {
            let says = format!("{} {}", ageing.proposal.because, next_words(&ageing));
            lines.push((bottling.id, sample.name(), says));
        }
    }
    Ok(lines)
}

/// "Taste it next at 18 months."
fn next_words(ageing: &Ageing) -> String {
    let age = days::age(ageing.proposal.next_age_days);
    let set = if ageing.proposal.is_set { "; that age is set" } else { "" };
    format!("Taste it next at {age}{set}.")
}

/// The leaf on the page of a bottling.
pub struct View {
    /// What the ages show, sentence by sentence.
    pub says: Vec<String>,
    /// Marks against age.
    pub picture: String,
    /// What is proposed, with its reason.
    pub proposal: Option<String>,
    /// The age that can be set, with the key of its form.
    pub set: Option<(i64, String, String)>,
    /// Tastings: address, name, day, and the mean where there is one.
    pub rows: Vec<ViewRow>,
}

/// One tasting of a bottling.
pub struct ViewRow {
    /// Where it is.
    pub href: String,
    /// What the club calls it.
    pub title: String,
    /// When, and how old the bottling was.
    pub when: String,
    /// Of how many the mean is.
    pub tasters: String,
    /// The mean with its interval, or how far the tasting is.
    pub says: String,
}

/// How it is shown.
pub fn view(site: &Site, doer: &Doer, bottling: &Bottling, told: &Told, may_set: bool) -> Option<View> {
    if told.tastings.is_empty() {
        return None;
    }
    let ageing = told.ageing.as_ref();
    let rows = told.tastings.iter().map(|one| row(site, doer, bottling, one, ageing)).collect();
    Some(View {
        says: ageing.map(|ageing| ageing.says.clone()).unwrap_or_default(),
        picture: ageing.map(|ageing| picture(bottling, ageing)).unwrap_or_default(),
        proposal: ageing.map(|ageing| format!("{} {}", ageing.proposal.because, next_words(ageing))),
        set: ageing.filter(|ageing| may_set && !ageing.proposal.is_set).map(|ageing| {
            let age = ageing.proposal.next_age_days;
            (age, days::age(age), fresh_key())
        }),
        rows,
    })
}

fn row(site: &Site, doer: &Doer, bottling: &Bottling, one: &Appearance, ageing: Option<&Ageing>) -> ViewRow {
    let point = ageing.and_then(|ageing| ageing.points.iter().find(|point| point.tasting == one.tasting));
    let says = match point {
        Some(point) => match point.mean.interval {
            Some(interval) => {
                format!("{:.1} of 10 ({:.1} to {:.1})", point.mean.mean, interval.low, interval.high)
            }
            None => format!("{:.1} of 10", point.mean.mean),
        },
        None if one.state == State::Open => super::kind(one.method).to_owned(),
        None => one.state.label().to_owned(),
    };
    let age = days::age((one.day - bottling.bottled_on).num_days());
    ViewRow {
        href: site.at(&format!("/tastings/{}", one.tasting)),
        title: one.title.clone(),
        when: format!("{}, {age}", days::tiny(one.day, doer.today())),
        tasters: point.map(|point| point.mean.of.to_string()).unwrap_or_default(),
        says,
    }
}

#[allow(clippy::cast_precision_loss, reason = "days of an age")]
fn picture(bottling: &Bottling, ageing: &Ageing) -> String {
    let points: Vec<_> = ageing
        .points
        .iter()
        .map(|point| {
            let interval = point.mean.interval.map(|interval| (interval.low, interval.high));
            (point.age_days as f64, point.mean.mean, interval)
        })
        .collect();
    ages(&Ages {
        id: "ages",
        title: &format!("Marks of {}, {} against its age", bottling.name, bottling.code),
        caption: "Means of the panel for the drink as a whole, with 95 % intervals, against the age of the bottling. A \
                  line is drawn only where a trend may be spoken of.",
        points: &points,
        line: ageing.trend.map(|(trend, _)| (trend.start, trend.slope.0 / 365.25)),
        next: Some(ageing.proposal.next_age_days as f64),
        age_text: &|age| {
            #[allow(clippy::cast_possible_truncation, reason = "days of an age")]
            let age = age as i64;
            days::age(age)
        },
    })
}

/// An age that was chosen, by page or API.
pub fn read(draft: &Draft, doer: &Doer, bottling: BottlingId) -> Result<NewAge, Refusal> {
    draft.read(doer, |r| NewAge { bottling, age_days: r.whole("age_days", 1..=36_500) })
}

/// Sets an age at which a bottling should be tasted.
pub async fn set(hand: Cellarhand, site: Site, path: Path<BottlingId>, form: Form) -> Reply {
    let order = read(&form.draft, &hand, path.0)?;
    let id = set_tasting_age(&site.db, &hand, form.key.clone(), order).await?;
    Ok(site.see_other(&format!("/bottles/{id}#age")))
}
