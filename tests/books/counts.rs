//! Counts: two count, a third looks and posts; whatever moves meanwhile, the books agree with the shelves in the end.

use std::collections::BTreeMap;

use undercroft::actions::counts::{
    Found, FoundThing, Posting, Recount, Say, Saying, Start, Started, Tallied, ask_again, end, found_thing,
    post, say, start, tally,
};
use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::{Error, bottles, stock};
use undercroft::db::Database;
use undercroft::db::counts as rows;
use undercroft::db::stock::{StockFilter, stock as in_stock};
use undercroft::domain::bottles::{Purpose, Withdrawal};
use undercroft::domain::counts::{Count, Ending, Finding, Line, Progress, Reason, State};
use undercroft::domain::members::{Cellarhand, Doer, Taster};
use undercroft::domain::stock::{ItemKind, Move, Receipt};
use undercroft::units::days::Instant;
use undercroft::units::ids::{CountId, LotId, PlaceId};
use undercroft::units::quantity::{BaseUnit, Milli};

use crate::ground::cellar::{Cellar, bought, found, item};
use crate::ground::{Ground, day, findings, now, on_both};

on_both!(
    two_count_a_third_asks_for_a_recount_and_posts_the_rest,
    whatever_moves_meanwhile_the_books_agree_with_the_shelves,
    what_is_found_is_named_or_left_out,
    nobody_is_lost_between_counting_and_posting
);

/// Some moments after noon of the day of the count; all of them are on that day.
fn at(minute: i64) -> Instant {
    now() + chrono::Duration::seconds(minute * 10)
}

fn hand(doer: &Doer, minute: i64) -> Cellarhand {
    Cellarhand::from_doer(Doer { now: at(minute), ..doer.clone() }).expect("a cellarhand")
}

fn taster(doer: &Doer, minute: i64) -> Taster {
    Taster::from_doer(Doer { now: at(minute), ..doer.clone() }).expect("a taster")
}

fn of_kinds(kinds: &[ItemKind]) -> Start {
    Start { title: String::new(), places: Vec::new(), kinds: kinds.into(), items: Vec::new() }
}

async fn lines(db: &Database, doer: &Doer, count: CountId) -> Vec<Line> {
    let (club, zone) = (doer.club, doer.zone);
    let read = db.read(move |conn| {
        let mut lines = rows::lines(conn, club, count, None)?;
        rows::with_books(conn, club, &mut lines, zone)?;
        Ok::<_, undercroft::db::Failure>(lines)
    });
    read.await.expect("the lines are read")
}

async fn count(db: &Database, doer: &Doer, id: CountId) -> Count {
    let club = doer.club;
    db.read(move |conn| rows::count(conn, club, id)).await.expect("the count is read")
}

async fn says(db: &Database, by: &Taster, count: CountId, number: u32, pieces: i64) -> Result<u32, Error> {
    let order = Tallied { count, number, found: found(pieces * 1000) };
    tally(db, by, None, order).await
}

fn because(count: CountId, reason: Option<Reason>) -> Posting {
    Posting { count, again: Vec::new(), reasons: Vec::new(), reason, words: "looked twice".to_owned() }
}

/// What stands where by the books, in pieces.
async fn by_the_books(db: &Database, doer: &Doer) -> BTreeMap<(LotId, PlaceId), i64> {
    let club = doer.club;
    let found = db.read(move |conn| in_stock(conn, club, &StockFilter::default())).await;
    let lines = found.expect("the stock is read").into_iter();
    lines.map(|line| ((line.lot, line.place), line.quantity.get() / 1000)).collect()
}

/// So many kinds of corks, 40 of each.
async fn corks(db: &Database, cellar: &Cellar, kinds: usize) -> Vec<LotId> {
    let by = &cellar.club.hand;
    let mut bought_lines = Vec::new();
    for kind in 0..kinds {
        let name = format!("Cork {kind} {}", cellar.club.hand.club);
        let id = stock::add_item(db, by, None, item(&name, ItemKind::Packaging, BaseUnit::Piece)).await;
        bought_lines.push(bought(id.expect("a new item"), 40_000, 8_000_003, cellar.place));
    }
    let receipt =
        Receipt { day: day("2026-06-01"), paid_by: None, lines: bought_lines, remark: String::new() };
    let received = stock::record_receipt(db, by, None, receipt).await.expect("corks come");
    received.lots.into_iter().map(|lot| lot.0).collect()
}

async fn two_count_a_third_asks_for_a_recount_and_posts_the_rest(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let (joost, wieke, marit) = (&*cellar.club.hand, &*cellar.club.taster, &*cellar.club.steward);
    corks(&db, &cellar, 60).await;
    let before = by_the_books(&db, joost).await;
    let Started { id, lines: many, .. } =
        start(&db, &hand(joost, 0), None, of_kinds(&[ItemKind::Packaging, ItemKind::Drink]))
            .await
            .expect("it begins");
    assert_eq!(many, 61, "sixty supplies and a bottling");
    assert!(start(&db, &hand(joost, 1), None, of_kinds(&[ItemKind::Drink])).await.is_err(), "no line twice");
    let sheet = lines(&db, joost, id).await;
    // Five are off: three corks by more than two pieces, one by one, and the bottles by one.
    let off = |number: u32| match number {
        5 => -7,
        9 => 5,
        17 => -40,
        20 => -1,
        _ => 0,
    };
    for (place, line) in sheet.iter().enumerate() {
        let bottled = line.lot.as_ref().is_some_and(|lot| lot.bottling.is_some());
        let there = before[&(line.lot.as_ref().expect("a lot").id, cellar.place)];
        let minute = 2 + i64::try_from(place).expect("a minute");
        // Three bottles are taken in the middle of it, after they were counted.
        let counted = there + if bottled { -1 } else { off(line.number) };
        let by = if place % 2 == 0 { wieke } else { joost };
        says(&db, &taster(by, minute), id, line.number, counted).await.expect("it is counted");
        if bottled {
            take(&db, &cellar, 3, minute + 1, None).await;
        }
    }
    let early = post(&db, &hand(marit, 99), None, because(id, Some(Reason::NotKnown))).await;
    assert!(early.expect_err("not while it is counted").to_string().contains("still being counted"));
    let again = end(&db, &hand(joost, 100), None, id).await.expect("it ends").again;
    assert_eq!(again, 3, "what is off by more than two is counted a second time");
    let own = post(&db, &hand(joost, 101), None, because(id, Some(Reason::NotKnown))).await;
    assert!(own.expect_err("who counted does not post").to_string().contains("somebody else"));

    // Marit asks for one more, and posts the rest although three are out.
    let more = Recount { count: id, lines: vec![20] };
    ask_again(&db, &hand(marit, 102), None, more).await.expect("it is asked for");
    let unsaid = post(&db, &hand(marit, 103), None, because(id, None)).await.expect_err("no reason");
    assert!(unsaid.to_string().contains("Say why"), "{unsaid}");
    let posted =
        post(&db, &hand(marit, 103), None, because(id, Some(Reason::Broken))).await.expect("it is posted");
    assert_eq!((posted.posted, posted.right, posted.open), (1, 56, 4), "the bottles alone were off");
    let after = by_the_books(&db, marit).await;
    let bottles = (cellar.bottled.lot, cellar.place);
    assert_eq!((before[&bottles], after[&bottles]), (20, 16), "three were taken, one is missing");
    assert_eq!(count(&db, marit, id).await.state(), State::Review);

    // Two of the four were miscounted; the others are as far off as they were said to be.
    let seen = says(&db, &taster(marit, 105), id, 5, 40).await.expect_err("she has seen the books");
    assert!(seen.to_string().contains("You may see what the books say"), "{seen}");
    for (number, counted) in [(5, 33), (9, 40), (17, 0), (20, 40)] {
        says(&db, &taster(wieke, 110), id, number, counted).await.expect("it is counted again");
    }
    let order = Posting {
        reasons: vec![(5, Reason::Broken, "the mice".to_owned())],
        ..because(id, Some(Reason::NotWritten))
    };
    let rest = post(&db, &hand(marit, 120), None, order).await.expect("the rest is posted");
    assert_eq!((rest.posted, rest.right, rest.open), (2, 2, 0));
    assert_eq!(count(&db, marit, id).await.state(), State::Over);
    let settled = lines(&db, marit, id).await;
    let mice = settled.iter().find(|line| line.number == 5).expect("line five");
    assert_eq!((mice.reason, mice.words.as_str()), (Some(Reason::Broken), "the mice"));
    assert_eq!(mice.settled.as_ref().map(|settled| settled.ending), Some(Ending::Posted));
    assert!(findings(&db).off.is_empty(), "the books are sound");

    // It is taken back like anything else, to the last thousandth.
    let order = TakeBack { entry: rest.entry.expect("an entry"), reason: "the wrong shelf".to_owned() };
    record_reversal(&db, &hand(marit, 130), None, order).await.expect("it is taken back");
    let back = by_the_books(&db, marit).await;
    for (place, pieces) in &before {
        assert_eq!(back[place], if *place == bottles { 16 } else { *pieces });
    }
    assert!(findings(&db).off.is_empty(), "the books are sound");
}

async fn take(db: &Database, cellar: &Cellar, bottles: u32, minute: i64, happened: Option<i64>) {
    let order = Withdrawal {
        bottling: cellar.bottled.bottling,
        day: day("2026-12-31"),
        bottles,
        purpose: Purpose::Taken,
        member: Some(cellar.club.taster.member),
        place: Some(cellar.place),
        happened_at: happened.map(at),
        remark: String::new(),
    };
    let by = taster(&cellar.club.taster, minute);
    bottles::record_withdrawal(db, &by, None, order).await.expect("bottles are taken");
}

/// Numbers that are the same in every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }

    fn pieces(&mut self, most: i64) -> i64 {
        i64::try_from(self.below(u64::try_from(most.max(1)).expect("above zero"))).expect("small")
    }
}

/// What stands on the shelves is known here and nowhere else. Some of it went unseen before the count; while two count,
/// stock is carried and bottles are taken, and some of that is only recorded after the counting. In the end the
/// books say what stands there.
async fn whatever_moves_meanwhile_the_books_agree_with_the_shelves(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let (joost, wieke, marit) = (&*cellar.club.hand, &*cellar.club.taster, &*cellar.club.steward);
    corks(&db, &cellar, 25).await;
    let mut dice = Dice(20_261_127);
    let mut shelves = by_the_books(&db, joost).await;
    let (mut counted, mut moved, mut late) = (0, 0, 0);
    for round in 0..6 {
        let from = round * 300;
        let Started { id, .. } =
            start(&db, &hand(joost, from), None, of_kinds(&[ItemKind::Packaging, ItemKind::Drink]))
                .await
                .expect("it begins");
        let sheet = lines(&db, joost, id).await;
        for line in &sheet {
            let there = shelves
                .get_mut(&(line.lot.as_ref().expect("a lot").id, line.place.0))
                .expect("it stands there");
            if dice.below(3) == 0 {
                *there -= dice.pieces(*there + 1).min(4);
            }
        }
        let mut unsent: Vec<(u32, i64)> = Vec::new();
        let mut minute = from;
        for line in sheet.iter().chain(&sheet) {
            minute += 1;
            if dice.below(2) == 0 {
                let key = (line.lot.as_ref().expect("a lot").id, line.place.0);
                let by = if dice.below(2) == 0 { wieke } else { joost };
                says(&db, &taster(by, minute), id, line.number, shelves[&key]).await.expect("it is counted");
                counted += 1;
            }
            minute += 1;
            let bottles = (cellar.bottled.lot, cellar.place);
            match dice.below(5) {
                0 if shelves[&bottles] > 1 => {
                    *shelves.get_mut(&bottles).expect("bottles") -= 1;
                    if dice.below(2) == 0 {
                        take(&db, &cellar, 1, minute, None).await;
                    } else {
                        unsent.push((1, minute));
                        late += 1;
                    }
                    moved += 1;
                }
                1 => moved += i64::from(carried(&db, &cellar, &mut shelves, &mut dice, minute).await),
                _ => {}
            }
        }
        for (bottles, happened) in unsent {
            minute += 1;
            take(&db, &cellar, bottles, minute, Some(happened)).await;
        }
        end(&db, &hand(joost, minute + 1), None, id).await.expect("it ends");
        for line in lines(&db, marit, id).await.iter().filter(|line| line.settled.is_none()) {
            let finding = line.finding(marit.zone);
            assert_ne!(finding, Finding::Disagreed, "who counts what is there agrees with whoever does");
            if finding != Finding::Missing {
                continue;
            }
            if line.progress() == Progress::NotCounted {
                let order = Recount { count: id, lines: vec![line.number] };
                ask_again(&db, &hand(marit, minute + 2), None, order).await.expect("it is asked for");
            }
            let key = (line.lot.as_ref().expect("a lot").id, line.place.0);
            says(&db, &taster(wieke, minute + 3), id, line.number, shelves[&key])
                .await
                .expect("it is counted again");
            counted += 1;
        }
        post(&db, &hand(marit, minute + 4), None, because(id, Some(Reason::NotKnown)))
            .await
            .expect("it is posted");
        assert_eq!(count(&db, marit, id).await.state(), State::Over, "nothing is left open");
        shelves.retain(|_, pieces| *pieces > 0);
        assert_eq!(by_the_books(&db, marit).await, shelves, "round {round}");
    }
    assert!(counted > 100 && moved > 20 && late > 2, "{counted} counted, {moved} moved, {late} sent later");
    assert!(findings(&db).off.is_empty(), "the books are sound");
}

/// Carries some of a lot to the other place, where it stands and the books know it.
async fn carried(
    db: &Database,
    cellar: &Cellar,
    shelves: &mut BTreeMap<(LotId, PlaceId), i64>,
    dice: &mut Dice,
    minute: i64,
) -> bool {
    let all: Vec<_> = shelves.iter().filter(|(_, pieces)| **pieces > 3).map(|(key, _)| *key).collect();
    let (lot, from) = all[usize::try_from(dice.below(all.len() as u64)).expect("one of them")];
    if lot == cellar.bottled.lot || lot == cellar.milk_lot {
        return false;
    }
    let to = if from == cellar.place { cellar.shelf } else { cellar.place };
    let order = Move { day: day("2026-12-31"), lot, quantity: Milli::new(2_000), from, to };
    if stock::move_stock(db, &hand(&cellar.club.hand, minute), None, order).await.is_err() {
        return false;
    }
    *shelves.get_mut(&(lot, from)).expect("it stands there") -= 2;
    *shelves.entry((lot, to)).or_default() += 2;
    true
}

async fn what_is_found_is_named_or_left_out(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let (joost, wieke, marit) = (&*cellar.club.hand, &*cellar.club.taster, &*cellar.club.steward);
    let lot = corks(&db, &cellar, 1).await[0];
    let id = start(&db, &hand(joost, 0), None, of_kinds(&[ItemKind::Packaging])).await.expect("it begins").id;
    // 30 of the 40 stand where they should, the others on a shelf of which the books know nothing.
    says(&db, &taster(wieke, 1), id, 1, 30).await.expect("it is counted");
    let thing = |lot, what: &str, pieces: i64| FoundThing {
        count: id,
        place: cellar.shelf,
        lot,
        what: what.to_owned(),
        unit: BaseUnit::Piece,
        found: found(pieces * 1000),
    };
    let unnamed = found_thing(&db, &taster(wieke, 2), None, thing(None, "corks in a bag", 10))
        .await
        .expect("it is kept");
    let bucket =
        found_thing(&db, &taster(wieke, 3), None, thing(None, "a bucket", 1)).await.expect("it is kept");
    end(&db, &hand(joost, 4), None, id).await.expect("it ends");
    let saying = |number, what, words: &str| Saying {
        count: id,
        number,
        say: what,
        reason: None,
        words: words.to_owned(),
    };
    say(&db, &hand(marit, 5), None, saying(unnamed, Say::Is(lot), "")).await.expect("it is named");
    let silent = say(&db, &hand(marit, 5), None, saying(bucket, Say::LeaveOut, "")).await;
    assert!(silent.expect_err("without a word").to_string().contains("Say why"));
    say(&db, &hand(marit, 5), None, saying(bucket, Say::LeaveOut, "it is Pilar’s own"))
        .await
        .expect("left out");
    // Both are far off by themselves, so both are counted again before anything is posted.
    let again = Recount { count: id, lines: vec![unnamed] };
    ask_again(&db, &hand(marit, 6), None, again).await.expect("it is asked for");
    says(&db, &taster(wieke, 7), id, 1, 30).await.expect("again");
    says(&db, &taster(wieke, 8), id, unnamed, 10).await.expect("again");
    let posted =
        post(&db, &hand(marit, 9), None, because(id, Some(Reason::Elsewhere))).await.expect("it is posted");
    assert_eq!((posted.posted, posted.open), (2, 0));
    let books = by_the_books(&db, marit).await;
    assert_eq!((books[&(lot, cellar.place)], books[&(lot, cellar.shelf)]), (30, 10));
    let worth: i64 = lines(&db, marit, id)
        .await
        .iter()
        .filter_map(|line| Some(line.settled.as_ref()?.worth?.micros()))
        .sum();
    assert_eq!(worth, 0, "what was carried has kept its cost");
    assert!(findings(&db).off.is_empty(), "the books are sound");
}

/// What comes late from a phone is taken if it was counted in time; two who differ are told apart by a person.
async fn nobody_is_lost_between_counting_and_posting(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let (joost, wieke, marit) = (&*cellar.club.hand, &*cellar.club.taster, &*cellar.club.steward);
    corks(&db, &cellar, 2).await;
    let id = start(&db, &hand(joost, 0), None, of_kinds(&[ItemKind::Packaging])).await.expect("it begins").id;
    says(&db, &taster(wieke, 1), id, 1, 40).await.expect("it is counted");
    end(&db, &hand(joost, 10), None, id).await.expect("it ends");
    // Joost counted at five minutes past, without signal; it comes at a quarter past.
    let late = Found { at: Some(at(5)), ..found(39_000) };
    for number in [1, 2] {
        let order = Tallied { count: id, number, found: late.clone() };
        tally(&db, &taster(joost, 15), None, order).await.expect("it is taken");
    }
    let after = Tallied { count: id, number: 2, found: Found { at: Some(at(12)), ..found(38_000) } };
    let refused = tally(&db, &taster(joost, 16), None, after).await.expect_err("the counting has ended");
    assert!(refused.to_string().contains("has ended"), "{refused}");
    let found = lines(&db, marit, id).await;
    assert_eq!(found[0].finding(marit.zone), Finding::Disagreed);
    let stands = found[0].tallies.iter().find(|tally| tally.member.0 == joost.member).expect("his count").id;
    let order = Saying {
        count: id,
        number: 1,
        say: Say::Stands(stands),
        reason: Some(Reason::Broken),
        words: String::new(),
    };
    say(&db, &hand(marit, 20), None, order).await.expect("she says so");
    let posted =
        post(&db, &hand(marit, 21), None, because(id, Some(Reason::NotKnown))).await.expect("it is posted");
    assert_eq!((posted.posted, posted.right, posted.open), (2, 0, 0));
    let closed = says(&db, &taster(wieke, 30), id, 1, 40).await.expect_err("it is over");
    assert!(closed.to_string().contains("nothing is counted in it any more"), "{closed}");
}
