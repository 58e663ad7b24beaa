//! Money between a member and the club: a member pays what they owe, or is paid back what they laid out.

use serde::{Deserialize, Serialize};

use super::books::{Account, EntryKind, NewEntry};
use super::refusal::Refusal;
use crate::units::days::Day;
use crate::units::ids::MemberId;
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// Which way the money goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// The member pays the club.
    ToClub,
    /// The club pays the member.
    ToMember,
}

impl Way {
    /// Both.
    pub const ALL: [Way; 2] = [Self::ToClub, Self::ToMember];

    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::ToClub => "to-club",
            Self::ToMember => "to-member",
        }
    }
}

/// Money that changes hands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Payment {
    /// When.
    pub day: Day,
    /// Between the club and whom.
    pub member: MemberId,
    /// Which way.
    pub way: Way,
    /// How much.
    pub amount: Money,
    /// A remark.
    pub remark: String,
}

/// The entry of a payment. What is paid beyond what is owed stands to the good of who paid it.
pub fn settle(order: &Payment) -> Result<NewEntry, Refusal> {
    if order.amount <= Money::ZERO {
        return Err(Refusal::unfit("amount", "Write an amount above zero, such as 25.00"));
    }
    let into_purse = match order.way {
        Way::ToClub => order.amount,
        Way::ToMember => order.amount.negated(),
    };
    let mut entry = NewEntry::new(EntryKind::Payment, order.day, order.remark.clone());
    entry.post(Account::Settled(order.member), Milli::ZERO, into_purse.negated());
    entry.post(Account::Purse, Milli::ZERO, into_purse);
    Ok(entry)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_payment_moves_money_between_a_member_and_the_purse_and_nothing_else() {
        let (member, amount) = (MemberId::fresh(), Money::from_micros(25_000_000));
        let pay = |way, amount| {
            let day = "2026-06-20".parse().unwrap();
            settle(&Payment { day, member, way, amount, remark: String::new() })
        };
        let paid = pay(Way::ToClub, amount).unwrap();
        assert!(paid.balances());
        assert_eq!(
            (paid.postings[0].account, paid.postings[0].cost),
            (Account::Settled(member), amount.negated())
        );
        assert_eq!((paid.postings[1].account, paid.postings[1].cost), (Account::Purse, amount));
        let back = pay(Way::ToMember, amount).unwrap();
        assert_eq!((back.postings[0].cost, back.postings[1].cost), (amount, amount.negated()));
        assert!(pay(Way::ToClub, Money::ZERO).unwrap_err().to_string().contains("above zero"));
    }
}
