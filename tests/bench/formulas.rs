//! Measures what a formula costs: `cargo bench --bench formulas` prints the median of many runs against what it may take.
//!
//! The same computations in scipy, and the ratio, are printed by the ignored test `reference`.

use std::hint::black_box;
use std::time::{Duration, Instant};

use undercroft::domain::calendars::Event;
use undercroft::domain::members::{Doer, Role};
use undercroft::domain::workbench::Value;
use undercroft::domain::workbench::routes::{Ask, INPUTS, compare, usual};
use undercroft::science::fermentation::{Reading, forecast};
use undercroft::science::{alcohol, sugar};
use undercroft::units::ids::{ClubId, MemberId, PersonId};
use undercroft::web::calendars::written;

/// Runs of each, and calls in one run.
const RUNS: usize = 101;

fn median(calls: u32, mut work: impl FnMut(u32)) -> Duration {
    let mut runs: Vec<Duration> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            (0..calls).for_each(&mut work);
            start.elapsed() / calls
        })
        .collect();
    runs.sort();
    runs[RUNS / 2]
}

fn readings() -> Vec<Reading> {
    let sg = |day: f64| 0.998 + 0.087 / (1.0 + (0.9 * (day - 3.5)).exp());
    // A ripple of half a point stands for the error of reading.
    let ripple = |at: u32| if at.is_multiple_of(2) { 0.0003 } else { -0.0003 };
    let reading = |at: u32| {
        let day = f64::from(at) / 4.0;
        Reading { day, sg: sg(day) + ripple(at), temperature_c: None }
    };
    (0..60).map(reading).collect()
}

/// A member whose calendar holds five hundred things to do.
fn calendar() -> (Doer, Vec<Event>) {
    let now = chrono::NaiveDate::from_ymd_opt(2026, 11, 1)
        .and_then(|day| day.and_hms_opt(12, 0, 0))
        .expect("a day");
    let doer = Doer {
        club: ClubId::fresh(),
        club_name: "Tidemill Cellar Club".to_owned(),
        currency: "EUR".to_owned(),
        zone: chrono_tz::Europe::Amsterdam,
        member: MemberId::fresh(),
        person: PersonId::fresh(),
        name: "Maren Holt".to_owned(),
        role: Role::Steward,
        now,
        address: String::new(),
    };
    let event = |number: i64| Event {
        key: format!("tasting:{number}"),
        day: now.date() + chrono::Duration::days(number),
        revision: number % 4,
        text: format!(
            "Taste at {number} days: late pears from the sluice orchard, filled after a slow winter"
        ),
        path: format!("/reminders/{number}"),
        off: number % 5 == 0,
    };
    (doer, (0..500).map(event).collect())
}

fn main() {
    let say = |name: &str, took: Duration, may_take: Duration| {
        let nanos = |duration: Duration| duration.as_secs_f64() * 1e6;
        let over = if took > may_take { ": too long" } else { "" };
        println!("{name:<34} {:>10.3} µs of {:>8.1} µs{over}", nanos(took), nanos(may_take));
    };
    let microseconds = Duration::from_micros;
    say(
        "density of alcohol and water",
        median(1000, |at| {
            let _ = black_box(alcohol::mixture_density_kg_m3(f64::from(at % 100), 20.0));
        }),
        microseconds(2),
    );
    say(
        "% vol from mass",
        median(1000, |at| {
            let _ = black_box(alcohol::vol_from_mass_percent(f64::from(at % 100)));
        }),
        microseconds(2),
    );
    say(
        "gravity from °Brix",
        median(1000, |at| {
            let _ = black_box(sugar::sg_from_brix(f64::from(at % 60)));
        }),
        microseconds(2),
    );
    say(
        "strength from two gravities",
        median(1000, |at| {
            let og = 1.05 + f64::from(at % 50) / 1000.0;
            let _ = black_box(alcohol::strength_from_gravities(black_box(og), 1.0));
        }),
        microseconds(2),
    );
    let readings = readings();
    say(
        "curve through 60 readings",
        median(5, |_| {
            let _ = black_box(forecast(black_box(&readings), 0.998));
        }),
        microseconds(1000),
    );
    let mut given = usual();
    let base = INPUTS[0].read("sheep").expect("a base");
    given.set("base", base);
    given.set("amount", INPUTS[1].read("60 L").expect("an amount"));
    given.set("goal", Value::Number(11.0));
    say(
        "comparison of the ways",
        median(20, |_| {
            let ask = Ask::of(black_box(&given)).expect("it can be meant");
            let _ = black_box(compare(&ask));
        }),
        microseconds(1000),
    );
    let (doer, events) = calendar();
    say(
        "a calendar of 500 things",
        median(5, |_| {
            let _ = black_box(written(&doer, Some(7), black_box(&events), |path| {
                format!("https://cellar.example.org{path}")
            }));
        }),
        Duration::from_millis(20),
    );
}
