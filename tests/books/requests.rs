//! A request that is sent again, because its answer was lost: the same answer and nothing recorded twice. The same
//! key with something else is refused.

use std::collections::BTreeSet;

use serde::Serialize;
use undercroft::actions::bills::{NewBills, StrikeBill};
use undercroft::actions::once::RequestKey;
use undercroft::actions::{
    Done, Error, batches, bills, bottles, buying, efforts, instruments, intake, members, payments, reminders,
    reports, reversals, shares, stock, tastings,
};
use undercroft::db::Database;
use undercroft::domain::batches::{ByProduct, Ending, Loss, Racking, Source, Transfer};
use undercroft::domain::bottles::{Bottling, Purpose, Withdrawal};
use undercroft::domain::buying::{Opening, Upkeep};
use undercroft::domain::costs::by_products::By;
use undercroft::domain::intake::Kind;
use undercroft::domain::members::{Onlooker, Role, Scope, Taster};
use undercroft::domain::payments::{Payment, Way};
use undercroft::domain::refusal::Why;
use undercroft::domain::shares::{Made, Paid, Share, Sharing, Wish};
use undercroft::domain::stock::{Counted, ItemKind, Move, Receipt};
use undercroft::domain::tastings::sheet::usual_attributes;
use undercroft::units::days::Day;
use undercroft::units::measure::Measured;
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use super::tastings::{marked, open_table, table_of};
use super::world::told;
use crate::ground::cellar::{
    Cellar, bottling, bought, brought_in, curds_off, draw, gravity, hydrometer, item, logged, pdf, tasting,
    work,
};
use crate::ground::{Ground, day, findings, on_both};

on_both!(every_action_records_a_request_once, one_request_sent_by_many_at_once_is_recorded_once);

/// The actions that take a request key, by their names in the source.
pub fn keyed_actions() -> BTreeSet<String> {
    let sources = [
        include_str!("../../src/actions/batches.rs"),
        include_str!("../../src/actions/batches/loggers.rs"),
        include_str!("../../src/actions/batches/readings.rs"),
        include_str!("../../src/actions/bills.rs"),
        include_str!("../../src/actions/bottles.rs"),
        include_str!("../../src/actions/buying.rs"),
        include_str!("../../src/actions/efforts.rs"),
        include_str!("../../src/actions/instruments.rs"),
        include_str!("../../src/actions/intake.rs"),
        include_str!("../../src/actions/members.rs"),
        include_str!("../../src/actions/members/links.rs"),
        include_str!("../../src/actions/members/sessions.rs"),
        include_str!("../../src/actions/members/tokens.rs"),
        include_str!("../../src/actions/payments.rs"),
        include_str!("../../src/actions/reminders.rs"),
        include_str!("../../src/actions/reports.rs"),
        include_str!("../../src/actions/reversals.rs"),
        include_str!("../../src/actions/shares.rs"),
        include_str!("../../src/actions/stock.rs"),
        include_str!("../../src/actions/tastings.rs"),
    ];
    let functions = sources.iter().flat_map(|source| source.split("pub async fn ").skip(1));
    functions
        .filter_map(|function| function.split_once(" {\n"))
        .filter(|(signature, _)| signature.contains("RequestKey"))
        .filter_map(|(signature, _)| signature.split_once('(').map(|(name, _)| name.to_owned()))
        .collect()
}

/// Sends requests again, and keeps the names of the actions that were tried.
struct Trial<'a> {
    ground: &'a Ground,
    tried: BTreeSet<String>,
}

impl Trial<'_> {
    /// Asks for the same twice with one key, and a third time for something else: the second changes nothing and
    /// gives the answer of the first, the third is refused.
    async fn again<C: Clone, T: Serialize>(
        &mut self,
        action: &str,
        act: impl AsyncFn(Option<RequestKey>, C) -> Done<T>,
        same: C,
        other: C,
    ) {
        let key = || RequestKey::read(&format!("a-key-of-{action}")).ok();
        let answer = async || {
            let done = act(key(), same.clone()).await;
            let done = done.unwrap_or_else(|error| panic!("{action} was to be done: {error:?}"));
            serde_json::to_value(done).expect("answers can be kept")
        };
        let first = answer().await;
        let recorded = told(&mut self.ground.connection());
        assert_eq!(answer().await, first, "{action}");
        match act(key(), other).await.map(|_| ()) {
            Err(Error::Refused(refusal)) => {
                assert_eq!(refusal.why, Why::Unfit, "{action}");
                assert_eq!(refusal.faults[0].field, "request_key", "{action}");
            }
            other => panic!("{action} with the key of another request: {other:?}"),
        }
        assert_eq!(told(&mut self.ground.connection()), recorded, "{action}");
        self.tried.insert(action.to_owned());
    }
}

async fn every_action_records_a_request_once(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let mut trial = Trial { ground, tried: BTreeSet::new() };
    stores(&db, &cellar, &mut trial).await;
    batch_events(&db, &cellar, &mut trial).await;
    batch_readings(&db, &cellar, &mut trial).await;
    bottles_and_after(&db, &cellar, &mut trial).await;
    at_the_table(&db, &cellar, &mut trial).await;
    tables(&db, &cellar, &mut trial).await;
    people(&db, &cellar, &mut trial).await;
    assert_eq!(trial.tried, keyed_actions(), "every action that takes a key is tried");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn stores(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let hand = &cellar.club.hand;
    let (place, shelf, lot, milk) = (cellar.place, cellar.shelf, cellar.milk_lot, cellar.milk);
    let pears = |name: &str| item(name, ItemKind::Ingredient, BaseUnit::Gram);
    let add = async |key, new| stock::add_item(db, hand, key, new).await;
    trial.again("add_item", add, pears("Pears"), pears("Apples")).await;
    let named = |name: &str| item(name, ItemKind::Ingredient, BaseUnit::Millilitre);
    let change = async |key, new| stock::change_item(db, hand, key, milk, new).await;
    trial.again("change_item", change, named("Raw milk"), named("Sheep's milk")).await;
    let bought_in = |lead_days| {
        let upkeep = Upkeep { lead_days: Some(lead_days), ..Upkeep::default() };
        buying::Keeping { item: milk, upkeep }
    };
    let keep = async |key, order| buying::keep_up(db, hand, key, order).await;
    trial.again("keep_up", keep, bought_in(3), bought_in(4)).await;
    let opened = |on: &str| Opening { lot, on: Some(day(on)) };
    let open = async |key, order| buying::open_lot(db, hand, key, order).await;
    trial.again("open_lot", open, opened("2026-03-02"), opened("2026-03-03")).await;
    let bay = |name: &str| stock::NewPlace { name: name.to_owned(), within: Some(place), capacity: None };
    let add = async |key, new| stock::add_place(db, hand, key, new).await;
    trial.again("add_place", add, bay("Bay 1"), bay("Bay 2")).await;
    let change = async |key, new| stock::change_place(db, hand, key, shelf, new).await;
    trial.again("change_place", change, bay("Low shelf"), bay("High shelf")).await;
    let receipt = |quantity| {
        let lines = vec![bought(milk, quantity, 5_000_000, place)];
        Receipt { day: june(), paid_by: Some(hand.member), lines, remark: String::new() }
    };
    let receive = async |key, new| stock::record_receipt(db, hand, key, new).await;
    trial.again("record_receipt", receive, receipt(5_000_000), receipt(5_000_001)).await;
    let files = |says: &str| vec![pdf("first page"), pdf(says)];
    let receive = async |key, (quantity, says): (i64, &str)| {
        bills::record_receipt_with_bills(db, hand, key, receipt(quantity), files(says)).await
    };
    trial.again("record_receipt_with_bills", receive, (5_000_000, "a"), (5_000_000, "b")).await;
    let entry = cellar.receipt;
    let add =
        async |key, says: &str| bills::add_bills(db, hand, key, NewBills { entry, files: files(says) }).await;
    trial.again("add_bills", add, "c", "d").await;
    let wrong = |reason: &str| StrikeBill { entry, bill: cellar.bills[0], reason: reason.to_owned() };
    let strike = async |key, order| bills::strike_bill(db, hand, key, order).await;
    trial.again("strike_bill", strike, wrong("blurred"), wrong("another’s")).await;
    let order = |quantity| Move { day: june(), lot, quantity: Milli::new(quantity), from: place, to: shelf };
    let carry = async |key, order| stock::move_stock(db, hand, key, order).await;
    trial.again("move_stock", carry, order(1_000_000), order(1_000_001)).await;
    let found = |litres: i64| {
        let (day, counted) = (june(), Milli::new(litres * 1_000_000));
        Counted { day, lot, place, counted, reason: "weighed".to_owned() }
    };
    let count = async |key, found| stock::record_count(db, hand, key, found).await;
    trial.again("record_count", count, found(8), found(7)).await;
    let paid = |cents: i64| {
        let (way, amount) = (Way::ToClub, Money::from_micros(cents * 10_000));
        Payment { day: june(), member: hand.member, way, amount, remark: String::new() }
    };
    let pay = async |key, paid| payments::record_payment(db, &cellar.club.steward, key, paid).await;
    trial.again("record_payment", pay, paid(2_500), paid(2_501)).await;
    let made = |cents: i64| {
        let (from, amount) = (Some(hand.member), Money::from_micros(cents * 10_000));
        Made { day: june(), paid: Paid { from, to: None, amount }, remark: String::new() }
    };
    let transfer = async |key, made| shares::record_transfer(db, &cellar.club.steward, key, made).await;
    trial.again("record_transfer", transfer, made(300), made(301)).await;
    let sharing = |cents: i64| {
        let laid_out = Money::from_micros(cents * 10_000);
        Sharing {
            batch: cellar.batch,
            shares: vec![Share { member: hand.member, laid_out, worked: Money::ZERO }],
        }
    };
    let settle = async |key, sharing| shares::settle_shares(db, &cellar.club.steward, key, sharing).await;
    trial.again("settle_shares", settle, sharing(4_000), sharing(4_001)).await;
    let wished = |bottles| Wish { bottling: cellar.bottled.bottling, bottles, remark: String::new() };
    let taster = Taster::from_doer((**hand).clone()).expect("a cellarhand may");
    let wish = async |key, wished| shares::wish(db, &taster, key, wished).await;
    trial.again("wish", wish, wished(3), wished(4)).await;
}

async fn tables(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let hand = &cellar.club.hand;
    let sending = |name: &str| intake::Sending {
        kind: Kind::Places,
        file_name: String::new(),
        rows: format!("Name\n{name}\n"),
        columns: Vec::new(),
        order: None,
    };
    let send = async |key, sent| intake::send(db, hand, key, sent).await;
    trial.again("send", send, sending("Sluice room"), sending("Vat loft")).await;
    let table = intake::send(db, hand, None, sending("Mill floor")).await.expect("a table is sent");
    let saying = |field: &str| intake::Saying {
        intake: table,
        columns: vec![("Name".to_owned(), field.to_owned())],
        order: None,
    };
    let say = async |key, said| intake::say(db, hand, key, said).await;
    trial.again("say", say, saying("name"), saying("")).await;
    let bringing = |good| intake::Bringing { intake: table, good, progress: intake::Progress::default() };
    let bring = async |key, order| intake::bring(db, hand, key, order).await;
    trial.again("bring", bring, bringing(false), bringing(true)).await;
    let undoing = |why: &str| intake::Undoing { intake: table, reason: why.to_owned() };
    let undo = async |key, order| intake::undo(db, hand, key, order).await;
    trial.again("undo", undo, undoing("a slip"), undoing("another")).await;
}

async fn batch_events(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let (hand, batch, day) = (&cellar.club.hand, cellar.batch, june());
    let volume = Milli::new(1_000_000);
    let draft = |name: &str| batches::Plan { name: name.to_owned(), base_volume: None, day };
    let plan = async |key, plan| batches::plan(db, hand, key, plan).await;
    trial.again("plan", plan, draft("Perry"), draft("Mead")).await;
    let milk = |quantity| draw(batch, day, Source::Item(cellar.milk), quantity);
    let fill = async |key, order| batches::draw(db, hand, key, order).await;
    trial.again("draw", fill, milk(1_000_000), milk(1_000_001)).await;
    let curds = |to| ByProduct { day, ..curds_off(batch, cellar.curds, to) };
    let weigh = async |key, order| batches::by_product(db, hand, key, order).await;
    trial.again("by_product", weigh, curds(cellar.place), curds(cellar.shelf)).await;
    let spilt = |normal| Loss { batch, day, volume, normal, reason: "spilt".to_owned() };
    let lose = async |key, order| batches::record_loss(db, hand, key, order).await;
    trial.again("record_loss", lose, spilt(true), spilt(false)).await;
    let racking = |remark: &str| Racking { batch, day, volume_after: None, remark: remark.to_owned() };
    let rack = async |key, order| batches::record_racking(db, hand, key, order).await;
    trial.again("record_racking", rack, racking(""), racking("clear")).await;
    let half = |name: Option<&str>| {
        let name = name.map(str::to_owned);
        Transfer { batch, day, volume, into: None, name, remark: String::new() }
    };
    let split = async |key, order| batches::record_transfer(db, hand, key, order).await;
    trial.again("record_transfer", split, half(None), half(Some("Dry whey wine"))).await;
}

async fn batch_readings(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let (hand, batch) = (&cellar.club.hand, cellar.batch);
    let foam = || batches::NewReading { remark: "foam".to_owned(), ..gravity(batch) };
    let read = async |key, reading| batches::record_reading(db, hand, key, reading).await;
    trial.again("record_reading", read, gravity(batch), foam()).await;
    let read = async |key, readings| batches::record_readings(db, hand, key, readings).await;
    trial.again("record_readings", read, vec![gravity(batch)], vec![gravity(batch), foam()]).await;
    let strike = async |key, order| batches::strike_reading(db, hand, key, order).await;
    let again = |value: i64| batches::Correction {
        reading: cellar.reading,
        reason: "misread".to_owned(),
        value: Measured::from_micros(value),
        at: None,
        sample_c: None,
        as_read: true,
    };
    let correct = async |key, order| batches::correct_reading(db, hand, key, order).await;
    trial.again("correct_reading", correct, again(1_044_000), again(1_043_000)).await;
    let last = read(None, vec![gravity(batch)]).await.expect("one more is read")[0].id;
    let wrong = |reason: &str| batches::Strike { reading: last, reason: reason.to_owned() };
    trial.again("strike_reading", strike, wrong("misread"), wrong("of another batch")).await;
    let log =
        |source: &str| batches::Sent { batch, source: source.to_owned(), readings: vec![gravity(batch)] };
    let send = async |key, sent| batches::send_readings(db, hand, key, sent).await;
    trial.again("send_readings", send, log("float 7"), log("float 8")).await;
    let file = |left_out| {
        let mut file = logged(batch);
        file.rows[0].0 = day("2026-03-08").and_hms_opt(6, 0, 0).expect("six in the morning");
        batches::NewImport { left_out, ..file }
    };
    let bring = async |key, file| batches::bring_in(db, hand, key, file).await;
    trial.again("bring_in", bring, file(0), file(2)).await;
    let undone = |reason: &str| batches::Undoing { import: cellar.import, reason: reason.to_owned() };
    let undo = async |key, order| batches::undo_import(db, hand, key, order).await;
    trial.again("undo_import", undo, undone("of another vat"), undone("slip")).await;
    beside_the_books(db, cellar, trial).await;
}

async fn beside_the_books(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let (hand, batch) = (&cellar.club.hand, cellar.batch);
    let add = async |key, new| instruments::add_instrument(db, hand, key, new).await;
    trial.again("add_instrument", add, hydrometer("Hydrometer 3"), hydrometer("Hydrometer 4")).await;
    let now =
        |name: &str| instruments::Change { id: cellar.instrument, now: hydrometer(name), retired: true };
    let change = async |key, change| instruments::change_instrument(db, hand, key, change).await;
    trial.again("change_instrument", change, now("Old hydrometer"), now("Older hydrometer")).await;
    let work_on = async |key, new| efforts::record_effort(db, hand, key, new).await;
    trial.again("record_effort", work_on, work(batch, 1_000), work(batch, 1_001)).await;
    let wrong = |reason: &str| efforts::StrikeEffort { effort: cellar.effort, reason: reason.to_owned() };
    let strike = async |key, order| efforts::strike_effort(db, hand, key, order).await;
    trial.again("strike_effort", strike, wrong("of another batch"), wrong("slip")).await;
    let by = |by| efforts::Counting { by, litre_worth: None, hour_rate: None, kwh_price: None };
    let count = async |key, now| efforts::set_counting(db, &cellar.club.steward, key, now).await;
    trial.again("set_counting", count, by(By::Mass), by(By::NetValue)).await;
}

async fn bottles_and_after(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let (hand, taster, batch) = (&cellar.club.hand, &cellar.club.taster, cellar.batch);
    let fill = async |key, order| bottles::record_bottling(db, hand, key, order).await;
    let filled = |bottles| bottling(batch, cellar.place, bottles);
    trial.again("record_bottling", fill, filled(2), filled(1)).await;
    let fill = async |key, orders| bottles::record_bottlings(db, hand, key, orders).await;
    let sizes = |bottles| vec![filled(1), Bottling { bottle_volume: Milli::new(375_000), ..filled(bottles) }];
    trial.again("record_bottlings", fill, sizes(2), sizes(1)).await;
    let taken = |bottles| Withdrawal {
        bottling: cellar.bottled.bottling,
        day: june(),
        bottles,
        purpose: Purpose::Taken,
        member: Some(taster.member),
        place: None,
        happened_at: None,
        remark: String::new(),
    };
    let take = async |key, order| bottles::record_withdrawal(db, taster, key, order).await;
    trial.again("record_withdrawal", take, taken(1), taken(2)).await;
    let entry = take(None, taken(1)).await.expect("one more is taken");
    let mistake = |reason: &str| reversals::TakeBack { entry, reason: reason.to_owned() };
    let back = async |key, order| reversals::record_reversal(db, hand, key, order).await;
    trial.again("record_reversal", back, mistake("a mistake"), mistake("brought back")).await;
    let later = |to: &str| reminders::Become::PutOff(day(to));
    let settle = async |key, what| reminders::settle(db, taster, key, cellar.reminder, what).await;
    trial.again("settle", settle, later("2027-01-15"), later("2027-01-16")).await;
    let over = |reason: &str| Ending { batch, day: june(), abandoned: true, reason: reason.to_owned() };
    let end = async |key, order| batches::record_end(db, hand, key, order).await;
    trial.again("record_end", end, over("mould"), over("vinegar")).await;
}

async fn at_the_table(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let (hand, taster, id) = (&cellar.club.hand, &cellar.club.taster, cellar.tasting);
    let named = |title: &str| {
        let plan = tasting(&cellar.club, vec![cellar.bottled.bottling]);
        tastings::Plan { title: title.to_owned(), ..plan }
    };
    let plan = async |key, plan| tastings::plan_tasting(db, hand, key, plan).await;
    trial.again("plan_tasting", plan, named("Autumn"), named("Winter")).await;
    let change = async |key, plan| tastings::change_tasting(db, hand, key, id, plan).await;
    trial.again("change_tasting", change, named("Whey wine"), named("Whey")).await;
    let lines = |at: usize| usual_attributes().split_off(at);
    let set = async |key, list| tastings::set_attributes(db, hand, key, list).await;
    trial.again("set_attributes", set, lines(5), lines(6)).await;
    let age = |age_days| tastings::NewAge { bottling: cellar.bottled.bottling, age_days };
    let set = async |key, order| tastings::set_tasting_age(db, hand, key, order).await;
    trial.again("set_tasting_age", set, age(365), age(366)).await;
    let reply = |may_taste| tastings::Reply { tasting: id, may_taste };
    let answer = async |key, reply| tastings::answer_allergens(db, taster, key, reply).await;
    trial.again("answer_allergens", answer, reply(true), reply(false)).await;
    let order = |of_age| tastings::Beginning { tasting: id, of_age };
    let begin = async |key, order| tastings::begin_tasting(db, hand, key, order).await;
    trial.again("begin_tasting", begin, order(true), order(false)).await;
    let table = table_of(db, cellar, id).await;
    let part = |mark| tastings::Part {
        tasting: id,
        answers: vec![marked(table.glasses[0].code, mark)],
        hand_in: false,
    };
    let save = async |key, part| tastings::save_sheet(db, taster, key, part).await;
    trial.again("save_sheet", save, part(75), part(80)).await;
    let off = |reason: &str| tastings::CallingOff { tasting: id, reason: reason.to_owned() };
    let call_off = async |key, order| tastings::call_off(db, hand, key, order).await;
    trial.again("call_off", call_off, off("the mill is flooded"), off("nobody came")).await;
    let other = open_table(db, cellar).await;
    let open = async |key, id| tastings::open_key(db, hand, key, id).await;
    trial.again("open_key", open, other, id).await;
}

/// Secrets are shown once: what is answered again is the same invitation or token, with another secret.
async fn people(db: &Database, cellar: &Cellar, trial: &mut Trial<'_>) {
    let keep = async |key, limit| reports::set_yearly_limit(db, &cellar.club.steward, key, limit).await;
    trial.again("set_yearly_limit", keep, Some(Milli::new(400_000_000)), None).await;
    let (hand, steward) = (&cellar.club.hand, &cellar.club.steward);
    let guest = |name: &str| members::Invitation::read(name, Role::Taster).expect("an invitation");
    let invite = async |key, guest| members::invite(db, steward, key, guest).await.map(|made| made.0);
    trial.again("invite", invite, guest("Sietske"), guest("Foppe")).await;
    let [first, second] = brought_in(db, &cellar.club).await;
    let link = async |key, member| members::invite_member(db, steward, key, member).await.map(|made| made.0);
    trial.again("invite_member", link, first, second).await;
    let to = |role| members::ChangeRole { member: hand.member, role };
    let change = async |key, change| members::change_role(db, steward, key, change).await;
    trial.again("change_role", change, to(Role::Taster), to(Role::Onlooker)).await;
    let me = Onlooker::from_doer((*cellar.club.taster).clone()).expect("a taster may look");
    let sensor = |days| members::NewToken::read("sensor", Scope::Read, days).expect("a token");
    let make = async |key, token| members::new_token(db, &me, key, token).await.map(|made| made.0);
    trial.again("new_token", make, sensor(30), sensor(31)).await;
    let leave = async |key, really| {
        if really { members::leave(db, &me, key).await } else { make(key, sensor(30)).await.map(|_| ()) }
    };
    trial.again("leave", leave, true, false).await;
    let remove = async |key, member| members::remove_member(db, steward, key, member).await;
    trial.again("remove_member", remove, hand.member, steward.member).await;
}

fn june() -> Day {
    day("2026-06-02")
}

async fn one_request_sent_by_many_at_once_is_recorded_once(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (batch, milk, hand) = (cellar.batch, cellar.milk, cellar.club.hand.clone());
    let before = told(&mut ground.connection());
    let sent: Vec<_> = (0..12)
        .map(|_| {
            let (db, hand) = (db.clone(), hand.clone());
            tokio::spawn(async move {
                let order = draw(batch, day("2026-06-02"), Source::Item(milk), 1_000_000);
                batches::draw(&db, &hand, RequestKey::read("the-same-key").ok(), order).await
            })
        })
        .collect();
    let mut answers = BTreeSet::new();
    for task in sent {
        answers.insert(task.await.expect("no task breaks").expect("each is answered").entry);
    }
    assert_eq!(answers.len(), 1, "all get the one entry: {answers:?}");
    let after = told(&mut ground.connection());
    let count = |lines: &[String], table: &str| lines.iter().find(|line| line.starts_with(table)).cloned();
    assert_eq!(count(&before, "entries "), Some("entries 5".to_owned()));
    assert_eq!(count(&after, "entries "), Some("entries 6".to_owned()));
}
