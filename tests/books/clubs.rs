//! Two clubs in one database: neither sees or touches anything of the other.

use std::collections::BTreeSet;

use undercroft::actions::bills::{NewBills, StrikeBill};
use undercroft::actions::{
    Done, Error, batches, bills, bottles, buying, efforts, instruments, intake, members, payments, reminders,
    reversals, shares, stock, tastings,
};
use undercroft::db::{
    AnyConn, Database, Failure, batches as batch_rows, books, bottles as bottle_rows, members as member_rows,
    reminders as reminder_rows, reports, stock as stock_rows, tastings as tasting_rows, trace,
};
use undercroft::domain::batches::{ByProduct, Draw, DrawLine, Ending, Loss, Racking, Source, Transfer};
use undercroft::domain::bottles::{Bottling, Purpose, Withdrawal};
use undercroft::domain::buying::instead::Substitute;
use undercroft::domain::buying::{Opening, Upkeep};
use undercroft::domain::members::{Role, Taster};
use undercroft::domain::payments::{Payment, Way};
use undercroft::domain::refusal::Why;
use undercroft::domain::reports::Span;
use undercroft::domain::shares::{Made, Paid, Share, Sharing, Wish};
use undercroft::domain::stock::{Counted, ItemKind, Move, Receipt};
use undercroft::units::days::Day;
use undercroft::units::ids::{ClubId, MemberId};
use undercroft::units::measure::Measured;
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use super::requests::keyed_actions;
use super::tastings::marked;
use super::world::told;
use crate::ground::cellar::{
    Cellar, bottling, bought, curds_off, draw, gravity, hydrometer, item, logged, pdf, tasting, work,
};
use crate::ground::{Ground, day, findings, on_both};

on_both!(what_is_another_clubs_is_missing, lists_hold_only_what_is_the_clubs_own);

/// These make something new out of nothing that has an id, or concern only who asks.
const NAMES_NOTHING: [&str; 10] = [
    "send",
    "add_instrument",
    "set_counting",
    "add_item",
    "plan",
    "invite",
    "new_token",
    "leave",
    "set_attributes",
    "set_yearly_limit",
];

/// What was asked of the actions, and what they answered.
#[derive(Default)]
struct Tries {
    names: BTreeSet<String>,
    wrong: Vec<String>,
}

impl Tries {
    /// An action was given something of another club: it has to say that there is no such thing.
    fn missing<T: std::fmt::Debug>(&mut self, action: &str, what: &str, done: Done<T>) {
        self.names.insert(action.to_owned());
        match done {
            Err(Error::Refused(refusal)) if refusal.why == Why::Missing => {
                let says = refusal.to_string();
                if !says.contains(what) {
                    self.wrong.push(format!("{action} with another club's {what} says “{says}”"));
                }
            }
            other => self.wrong.push(format!("{action} with another club's {what} gives {other:?}")),
        }
    }
}

async fn what_is_another_clubs_is_missing(ground: &Ground) {
    let db = ground.open();
    let ours = Cellar::new(&db, "Tidemill Cellar Club").await;
    let theirs = Cellar::new(&db, "Weir Street Makers").await;
    let before = told(&mut ground.connection());
    let mut tries = Tries::default();
    try_stores(&db, &ours, &theirs, &mut tries).await;
    try_drawing(&db, &ours, &theirs, &mut tries).await;
    try_batches(&db, &ours, &theirs, &mut tries).await;
    try_bottles(&db, &ours, &theirs, &mut tries).await;
    try_tastings(&db, &ours, &theirs, &mut tries).await;
    try_tables(&db, &ours, &theirs, &mut tries).await;
    try_the_rest(&db, &ours, &theirs, &mut tries).await;
    assert!(tries.wrong.is_empty(), "\n{}", tries.wrong.join("\n"));
    assert_eq!(told(&mut ground.connection()), before, "nothing was recorded in either club");
    assert_eq!(findings(&db).off, Vec::<String>::new());
    tries.names.extend(NAMES_NOTHING.map(str::to_owned));
    assert_eq!(tries.names, keyed_actions(), "every action is tried");
}

async fn try_stores(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let (hand, quantity) = (&ours.club.hand, litre());
    let milk = item("Whole milk", ItemKind::Ingredient, BaseUnit::Millilitre);
    tries.missing("change_item", "item", stock::change_item(db, hand, None, theirs.milk, milk).await);
    let order = buying::Keeping { item: theirs.milk, upkeep: Upkeep::default() };
    tries.missing("keep_up", "item", buying::keep_up(db, hand, None, order).await);
    let substitutes = vec![Substitute { other: theirs.milk, factor_micro: 1_000_000 }];
    let order = buying::Keeping { item: ours.milk, upkeep: Upkeep { substitutes, ..Upkeep::default() } };
    tries.missing("keep_up", "item", buying::keep_up(db, hand, None, order).await);
    let order = Opening { lot: theirs.milk_lot, on: Some(june()) };
    tries.missing("open_lot", "lot", buying::open_lot(db, hand, None, order).await);
    let place = stock::NewPlace { name: "Bay".to_owned(), within: Some(theirs.place), capacity: None };
    tries.missing("add_place", "place", stock::add_place(db, hand, None, place).await);
    let place = |within| stock::NewPlace { name: "Bay".to_owned(), within, capacity: None };
    for (of, within) in [(theirs.place, None), (ours.shelf, Some(theirs.place))] {
        let done = stock::change_place(db, hand, None, of, place(within)).await;
        tries.missing("change_place", "place", done);
    }
    let receipt = |item, place, paid_by| {
        let lines = vec![bought(ours.milk, 1, 1, ours.place), bought(item, 1, 1, place)];
        Receipt { day: june(), paid_by, lines, remark: String::new() }
    };
    for (what, receipt) in [
        ("item", receipt(theirs.milk, ours.place, None)),
        ("place", receipt(ours.milk, theirs.place, None)),
        ("member", receipt(ours.milk, ours.place, Some(theirs.club.hand.member))),
    ] {
        let with_bill = bills::record_receipt_with_bills(db, hand, None, receipt.clone(), vec![pdf("a")]);
        tries.missing("record_receipt_with_bills", what, with_bill.await);
        tries.missing("record_receipt", what, stock::record_receipt(db, hand, None, receipt).await);
    }
    let order = NewBills { entry: theirs.receipt, files: vec![pdf("a")] };
    tries.missing("add_bills", "entry", bills::add_bills(db, hand, None, order).await);
    for entry in [ours.receipt, theirs.receipt] {
        let order = StrikeBill { entry, bill: theirs.bills[0], reason: "wrong".to_owned() };
        tries.missing("strike_bill", "bill", bills::strike_bill(db, hand, None, order).await);
    }
    let carry = |lot, from, to| Move { day: june(), lot, quantity, from, to };
    for (what, order) in [
        ("lot", carry(theirs.milk_lot, ours.place, ours.shelf)),
        ("place", carry(ours.milk_lot, theirs.place, ours.shelf)),
        ("place", carry(ours.milk_lot, ours.place, theirs.shelf)),
    ] {
        tries.missing("move_stock", what, stock::move_stock(db, hand, None, order).await);
    }
    let count = |lot, place| Counted { day: june(), lot, place, counted: quantity, reason: String::new() };
    for (what, order) in
        [("lot", count(theirs.milk_lot, ours.place)), ("place", count(ours.milk_lot, theirs.place))]
    {
        tries.missing("record_count", what, stock::record_count(db, hand, None, order).await);
    }
}

async fn try_tables(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let (hand, sent) = (&ours.club.hand, theirs.sent);
    let saying = intake::Saying { intake: sent, columns: Vec::new(), order: None };
    tries.missing("say", "table", intake::say(db, hand, None, saying).await);
    let bringing = intake::Bringing { intake: sent, good: true, progress: intake::Progress::default() };
    tries.missing("bring", "table", intake::bring(db, hand, None, bringing).await);
    let undoing = intake::Undoing { intake: sent, reason: "a slip".to_owned() };
    tries.missing("undo", "table", intake::undo(db, hand, None, undoing).await);
    let (steward, member) = (&ours.club.steward, theirs.club.hand.member);
    tries.missing("invite_member", "member", members::invite_member(db, steward, None, member).await);
}

async fn try_drawing(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let hand = &ours.club.hand;
    let pour = |batch, source| draw(batch, june(), source, 1_000_000);
    for (what, order) in [
        ("batch", pour(theirs.batch, Source::Item(ours.milk))),
        ("batch", Draw { pitch: true, ..pour(theirs.batch, Source::Item(ours.milk)) }),
        ("item", pour(ours.batch, Source::Item(theirs.milk))),
        ("lot", pour(ours.batch, Source::Lot(theirs.milk_lot))),
    ] {
        tries.missing("draw", what, batches::draw(db, hand, None, order).await);
    }
    for (what, order) in [
        ("batch", curds_off(theirs.batch, ours.curds, ours.place)),
        ("item", curds_off(ours.batch, theirs.curds, ours.place)),
        ("place", ByProduct { day: june(), ..curds_off(ours.batch, ours.curds, theirs.place) }),
    ] {
        tries.missing("by_product", what, batches::by_product(db, hand, None, order).await);
    }
}

async fn try_batches(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let (hand, batch, day, volume) = (&ours.club.hand, theirs.batch, june(), litre());
    let loss = Loss { batch, day, volume, normal: true, reason: String::new() };
    tries.missing("record_loss", "batch", batches::record_loss(db, hand, None, loss).await);
    let racking = Racking { batch, day, volume_after: None, remark: String::new() };
    tries.missing("record_racking", "batch", batches::record_racking(db, hand, None, racking).await);
    let transfer = |batch, into| Transfer { batch, day, volume, into, name: None, remark: String::new() };
    for order in [transfer(batch, None), transfer(batch, Some(ours.batch)), transfer(ours.batch, Some(batch))]
    {
        tries.missing("record_transfer", "batch", batches::record_transfer(db, hand, None, order).await);
    }
    for abandoned in [true, false] {
        let order = Ending { batch, day, abandoned, reason: String::new() };
        tries.missing("record_end", "batch", batches::record_end(db, hand, None, order).await);
    }
    tries.missing("record_reading", "batch", batches::record_reading(db, hand, None, gravity(batch)).await);
    let both = vec![gravity(ours.batch), gravity(batch)];
    tries.missing("record_readings", "batch", batches::record_readings(db, hand, None, both).await);
    let strike = batches::Strike { reading: theirs.reading, reason: String::new() };
    tries.missing("strike_reading", "reading", batches::strike_reading(db, hand, None, strike).await);
    try_what_is_measured(db, ours, theirs, tries).await;
}

async fn try_what_is_measured(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let (hand, batch) = (&ours.club.hand, theirs.batch);
    let again = batches::Correction {
        reading: theirs.reading,
        reason: String::new(),
        value: Measured::from_micros(1_040_000),
        at: None,
        sample_c: None,
        as_read: true,
    };
    tries.missing("correct_reading", "reading", batches::correct_reading(db, hand, None, again).await);
    let off = batches::NewReading { instrument: Some(theirs.instrument), ..gravity(ours.batch) };
    tries.missing("record_readings", "instrument", batches::record_readings(db, hand, None, vec![off]).await);
    let sent = batches::Sent { batch, source: "float 7".to_owned(), readings: vec![gravity(batch)] };
    tries.missing("send_readings", "batch", batches::send_readings(db, hand, None, sent).await);
    tries.missing("bring_in", "batch", batches::bring_in(db, hand, None, logged(batch)).await);
    let undo = batches::Undoing { import: theirs.import, reason: String::new() };
    tries.missing("undo_import", "file", batches::undo_import(db, hand, None, undo).await);
    let change = instruments::Change { id: theirs.instrument, now: hydrometer("Stolen"), retired: false };
    let changed = instruments::change_instrument(db, hand, None, change).await;
    tries.missing("change_instrument", "instrument", changed);
    tries.missing("record_effort", "batch", efforts::record_effort(db, hand, None, work(batch, 1)).await);
    let strike = efforts::StrikeEffort { effort: theirs.effort, reason: String::new() };
    let struck = efforts::strike_effort(db, hand, None, strike).await;
    tries.missing("strike_effort", "line of work or energy", struck);
}

async fn try_bottles(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let hand = &ours.club.hand;
    let packed = |source| {
        let packaging = vec![DrawLine { source, quantity: Milli::new(1000), expired_because: None }];
        Bottling { packaging, ..bottling(ours.batch, ours.place, 1) }
    };
    for (what, order) in [
        ("batch", bottling(theirs.batch, ours.place, 1)),
        ("place", bottling(ours.batch, theirs.place, 1)),
        ("item", packed(Source::Item(theirs.yeast))),
        ("lot", packed(Source::Lot(theirs.bottled.lot))),
    ] {
        tries.missing("record_bottling", what, bottles::record_bottling(db, hand, None, order.clone()).await);
        tries.missing("record_bottlings", what, bottles::record_bottlings(db, hand, None, vec![order]).await);
    }
    let by = Taster::from_doer((**hand).clone()).expect("a cellarhand may");
    let taken = |bottling, member, place| Withdrawal {
        bottling,
        day: june(),
        bottles: 1,
        purpose: Purpose::Taken,
        member: Some(member),
        place,
        happened_at: None,
        remark: String::new(),
    };
    for (what, order) in [
        ("bottling", taken(theirs.bottled.bottling, hand.member, None)),
        ("member", taken(ours.bottled.bottling, theirs.club.hand.member, None)),
        ("place", taken(ours.bottled.bottling, hand.member, Some(theirs.place))),
    ] {
        tries.missing("record_withdrawal", what, bottles::record_withdrawal(db, &by, None, order).await);
    }
}

async fn try_the_rest(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let (hand, taster, steward) = (&ours.club.hand, &ours.club.taster, &ours.club.steward);
    let member: MemberId = theirs.club.hand.member;
    let back = reversals::TakeBack { entry: theirs.bottled.entry, reason: String::new() };
    tries.missing("record_reversal", "entry", reversals::record_reversal(db, hand, None, back).await);
    let done = reminders::settle(db, taster, None, theirs.reminder, reminders::Become::Done).await;
    tries.missing("settle", "reminder", done);
    let given = reminders::settle(db, taster, None, ours.reminder, reminders::Become::Given(member)).await;
    tries.missing("settle", "member", given);
    let (way, amount) = (Way::ToClub, Money::from_micros(1));
    let paid = Payment { day: june(), member, way, amount, remark: String::new() };
    tries.missing("record_payment", "member", payments::record_payment(db, steward, None, paid).await);
    for (from, to) in [(Some(member), None), (None, Some(member))] {
        let paid = Paid { from, to, amount };
        let made = Made { day: june(), paid, remark: String::new() };
        tries.missing("record_transfer", "member", shares::record_transfer(db, steward, None, made).await);
    }
    let part = |member| Share { member, laid_out: amount, worked: amount };
    let sharing = |batch, who| Sharing { batch, shares: vec![part(who)] };
    let own = ours.club.hand.member;
    tries.missing(
        "settle_shares",
        "batch",
        shares::settle_shares(db, steward, None, sharing(theirs.batch, own)).await,
    );
    tries.missing(
        "settle_shares",
        "member",
        shares::settle_shares(db, steward, None, sharing(ours.batch, member)).await,
    );
    let wished = Wish { bottling: theirs.bottled.bottling, bottles: 1, remark: String::new() };
    tries.missing("wish", "bottling", shares::wish(db, taster, None, wished).await);
    let role = members::ChangeRole { member, role: Role::Steward };
    tries.missing("change_role", "member", members::change_role(db, steward, None, role).await);
    tries.missing("remove_member", "member", members::remove_member(db, steward, None, member).await);
}

fn june() -> Day {
    day("2026-06-02")
}

fn litre() -> Milli {
    Milli::new(1_000_000)
}

async fn try_tastings(db: &Database, ours: &Cellar, theirs: &Cellar, tries: &mut Tries) {
    let (hand, taster, id) = (&ours.club.hand, &ours.club.taster, theirs.tasting);
    let own = || tasting(&ours.club, vec![ours.bottled.bottling]);
    let stranger = theirs.club.hand.member;
    for (what, plan) in [
        ("bottling", tasting(&ours.club, vec![theirs.bottled.bottling])),
        ("member", tastings::Plan { host: stranger, ..own() }),
        ("member", tastings::Plan { tasters: vec![stranger], ..own() }),
        ("member", tastings::Plan { pourer: Some(stranger), ..own() }),
    ] {
        let done = tastings::plan_tasting(db, hand, None, plan.clone()).await.map(|planned| planned.id);
        tries.missing("plan_tasting", what, done);
        tries.missing(
            "change_tasting",
            what,
            tastings::change_tasting(db, hand, None, ours.tasting, plan).await,
        );
    }
    tries.missing("change_tasting", "tasting", tastings::change_tasting(db, hand, None, id, own()).await);
    let reply = tastings::Reply { tasting: id, may_taste: true };
    tries.missing("answer_allergens", "tasting", tastings::answer_allergens(db, taster, None, reply).await);
    let order = tastings::Beginning { tasting: id, of_age: true };
    tries.missing("begin_tasting", "tasting", tastings::begin_tasting(db, hand, None, order).await);
    let part = tastings::Part { tasting: id, answers: vec![marked(201, 50)], hand_in: false };
    tries.missing("save_sheet", "tasting", tastings::save_sheet(db, taster, None, part).await);
    tries.missing("open_key", "tasting", tastings::open_key(db, hand, None, id).await);
    let order = tastings::CallingOff { tasting: id, reason: String::new() };
    tries.missing("call_off", "tasting", tastings::call_off(db, hand, None, order).await);
    let order = tastings::NewAge { bottling: theirs.bottled.bottling, age_days: 400 };
    tries.missing("set_tasting_age", "bottling", tastings::set_tasting_age(db, hand, None, order).await);
}

/// Says that there is no such thing.
fn gone<T: std::fmt::Debug>(what: &str, read: Result<T, Failure>) {
    let said = read.map(|found| format!("{found:?}"));
    assert_eq!(said, Err(Failure::Gone), "{what}");
}

async fn lists_hold_only_what_is_the_clubs_own(ground: &Ground) {
    let db = ground.open();
    let ours = Cellar::new(&db, "Tidemill Cellar Club").await;
    let before = lists(&mut ground.connection(), ours.club.hand.club);
    let theirs = Cellar::new(&db, "Weir Street Makers").await;
    let (own, other) = (ours.club.hand.club, theirs.club.hand.club);
    let conn = &mut ground.connection();
    assert_eq!(lists(conn, own), before, "what another club records changes nothing here");
    assert_ne!(lists(conn, other), before);

    gone("item", stock_rows::item(conn, own, theirs.milk));
    gone("place", stock_rows::place(conn, own, theirs.place));
    gone("lot", stock_rows::lot(conn, own, theirs.milk_lot));
    gone("batch", batch_rows::batch(conn, own, theirs.batch));
    gone("name of a batch", batch_rows::named(conn, own, theirs.batch));
    gone("standing of a batch", batch_rows::standing(conn, own, theirs.batch));
    gone("story of a batch", batch_rows::story(conn, own, theirs.batch));
    gone("bottling", bottle_rows::bottling(conn, own, theirs.bottled.bottling));
    gone("entry", books::recorded(conn, own, theirs.receipt));
    gone("member", member_rows::member(conn, own, theirs.club.hand.member));
    gone("reminder", reminder_rows::reminder(conn, own, theirs.reminder));
    gone("state of a reminder", reminder_rows::is_open(conn, own, theirs.reminder));
    gone("tasting", tasting_rows::tasting(conn, own, theirs.tasting));
    gone("table of a tasting", tasting_rows::table(conn, own, theirs.tasting));
    let theirs_bottled = theirs.bottled.bottling;
    assert_eq!(tasting_rows::sittings(conn, own, theirs_bottled).expect("sittings"), []);
    assert_eq!(tasting_rows::of_bottling(conn, own, theirs_bottled).expect("tastings"), []);
    gone("trace", trace::trace(conn, own, theirs.milk_lot));
    assert_eq!(batch_rows::readings(conn, own, theirs.batch, 10).expect("readings"), []);
    assert_eq!(bottle_rows::standing(conn, own, theirs.bottled.lot).expect("bottles"), []);
    assert_eq!(books::tell(conn, own, books::Which::Batch(theirs.batch), None, 10).expect("entries"), []);
    assert_eq!(books::tell(conn, own, books::Which::One(theirs.receipt), None, 10).expect("entries"), []);
    assert_eq!(
        stock_rows::shelves(conn, own, stock_rows::Shelved::Lot(theirs.milk_lot)).expect("shelves"),
        []
    );
}

/// All days of the tests.
fn ever() -> Span {
    Span { first: day("2026-01-01"), last: day("2027-12-31") }
}

/// Every list that a page of a club shows, as one text each.
fn lists(conn: &mut AnyConn, club: ClubId) -> Vec<String> {
    fn shown<T: std::fmt::Debug>(list: Result<Vec<T>, Failure>) -> String {
        let list = list.expect("the list is read");
        assert!(!list.is_empty(), "there is something to see");
        format!("{list:#?}")
    }
    let (past, future) = (day("2026-04-01"), day("2027-12-31"));
    vec![
        shown(stock_rows::items(conn, club)),
        shown(stock_rows::places(conn, club)),
        shown(stock_rows::stock(conn, club, &stock_rows::StockFilter::default())),
        shown(stock_rows::stock_on(conn, club, past)),
        shown(stock_rows::value_by_kind(conn, club)),
        shown(stock_rows::suppliers(conn, club)),
        shown(batch_rows::batches(conn, club, &[], None, 100)),
        shown(bottle_rows::with_bottles_left(conn, club)),
        shown(bottle_rows::bottlings(conn, club, false, None, 100)),
        shown(bottle_rows::ages_falling(conn, club, past, future)),
        shown(books::tell(conn, club, books::Which::All, None, 100)),
        shown(member_rows::members(conn, club)),
        shown(tasting_rows::tastings(conn, club, None, 100)),
        shown(tasting_rows::attributes(conn, club)),
        shown(reminder_rows::open(conn, club, future, 100)),
        format!("{:?}", reminder_rows::facts(conn, club, future)),
        format!("{:?}", reports::value(conn, club)),
        format!("{:?}", reports::value_since(conn, club, past)),
        shown(reports::by_member(conn, club)),
        shown(batch_rows::of_days(conn, club, ever(), None)),
        shown(bottle_rows::of_days(conn, club, ever(), None)),
        shown(reports::flows(conn, club, ever())),
        format!("{:?}", reports::losses(conn, club, ever())),
        format!("{:?}", reports::tasted(conn, club, ever())),
        format!("{:?}", reports::value_at(conn, club, &[past, future])),
    ]
}
