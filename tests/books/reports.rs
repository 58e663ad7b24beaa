//! Every sum that a report shows agrees with the books: the demo club, year by year, on both databases.

use std::collections::HashMap;

use undercroft::db::reports::{self, account, flows, in_span, losses, tasted, value_at};
use undercroft::db::{AnyConn, batches, bottles, costs, stock};
use undercroft::domain::books::{Account, Holding};
use undercroft::domain::members::Doer;
use undercroft::domain::reports::Span;
use undercroft::domain::stock::ItemKind;
use undercroft::jobs::demo;
use undercroft::units::days::{Day, Instant};
use undercroft::units::ids::BatchId;
use undercroft::units::money::Money;
use undercroft::units::quantity::Milli;

use crate::ground::{Ground, on_both};

on_both!(reports_agree_with_the_books);

async fn reports_agree_with_the_books(ground: &Ground) {
    let db = ground.open();
    let now: Instant = "2026-06-23T10:00:00".parse().expect("an instant");
    let loaded = demo::load(&db, now).await.unwrap_or_else(|why| panic!("{why}"));
    let conn = &mut db.connection().expect("a connection");
    let today: Day = "2026-06-23".parse().expect("a day");
    let first = reports::first_day(conn, loaded.club).expect("it is read").expect("the club has books");
    let all = Span { first, last: today };
    let doer = steward(conn, &loaded, now);
    let years: Vec<Span> = all.years().map(|year| Span::year(year).expect("a year")).collect();
    assert!(years.len() >= 3, "the demo club has several years");
    let cut = |span: &Span| Span { last: span.last.min(today), ..*span };
    let years: Vec<Span> = years.iter().map(cut).collect();
    what_was_there_and_moved_is_what_is_there(conn, &doer, &years);
    losses_add_up_to_their_account(conn, &doer, all, &years);
    members_balances_follow_from_year_to_year(conn, &doer, &years);
    bottles_cost_what_was_booked(conn, &doer, all);
    stories_of_many_are_those_of_each(conn, &doer, all);
    tastings_are_all_told(conn, &doer, all);
}

fn steward(conn: &mut AnyConn, loaded: &demo::Loaded, now: Instant) -> Doer {
    let people = undercroft::db::members::members(conn, loaded.club).expect("the members");
    let marit = people.iter().find(|member| member.name == "Marit Oldewelt").expect("the founder");
    undercroft::db::members::doer_of_member(conn, marit.id, now).expect("she is a member")
}

/// The stock of an item at the end of a year is that of the next at its beginning, and what the stock list of that day
/// says; all items and batches together are what the cellar was worth.
fn what_was_there_and_moved_is_what_is_there(conn: &mut AnyConn, doer: &Doer, years: &[Span]) {
    let mut held: HashMap<_, Holding> = HashMap::new();
    for span in years {
        let found = flows(conn, doer.club, *span).expect("flows");
        for flow in &found {
            assert_eq!(held.remove(&flow.id).unwrap_or_default(), flow.before, "{} {span:?}", flow.item.name);
        }
        assert!(held.values().all(|held| *held == Holding::default()), "nothing is gone between two years");
        held = found.iter().map(|flow| (flow.id, flow.after)).collect();
        let mut listed: HashMap<_, Holding> = HashMap::new();
        for line in stock::stock_on(conn, doer.club, span.last).expect("the stock list") {
            let sum = listed.entry(line.item).or_default();
            sum.quantity = sum.quantity + line.quantity;
            sum.cost = sum.cost + line.cost;
        }
        for flow in &found {
            assert_eq!(listed.remove(&flow.id).unwrap_or_default(), flow.after, "{}", flow.item.name);
        }
        assert!(listed.is_empty());
        let worth = value_at(conn, doer.club, &span.month_ends()).expect("the worth");
        for (end, value) in span.month_ends().iter().zip(&worth) {
            let since = reports::value_since(conn, doer.club, *end).expect("what came since");
            assert_eq!(*value, reports::value(conn, doer.club).expect("now").less(&since), "{end}");
        }
        let end = worth.last().expect("the end of the year");
        for kind in ItemKind::ALL {
            let of = found.iter().filter(|flow| flow.item.kind == kind);
            assert_eq!(of.map(|flow| flow.after.cost).sum::<Money>(), end.of(kind), "{kind:?}");
        }
    }
}

fn losses_add_up_to_their_account(conn: &mut AnyConn, doer: &Doer, all: Span, years: &[Span]) {
    let mut sum = Money::ZERO;
    for span in years {
        let found = losses(conn, doer.club, *span).expect("losses");
        let cost: Money = found.iter().map(|loss| loss.cost).sum();
        assert_eq!(cost, account(conn, doer.club, Account::Lost, *span).expect("the account"), "{span:?}");
        assert!(found.iter().all(|loss| span.holds(loss.day)));
        sum = sum + cost;
    }
    let whole = losses(conn, doer.club, all).expect("losses");
    assert_eq!(whole.iter().map(|loss| loss.cost).sum::<Money>(), sum);
    assert!(sum > Money::ZERO && whole.iter().any(|loss| loss.bottles > Milli::ZERO));
    assert!(
        whole.iter().any(|loss| loss.volume > Milli::ZERO && loss.cost == Money::ZERO),
        "lees cost nothing"
    );
}

fn members_balances_follow_from_year_to_year(conn: &mut AnyConn, doer: &Doer, years: &[Span]) {
    let mut before: HashMap<_, Money> = HashMap::new();
    let mut moved = [Money::ZERO; 3];
    for span in years {
        for year in in_span(conn, doer, *span).expect("the members") {
            let owed = before.insert(year.money.member, year.after).unwrap_or_default();
            assert_eq!(owed, year.before, "{} {span:?}", year.money.name);
            assert_eq!(year.before + year.took - year.paid - year.paid_in, year.after);
            let sums = [year.took, year.paid, year.paid_in];
            moved = [0, 1, 2].map(|at| moved[at] + sums[at]);
        }
    }
    assert!(moved[0] > Money::ZERO && moved[1] > Money::ZERO, "they took and paid: {moved:?}");
    for money in reports::by_member(conn, doer.club).expect("their statements") {
        assert_eq!(before.get(&money.member), Some(&money.owes), "{}", money.name);
    }
}

fn bottles_cost_what_was_booked(conn: &mut AnyConn, doer: &Doer, all: Span) {
    let found = bottles::of_days(conn, doer.club, all, None).expect("bottlings");
    assert_eq!(
        found.len(),
        bottles::bottlings(conn, doer.club, false, None, 1000).expect("all of them").len()
    );
    let entries: Vec<_> = found.iter().map(|bottling| bottling.entry).collect();
    let booked = costs::booked(conn, &entries).expect("what was booked");
    let known = costs::of_bottlings(conn, &found).expect("what they cost");
    for bottling in &found {
        let cost = &known[&bottling.entry];
        assert_eq!(cost.total(), booked[&bottling.entry], "bottling {}", bottling.code);
        let one = costs::of_batch(conn, bottling.batch, Some(bottling.entry)).expect("its lines");
        let packaging = costs::packaging(conn, bottling).expect("its packaging");
        let own =
            undercroft::domain::costs::BottlingCost::of(one, bottling.entry, packaging, bottling.bottles);
        let own = own.expect("it is among its own lines");
        assert_eq!(
            (own.came(), own.deducted(), own.packaging()),
            (cost.came(), cost.deducted(), cost.packaging())
        );
    }
}

fn stories_of_many_are_those_of_each(conn: &mut AnyConn, doer: &Doer, all: Span) {
    let found = batches::of_days(conn, doer.club, all, None).expect("batches");
    assert_eq!(found.len(), batches::batches(conn, doer.club, &[], None, 1000).expect("all of them").len());
    let ids: Vec<BatchId> = found.iter().map(|batch| batch.id).collect();
    let many = batches::stories(conn, doer.club, &ids).expect("their stories");
    for batch in &found {
        let one = batches::story(conn, doer.club, batch.id).expect("its story");
        assert_eq!(many[&batch.id], one, "batch {}", batch.code);
    }
    assert!(many.values().any(|story| story.moved_in > Milli::ZERO), "a blend is among them");
}

fn tastings_are_all_told(conn: &mut AnyConn, doer: &Doer, all: Span) {
    let told = tasted(conn, doer.club, all).expect("tastings");
    assert!(told.iter().any(|of| of.poured.iter().any(|poured| poured.mean.is_some())));
    for of in &told {
        assert!(of.open || of.poured.is_empty(), "what is in the glasses stays closed");
    }
    for bottling in bottles::of_days(conn, doer.club, all, None).expect("bottlings") {
        let sittings = undercroft::db::tastings::sittings(conn, doer.club, bottling.id).expect("sittings");
        for sitting in sittings {
            let of = told.iter().find(|of| of.id == sitting.tasting).expect("its tasting");
            let poured = of.poured.iter().find(|poured| poured.code == bottling.code).expect("it was poured");
            let count = sitting.marks.len();
            #[allow(clippy::cast_precision_loss, reason = "some dozens of marks")]
            let mean = sitting.marks.iter().map(|mark| mark.1).sum::<f64>() / count as f64;
            assert_eq!(usize::try_from(poured.marks), Ok(count));
            assert!((poured.mean.expect("a mean") - mean).abs() < 1e-9);
        }
    }
}
