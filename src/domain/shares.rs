//! Whose the bottles of a batch are, and who pays whom so that all are even.
//!
//! A member's share is what they laid out for the batch and what their work counts for, as the club agreed. Bottles are
//! handed out by largest remainder. Nobody is bound to run a club like this: a batch without shares belongs to all.

use serde::{Deserialize, Serialize};

use super::payments::{Payment, Way};
use super::refusal::Refusal;
use crate::units::days::Day;
use crate::units::ids::{BatchId, BottlingId, MemberId};
use crate::units::money::{self, Money};

/// The part of one member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Share {
    /// Who.
    pub member: MemberId,
    /// What they laid out for it.
    pub laid_out: Money,
    /// What their work counts for.
    pub worked: Money,
}

impl Share {
    /// What they put in.
    pub fn put_in(&self) -> Money {
        self.laid_out + self.worked
    }
}

/// How the bottles of a batch are shared from now on; nobody's, where it is empty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sharing {
    /// Which batch.
    pub batch: BatchId,
    /// Who has which part.
    pub shares: Vec<Share>,
}

/// The most members who share a batch.
pub const MOST_SHARES: usize = 200;

impl Sharing {
    /// Everybody once, and each with something.
    pub fn check(&self) -> Result<(), Refusal> {
        for (at, share) in self.shares.iter().enumerate() {
            let field = |name: &str| format!("shares.{at}.{name}");
            if self.shares[..at].iter().any(|other| other.member == share.member) {
                return Err(Refusal::unfit(field("member"), "This member stands here twice; write one line"));
            }
            if share.put_in() <= Money::ZERO {
                return Err(Refusal::unfit(
                    field("laid_out"),
                    "Write what they laid out or what their work counts for; leave out who has no part",
                ));
            }
        }
        Ok(())
    }
}

/// A hundredth of the currency, in millionths.
const CENT: i64 = 10_000;

/// The bottles that are due to each, by largest remainder, ties to the first. None where nobody has a part.
pub fn due(bottles: i64, shares: &[Share]) -> Vec<i64> {
    let weight = |share: &Share| u32::try_from(share.put_in().micros() / CENT).unwrap_or(u32::MAX);
    let weights: Vec<u32> = shares.iter().map(weight).collect();
    money::shares(bottles, &weights).unwrap_or_else(|| vec![0; shares.len()])
}

/// What a member would like to have of a bottling. It binds nobody.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wish {
    /// Of which bottling.
    pub bottling: BottlingId,
    /// How many bottles; none takes the wish back.
    pub bottles: u32,
    /// What else they want to say.
    pub remark: String,
}

/// Money that goes from one to another; nobody stands for the purse of the club.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paid {
    /// Who pays.
    pub from: Option<MemberId>,
    /// Who is paid.
    pub to: Option<MemberId>,
    /// How much.
    pub amount: Money,
}

/// How all can be even.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Evening {
    /// Who pays whom.
    pub transfers: Vec<Paid>,
    /// What the club goes on owing, because it is in supplies and bottles that nobody has taken yet.
    pub waits: Vec<(MemberId, Money)>,
    /// There are no fewer payments that do it.
    pub fewest: bool,
}

/// Up to so many who owe or are owed, the payments are the fewest there can be; above that, about the fewest.
pub const EXACT_UP_TO: usize = 16;

/// Who pays whom, from what each owes the club (+) or is owed (−) and what is in its purse. What members owe goes to
/// those who are owed; the purse takes what is left over, and gives what it has where that is not enough.
pub fn even_out(owes: &[(MemberId, Money)], purse: Money) -> Evening {
    let cents: Vec<(MemberId, i64)> = owes
        .iter()
        .map(|(member, owed)| (*member, owed.paid().micros() / CENT))
        .filter(|one| one.1 != 0)
        .collect();
    let outstanding: i64 = cents.iter().map(|one| one.1.min(0)).sum::<i64>().abs();
    let coming: i64 = cents.iter().map(|one| one.1.max(0)).sum();
    let missing = (outstanding - coming).max(0);
    let from_purse = missing.min(purse.micros().max(0) / CENT);
    let waiting = wait(&cents, missing - from_purse);
    let mut all: Vec<(Option<MemberId>, i64)> =
        cents.iter().zip(&waiting).map(|((member, sum), later)| (Some(*member), sum + later)).collect();
    all.push((None, from_purse - (coming - outstanding).max(0)));
    all.retain(|one| one.1 != 0);
    let waits = cents.iter().zip(waiting).filter(|(_, later)| *later > 0);
    Evening {
        waits: waits.map(|((member, _), later)| (*member, Money::from_micros(later * CENT))).collect(),
        fewest: all.len() <= EXACT_UP_TO,
        transfers: groups(&all).iter().flat_map(|group| within(group)).collect(),
    }
}

/// What each who is owed has to wait for, in proportion.
fn wait(cents: &[(MemberId, i64)], missing: i64) -> Vec<i64> {
    let weight = |one: &(MemberId, i64)| u32::try_from(-one.1.min(0)).unwrap_or(u32::MAX);
    let weights: Vec<u32> = cents.iter().map(weight).collect();
    money::shares(missing, &weights).unwrap_or_else(|| vec![0; cents.len()])
}

type Party = (Option<MemberId>, i64);

/// Parts it into as many groups as can be that are even within themselves: each saves a payment. By dynamic programming
/// over all subsets.
fn groups(all: &[Party]) -> Vec<Vec<Party>> {
    let count = all.len();
    if count > EXACT_UP_TO || count == 0 {
        return vec![all.to_vec()];
    }
    let full = (1_usize << count) - 1;
    let mut sums = vec![0_i64; full + 1];
    // How many even groups the members of a subset can be added in, one after another.
    let mut most = vec![0_u8; full + 1];
    for set in 1..=full {
        let lowest = set.trailing_zeros() as usize;
        sums[set] = sums[set & (set - 1)] + all[lowest].1;
        let best =
            (0..count).filter(|at| set >> at & 1 == 1).map(|at| most[set & !(1 << at)]).max().unwrap_or(0);
        most[set] = best + u8::from(sums[set] == 0);
    }
    let (mut found, mut set, mut group) = (Vec::new(), full, Vec::new());
    while set != 0 {
        let even = u8::from(sums[set] == 0);
        if even == 1 && !group.is_empty() {
            found.push(std::mem::take(&mut group));
        }
        let one = (0..count).find(|at| set >> at & 1 == 1 && most[set & !(1 << at)] + even == most[set]);
        let Some(at) = one else { break };
        group.push(all[at]);
        set &= !(1 << at);
    }
    found.push(group);
    found
}

/// The payments within a group: who owes most pays who is owed most. There is one fewer than it has members.
fn within(group: &[Party]) -> Vec<Paid> {
    let mut left = group.to_vec();
    let mut found = Vec::new();
    loop {
        let (Some(payer), Some(paid)) = (
            left.iter().enumerate().filter(|one| one.1.1 > 0).max_by_key(|one| one.1.1).map(|one| one.0),
            left.iter().enumerate().filter(|one| one.1.1 < 0).min_by_key(|one| one.1.1).map(|one| one.0),
        ) else {
            return found;
        };
        let amount = left[payer].1.min(-left[paid].1);
        left[payer].1 -= amount;
        left[paid].1 += amount;
        let (from, to) = (left[payer].0, left[paid].0);
        found.push(Paid { from, to, amount: Money::from_micros(amount * CENT) });
    }
}

/// A transfer that was made, to be recorded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// When.
    pub day: Day,
    /// Who paid whom how much.
    pub paid: Paid,
    /// A remark.
    pub remark: String,
}

impl Made {
    /// The payments by which the books say it: who pays, pays the club; who is paid, is paid by the club.
    pub fn payments(&self) -> Result<Vec<Payment>, Refusal> {
        let Paid { from, to, amount } = self.paid;
        if from == to {
            return Err(Refusal::unfit("to", "Say who pays and who is paid; they cannot be the same"));
        }
        let pay = |(member, way): (Option<MemberId>, Way)| {
            member.map(|member| Payment { day: self.day, member, way, amount, remark: self.remark.clone() })
        };
        Ok([(from, Way::ToClub), (to, Way::ToMember)].into_iter().filter_map(pay).collect())
    }
}

#[cfg(test)]
mod tests;
