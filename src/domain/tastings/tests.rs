//! Who may do and see what when, and tables that the tests of this feature sit down at.

use super::sheet::{
    Answer, Part, WHOLE, check_attributes, check_complete, check_part, usual_attributes, with_part,
};
use super::*;
use crate::units::ids::{ClubId, PersonId};

/// A sample of a bottling from 1 March 2026.
pub(super) fn sample(number: u32, vol_percent: Option<f64>) -> Sample {
    Sample {
        id: SampleId::fresh(),
        number,
        bottling: BottlingId::fresh(),
        code: format!("{number}-1"),
        drink: "Moor Mead".to_owned(),
        bottled_on: day("2026-03-01"),
        bottle_volume: Milli::new(750_000),
        strength: vol_percent.and_then(Measured::from_number),
        allergens: Vec::new(),
        entry: None,
        bag: None,
    }
}

pub(super) fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn at(text: &str) -> Instant {
    text.parse().unwrap()
}

/// A blind tasting to come, of so many samples of 10 % vol; the tasters have all said that they may taste.
pub(super) fn table(method: Method, samples: u32, tasters: usize) -> Table {
    let tasting = Tasting {
        id: TastingId::fresh(),
        code: "T-1".to_owned(),
        title: "Meads at a year".to_owned(),
        host: (MemberId::fresh(), "Aafke".to_owned()),
        pourer: Some((MemberId::fresh(), "Gijs".to_owned())),
        day: day("2026-06-30"),
        place: "Mill loft".to_owned(),
        blind: true,
        method,
        question: method.question().to_owned(),
        expected: None,
        pour_volume: Milli::new(30_000),
        begun_at: None,
        opened_at: None,
        called_off_at: None,
        called_off_because: String::new(),
    };
    let seat = |at: usize| Seat {
        sheet: SheetId::fresh(),
        member: MemberId::fresh(),
        name: format!("Taster {at}"),
        may_taste: Some(true),
        asked: Vec::new(),
        serving: Vec::new(),
        handed_in_at: None,
    };
    Table {
        tasting,
        samples: (1..=samples).map(|number| sample(number, Some(10.0))).collect(),
        glasses: Vec::new(),
        attributes: usual_attributes(),
        seats: (1..=tasters).map(seat).collect(),
    }
}

/// The same after the beginning: the first sample is in glass 201, the second in 202 …, served in that order.
pub(super) fn begun(method: Method, samples: u32, tasters: usize) -> Table {
    let mut table = table(method, samples, tasters);
    table.tasting.begun_at = Some(at("2026-06-30T18:00:00"));
    let bags = (1..=samples).rev();
    table.samples.iter_mut().zip(bags).for_each(|(sample, bag)| sample.bag = Some(letter(bag)));
    let of_each = if method == Method::Triangle { 2 } else { 1 };
    let poured = table.samples.iter().flat_map(|sample| std::iter::repeat_n(sample.id, of_each));
    table.glasses =
        (201..).zip(poured).map(|(code, sample)| Glass { id: GlassId::fresh(), sample, code }).collect();
    let codes: Vec<u16> = table.glasses.iter().map(|glass| glass.code).collect();
    let codes = if method == Method::Triangle { codes[..3].to_vec() } else { codes };
    table.seats.iter_mut().for_each(|seat| seat.serving.clone_from(&codes));
    table
}

fn part(table: &Table, answers: Vec<Answer>) -> Part {
    Part { tasting: table.tasting.id, answers, hand_in: false }
}

pub(super) fn marked(code: u16, marks: &[(u32, i64)]) -> Answer {
    Answer { code, marks: marks.to_vec(), place: None, words: String::new() }
}

pub(super) fn placed(code: u16, place: u32) -> Answer {
    Answer { code, marks: Vec::new(), place: Some(place), words: String::new() }
}

pub(super) fn doer(member: MemberId, role: Role) -> Doer {
    Doer {
        club: ClubId::fresh(),
        club_name: String::new(),
        currency: "EUR".to_owned(),
        zone: chrono_tz::UTC,
        member,
        person: PersonId::fresh(),
        name: String::new(),
        role,
        now: "2026-06-30T18:00:00".parse().unwrap(),
        address: String::new(),
    }
}

#[test]
fn nobody_sees_both_bags_and_codes_until_the_key_is_open() {
    let mut table = begun(Method::Scored, 3, 2);
    let (host, pourer) = (table.tasting.host.0, table.tasting.pourer.clone().unwrap().0);
    let (taster, steward) = (table.seats[0].member, MemberId::fresh());
    for viewer in [host, pourer, taster, steward] {
        let sight = table.tasting.sight(viewer);
        assert!(!sight.key, "{sight:?}");
        assert!(!sight.bags || !sight.pouring, "{sight:?}");
        assert_eq!((sight.bags, sight.pouring), (viewer == host, viewer == pourer));
    }
    // The pourer needs no list before anything is poured.
    table.tasting.begun_at = None;
    assert!(!table.tasting.sight(pourer).pouring);
    table.tasting.begun_at = Some(at("2026-06-30T18:00:00"));
    table.tasting.opened_at = Some(at("2026-06-30T19:00:00"));
    let everything = Sight { key: true, bags: true, pouring: true };
    assert!([host, pourer, taster, steward].map(|viewer| table.tasting.sight(viewer)) == [everything; 4]);
    table.tasting.opened_at = None;
    table.tasting.called_off_at = Some(at("2026-06-30T19:00:00"));
    assert!(!table.tasting.sight(steward).key, "what was called off stays closed");
}

#[test]
fn at_an_open_table_all_know_what_they_drink() {
    let mut table = begun(Method::Scored, 3, 2);
    table.tasting.blind = false;
    let sight = table.tasting.sight(table.seats[0].member);
    assert!(sight.key && sight.bags && sight.pouring);
}

#[test]
fn the_host_and_stewards_run_it_and_nobody_else() {
    let table = table(Method::Scored, 3, 2);
    let tasting = &table.tasting;
    assert!(tasting.run_by(&doer(tasting.host.0, Role::Cellarhand)).is_ok());
    assert!(tasting.run_by(&doer(MemberId::fresh(), Role::Steward)).is_ok());
    let refused = tasting.run_by(&doer(MemberId::fresh(), Role::Cellarhand)).unwrap_err();
    assert!(refused.why == Why::Forbidden && refused.to_string().contains("Aafke is the host"), "{refused}");
}

#[test]
fn only_the_host_sees_and_changes_the_plan_of_a_blind_tasting() {
    let mut table = table(Method::Scored, 3, 2);
    let (host, steward) =
        (doer(table.tasting.host.0, Role::Cellarhand), doer(MemberId::fresh(), Role::Steward));
    assert!(table.tasting.planned_by(&host).is_ok());
    let refused = table.tasting.planned_by(&steward).unwrap_err();
    assert!(refused.why == Why::Forbidden && refused.to_string().contains("only Aafke"), "{refused}");
    table.tasting.blind = false;
    assert!(table.tasting.planned_by(&steward).is_ok());
}

#[test]
fn it_begins_when_all_is_ready_and_nobody_is_under_age() {
    let ready = table(Method::Scored, 3, 2);
    let today = day("2026-06-30");
    assert_eq!(ready.check_beginning(today, true), Ok(()));
    let says = |table: &Table, today, of_age| table.check_beginning(today, of_age).unwrap_err().to_string();
    assert!(says(&ready, today, false).contains("under age"));
    assert!(says(&ready, day("2026-06-29"), true).contains("planned for 30 June 2026"));
    let change = |change: fn(&mut Table)| {
        let mut table = table(Method::Scored, 3, 2);
        change(&mut table);
        says(&table, today, true)
    };
    assert!(change(|table| table.tasting.pourer = None).contains("who pours"));
    assert!(change(|table| table.seats.iter_mut().for_each(|seat| seat.may_taste = None)).contains("answer"));
    assert!(change(|table| table.samples[0].allergens.push("milk".to_owned())).contains("answer"));
    assert!(change(|table| table.tasting.pour_volume = Milli::new(100_000)).contains("g of alcohol"));
    assert!(change(|table| table.tasting.begun_at = Some(at("2026-06-30T18:00:00"))).contains("has begun"));
    assert!(
        change(|table| table.tasting.called_off_at = Some(at("2026-06-30T18:00:00"))).contains("called off")
    );
}

#[test]
fn too_much_alcohol_is_refused_with_what_would_do() {
    // Five glasses of 60 mL at 10 % vol are 23.7 g; 20 g are 50 mL in each.
    let mut table = table(Method::Scored, 5, 2);
    table.tasting.pour_volume = Milli::new(60_000);
    let said = table.check_alcohol().unwrap_err().to_string();
    assert!(said.contains("24 g of alcohol") && said.contains("pour 50 mL or less"), "{said}");
    table.tasting.pour_volume = Milli::new(50_000);
    assert_eq!(table.check_alcohol(), Ok(()));
}

#[test]
fn a_plan_says_everything_that_is_wrong_with_it_at_once() {
    let people: Vec<Person> = [Role::Steward, Role::Taster, Role::Onlooker]
        .into_iter()
        .map(|role| Person { member: MemberId::fresh(), name: format!("A {}", role.name()), role })
        .collect();
    let bottling = BottlingId::fresh();
    let good = Plan {
        title: "Meads".to_owned(),
        host: people[0].member,
        day: day("2026-06-30"),
        place: "Mill loft".to_owned(),
        blind: true,
        method: Method::Triangle,
        question: String::new(),
        expected: None,
        samples: vec![bottling, BottlingId::fresh()],
        pour_volume: Milli::new(30_000),
        tasters: vec![people[1].member],
        pourer: None,
    };
    assert_eq!(good.check(&people), Ok(()));
    let bad = Plan {
        host: people[1].member,
        blind: false,
        expected: Some(1),
        samples: vec![bottling, bottling, bottling],
        pour_volume: Milli::new(1),
        tasters: vec![people[2].member, MemberId::fresh(), people[0].member],
        pourer: Some(people[0].member),
        ..good.clone()
    };
    let refusal = bad.check(&people).unwrap_err();
    let fields: Vec<&str> = refusal.faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(
        fields,
        ["samples", "samples", "pour_volume", "blind", "expected", "host", "tasters", "tasters", "pourer"],
        "{refusal}"
    );
    let host_pours = Plan { pourer: Some(people[0].member), ..good };
    assert!(host_pours.check(&people).unwrap_err().to_string().contains("let somebody else pour"));
}

#[test]
fn a_sheet_takes_what_is_said_of_ones_own_glasses_and_nothing_else() {
    let table = begun(Method::Scored, 3, 2);
    let seat = &table.seats[0];
    assert_eq!(
        check_part(&table, seat, &part(&table, vec![marked(201, &[(WHOLE, 75), (1, 0), (7, 100)])])),
        Ok(())
    );
    for (answers, field) in [
        (vec![marked(999, &[])], "glasses.0.code"),
        (vec![marked(201, &[]), marked(201, &[])], "glasses.1.code"),
        (vec![marked(201, &[(9, 50)])], "glasses.0.marks"),
        (vec![marked(201, &[(WHOLE, 101)])], "glasses.0.marks"),
        (vec![marked(201, &[(WHOLE, -1)])], "glasses.0.marks"),
        (vec![placed(201, 1)], "glasses.0.place"),
    ] {
        let refusal = check_part(&table, seat, &part(&table, answers)).unwrap_err();
        assert_eq!(refusal.faults[0].field, field, "{refusal}");
    }
    let order = begun(Method::Ranking, 3, 2);
    for (place, fits) in [(0, false), (1, true), (3, true), (4, false)] {
        let done = check_part(&order, &order.seats[0], &part(&order, vec![placed(202, place)]));
        assert_eq!(done.is_ok(), fits, "{place}");
    }
}

#[test]
fn a_sheet_is_closed_before_the_first_glass_and_after_the_key() {
    let mut table = begun(Method::Scored, 3, 2);
    let said = |table: &Table| {
        let answers = vec![marked(201, &[(WHOLE, 75)])];
        check_part(table, &table.seats[0], &part(table, answers)).unwrap_err().to_string()
    };
    table.seats[0].may_taste = Some(false);
    assert!(said(&table).contains("leave this tasting out"));
    table.seats[0].may_taste = None;
    assert!(said(&table).contains("Say first whether you may taste"));
    table.tasting.opened_at = Some(at("2026-06-30T19:00:00"));
    assert!(said(&table).contains("The key is open"));
    table.tasting.opened_at = None;
    table.tasting.begun_at = None;
    assert!(said(&table).contains("has not begun"));
}

#[test]
fn a_sheet_is_handed_in_when_every_glass_has_what_is_compared() {
    let scored = begun(Method::Scored, 2, 1);
    let seat = &scored.seats[0];
    let said = check_complete(&scored, seat, &[marked(201, &[(WHOLE, 70)]), marked(202, &[(1, 50)])]);
    assert!(said.unwrap_err().to_string().contains("“Overall” for glass 202"));
    let both = [marked(201, &[(WHOLE, 70)]), marked(202, &[(WHOLE, 50)])];
    assert_eq!(check_complete(&scored, seat, &both), Ok(()));
    let order = begun(Method::Ranking, 2, 1);
    assert!(check_complete(&order, &order.seats[0], &[placed(201, 1)]).is_err());
    assert!(
        check_complete(&order, &order.seats[0], &[placed(201, 1), placed(202, 1)]).is_ok(),
        "a tie is an answer"
    );
    let odd = begun(Method::Triangle, 2, 1);
    assert!(check_complete(&odd, &odd.seats[0], &[]).is_err());
    assert!(check_complete(&odd, &odd.seats[0], &[placed(202, 1)]).is_ok());
}

#[test]
fn what_is_saved_again_takes_the_place_of_what_was_there() {
    let table = begun(Method::Scored, 3, 2);
    let before = [marked(201, &[(WHOLE, 40)]), marked(202, &[(WHOLE, 60)])];
    let saved = part(&table, vec![marked(202, &[(WHOLE, 65), (1, 20)])]);
    let after = with_part(Method::Scored, &before, &saved);
    assert_eq!(after, [before[0].clone(), saved.answers[0].clone()]);
    let chosen = with_part(Method::Triangle, &[placed(201, 1)], &part(&table, vec![placed(203, 1)]));
    assert_eq!(chosen, [placed(203, 1)], "one glass is chosen, not two");
}

#[test]
fn a_list_of_attributes_keeps_the_whole_and_names_nothing_twice() {
    let usual = usual_attributes();
    assert_eq!(check_attributes(&usual), Ok(()));
    assert_eq!(usual.last().map(|line| line.number), Some(WHOLE));
    assert!(check_attributes(&usual[..3]).is_err());
    let mut twice = usual.clone();
    twice[1].name = "LOOK".to_owned();
    assert_eq!(check_attributes(&twice).unwrap_err().faults[0].field, "lines.1.name");
    let mut long = usual;
    long.splice(0..0, (20..26).map(|number| sheet::Attribute { number, ..usual_attributes()[0].clone() }));
    assert!(check_attributes(&long).unwrap_err().to_string().contains("at most 12"));
}
