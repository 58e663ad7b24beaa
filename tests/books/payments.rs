//! What members owe is settled: money goes between a member and the purse, and none is made or lost on the way.

use undercroft::actions::bottles::record_withdrawal;
use undercroft::actions::payments::record_payment;
use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::{Done, Error, stock};
use undercroft::db::books::{Which, holding, tell};
use undercroft::db::reports::by_member;
use undercroft::db::{AnyConn, Database, Failure};
use undercroft::domain::books::Account;
use undercroft::domain::bottles::{Purpose, Withdrawal};
use undercroft::domain::members::{Cellarhand, Doer};
use undercroft::domain::payments::{Payment, Way};
use undercroft::domain::refusal::Why;
use undercroft::domain::stock::Receipt;
use undercroft::units::ids::{EntryId, MemberId};
use undercroft::units::money::Money;

use crate::ground::cellar::{Cellar, bought};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    what_a_member_owes_is_settled_and_taken_back_by_a_steward_only,
    payments_of_one_member_are_not_told_to_another
);

fn cents(cents: i64) -> Money {
    Money::from_micros(cents * 10_000)
}

fn payment(member: MemberId, way: Way, amount: Money) -> Payment {
    Payment { day: day("2026-06-20"), member, way, amount, remark: String::new() }
}

/// Paid for supplies, paid in, took, owes; and what the purse holds.
async fn money(db: &Database, doer: &Doer, member: MemberId) -> ([Money; 4], Money) {
    let club = doer.club;
    let read = db.read(move |conn| {
        let all = by_member(conn, club)?;
        Ok::<_, Failure>((all, holding(conn, club, Account::Purse)?))
    });
    let (all, purse) = read.await.expect("the sums are read");
    let of = all.into_iter().find(|money| money.member == member).expect("a member of this club");
    ([of.paid, of.paid_in, of.took, of.owes], purse.cost)
}

async fn take_back(db: &Database, by: &Cellarhand, entry: EntryId) -> Done<EntryId> {
    record_reversal(db, by, None, TakeBack { entry, reason: "a mistake".to_owned() }).await
}

async fn what_a_member_owes_is_settled_and_taken_back_by_a_steward_only(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (steward, hand, taster) = (&cellar.club.steward, &cellar.club.hand, &cellar.club.taster);
    let member = taster.member;
    // The cellar's own receipt of 42.00 was paid by the club.
    assert_eq!(money(&db, hand, member).await, ([Money::ZERO; 4], cents(-42_00)));

    let lines = vec![bought(cellar.milk, 10_000_000, 12_500_000, cellar.place)];
    let receipt = Receipt { day: day("2026-06-02"), paid_by: Some(member), lines, remark: String::new() };
    stock::record_receipt(&db, hand, None, receipt).await.expect("milk comes");
    let pay = async |way, amount| record_payment(&db, steward, None, payment(member, way, amount)).await;
    let back = pay(Way::ToMember, cents(12_50)).await.expect("the club pays back");
    let zero = Money::ZERO;
    assert_eq!(
        money(&db, hand, member).await,
        ([cents(12_50), cents(-12_50), zero, zero], cents(-54_50)),
        "even: the club has paid for all of it"
    );

    let order = Withdrawal {
        bottling: cellar.bottled.bottling,
        day: day("2026-06-03"),
        bottles: 2,
        purpose: Purpose::Taken,
        member: Some(member),
        place: None,
        happened_at: None,
        remark: String::new(),
    };
    record_withdrawal(&db, taster, None, order).await.expect("two bottles are taken");
    let ([.., owes], _) = money(&db, hand, member).await;
    assert!(owes > zero, "two bottles have a cost");
    pay(Way::ToClub, owes).await.expect("the member pays");
    let (sums, purse) = money(&db, hand, member).await;
    assert_eq!(sums, [cents(12_50), owes - cents(12_50), owes, zero]);
    assert_eq!(purse, cents(-54_50) + owes);

    let Err(Error::Refused(refusal)) = take_back(&db, hand, back).await else {
        panic!("a cellarhand takes no payment back");
    };
    assert_eq!(refusal.why, Why::Forbidden);
    let by = Cellarhand::from_doer(Doer::clone(steward)).expect("a steward may what a cellarhand may");
    take_back(&db, &by, back).await.expect("a steward does");
    let (sums, purse) = money(&db, hand, member).await;
    assert_eq!(sums, [cents(12_50), owes, owes, cents(-12_50)]);
    assert_eq!(purse, cents(-42_00) + owes);

    let refused = pay(Way::ToClub, zero).await;
    assert!(matches!(refused, Err(Error::Refused(refusal)) if refusal.faults[0].field == "amount"));
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn payments_of_one_member_are_not_told_to_another(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (steward, hand, taster) = (&cellar.club.steward, &cellar.club.hand, &cellar.club.taster);
    let order = payment(taster.member, Way::ToClub, cents(20_00));
    let entry = record_payment(&db, steward, None, order).await.expect("it is paid");
    let by = Cellarhand::from_doer(Doer::clone(steward)).expect("a steward may what a cellarhand may");
    let back = take_back(&db, &by, entry).await.expect("it is taken back");
    let club = hand.club;
    let read = db.read(move |conn| {
        let of = |conn: &mut AnyConn, which| tell(conn, club, which, None, 100);
        Ok::<_, Failure>((of(conn, Which::All)?, of(conn, Which::Common)?))
    });
    let (all, common) = read.await.expect("the journal is read");
    assert_eq!(all.len(), common.len() + 2, "the payment and its reversal");
    for told in all {
        let of_payment = [entry, back].contains(&told.id);
        assert_eq!(common.contains(&told), !of_payment);
        assert!(told.may_be_told_to(steward) && told.may_be_told_to(taster));
        assert_eq!(told.may_be_told_to(hand), !of_payment);
    }
}
