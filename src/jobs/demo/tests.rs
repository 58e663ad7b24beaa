//! The demo club as it is loaded: what the pages need is there, and the books are sound.

use super::*;
use crate::actions::batches as brewing;
use crate::actions::bottles::record_bottling;
use crate::db::bottles::{self, Bottling};
use crate::db::reminders as due;
use crate::db::verify::verify;
use crate::db::{AnyConn, batches, books, costs, stock as shelves, trace};
use crate::domain::batches::{Draw, DrawLine, Source, Stage, Transfer};
use crate::domain::books::{Account, EntryKind};
use crate::domain::bottles::Bottling as Filling;
use crate::domain::cautions::{Reasons, Rule};
use crate::domain::costs::{BottlingCost, CostLine};
use crate::domain::members::Password;
use crate::domain::reminders::ReminderKind;
use crate::domain::yields::Basis;
use crate::jobs::cellar::Cellar;
use crate::units::ids::BatchId;
use crate::units::measure::Measured;

/// A quarter past midnight of 24 June in the club, while it is still 23 June in UTC.
fn midnight() -> Instant {
    "2026-06-23T22:15:00".parse().unwrap()
}

#[tokio::test]
async fn the_demo_club_has_everything_that_pages_show() {
    let cellar = Cellar::new();
    let loaded = load(&cellar.db, midnight()).await.unwrap_or_else(|why| panic!("{why}"));
    let conn = &mut cellar.db.connection().unwrap();
    assert_eq!(verify(conn).unwrap().off, Vec::<String>::new());
    there_are_as_many_as_documented(conn, loaded.club);
    batches_of_every_stage_keep_the_numbers_of_the_files(conn, loaded.club);
    plans_are_made_from_ways_to_a_strength(conn, loaded.club);
    a_batch_is_being_made_by_a_recipe(conn, loaded.club);
    something_is_due_today_and_nothing_that_was_done(conn, loaded.club);
    mistakes_are_taken_back(conn, loaded.club);
    bottles_bear_what_went_into_them(conn, loaded.club);
    counts_are_put_right(conn, loaded.club);
    a_blend_is_as_strong_as_its_parts_make_it(conn, loaded.club);
    a_jar_that_broke_makes_the_rest_no_stronger(conn, loaded.club);
    a_drink_says_the_allergens_of_all_it_came_from(&cellar.db, &loaded).await;

    let visitor = members::Visitor { device: String::new(), address: String::new(), now: midnight() };
    let password = Password::new(loaded.password);
    members::sign_in(&cellar.db, &loaded.sign_in_as, &password, &visitor).await.unwrap();

    let found = found(&cellar.db).await.unwrap().unwrap();
    assert_eq!((found.club, found.sign_in_as), (loaded.club, loaded.sign_in_as));
    let again = load(&cellar.db, midnight()).await.unwrap_err();
    assert_eq!(again, Error::Occupied);
    assert!(again.to_string().contains("another club in this database"));
}

fn there_are_as_many_as_documented(conn: &mut AnyConn, club: ClubId) {
    let people = crate::db::members::members(conn, club).unwrap();
    assert!(people.len() >= 14);
    assert!(Role::ALL.iter().all(|role| people.iter().any(|member| member.role == *role)));
    let founder = people.iter().find(|member| member.name == "Marit Oldewelt").unwrap();
    assert_eq!(founder.joined_on, "2026-06-24".parse::<Day>().unwrap() - Duration::days(1160));
    assert!(shelves::items(conn, club).unwrap().len() >= 40);
    assert!(shelves::places(conn, club).unwrap().len() >= 12);
    let filled: i64 = all_bottlings(conn, club).iter().map(|bottling| bottling.bottles).sum();
    assert!((900..1000).contains(&filled), "{filled} bottles were filled");
}

fn all_bottlings(conn: &mut AnyConn, club: ClubId) -> Vec<Bottling> {
    bottles::bottlings(conn, club, false, None, 1000).unwrap()
}

fn all_batches(conn: &mut AnyConn, club: ClubId) -> Vec<batches::Batch> {
    batches::batches(conn, club, &[], None, 1000).unwrap()
}

fn plans_are_made_from_ways_to_a_strength(conn: &mut AnyConn, club: ClubId) {
    use crate::db::{plans, recipes, steps};
    let all = all_batches(conn, club);
    let planned: Vec<_> = all
        .iter()
        .filter(|batch| {
            let planned = !steps::steps(conn, club, batch.id).unwrap().is_empty();
            planned && recipes::followed_by(conn, club, batch.id).unwrap().is_none()
        })
        .map(|batch| (batch.name.as_str(), batch.stage))
        .collect();
    assert_eq!(planned, [("Neap Tide Mead", Stage::Planned), ("Tide White", Stage::Planned)]);
    assert!(!plans::wanted(conn, club).unwrap().is_empty());
}

fn a_batch_is_being_made_by_a_recipe(conn: &mut AnyConn, club: ClubId) {
    use crate::db::{recipes, steps};
    let offered = recipes::list(conn, club, false, None, 50).unwrap();
    let told: Vec<_> = offered.iter().map(|one| (one.drink.as_str(), one.number, one.batches)).collect();
    let expected =
        [("Tide White", 3, 5), ("Dark Elder", 2, 2), ("Heather Mead", 3, 3), ("Sluicegate Perry", 2, 2)];
    assert_eq!(told, expected);
    let running = steps::running(conn, club, 50).unwrap();
    assert_eq!(running.len(), 1);
    assert_eq!((running[0].code.as_str(), running[0].what.as_str()), ("28", "Keep the whey hot"));
    let left = running[0].ends_at().unwrap() - midnight();
    assert_eq!(left.num_minutes(), 17);
    let all = steps::steps(conn, club, running[0].batch).unwrap();
    let states: Vec<_> = all.iter().map(|step| step.state().code()).collect();
    assert_eq!(states[..8], ["done"; 8], "one of them, a reading, was not planned");
    assert_eq!(states[8], "running");
    assert!(states[9..].iter().all(|state| *state == "open"));
}

fn batches_of_every_stage_keep_the_numbers_of_the_files(conn: &mut AnyConn, club: ClubId) {
    let batches = all_batches(conn, club);
    assert!(batches.len() >= 18);
    for stage in Stage::ALL {
        assert!(batches.iter().any(|batch| batch.stage == stage), "no batch is {}", stage.label());
    }
    // B09 is the ninth batch, although it was split off; B23 is at work.
    let named = |code: &str| batches.iter().find(|batch| batch.code == code).unwrap();
    assert_eq!(named("9").name, "Moor Mead with hazel");
    assert_eq!((named("23").name.as_str(), named("23").stage), ("Tide White", Stage::Working));
}

fn something_is_due_today_and_nothing_that_was_done(conn: &mut AnyConn, club: ClubId) {
    let today: Day = "2026-06-24".parse().unwrap();
    let open = due::open(conn, club, today, 1000).unwrap();
    let tastings: Vec<_> = open.iter().filter(|reminder| reminder.kind == ReminderKind::Tasting).collect();
    let of: Vec<_> =
        tastings.iter().filter_map(|reminder| Some(reminder.bottling.as_ref()?.1.as_str())).collect();
    // Laid down 182, 366 and 90 days ago with tasting ages of 180, 365 and 90 days, and not opened for one
    // since.
    assert_eq!(of, ["14-1", "10-1", "17-1"]);
    assert_eq!(tastings[2].due_on, today);
    // What runs is not over yet, and it does not freeze.
    let seen = |kind: &ReminderKind| !matches!(kind, ReminderKind::Step | ReminderKind::Frost);
    for kind in ReminderKind::ALL.into_iter().filter(seen) {
        assert!(open.iter().any(|reminder| reminder.kind == kind), "nothing of kind {} is due", kind.code());
    }
}

fn mistakes_are_taken_back(conn: &mut AnyConn, club: ClubId) {
    let told = books::tell(conn, club, books::Which::All, None, 2000).unwrap();
    let mut taken_back: Vec<_> =
        told.iter().filter(|entry| entry.reversed.is_some()).map(|e| e.kind).collect();
    taken_back.reverse();
    assert_eq!(taken_back, [EntryKind::Draw, EntryKind::Withdrawal, EntryKind::Receipt]);
}

/// The drink, the bottles, corks and labels of a bottling, each down to its receipt, are what its bottles
/// cost.
fn bottles_bear_what_went_into_them(conn: &mut AnyConn, club: ClubId) {
    let bottlings = all_bottlings(conn, club);
    let perry = bottlings.iter().find(|bottling| bottling.code == "12-1").unwrap();
    let lines = costs::of_batch(conn, perry.batch, Some(perry.entry)).unwrap();
    let sum = |lines: &mut dyn Iterator<Item = &CostLine>| -> Money { lines.map(|line| line.cost).sum() };

    // All of it was bottled at once: what came in, less the pomace, left with the bottles.
    let filled = lines.last().unwrap();
    assert_eq!(filled.kind, EntryKind::Bottling);
    let drink = sum(&mut lines.iter().filter(|line| line.kind != EntryKind::Bottling));
    assert_eq!(drink, filled.cost.negated());
    assert!(lines.iter().any(|line| line.kind == EntryKind::ByProduct && line.cost < Money::ZERO));
    assert!(lines.iter().any(|line| line.kind == EntryKind::Blend && line.other_batch.is_some()));
    let supplies = || lines.iter().filter(|line| matches!(line.kind, EntryKind::Draw | EntryKind::Pitch));
    assert!(supplies().all(|line| line.receipt.as_ref().is_some_and(|receipt| receipt.1.is_some())));

    // 172 kg of perry pears for 65.90, all drawn.
    let pears: Vec<_> = lines.iter().filter(|line| line.what == "Perry pears").collect();
    assert_eq!(pears.iter().map(|line| line.cost).sum::<Money>(), Money::read("65.90").unwrap());

    let packaging = costs::packaging(conn, perry).unwrap();
    let told = books::tell(conn, club, books::Which::One(perry.entry), None, 1).unwrap();
    let into_bottles = told[0]
        .lines
        .iter()
        .find(|line| matches!(line.account, Account::Stock { lot, .. } if lot == perry.lot));
    let into_bottles = into_bottles.unwrap();
    assert_eq!(into_bottles.quantity, Milli::new(151_000));
    assert_eq!(into_bottles.cost, drink + sum(&mut packaging.iter()));
    lines_add_up_to_what_every_bottling_was_booked_at(conn, &bottlings);
}

fn lines_add_up_to_what_every_bottling_was_booked_at(conn: &mut AnyConn, bottlings: &[Bottling]) {
    let entries: Vec<_> = bottlings.iter().map(|bottling| bottling.entry).collect();
    let booked = costs::booked(conn, &entries).unwrap();
    for bottling in bottlings {
        let lines = costs::of_batch(conn, bottling.batch, Some(bottling.entry)).unwrap();
        let packaging = costs::packaging(conn, bottling).unwrap();
        let cost = BottlingCost::of(lines, bottling.entry, packaging, bottling.bottles).unwrap();
        assert_eq!(cost.total(), booked[&bottling.entry], "bottling {}", bottling.code);
    }
}

/// Three bottles chipped, and most of the curds eaten.
fn counts_are_put_right(conn: &mut AnyConn, club: ClubId) {
    let told = books::tell(conn, club, books::Which::All, None, 2000).unwrap();
    let differences: Vec<_> = told.iter().filter(|entry| entry.kind == EntryKind::Difference).collect();
    assert!(differences.len() >= 40);
    let chipped = differences.iter().find(|entry| entry.remark.starts_with("three chipped")).unwrap();
    assert_eq!(chipped.by, "Teun Ossewaarde", "the second person posts it");
    assert!(chipped.remark.ends_with("counted by Dorthe Aagesen"));
    assert_eq!(chipped.lines[0].quantity, Milli::new(-3000));
    // Of the curds of 13 days ago 4 kg were there at the last count; yesterday's 13.5 kg came to them.
    let curds = shelves::StockFilter { name: "curds".to_owned(), ..shelves::StockFilter::default() };
    let left: Milli = shelves::stock(conn, club, &curds).unwrap().iter().map(|line| line.quantity).sum();
    assert_eq!(left, Milli::new(17_500_000));
}

/// Batch 10: 62 L of milk (64.23 kg) less 16.9 kg of curds are 46.2 L of whey; with 7.5 kg of cane sugar they were
/// 50.4 L when the yeast was pitched. Of these 4.6 L were spilt later, before the last supplies were drawn.
fn a_jar_that_broke_makes_the_rest_no_stronger(conn: &mut AnyConn, club: ClubId) {
    let bottlings = all_bottlings(conn, club);
    let white = bottlings.iter().find(|bottling| bottling.code == "10-1").unwrap();
    let from_sugar = 7500.0 * 1.0526 / 50.4 / 16.83;
    let from_whey = 1.4 * 46.2 / 50.4;
    assert!((white.strength.unwrap().number() - from_sugar - from_whey).abs() < 0.1);
}

/// Batch 12 was 94.8 L of a perry into which 20.2 L of another were blended at rest: its strength is computed from
/// both, and no gravity is claimed to tell it.
fn a_blend_is_as_strong_as_its_parts_make_it(conn: &mut AnyConn, club: ClubId) {
    let blend = all_batches(conn, club).into_iter().find(|batch| batch.code == "12").unwrap();
    let found = batches::story(conn, club, blend.id).unwrap().strength().unwrap();
    let Basis::Parts(parts) = &found.basis else { panic!("{found:?}") };
    assert_eq!(parts.iter().map(|part| part.0).collect::<Vec<_>>(), [94.8, 20.2]);
    let by_volume = parts.iter().map(|(litres, percent)| litres * percent).sum::<f64>() / 115.0;
    assert!((found.vol_percent - by_volume).abs() < 0.02, "{found:?}");
    let bottlings = all_bottlings(conn, club);
    let of_blend: Vec<&Bottling> = bottlings.iter().filter(|bottling| bottling.batch == blend.id).collect();
    assert!(!of_blend.is_empty() && of_blend.iter().all(|bottling| bottling.strength_basis == "parts"));
}

/// White split from a batch of sheep's milk is of milk; a perry with malt in it makes its drink one with gluten.
async fn a_drink_says_the_allergens_of_all_it_came_from(db: &Database, loaded: &Loaded) {
    let doer = members::doer_by_email(db, &loaded.club_name, &loaded.sign_in_as, midnight()).await.unwrap();
    let by = Cellarhand::from_doer(doer).unwrap();
    let conn = &mut db.connection().unwrap();
    let batches = all_batches(conn, loaded.club);
    let batch = |code: &str| batches.iter().find(|batch| batch.code == code).unwrap().id;
    let split = Transfer {
        batch: batch("19"),
        day: by.today(),
        volume: Milli::new(6_000_000),
        into: None,
        name: Some("White for the tasters".to_owned()),
        remark: String::new(),
    };
    let split = brewing::record_transfer(db, &by, None, split).await.unwrap();
    let white = fill(db, &by, split.into).await;
    assert!(white.0.contains(&"milk".to_owned()), "{white:?}");
    let whole = batches::story(conn, loaded.club, batch("19")).unwrap().strength().unwrap().vol_percent;
    assert!(
        (white.1.unwrap().number() - whole).abs() < 0.001,
        "split off at rest, it is as strong as the rest"
    );

    let malt = shelves::item_named(conn, loaded.club, "Barley malt extract, dry").unwrap().unwrap().0;
    let line = DrawLine { source: Source::Item(malt), quantity: Milli::new(50_000), expired_because: None };
    let draw = Draw {
        batch: batch("20"),
        day: by.today(),
        pitch: false,
        lines: vec![line],
        volume_after: None,
        remark: String::new(),
    };
    brewing::draw(db, &by, None, draw).await.unwrap();
    assert_eq!(fill(db, &by, batch("20")).await.0, ["gluten", "sulphites"]);
}

/// The allergens and the strength of six bottles filled from a batch.
async fn fill(db: &Database, by: &Cellarhand, batch: BatchId) -> (Vec<String>, Option<Measured>) {
    let conn = &mut db.connection().unwrap();
    let place = shelves::places(conn, by.club).unwrap()[0].id;
    let order = Filling {
        batch,
        day: by.today(),
        bottles: 6,
        bottle_volume: Milli::new(750_000),
        broken: 0,
        lost_volume: Milli::ZERO,
        packaging: Vec::new(),
        place,
        tasting_ages_days: Vec::new(),
        ages_by_warmth: false,
        reasons: Reasons::default().with(Rule::Unfinished, "a sample for the lab"),
        remark: String::new(),
    };
    let filled = record_bottling(db, by, None, order).await.unwrap();
    (
        trace::allergens(conn, filled.lot).unwrap(),
        bottles::bottling(conn, by.club, filled.bottling).unwrap().strength,
    )
}

#[test]
fn a_row_that_is_refused_is_named_by_file_and_line() {
    let at = Line { file: "diary.csv", line: 27 };
    let refusal = Refusal::conflict("lines.1.quantity", "Only 3.0 kg is there; write that or less");
    assert_eq!(
        at.refused(refusal).to_string(),
        "seeds/diary.csv, line 27: lines.1.quantity: Only 3.0 kg is there; write that or less"
    );
}
