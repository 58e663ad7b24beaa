//! What is due by examples, and the fewest payments against trying all.

use proptest::prelude::*;

use super::*;

fn euros(euros: i64) -> Money {
    Money::from_micros(euros * 1_000_000)
}

fn parts(parts: &[i64]) -> Vec<Share> {
    parts
        .iter()
        .map(|part| Share { member: MemberId::fresh(), laid_out: euros(*part), worked: Money::ZERO })
        .collect()
}

/// Largest remainder: computed by hand, and the seats example of common textbooks (from memory).
#[test]
fn bottles_are_due_by_largest_remainder() {
    assert_eq!(due(100, &parts(&[1, 1, 1])), [34, 33, 33]);
    assert_eq!(due(1001, &parts(&[50, 30, 20])), [501, 300, 200]);
    assert_eq!(due(2, &parts(&[1, 1, 1])), [1, 1, 0]);
    assert_eq!(due(10, &parts(&[47_000, 16_000, 15_900, 12_000, 6000, 3100])), [5, 2, 1, 1, 1, 0]);
    assert_eq!(due(7, &[]), Vec::<i64>::new());
    assert_eq!(due(48, &parts(&[0, 0])), [0, 0]);
}

#[test]
fn work_counts_as_money_does() {
    let share = |laid_out, worked| Share {
        member: MemberId::fresh(),
        laid_out: euros(laid_out),
        worked: euros(worked),
    };
    assert_eq!(due(12, &[share(30, 0), share(10, 20), share(0, 60)]), [3, 3, 6]);
}

#[test]
fn nobody_shares_twice_or_without_a_part() {
    let mut sharing = Sharing { batch: BatchId::fresh(), shares: parts(&[5, 7]) };
    assert_eq!(sharing.check(), Ok(()));
    sharing.shares[1].laid_out = Money::ZERO;
    assert_eq!(sharing.check().unwrap_err().faults[0].field, "shares.1.laid_out");
    sharing.shares[1] = sharing.shares[0];
    assert_eq!(sharing.check().unwrap_err().faults[0].field, "shares.1.member");
}

/// What each has after the transfers, in hundredths; the purse last.
fn after(owes: &[(MemberId, Money)], evening: &Evening) -> (Vec<i64>, i64) {
    let mut left: Vec<i64> = owes.iter().map(|one| one.1.micros() / CENT).collect();
    let mut purse = 0;
    for Paid { from, to, amount } in &evening.transfers {
        assert!(*amount > Money::ZERO && from != to);
        let mut change = |who: &Option<MemberId>, by: i64| match who {
            Some(who) => left[owes.iter().position(|one| one.0 == *who).unwrap()] += by,
            None => purse += by,
        };
        change(from, -(amount.micros() / CENT));
        change(to, amount.micros() / CENT);
    }
    (left, purse)
}

fn club(cents: &[i64]) -> Vec<(MemberId, Money)> {
    cents.iter().map(|cents| (MemberId::fresh(), Money::from_micros(cents * CENT))).collect()
}

#[test]
fn two_pairs_take_two_payments() {
    let owes = club(&[500, -300, -500, 300]);
    let evening = even_out(&owes, Money::ZERO);
    assert_eq!((evening.transfers.len(), evening.fewest), (2, true));
    assert_eq!(after(&owes, &evening), (vec![0; 4], 0));
}

#[test]
fn the_purse_takes_what_is_over_and_gives_what_it_has() {
    let owes = club(&[700, -300]);
    let evening = even_out(&owes, Money::ZERO);
    assert_eq!(after(&owes, &evening), (vec![0, 0], 400));
    // 1000 are owed, 400 come in, 150 are in the purse: 450 wait, 300 and 150 by what is owed.
    let owes = club(&[400, -667, -333]);
    let evening = even_out(&owes, Money::from_micros(150 * CENT));
    assert_eq!(after(&owes, &evening), (vec![0, -300, -150], -150));
    assert_eq!(evening.waits.iter().map(|wait| wait.1.micros() / CENT).collect::<Vec<_>>(), [300, 150]);
    // A purse that is in debt gives nothing.
    let evening = even_out(&owes, Money::from_micros(-5000 * CENT));
    assert_eq!(after(&owes, &evening).1, 0);
}

#[test]
fn a_transfer_between_members_goes_by_way_of_the_club() {
    let (one, other) = (MemberId::fresh(), MemberId::fresh());
    let made = |from, to| Made {
        day: "2026-06-20".parse().unwrap(),
        paid: Paid { from, to, amount: euros(12) },
        remark: String::new(),
    };
    let payments = made(Some(one), Some(other)).payments().unwrap();
    let told: Vec<_> = payments.iter().map(|payment| (payment.member, payment.way)).collect();
    assert_eq!(told, [(one, Way::ToClub), (other, Way::ToMember)]);
    assert_eq!(made(None, Some(one)).payments().unwrap().len(), 1);
    assert!(made(Some(one), Some(one)).payments().is_err());
    assert!(made(None, None).payments().is_err());
}

/// The fewest payments, by trying for the first who is not even every partner on the other side.
fn fewest(left: &mut Vec<i64>, from: usize) -> usize {
    let Some(first) = (from..left.len()).find(|at| left[*at] != 0) else { return 0 };
    let mut best = usize::MAX;
    for other in first + 1..left.len() {
        if left[first] * left[other] < 0 {
            left[other] += left[first];
            best = best.min(1 + fewest(left, first + 1));
            left[other] -= left[first];
        }
    }
    best
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn no_fewer_payments_make_all_even(cents in prop::collection::vec(-6_i64..7, 2..7)) {
        let owes = club(&cents);
        let evening = even_out(&owes, Money::from_micros(1_000_000_000));
        let (left, purse) = after(&owes, &evening);
        prop_assert!(left.iter().all(|one| *one == 0), "{left:?}");
        prop_assert!(evening.waits.is_empty() && evening.fewest);
        let over: i64 = cents.iter().sum();
        prop_assert_eq!(purse, over);
        let mut all = cents;
        all.push(-over);
        prop_assert_eq!(evening.transfers.len(), fewest(&mut all, 0));
    }

    #[test]
    fn many_are_made_even_too(cents in prop::collection::vec(-90_000_i64..90_000, 2..60), purse in -5000_i64..5000) {
        let owes = club(&cents);
        let evening = even_out(&owes, Money::from_micros(purse * CENT));
        let (left, given) = after(&owes, &evening);
        let wait_of = |who: MemberId| evening.waits.iter().find(|wait| wait.0 == who);
        let waits = |who: MemberId| wait_of(who).map_or(0, |wait| wait.1.micros() / CENT);
        for ((who, _), left) in owes.iter().zip(&left) {
            prop_assert_eq!(-left, waits(*who));
        }
        prop_assert!(-given <= purse.max(0), "no more comes out of the purse than is in it");
        prop_assert!(evening.transfers.len() <= owes.len());
    }
}
