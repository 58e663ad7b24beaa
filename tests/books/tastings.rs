//! A tasting in the books and on its sheets: bottles drawn at cost and put back when it is called off, sheets that are
//! corrected, and closed with the key.

use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::{Done, Error, tastings as actions};
use undercroft::db::{AnyConn, Database, Failure, books, bottles, members, reminders, tastings as rows};
use undercroft::domain::books::{Account, EntryKind};
use undercroft::domain::members::{Doer, Role, Taster};
use undercroft::domain::refusal::Why;
use undercroft::domain::tastings::results::{Outcome, results};
use undercroft::domain::tastings::sheet::{Answer, WHOLE};
use undercroft::domain::tastings::{State, Table};
use undercroft::units::ids::{ClubId, MemberId, TastingId};
use undercroft::units::quantity::Milli;

use crate::ground::cellar::{Cellar, bottling, tasting};
use crate::ground::{Ground, day, findings, now, on_both};

on_both!(
    bottles_are_drawn_at_cost_and_a_reminder_is_answered,
    what_is_called_off_goes_back,
    the_last_sheet_opens_the_key_and_closes_the_sheets,
    a_sheet_that_is_not_handed_in_does_not_count,
    who_says_no_gets_nothing_and_is_not_waited_for,
    too_few_bottles_stop_a_tasting_before_it_begins,
    two_hundred_sheets_are_soon_added_up
);

/// A glass marked for the whole, in tenths.
pub fn marked(code: u16, mark: i64) -> Answer {
    Answer { code, marks: vec![(WHOLE, mark)], place: None, words: String::new() }
}

/// The table of a tasting as the database has it.
pub async fn table_of(db: &Database, cellar: &Cellar, id: TastingId) -> Table {
    let club = cellar.club.hand.club;
    db.read(move |conn| rows::table(conn, club, id)).await.expect("the tasting is there")
}

/// A tasting at which the sheet of one of two tasters is in.
pub async fn open_table(db: &Database, cellar: &Cellar) -> TastingId {
    let plan = in_december(cellar);
    let planned = actions::plan_tasting(db, &cellar.club.hand, None, plan).await.expect("it is planned");
    sit_down(db, cellar, planned.id).await;
    hand_in(db, &cellar.club.taster, planned.id, 60, cellar).await.expect("a sheet is handed in");
    planned.id
}

/// The tasting of the cellar, when the bottles have come to their age.
fn in_december(cellar: &Cellar) -> actions::Plan {
    actions::Plan { day: day("2026-12-30"), ..tasting(&cellar.club, vec![cellar.bottled.bottling]) }
}

/// The cellarhand and the taster may taste, and it begins on 30 December.
async fn sit_down(db: &Database, cellar: &Cellar, id: TastingId) {
    let plan = in_december(cellar);
    actions::change_tasting(db, &cellar.club.hand, None, id, plan).await.expect("it is put off");
    for taster in [&cellar.club.taster, &as_taster(&cellar.club.hand)] {
        let reply = actions::Reply { tasting: id, may_taste: true };
        actions::answer_allergens(db, taster, None, reply).await.expect("they may taste");
    }
    let order = actions::Beginning { tasting: id, of_age: true };
    actions::begin_tasting(db, &cellar.club.hand, None, order).await.expect("it begins");
}

fn as_taster(doer: &Doer) -> Taster {
    Taster::from_doer(doer.clone()).expect("whoever records may taste")
}

/// Marks every glass and hands the sheet in.
async fn hand_in(db: &Database, by: &Taster, id: TastingId, mark: i64, cellar: &Cellar) -> Done<TastingId> {
    let table = table_of(db, cellar, id).await;
    let answers = table.glasses.iter().map(|glass| marked(glass.code, mark)).collect();
    actions::save_sheet(db, by, None, actions::Part { tasting: id, answers, hand_in: true }).await
}

#[track_caller]
fn refused<T: std::fmt::Debug>(done: Done<T>, why: Why, says: &str) {
    match done {
        Err(Error::Refused(refusal)) if refusal.why == why => {
            assert!(refusal.to_string().contains(says), "{refusal}");
        }
        other => panic!("“{says}” was to be said: {other:?}"),
    }
}

async fn left(db: &Database, cellar: &Cellar) -> i64 {
    let id = cellar.bottled.bottling;
    let left = db.read(move |conn| bottles::left_of(conn, &[id])).await.expect("bottles are counted");
    left[&id]
}

async fn open_reminders(db: &Database, cellar: &Cellar) -> usize {
    let club = cellar.club.hand.club;
    let open =
        db.read(move |conn| reminders::open(conn, club, day("2027-12-31"), 100)).await.expect("reminders");
    open.iter().filter(|reminder| reminder.bottling.is_some()).count()
}

async fn bottles_are_drawn_at_cost_and_a_reminder_is_answered(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    assert_eq!((left(&db, &cellar).await, open_reminders(&db, &cellar).await), (20, 1));
    sit_down(&db, &cellar, cellar.tasting).await;
    assert_eq!((left(&db, &cellar).await, open_reminders(&db, &cellar).await), (19, 0));
    let table = table_of(&db, &cellar, cellar.tasting).await;
    assert_eq!(table.tasting.state(), State::AtTheTable);
    let (club, entry) = (cellar.club.hand.club, table.samples[0].entry.expect("its bottles have an entry"));
    let recorded = db.read(move |conn| books::recorded(conn, club, entry)).await.expect("the entry is there");
    assert_eq!((recorded.kind, recorded.day), (EntryKind::Withdrawal, day("2026-12-30")));
    let tasted =
        recorded.postings.iter().find(|posting| posting.account == Account::Tasted).expect("it is tasted");
    assert_eq!(tasted.cost.micros(), cellar.bottled.cost_per_bottle.micros(), "one bottle at its cost");
    // Two tasters, each with one glass of 30 mL, out of 75 cl.
    assert_eq!(table.seats.iter().filter(|seat| seat.tastes()).count(), 2);
    let order = actions::Beginning { tasting: cellar.tasting, of_age: true };
    refused(actions::begin_tasting(&db, &cellar.club.hand, None, order).await, Why::Conflict, "has begun");
    assert_eq!(left(&db, &cellar).await, 19, "nothing is drawn twice");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn what_is_called_off_goes_back(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, id) = (&cellar.club.hand, cellar.tasting);
    sit_down(&db, &cellar, id).await;
    let order = actions::CallingOff { tasting: id, reason: "the mill is flooded".to_owned() };
    actions::call_off(&db, hand, None, order.clone()).await.expect("it is called off");
    assert_eq!((left(&db, &cellar).await, open_reminders(&db, &cellar).await), (20, 1));
    let told = rows::table(&mut ground.connection(), hand.club, id).expect("it is kept");
    assert_eq!(told.tasting.state(), State::CalledOff);
    let entries =
        books::tell(&mut ground.connection(), hand.club, books::Which::All, None, 1).expect("entries");
    assert_eq!(entries[0].kind, EntryKind::Reversal);
    assert_eq!(entries[0].reverses.map(|back| back.0), told.samples[0].entry);
    assert!(entries[0].remark.contains("called off: the mill is flooded"), "{}", entries[0].remark);
    refused(actions::call_off(&db, hand, None, order).await, Why::Conflict, "was called off");
    refused(hand_in(&db, &cellar.club.taster, id, 50, &cellar).await, Why::Conflict, "was called off");
    refused(actions::open_key(&db, hand, None, id).await, Why::Conflict, "was called off");
    // Bottles that were put back in the books by hand are not put back again.
    let other = open_table(&db, &cellar).await;
    let entry = table_of(&db, &cellar, other).await.samples[0].entry.expect("an entry");
    let by_hand = TakeBack { entry, reason: "the bottle was not opened".to_owned() };
    record_reversal(&db, hand, None, by_hand).await.expect("it is reversed");
    let order = actions::CallingOff { tasting: other, reason: "corked".to_owned() };
    actions::call_off(&db, hand, None, order).await.expect("it is called off");
    assert_eq!(left(&db, &cellar).await, 20);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn the_last_sheet_opens_the_key_and_closes_the_sheets(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, taster, id) = (&cellar.club.hand, &cellar.club.taster, cellar.tasting);
    sit_down(&db, &cellar, id).await;
    hand_in(&db, taster, id, 60, &cellar).await.expect("the first sheet is in");
    hand_in(&db, taster, id, 60, &cellar).await.expect("and once more does no harm");
    // Until the key is open it is corrected; what it needs stays on it.
    let code = table_of(&db, &cellar, id).await.glasses[0].code;
    let correct = |answers| actions::Part { tasting: id, answers, hand_in: false };
    actions::save_sheet(&db, taster, None, correct(vec![marked(code, 65)])).await.expect("it is corrected");
    let bare = Answer { marks: vec![(1, 20)], ..marked(code, 0) };
    let lacking = actions::save_sheet(&db, taster, None, correct(vec![bare])).await;
    refused(lacking, Why::Conflict, "still lacks a mark");
    let table = table_of(&db, &cellar, id).await;
    assert_eq!(table.tasting.state(), State::AtTheTable);
    assert_eq!(table.missing().iter().map(|seat| seat.member).collect::<Vec<_>>(), [hand.member]);
    hand_in(&db, &as_taster(hand), id, 80, &cellar).await.expect("the last sheet is in");
    let table = table_of(&db, &cellar, id).await;
    assert_eq!(table.tasting.state(), State::Open);
    let sheets = rows::handed_in(&mut ground.connection(), id).expect("sheets");
    let Outcome::Scored(scored) = results(&table, &sheets).outcome else { panic!("it is scored") };
    let whole = scored.means.iter().find(|line| line.0 == WHOLE).expect("the whole was marked");
    assert!((whole.1[0].expect("a mean").mean - 7.25).abs() < 1e-9, "6.5 and 8.0: {whole:?}");
    let late = actions::save_sheet(&db, taster, None, correct(vec![marked(code, 10)])).await;
    refused(late, Why::Conflict, "The key is open");
    let reply = actions::Reply { tasting: id, may_taste: false };
    refused(actions::answer_allergens(&db, taster, None, reply).await, Why::Conflict, "The key is open");
    let order = actions::CallingOff { tasting: id, reason: "late".to_owned() };
    refused(actions::call_off(&db, hand, None, order).await, Why::Conflict, "The key is open");
    assert_eq!(rows::handed_in(&mut ground.connection(), id).expect("sheets"), sheets, "nothing has changed");
}

async fn a_sheet_that_is_not_handed_in_does_not_count(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, id) = (&cellar.club.hand, cellar.tasting);
    sit_down(&db, &cellar, id).await;
    refused(actions::open_key(&db, hand, None, id).await, Why::Conflict, "No sheet has been handed in");
    let code = table_of(&db, &cellar, id).await.glasses[0].code;
    let half = actions::Part { tasting: id, answers: vec![marked(code, 20)], hand_in: false };
    actions::save_sheet(&db, &as_taster(hand), None, half).await.expect("a part is saved");
    hand_in(&db, &cellar.club.taster, id, 70, &cellar).await.expect("a sheet is in");
    actions::open_key(&db, hand, None, id).await.expect("the host opens it");
    let table = table_of(&db, &cellar, id).await;
    let found = results(&table, &rows::handed_in(&mut ground.connection(), id).expect("sheets"));
    assert_eq!((found.counted, found.not_counted), (1, vec!["Joost".to_owned()]));
    let sittings =
        rows::sittings(&mut ground.connection(), hand.club, cellar.bottled.bottling).expect("sittings");
    assert_eq!(sittings.len(), 1);
    assert_eq!(
        (sittings[0].age_days, sittings[0].marks.as_slice()),
        (212, &[(cellar.club.taster.member, 7.0)][..])
    );
}

async fn who_says_no_gets_nothing_and_is_not_waited_for(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, taster, id) = (&cellar.club.hand, &cellar.club.taster, cellar.tasting);
    let reply = |may_taste| actions::Reply { tasting: id, may_taste };
    actions::answer_allergens(&db, taster, None, reply(false)).await.expect("they leave it out");
    actions::answer_allergens(&db, &as_taster(hand), None, reply(true)).await.expect("they may taste");
    let order = actions::Beginning { tasting: id, of_age: true };
    actions::begin_tasting(&db, hand, None, order).await.expect("it begins");
    refused(hand_in(&db, taster, id, 50, &cellar).await, Why::Conflict, "leave this tasting out");
    // The steward comes late, says that they may taste, and gets glasses too.
    let steward = as_taster(&cellar.club.steward);
    refused(hand_in(&db, &steward, id, 50, &cellar).await, Why::Conflict, "Say first whether you may taste");
    actions::answer_allergens(&db, &steward, None, reply(true)).await.expect("they may taste");
    hand_in(&db, &as_taster(hand), id, 50, &cellar).await.expect("a sheet is in");
    assert_eq!(
        table_of(&db, &cellar, id).await.tasting.state(),
        State::AtTheTable,
        "the steward is waited for"
    );
    hand_in(&db, &steward, id, 60, &cellar).await.expect("the last sheet is in");
    assert_eq!(table_of(&db, &cellar, id).await.tasting.state(), State::Open);
}

async fn too_few_bottles_stop_a_tasting_before_it_begins(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let id = cellar.bottled.bottling;
    let taken = undercroft::domain::bottles::Withdrawal {
        bottling: id,
        day: day("2026-06-02"),
        bottles: 20,
        purpose: undercroft::domain::bottles::Purpose::Gift,
        member: None,
        place: None,
        happened_at: None,
        remark: String::new(),
    };
    let by = as_taster(&cellar.club.hand);
    undercroft::actions::bottles::record_withdrawal(&db, &by, None, taken).await.expect("all are given away");
    let reply = actions::Reply { tasting: cellar.tasting, may_taste: true };
    actions::answer_allergens(&db, &by, None, reply).await.expect("they may taste");
    let before = findings(&db);
    let order = actions::Beginning { tasting: cellar.tasting, of_age: true };
    let begun = actions::begin_tasting(&db, &cellar.club.hand, None, order).await;
    refused(begun, Why::Conflict, "Whey wine, 1-1: There are only 0 left");
    let table = table_of(&db, &cellar, cellar.tasting).await;
    assert_eq!((table.tasting.state(), table.glasses.len()), (State::ToCome, 0), "nothing was half begun");
    assert_eq!(findings(&db), before);
}

/// Six samples, eight lines, two hundred sheets: how long it takes to read them and to find out what they show.
async fn two_hundred_sheets_are_soon_added_up(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let mut samples = vec![cellar.bottled.bottling];
    for _ in 0..5 {
        let order = bottling(cellar.batch, cellar.place, 2);
        let filled = undercroft::actions::bottles::record_bottling(&db, hand, None, order).await;
        samples.push(filled.expect("it is bottled").bottling);
    }
    let club = hand.club;
    let tasters = db.write(move |conn| many_tasters(conn, club)).await.expect("two hundred members come");
    let plan = tasting(&cellar.club, samples);
    let plan = actions::Plan { tasters, pour_volume: Milli::new(5_000), ..plan };
    let id = actions::plan_tasting(&db, hand, None, plan).await.expect("it is planned").id;
    let invited = table_of(&db, &cellar, id).await;
    db.write(move |conn| {
        invited.seats.iter().try_for_each(|seat| rows::set_answer(conn, seat.sheet, true, &[], &[]))
    })
    .await
    .expect("they may taste");
    let order = actions::Beginning { tasting: id, of_age: true };
    actions::begin_tasting(&db, hand, None, order).await.expect("it begins");
    let table = table_of(&db, &cellar, id).await;
    let at = hand.now;
    db.write(move |conn| {
        for (nr, seat) in (0_i64..).zip(&table.seats) {
            let marks = |code: u16| {
                (0..8).map(move |line| (line, (nr * 7 + i64::from(code) * i64::from(line + 3)) % 101))
            };
            let answer = |code: &u16| Answer { marks: marks(*code).collect(), ..marked(*code, 0) };
            let answers: Vec<Answer> = seat.serving.iter().map(answer).collect();
            rows::save(conn, club, seat.sheet, &table.glasses, (&[], &answers), at)?;
            rows::hand_in(conn, seat.sheet, at)?;
        }
        rows::open(conn, id, at)
    })
    .await
    .expect("all sheets are in");
    let mut times: Vec<f64> = Vec::new();
    for _ in 0..7 {
        let begun = std::time::Instant::now();
        let read =
            db.read(move |conn| Ok::<_, Failure>((rows::table(conn, club, id)?, rows::handed_in(conn, id)?)));
        let (table, sheets) = read.await.expect("the sheets are read");
        let found = results(&table, &sheets);
        times.push(begun.elapsed().as_secs_f64() * 1000.0);
        let Outcome::Scored(scored) = found.outcome else { panic!("it is scored") };
        assert_eq!(
            (found.counted, scored.means.len(), scored.order.expect("an order").ranking.judges),
            (200, 8, 200)
        );
    }
    times.sort_by(f64::total_cmp);
    println!("results of 200 sheets: median {:.1} ms, slowest of 7 {:.1} ms", times[3], times[6]);
}

fn many_tasters(conn: &mut AnyConn, club: ClubId) -> Result<Vec<MemberId>, Failure> {
    let each = |nr: i32| {
        let (name, address) = (format!("Taster {nr}"), format!("taster-{nr}@{club}.example"));
        let person = members::add_person(conn, &name, &address, "", now())?;
        members::add_member(conn, club, person, &name, Role::Taster, day("2026-01-01"))
    };
    (0..200).map(each).collect()
}
