//! A simulated year: two servers on one database, whose clocks jump, which stop at any moment, and a mail server that
//! refuses a third of all letters. Nothing that was due is missing, and nothing is told twice.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;
use std::time::{Duration as Real, Instant as Clock};

use chrono::Duration;
use tokio::sync::watch;
use undercroft::actions::letters::{Outcome, choose};
use undercroft::db::letters::Letter;
use undercroft::db::{Database, reminders, stock};
use undercroft::domain::letters::Wish;
use undercroft::domain::members::{Doer, Onlooker};
use undercroft::domain::stock::ItemKind;
use undercroft::jobs::letters::{Post, turn};
use undercroft::units::days::Day;
use undercroft::units::ids::{ItemId, LetterId};
use undercroft::units::quantity::BaseUnit;

use super::{at, remind};
use crate::ground::cellar::item;
use crate::ground::{Ground, club, day, on_both};

on_both!(a_year_of_letters, a_letter_to_everyone_in_a_large_club);

/// Numbers that look random and are always the same.
struct Chance(u64);

impl Chance {
    fn below(&mut self, of: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % of
    }
}

/// How a try ends.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Mood {
    Takes,
    Refuses,
    /// The server stops before the letter was taken.
    StopsBefore,
    /// The server stops after the letter was taken and before it could write that down.
    StopsAfter,
}

/// A mail server that keeps what it took.
#[derive(Default)]
struct Fickle {
    chance: Mutex<Option<Chance>>,
    taken: Mutex<Vec<Letter>>,
    moods: Mutex<BTreeMap<&'static str, u32>>,
}

impl Fickle {
    fn mood(&self) -> Mood {
        let mut chance = self.chance.lock().expect("no test broke");
        let (mood, name) = match chance.as_mut().expect("it was set").below(30) {
            0..10 => (Mood::Refuses, "refused"),
            10 => (Mood::StopsBefore, "stopped before"),
            11 => (Mood::StopsAfter, "stopped after"),
            _ => (Mood::Takes, "taken"),
        };
        *self.moods.lock().expect("no test broke").entry(name).or_default() += 1;
        mood
    }
}

impl Post for Fickle {
    async fn send(&self, letter: &Letter) -> Outcome {
        let mood = self.mood();
        if matches!(mood, Mood::Takes | Mood::StopsAfter) {
            self.taken.lock().expect("no test broke").push(letter.clone());
        }
        match mood {
            Mood::Takes => Outcome::Sent,
            Mood::Refuses => Outcome::Later("451 not now".to_owned()),
            // Whoever waits for it is gone by then.
            Mood::StopsBefore | Mood::StopsAfter => std::future::pending().await,
        }
    }
}

/// What is due in the year: on some days nothing, on others several things; some are put off, some done in time.
struct Plan {
    due: Vec<(String, Day)>,
    put_off: Vec<(String, Day, Day)>,
    done: BTreeSet<String>,
}

fn plan(chance: &mut Chance) -> Plan {
    let first = day("2026-01-05");
    let of = |chance: &mut Chance| first + Duration::days(i64::try_from(chance.below(350)).expect("a day"));
    let due: Vec<(String, Day)> = (0..90).map(|number| (format!("thing-{number}"), of(chance))).collect();
    let put_off =
        due.iter().step_by(9).map(|(key, day)| (key.clone(), *day, *day + Duration::days(6))).collect();
    let done = due.iter().skip(1).step_by(9).map(|(key, _)| key.clone()).collect();
    Plan { due, put_off, done }
}

async fn a_year_of_letters(ground: &Ground) {
    let servers = [ground.open(), ground.open()];
    let people = club(&servers[0], "Tidemill Cellar Club").await;
    let wants = |doer: &Doer, hour| (Onlooker::from_doer(doer.clone()).expect("a member"), Wish { hour });
    // One in the hour that the change of clocks leaves out and repeats, one late, one not at all.
    let wishes =
        [wants(&people.steward, Some(2)), wants(&people.hand, Some(22)), wants(&people.taster, None)];
    for (who, wish) in &wishes {
        choose(&servers[0], who, None, *wish).await.expect("it is kept");
    }
    let mut chance = Chance(20_260_101);
    let plan = plan(&mut chance);
    let (id, due) = (people.hand.club, plan.due.clone());
    let thing = ItemId::fresh();
    servers[0]
        .write(move |conn| {
            stock::add_item(conn, id, thing, &item("Cane sugar", ItemKind::Ingredient, BaseUnit::Gram))?;
            due.iter().try_for_each(|(key, day)| remind(conn, id, thing, key, *day))
        })
        .await
        .expect("they are kept");
    let post = Fickle { chance: Mutex::new(Some(Chance(7))), ..Fickle::default() };
    let (_stop, running) = watch::channel(false);
    let mut offsets = [Duration::zero(); 2];
    let (mut now, mut turns, mut stopped) = (at("2026-01-01T00:00:00"), 0_u32, 0_u32);
    while now < at("2027-01-05T00:00:00") {
        settle(&servers[0], &plan, people.hand.club, now).await;
        for (server, offset) in servers.iter().zip(&mut offsets) {
            // Clocks jump now and then, up to three hours either way, and are put right again.
            *offset = match chance.below(40) {
                0 => Duration::minutes(i64::try_from(chance.below(360)).expect("minutes") - 180),
                1..8 => Duration::zero(),
                _ => *offset,
            };
            let running = turn(server, &post, &running, now + *offset);
            turns += 1;
            stopped += u32::from(tokio::time::timeout(Real::from_millis(400), running).await.is_err());
        }
        now += Duration::minutes(45 + i64::try_from(chance.below(91)).expect("minutes"));
    }
    judge(&post, &plan, &wishes, turns, stopped);
}

/// What members do meanwhile: put off on the day after it was due, or done on the day before.
async fn settle(
    db: &Database,
    plan: &Plan,
    club: undercroft::units::ids::ClubId,
    now: undercroft::units::days::Instant,
) {
    let put_off: Vec<(String, Day)> = plan
        .put_off
        .iter()
        .filter(|(_, due, _)| *due + Duration::days(1) == now.date())
        .map(|(key, _, to)| (key.clone(), *to))
        .collect();
    let done: Vec<String> = plan
        .due
        .iter()
        .filter(|(key, due)| plan.done.contains(key) && *due - Duration::days(2) == now.date())
        .map(|(key, _)| key.clone())
        .collect();
    if put_off.is_empty() && done.is_empty() {
        return;
    }
    db.write(move |conn| {
        for reminder in reminders::open(conn, club, day("2027-12-31"), 1000)? {
            if let Some((_, to)) = put_off.iter().find(|(key, _)| *key == reminder.key)
                && reminder.due_on != *to
            {
                reminders::put_off(conn, reminder.id, *to)?;
            }
            if done.contains(&reminder.key) {
                let by = undercroft::db::members::members(conn, club)?[0].id;
                reminders::done(conn, reminder.id, by, now)?;
            }
        }
        Ok::<_, undercroft::db::Failure>(())
    })
    .await
    .expect("they are settled");
}

fn judge(post: &Fickle, plan: &Plan, wishes: &[(Onlooker, Wish)], turns: u32, stopped: u32) {
    let taken = post.taken.lock().expect("no test broke");
    let mut told: BTreeMap<(String, String, Day), BTreeSet<LetterId>> = BTreeMap::new();
    let mut times: BTreeMap<LetterId, u32> = BTreeMap::new();
    for letter in taken.iter() {
        *times.entry(letter.id).or_default() += 1;
        for line in &letter.lines {
            let key = (letter.to.0.clone(), line.key.clone(), line.due_on);
            told.entry(key).or_default().insert(letter.id);
            assert_eq!(letter.day, line.due_on, "{} is told on its day", line.key);
        }
    }
    let mut wanted = BTreeSet::new();
    for (who, _) in wishes.iter().filter(|(_, wish)| wish.hour.is_some()) {
        let on_its_day = plan.due.iter().filter(|(key, _)| !plan.done.contains(key)).cloned();
        let later = plan.put_off.iter().map(|(key, _, to)| (key.clone(), *to));
        wanted.extend(on_its_day.chain(later).map(|(key, due)| (who.name.clone(), key, due)));
    }
    let missed: Vec<_> = wanted.iter().filter(|one| !told.contains_key(*one)).collect();
    let doubled = told.values().filter(|letters| letters.len() > 1).count();
    let unasked: Vec<_> = told.keys().filter(|one| !wanted.contains(*one)).collect();
    let repeated: u32 = times.values().map(|times| times - 1).sum();
    let moods = post.moods.lock().expect("no test broke");
    println!(
        "{turns} turns of two servers, {stopped} of them stopped midway; {} letters, tries: {moods:?}; told {} things, \
         missed {}, doubled {doubled}; the same letter again after a stop: {repeated}",
        times.len(),
        told.len(),
        missed.len()
    );
    assert!(missed.is_empty(), "missed: {missed:?}");
    assert!(unasked.is_empty(), "nobody was to be told: {unasked:?}");
    assert_eq!(doubled, 0);
    let after = moods.get("stopped after").copied().unwrap_or_default();
    assert!(repeated <= after, "{repeated} letters came again, but only {after} stops excuse it");
    assert!(moods["refused"] > 50 && after > 3 && stopped > 10, "the year was a bad one: {moods:?}");
}

/// Two hundred members, thirty things due: prints how long the writing takes.
async fn a_letter_to_everyone_in_a_large_club(ground: &Ground) {
    let db = ground.open();
    let people = club(&db, "Tidemill Cellar Club").await;
    let id = people.hand.club;
    db.write(move |conn| {
        use undercroft::db::members::{add_member, add_person};
        let thing = ItemId::fresh();
        stock::add_item(conn, id, thing, &item("Cane sugar", ItemKind::Ingredient, BaseUnit::Gram))?;
        for number in 0..197 {
            let (name, email) = (format!("Member {number}"), format!("member-{number}@tidemill.example"));
            let person = add_person(conn, &name, &email, "", at("2026-01-01T00:00:00"))?;
            add_member(
                conn,
                id,
                person,
                &name,
                undercroft::domain::members::Role::Taster,
                day("2026-01-01"),
            )?;
        }
        (0..30).try_for_each(|number| remind(conn, id, thing, &format!("thing-{number}"), day("2026-06-23")))
    })
    .await
    .expect("they are kept");
    let post = Fickle::default();
    *post.chance.lock().expect("no test broke") = Some(Chance(1));
    let (_stop, running) = watch::channel(true);
    let began = Clock::now();
    // The stop is said already: letters are written, and none is sent.
    turn(&db, &post, &running, at("2026-06-23T05:00:00")).await;
    let written = began.elapsed();
    let waiting = db
        .read(|conn| undercroft::db::letters::to_try(conn, at("2026-06-24T05:00:00"), 1000))
        .await
        .expect("they are read");
    assert_eq!(waiting.len(), 200);
    assert!(waiting.iter().all(|letter| letter.lines.len() == 30));
    println!(
        "200 letters of 30 things each: written in {written:.1?} (all of it, on this machine, in this build)"
    );
}
