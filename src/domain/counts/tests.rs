//! The rules of counts: what stands, what it is compared with, who may see it, what is posted.

use std::collections::BTreeMap;

use super::posting::{Change, post};
use super::then::{Movement, When, book_at};
use super::*;
use crate::domain::books::{Account, EntryKind, Holding};
use crate::units::days::Day;

const ZONE: chrono_tz::Tz = chrono_tz::Europe::Amsterdam;

fn at(text: &str) -> Instant {
    format!("2026-06-23T{text}:00").parse().unwrap()
}

fn member(number: i64) -> (MemberId, String) {
    (MemberId(number), format!("member {number}"))
}

fn tally(id: i64, by: i64, bottles: i64, when: &str) -> Tally {
    Tally {
        id: TallyId(id),
        member: member(by),
        counted: Milli::new(bottles * 1000),
        weighed: None,
        opened: false,
        remark: String::new(),
        counted_at: at(when),
    }
}

/// Perry of which the books hold so many bottles now, with these movements.
fn line(now: i64, moves: Vec<Movement>, tallies: Vec<Tally>) -> Line {
    let lot = LotOf {
        id: LotId(7),
        code: "L-7".to_owned(),
        item: (ItemId(3), "Perry".to_owned()),
        density_micro: None,
        bottling: None,
    };
    let now = Holding { quantity: Milli::new(now * 1000), cost: Money::from_micros(now * 2_000_000) };
    Line {
        id: CountLineId(1),
        number: 1,
        place: (PlaceId(2), "Rack".to_owned()),
        lot: Some(lot),
        what: String::new(),
        unit: BaseUnit::Piece,
        found: false,
        asked_at: None,
        chosen: None,
        reason: None,
        words: String::new(),
        settled: None,
        tallies,
        books: Some(Books { now, moves }),
    }
}

fn moved(bottles: i64, kind: EntryKind, recorded: &str) -> Movement {
    let when = When { day: "2026-06-23".parse().unwrap(), at: at(recorded) };
    Movement { quantity: Milli::new(bottles * 1000), kind, when, reversed: false }
}

fn difference(line: &Line) -> i64 {
    line.finding(ZONE).difference().get() / 1000
}

#[test]
fn what_is_taken_while_others_count_is_no_difference() {
    let taken = moved(-6, EntryKind::Withdrawal, "17:30");
    // 41 stood there at 17:00, by the books too; 35 are left now.
    assert_eq!(difference(&line(35, vec![taken], vec![tally(1, 1, 41, "17:00")])), 0);
    assert_eq!(difference(&line(35, vec![taken], vec![tally(1, 1, 35, "18:00")])), 0);
    assert_eq!(difference(&line(35, vec![taken], vec![tally(1, 1, 40, "17:00")])), -1);
    // Two who counted before and after it found the same.
    let both = vec![tally(1, 1, 40, "17:00"), tally(2, 2, 34, "18:00")];
    assert_eq!(difference(&line(35, vec![taken], both)), -1);
    let both = vec![tally(1, 1, 40, "17:00"), tally(2, 2, 40, "18:00")];
    assert_eq!(line(35, vec![taken], both).finding(ZONE), Finding::Disagreed);
}

#[test]
fn what_happened_before_counts_although_it_was_sent_later() {
    // Taken at 16:50 without signal, sent at 20:00; counted at 17:00.
    let mut taken = moved(-6, EntryKind::Withdrawal, "20:00");
    let counted = || vec![tally(1, 1, 35, "17:00")];
    assert_eq!(difference(&line(35, vec![taken], counted())), -6, "as if it had been taken at 20:00");
    taken.when.at = at("16:50");
    assert_eq!(difference(&line(35, vec![taken], counted())), 0);
    // Written down today as of yesterday.
    let mut late = moved(-6, EntryKind::Withdrawal, "20:00");
    late.when.day = "2026-06-22".parse().unwrap();
    assert_eq!(difference(&line(35, vec![late], counted())), 0);
}

#[test]
fn what_is_put_right_meanwhile_is_not_put_right_twice() {
    let counted = || vec![tally(1, 1, 40, "17:00")];
    let mut right = moved(-1, EntryKind::Difference, "19:00");
    let found = line(40, vec![right], counted()).finding(ZONE);
    assert!(matches!(found, Finding::Known { put_right: true, .. }), "{found:?}");
    assert_eq!(found.difference(), Milli::ZERO);
    // If that was taken back, the difference is there again.
    right.reversed = true;
    let back = Movement { quantity: Milli::new(1000), ..right };
    assert_eq!(difference(&line(41, vec![right, back], counted())), -1);
    // A wrong withdrawal of the morning, taken back after it was counted: the books had been wrong all along.
    let wrong = Movement { reversed: true, ..moved(-6, EntryKind::Withdrawal, "09:00") };
    let back = Movement { quantity: Milli::new(6000), ..wrong };
    assert_eq!(difference(&line(40, vec![wrong, back], counted())), 0);
}

#[test]
fn the_books_of_an_instant_are_those_of_now_less_what_came_since() {
    let moves = vec![moved(12, EntryKind::Bottling, "10:00"), moved(-2, EntryKind::Withdrawal, "12:00")];
    let books = Books { now: Holding { quantity: Milli::new(50_000), cost: Money::ZERO }, moves };
    for (when, bottles) in [("09:00", 40), ("10:00", 52), ("11:00", 52), ("12:30", 50)] {
        assert_eq!(book_at(&books, at(when), ZONE).quantity, Milli::new(bottles * 1000), "{when}");
    }
}

#[test]
fn who_counts_anew_replaces_what_oneself_said() {
    let all = vec![tally(1, 1, 39, "17:00"), tally(2, 2, 41, "17:05"), tally(3, 1, 41, "17:10")];
    assert_eq!(difference(&line(41, Vec::new(), all)), 0);
    // What comes later from a device without signal may have been counted earlier.
    let late = vec![tally(1, 1, 41, "17:10"), tally(2, 1, 39, "17:00")];
    assert_eq!(difference(&line(41, Vec::new(), late)), 0);
    let disagreed = line(41, Vec::new(), vec![tally(1, 1, 39, "17:00"), tally(2, 2, 41, "17:05")]);
    assert_eq!(disagreed.finding(ZONE), Finding::Disagreed);
    let chosen = Line { chosen: Some(TallyId(1)), ..disagreed };
    assert_eq!(difference(&chosen), -2);
}

#[test]
fn a_second_count_is_asked_for_where_it_is_far_off() {
    let tolerance = Tolerance { permille: 20, pieces: 1 };
    let needs = |line: &Line| line.needs_second(line.finding(ZONE), tolerance);
    let mut off = line(41, Vec::new(), vec![tally(1, 1, 39, "17:00")]);
    assert!(needs(&off));
    assert!(!needs(&line(41, Vec::new(), vec![tally(1, 1, 40, "17:00")])), "one bottle may pass");
    let two = vec![tally(1, 1, 39, "17:00"), tally(2, 2, 39, "17:05")];
    assert!(!needs(&line(41, Vec::new(), two)), "two have found the same");
    off.asked_at = Some(at("18:00"));
    assert_eq!((off.finding(ZONE), off.progress()), (Finding::Missing, Progress::Again));
    off.tallies.push(tally(2, 1, 39, "18:10"));
    assert_eq!(difference(&off), -2);
    assert!(!needs(&off), "it was counted twice");
    // 1 kg of 41 kg is 2.4 %.
    let passed =
        |grams: i64| tolerance.passed_by(Milli::new(grams * 1000), Milli::new(41_000_000), BaseUnit::Gram);
    assert!(passed(-1000) && passed(821) && !passed(820));
}

fn doer(number: i64, role: Role) -> Doer {
    Doer {
        club: crate::units::ids::ClubId(1),
        club_name: String::new(),
        currency: "EUR".to_owned(),
        zone: ZONE,
        member: MemberId(number),
        person: crate::units::ids::PersonId(number),
        name: String::new(),
        role,
        now: at("20:00"),
        address: String::new(),
    }
}

#[test]
fn who_counts_does_not_see_the_books_and_who_sees_them_does_not_count() {
    let mut count = Count {
        id: CountId(1),
        code: "C-1".to_owned(),
        title: "Rack".to_owned(),
        started_by: member(1),
        started_at: at("16:00"),
        ended_at: None,
        over_at: None,
        called_off_because: String::new(),
        counters: vec![member(1)],
        nobody_else: false,
    };
    let (counter, other, taster) = (doer(1, Role::Steward), doer(2, Role::Cellarhand), doer(3, Role::Taster));
    let sees = |count: &Count| [&counter, &other, &taster].map(|doer| count.shows_books_to(doer));
    let counts =
        |count: &Count| [&counter, &other, &taster].map(|doer| count.check_counter(doer, doer.now).is_ok());
    let covers = |count: &Count| [&counter, &other, &taster].map(|doer| count.covers_for(doer));
    assert_eq!((sees(&count), counts(&count)), ([false; 3], [true; 3]), "while it is counted");
    assert_eq!(covers(&count), [true, false, false], "for who has counted");
    count.ended_at = Some(at("19:00"));
    assert_eq!((sees(&count), counts(&count)), ([false, true, false], [true, false, true]), "in review");
    assert_eq!(covers(&count), [true, false, false], "in review too");
    assert!(count.check_counter(&other, at("18:59")).is_ok(), "what was counted before is taken");
    assert!(count.check_settler(&counter).is_err() && count.check_settler(&other).is_ok());
    count.nobody_else = true;
    assert!(count.check_settler(&counter).is_ok(), "who is alone does both");
    assert_eq!(covers(&count), [false; 3], "and sees both then");
    count.over_at = Some(at("20:00"));
    assert_eq!((sees(&count), counts(&count)), ([true; 3], [false; 3]), "when all is settled");
    assert_eq!(covers(&count), [false; 3]);
}

fn change(number: u32, place: i64, now: (i64, i64), difference: i64) -> Change {
    Change {
        number,
        lot: LotId(7),
        called: "Perry, lot L-7".to_owned(),
        place: PlaceId(place),
        now: Holding { quantity: Milli::new(now.0 * 1000), cost: Money::from_micros(now.1) },
        difference: Milli::new(difference * 1000),
        unit: BaseUnit::Piece,
    }
}

fn day() -> Day {
    "2026-06-24".parse().unwrap()
}

#[test]
fn one_entry_puts_all_of_it_right_at_cost() {
    // Ten bottles for 25.000003; three are missing: 25.000003 × 3 / 10, rounded down.
    let changes = [change(1, 2, (10, 25_000_003), -3)];
    let (entry, worth) = post(day(), "Count".to_owned(), &changes, &BTreeMap::new()).unwrap();
    assert_eq!(worth, [Money::from_micros(-7_500_000)]);
    assert!(entry.balances());
    assert_eq!(entry.postings.len(), 2);
    let last = [change(1, 2, (10, 25_000_003), -10)];
    assert_eq!(
        post(day(), String::new(), &last, &BTreeMap::new()).unwrap().1,
        [Money::from_micros(-25_000_003)]
    );
}

#[test]
fn what_stands_elsewhere_was_carried_with_its_cost() {
    // Four are missing at one place and six stand at another, where the books have none of this lot.
    let changes = [change(1, 3, (0, 0), 6), change(2, 2, (10, 20_000_000), -4)];
    let everywhere = BTreeMap::from([(
        LotId(7),
        Holding { quantity: Milli::new(10_000), cost: Money::from_micros(20_000_000) },
    )]);
    let (entry, worth) = post(day(), String::new(), &changes, &everywhere).unwrap();
    // 4 × 2.00 were carried; two more come in at 2.00 each.
    assert_eq!(worth, [Money::from_micros(12_000_000), Money::from_micros(-8_000_000)]);
    assert!(entry.balances());
    let difference = entry.postings.iter().find(|posting| posting.account == Account::Difference).unwrap();
    assert_eq!(difference.cost, Money::from_micros(-4_000_000), "only the two are a difference");
}

#[test]
fn less_than_nothing_is_never_posted() {
    let refused = post(day(), String::new(), &[change(9, 2, (3, 6), -5)], &BTreeMap::new()).unwrap_err();
    assert_eq!(refused.faults[0].field, "lines.9");
    assert!(refused.to_string().contains("only 3 pieces of it left"), "{refused}");
}
