//! How far a step is, and what is asked before it is done out of its turn.

use super::*;

fn at(minute: u32) -> Instant {
    format!("2026-06-23T14:{minute:02}:00").parse().expect("an instant")
}

fn record(kind: RecordKind, begun: Option<u32>, done: Option<u32>) -> Record {
    let who = || "Aafke".to_owned();
    Record {
        id: StepRecordId::fresh(),
        kind,
        begun: begun.map(|minute| (at(minute), who())),
        done: done.map(|minute| (at(minute), who())),
        temperature_c: None,
        amount: None,
        entry: None,
        readings: Vec::new(),
        remark: String::new(),
        because: String::new(),
        struck: None,
    }
}

fn step(line: i64, kind: StepKind, minutes: Option<i64>, records: Vec<Record>) -> Step {
    let (what, caution) = (format!("Step {line}"), String::new());
    let plan = PlanStep { kind, what, amount: None, item: None, target_c: None, minutes, caution };
    Step { line, plan, item: None, added_by: None, records }
}

fn done(minute: u32) -> Vec<Record> {
    vec![record(RecordKind::Done, None, Some(minute))]
}

#[test]
fn how_far_a_step_is_follows_from_what_stands() {
    let hold = |records| step(1, StepKind::Hold, Some(30), records);
    assert_eq!(hold(vec![]).state(), State::Open);
    let running = hold(vec![record(RecordKind::Done, Some(5), None)]);
    assert_eq!(running.state().code(), "running");
    assert_eq!(running.ends_at(), Some(at(35)));
    let over =
        hold(vec![record(RecordKind::Done, Some(5), Some(33)), record(RecordKind::Remark, None, Some(40))]);
    let State::Done(kept) = over.state() else { panic!("it is done") };
    assert_eq!(over.took(kept).as_deref(), Some("28 min instead of 30 min"));
    let mut struck = record(RecordKind::Done, None, Some(5));
    struck.struck = Some((at(6), "Teun".to_owned(), "slip".to_owned()));
    assert_eq!(hold(vec![struck]).state(), State::Open);
    let mut booked = record(RecordKind::Done, None, Some(5));
    booked.entry = Some((EntryId::fresh(), false));
    assert_eq!(hold(vec![booked.clone()]).state().code(), "done");
    booked.entry = Some((EntryId::fresh(), true));
    assert_eq!(hold(vec![booked]).state(), State::Open, "its entry was reversed");
}

#[test]
fn the_second_is_told_who_was_first() {
    let two = step(2, StepKind::Cool, None, done(32));
    let (zone, today) = (chrono_tz::UTC, at(50).date());
    let refusal = still_ahead(&two, zone, today).unwrap_err();
    assert_eq!(refusal.to_string(), "Aafke did this step at 14:32; nothing was recorded a second time");
    let tomorrow = today.succ_opt().unwrap();
    assert!(still_ahead(&two, zone, tomorrow).unwrap_err().to_string().contains("at 14:32 on Tue 23 June"));
}

#[test]
fn what_was_passed_over_is_asked_for_once() {
    let kinds = [StepKind::HeatTo, StepKind::Strain, StepKind::Cool, StepKind::Pitch];
    let mut steps: Vec<Step> =
        (1..).zip(kinds).map(|(line, kind)| step(line, kind, None, Vec::new())).collect();
    assert_eq!(question(&steps, 1), None);
    assert_eq!(current(&steps).map(|step| step.line), Some(1));
    steps[0].records = done(1);
    let asked = question(&steps, 3).expect("a question");
    assert!(asked.starts_with("“Step 2” is not done yet: do it first"), "{asked}");
    assert_eq!(in_turn(&steps, 3, false).unwrap_err().faults[0].field, OUT_OF_ORDER);
    assert!(in_turn(&steps, 3, true).is_ok());
    steps[2].records = done(2);
    assert_eq!(question(&steps, 4), None, "the second step was passed over knowingly");
    assert_eq!(current(&steps).map(|step| step.line), Some(2), "and is still to be done");
    steps[2].records.clear();
    assert!(question(&steps, 4).expect("a question").contains("nor one more step"));
    steps[1].records = vec![record(RecordKind::LeftOut, None, Some(3))];
    assert!(
        question(&steps, 4).expect("a question").starts_with("“Step 3”"),
        "what is left out is not asked for"
    );
}

#[test]
fn what_moves_something_is_done_by_an_entry() {
    let item = Some(ItemId::fresh());
    assert_eq!(Act::of(StepKind::Strain, None), Act::ByProduct);
    assert_eq!(Act::of(StepKind::Sweeten, None), Act::Draw);
    assert_eq!((Act::of(StepKind::HeatTo, None), Act::of(StepKind::HeatTo, item)), (Act::Own, Act::Draw));
    assert_eq!(Act::of(StepKind::Sample, None), Act::Read);
}
