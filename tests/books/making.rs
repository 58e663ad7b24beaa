//! The steps of a batch as they are made: two people at one step, out of turn, by entries that may be reversed, holds
//! that outlive the page and the server, and corrections that stay readable.

use undercroft::actions::batches::NewReading;
use undercroft::actions::recipes::{Making, make};
use undercroft::actions::reminders::reconcile;
use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::steps::{
    self as actions, Adding, Beginning, ByEntry, Deed, Doing, Mark, Strike, Which, Words,
};
use undercroft::actions::{Done, batches};
use undercroft::db::{Database, batches as kept, reminders, steps};
use undercroft::domain::batches::{Draw, Source};
use undercroft::domain::cautions::Reasons;
use undercroft::domain::members::{Cellarhand, Doer};
use undercroft::domain::plans::{PlanStep, StepKind};
use undercroft::domain::refusal::Why;
use undercroft::domain::reminders::ReminderKind;
use undercroft::domain::steps::{OUT_OF_ORDER, State, Step};
use undercroft::units::days::Instant;
use undercroft::units::ids::BatchId;
use undercroft::units::measure::{Measured, ReadingKind};
use undercroft::units::quantity::Milli;

use crate::ground::cellar::{Cellar, curds_off, draw};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    the_second_at_a_step_learns_who_was_first,
    out_of_turn_is_asked_and_not_forbidden,
    an_entry_does_a_step_while_it_stands,
    a_hold_outlives_the_page_and_the_server,
    an_entry_begins_what_takes_a_while,
    what_is_corrected_stays_readable,
    a_step_can_be_added_and_left_out
);

#[track_caller]
fn refused<T: std::fmt::Debug>(done: Done<T>, why: Why, says: &str) -> String {
    match done {
        Err(undercroft::actions::Error::Refused(refusal)) => {
            assert_eq!(refusal.why, why, "{refusal}");
            assert!(refusal.to_string().contains(says), "“{says}” is not in “{refusal}”");
            refusal.faults[0].field.clone()
        }
        other => panic!("it should be refused: {other:?}"),
    }
}

/// A batch on paper: warm the milk (drawn), hold, strain, read, pitch.
async fn planned(db: &Database, cellar: &Cellar) -> BatchId {
    let (recipe, amount) = (cellar.recipe, Milli::new(6_000_000));
    let order = Making { recipe, number: None, amount, name: None, day: day("2026-03-01") };
    make(db, &cellar.club.hand, None, order).await.expect("a batch on paper").id
}

async fn all(db: &Database, hand: &Cellarhand, batch: BatchId) -> Vec<Step> {
    let club = hand.club;
    db.read(move |conn| steps::steps(conn, club, batch)).await.expect("its steps")
}

fn doing(batch: BatchId, line: i64) -> Doing {
    Doing {
        step: Which { batch, line },
        begun_at: None,
        at: None,
        temperature_c: None,
        amount: None,
        readings: Vec::new(),
        entry: None,
        remark: String::new(),
        out_of_order: false,
        reasons: Reasons::default(),
    }
}

fn milk(cellar: &Cellar, batch: BatchId) -> Draw {
    draw(batch, day("2026-03-02"), Source::Item(cellar.milk), 6_000_000)
}

fn by_entry(batch: BatchId, line: i64, deed: Deed) -> ByEntry {
    ByEntry { batch, deed, mark: Mark { line, out_of_order: false, reasons: Reasons::default() } }
}

/// The same member a while later.
fn later(hand: &Cellarhand, minutes: i64) -> Cellarhand {
    let now = hand.now + chrono::Duration::minutes(minutes);
    Cellarhand::from_doer(Doer { now, ..(**hand).clone() }).expect("a cellarhand")
}

fn other(cellar: &Cellar) -> Cellarhand {
    Cellarhand::from_doer((*cellar.club.steward).clone()).expect("a steward records everything")
}

async fn the_second_at_a_step_learns_who_was_first(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, second) = (&cellar.club.hand, other(&cellar));
    let batch = planned(&db, &cellar).await;
    let first =
        actions::by_entry(&db, hand, None, by_entry(batch, 1, Deed::Draw(milk(&cellar, batch)))).await;
    first.expect("milk is drawn");
    let again =
        actions::by_entry(&db, &second, None, by_entry(batch, 1, Deed::Draw(milk(&cellar, batch)))).await;
    let who = hand.name.clone();
    refused(again, Why::Conflict, &format!("{who} did this step at "));
    let left = Words { step: Which { batch, line: 1 }, words: "no milk".to_owned() };
    refused(actions::leave_out(&db, &second, None, left).await, Why::Conflict, &who);
    // What the second had typed is kept as a remark; the books hold the milk once.
    let words = Words { step: Which { batch, line: 1 }, words: "62.5 °C by my thermometer".to_owned() };
    actions::remark(&db, &second, None, words).await.expect("a remark");
    let steps = all(&db, hand, batch).await;
    let State::Done(record) = steps[0].state() else { panic!("it is done: {:?}", steps[0]) };
    assert_eq!(record.done.as_ref().expect("a time").1, who);
    assert_eq!(steps[0].records.len(), 2);
    let club = hand.club;
    let standing = db.read(move |conn| kept::standing(conn, club, batch)).await.expect("the batch");
    assert_eq!(standing.holding.quantity, Milli::new(6_000_000));

    // Both at once: one is first, whoever it is.
    let (one, two) = tokio::join!(
        actions::done(&db, hand, None, doing(batch, 2)),
        actions::done(&db, &second, None, doing(batch, 2))
    );
    assert!(one.is_ok() != two.is_ok(), "{one:?} {two:?}");
    refused(if one.is_ok() { two } else { one }, Why::Conflict, "did this step at ");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn out_of_turn_is_asked_and_not_forbidden(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let batch = planned(&db, &cellar).await;
    let asked = actions::done(&db, hand, None, doing(batch, 2)).await;
    let field = refused(asked, Why::Conflict, "“Warm the milk” is not done yet: do it first, or say that");
    assert_eq!(field, OUT_OF_ORDER);
    let meant = Doing { out_of_order: true, ..doing(batch, 2) };
    actions::done(&db, hand, None, meant).await.expect("it was meant");
    let states: Vec<_> = all(&db, hand, batch).await.iter().map(|step| step.state().code()).collect();
    assert_eq!(states, ["open", "done", "open", "open", "open"]);
    // What was passed over knowingly is not asked for again.
    actions::done(&db, hand, None, doing(batch, 3)).await.expect("the next in turn");
    let missing = actions::done(&db, hand, None, doing(batch, 9)).await;
    refused(missing, Why::Missing, "no such step");
}

async fn an_entry_does_a_step_while_it_stands(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let batch = planned(&db, &cellar).await;
    let wrong =
        actions::by_entry(&db, hand, None, by_entry(batch, 2, Deed::Draw(milk(&cellar, batch)))).await;
    refused(wrong, Why::Conflict, "“Warm the milk” is not done yet");
    let done = actions::by_entry(&db, hand, None, by_entry(batch, 1, Deed::Draw(milk(&cellar, batch)))).await;
    let entry = done.expect("milk is drawn").recorded.entry;
    let wrong =
        actions::by_entry(&db, hand, None, by_entry(batch, 2, Deed::Draw(milk(&cellar, batch)))).await;
    refused(wrong, Why::Unfit, "not done by an entry of this kind");
    let club = hand.club;
    let standing = db.read(move |conn| kept::standing(conn, club, batch)).await.expect("the batch");
    assert_eq!(standing.holding.quantity, Milli::new(6_000_000), "what was refused moved nothing");

    let steps = all(&db, hand, batch).await;
    let record = steps[0].records[0].id;
    let strike = Strike { step: Which { batch, line: 1 }, record, reason: "a slip".to_owned() };
    refused(actions::strike(&db, hand, None, strike).await, Why::Conflict, "reverse that entry");
    let back = TakeBack { entry, reason: "the wrong jug".to_owned() };
    record_reversal(&db, hand, None, back).await.expect("it is reversed");
    assert_eq!(all(&db, hand, batch).await[0].state(), State::Open, "the step is open again");

    // An entry that was recorded without the step is named afterwards, once.
    let today = Draw { day: hand.today(), ..milk(&cellar, batch) };
    let plain = batches::draw(&db, hand, None, today).await.expect("milk is drawn");
    let reversed = Doing { entry: Some(entry), ..doing(batch, 1) };
    refused(actions::done(&db, hand, None, reversed).await, Why::Unfit, "was reversed");
    let foreign = Doing { entry: Some(cellar.draw), ..doing(batch, 1) };
    refused(actions::done(&db, hand, None, foreign).await, Why::Unfit, "of another batch");
    let named = Doing { entry: Some(plain.entry), ..doing(batch, 1) };
    actions::done(&db, hand, None, named).await.expect("this entry did it");
    let off = undercroft::domain::batches::ByProduct {
        quantity: Milli::new(1_500_000),
        day: hand.today(),
        ..curds_off(batch, cellar.curds, cellar.place)
    };
    let mut order = by_entry(batch, 3, Deed::ByProduct(off));
    order.mark.out_of_order = true;
    let booked = actions::by_entry(&db, hand, None, order).await.expect("curds are weighed off");
    assert!(booked.lot.is_some());
    let states: Vec<_> = all(&db, hand, batch).await.iter().map(|step| step.state().code()).collect();
    assert_eq!(states, ["done", "open", "done", "open", "open"]);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn due(db: &Database, hand: &Cellarhand, now: Instant) -> Vec<String> {
    reconcile(db, hand.club, hand.zone, now).await.expect("reminders are made");
    let club = hand.club;
    let found = db.read(move |conn| reminders::open(conn, club, day("2027-12-31"), 99)).await;
    let found = found.expect("reminders are read").into_iter();
    found.filter(|one| one.kind == ReminderKind::Step).map(|one| one.text).collect()
}

async fn a_hold_outlives_the_page_and_the_server(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let batch = planned(&db, &cellar).await;
    let begin = |out_of_order| Beginning {
        step: Which { batch, line: 2 },
        at: None,
        out_of_order,
        reasons: Reasons::default(),
    };
    refused(actions::begin(&db, hand, None, begin(false)).await, Why::Conflict, "is not done yet");
    actions::begin(&db, hand, None, begin(true)).await.expect("it begins");
    refused(actions::begin(&db, hand, None, begin(true)).await, Why::Conflict, "it runs since then");
    assert_eq!(due(&db, hand, later(hand, 29).now).await, Vec::<String>::new(), "a minute is left");
    // The server is started again, and somebody else looks with another phone.
    drop(db);
    let db = ground.open();
    let second = other(&cellar);
    let steps = all(&db, &second, batch).await;
    assert_eq!(steps[1].ends_at(), Some(hand.now + chrono::Duration::minutes(30)));
    let club = hand.club;
    let running = db.read(move |conn| steps_running(conn, club)).await.expect("what runs");
    assert_eq!(running, [(batch, 2)]);
    assert_eq!(due(&db, hand, later(hand, 31).now).await, ["“Keep it warm” is over"]);
    let early = Doing { at: Some(hand.now - chrono::Duration::minutes(1)), ..doing(batch, 2) };
    refused(actions::done(&db, &second, None, early).await, Why::Unfit, "It began at ");
    // It is ended late, and kept as it was.
    let end = Doing { temperature_c: Measured::from_number(62.5), ..doing(batch, 2) };
    actions::done(&db, &later(&second, 37), None, end).await.expect("it is over");
    let steps = all(&db, hand, batch).await;
    let State::Done(record) = steps[1].state() else { panic!("it is done") };
    assert_eq!(steps[1].took(record).as_deref(), Some("37 min instead of 30 min"));
    assert_eq!(record.begun.as_ref().expect("a beginning").1, hand.name);
    assert_eq!(due(&db, hand, later(hand, 40).now).await, Vec::<String>::new());
}

fn steps_running(
    conn: &mut undercroft::db::AnyConn,
    club: undercroft::units::ids::ClubId,
) -> Result<Vec<(BatchId, i64)>, undercroft::db::Failure> {
    Ok(steps::running(conn, club, 9)?.into_iter().map(|one| (one.batch, one.line)).collect())
}

/// Rennet is drawn and sets: the step runs from its entry on, and is open again if that is reversed.
async fn an_entry_begins_what_takes_a_while(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let batch = planned(&db, &cellar).await;
    let step = PlanStep {
        kind: StepKind::Curdle,
        what: "Let it set".to_owned(),
        amount: None,
        item: Some(cellar.yeast),
        target_c: None,
        minutes: Some(45),
        caution: String::new(),
    };
    let line = actions::add(&db, hand, None, Adding { batch, after: None, step }).await.expect("a step more");
    let rennet = || draw(batch, hand.today(), Source::Item(cellar.yeast), 2_000);
    let booked = actions::by_entry(&db, hand, None, by_entry(batch, line, Deed::Draw(rennet()))).await;
    let entry = booked.expect("rennet is drawn").recorded.entry;
    let steps = all(&db, hand, batch).await;
    assert_eq!(steps[0].ends_at(), Some(hand.now + chrono::Duration::minutes(45)));
    let more = actions::by_entry(&db, hand, None, by_entry(batch, line, Deed::Draw(rennet()))).await;
    refused(more, Why::Conflict, "began this step with an entry");
    actions::done(&db, &later(hand, 50), None, doing(batch, line)).await.expect("it has set");
    let steps = all(&db, hand, batch).await;
    let State::Done(record) = steps[0].state() else { panic!("it is done") };
    assert_eq!((record.entry, record.minutes()), (Some((entry, false)), Some(50)));
    let back = TakeBack { entry, reason: "it was water".to_owned() };
    record_reversal(&db, hand, None, back).await.expect("it is reversed");
    assert_eq!(all(&db, hand, batch).await[0].state(), State::Open);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn what_is_corrected_stays_readable(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let batch = planned(&db, &cellar).await;
    let reading = |value: f64| NewReading {
        batch,
        at: hand.now,
        kind: ReadingKind::Gravity,
        value: Measured::from_number(value).expect("a gravity"),
        sample_c: None,
        instrument: None,
        as_read: true,
        remark: String::new(),
    };
    let sample = |value| Doing { readings: vec![reading(value)], out_of_order: true, ..doing(batch, 4) };
    let record = actions::done(&db, hand, None, sample(1.8)).await.expect("it is read");
    let strike = Strike { step: Which { batch, line: 4 }, record, reason: "1.080".to_owned() };
    actions::strike(&db, hand, None, strike.clone()).await.expect("it is struck out");
    refused(actions::strike(&db, hand, None, strike).await, Why::Conflict, "struck out already");
    assert_eq!(all(&db, hand, batch).await[3].state(), State::Open);
    actions::done(&db, hand, None, sample(1.08)).await.expect("it is read again");
    let steps = all(&db, hand, batch).await;
    assert_eq!(steps[3].records.len(), 2, "both are in the history");
    assert_eq!(steps[3].records[0].struck.as_ref().expect("struck out").2, "1.080");
    let club = hand.club;
    let read = db.read(move |conn| kept::readings(conn, club, batch, 9)).await.expect("readings");
    let told: Vec<_> = read.iter().map(|one| (one.value.number(), one.struck.is_some())).collect();
    assert_eq!(told, [(1.8, true), (1.08, false)], "the readings are real ones, and struck out with it");
    assert_eq!(read[1].at, hand.now, "its time is that of the step");
}

async fn a_step_can_be_added_and_left_out(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let batch = planned(&db, &cellar).await;
    let step = PlanStep {
        kind: StepKind::Note,
        what: "Wash the cloth".to_owned(),
        amount: None,
        item: None,
        target_c: None,
        minutes: None,
        caution: String::new(),
    };
    let adding = |after| Adding { batch, after, step: step.clone() };
    assert_eq!(actions::add(&db, hand, None, adding(Some(2))).await.expect("a step more"), 6);
    refused(actions::add(&db, hand, None, adding(Some(77))).await, Why::Missing, "no such step");
    let steps = all(&db, hand, batch).await;
    assert_eq!(steps.iter().map(|step| step.line).collect::<Vec<_>>(), [1, 2, 6, 3, 4, 5]);
    assert_eq!(steps[2].added_by.as_deref(), Some(hand.name.as_str()));
    let words = |line| Words { step: Which { batch, line }, words: "the milk is pasteurised".to_owned() };
    for line in [1, 2] {
        actions::leave_out(&db, hand, None, words(line)).await.expect("it is left out");
    }
    actions::done(&db, hand, None, doing(batch, 6)).await.expect("nothing comes before it any more");
    let steps = all(&db, hand, batch).await;
    let State::LeftOut(record) = steps[1].state() else { panic!("it is left out") };
    assert_eq!(record.because, "the milk is pasteurised");
    let strike = Strike { step: Which { batch, line: 2 }, record: record.id, reason: "it is not".to_owned() };
    actions::strike(&db, hand, None, strike).await.expect("it is taken back");
    assert_eq!(all(&db, hand, batch).await[1].state(), State::Open);
}
