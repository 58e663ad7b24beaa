//! Work and energy that went into a batch, as a club may want to know them: hours at the club's rate, kilowatt-hours at
//! a price, or a sum.
//!
//! They are not in the books. Members work unpaid and energy is on a bill that nobody splits by batch: booking either
//! would make up a debt that nobody owes, and the purse and the statements of members would no longer agree with what
//! was paid. So they stand beside the cost of the books, as a total of their own.

use serde::{Deserialize, Serialize};

use super::refusal::Refusal;
use crate::units::days::Day;
use crate::units::ids::BatchId;
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// What went in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EffortKind {
    /// Hours.
    Work,
    /// Kilowatt-hours.
    Energy,
}

impl EffortKind {
    /// All kinds.
    pub const ALL: [Self; 2] = [Self::Work, Self::Energy];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Work => "work",
            Self::Energy => "energy",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// Its name, and the unit of its amount.
    pub const fn label(self) -> (&'static str, &'static str) {
        match self {
            Self::Work => ("Work", "h"),
            Self::Energy => ("Energy", "kWh"),
        }
    }
}

/// Work or energy to be recorded: an amount, a sum, or both.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewEffort {
    /// Into which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// What.
    pub kind: EffortKind,
    /// Thousandths of an hour or of a kWh.
    pub amount: Option<Milli>,
    /// What it cost, where that is known as a sum.
    pub sum: Option<Money>,
    /// For what.
    pub remark: String,
}

impl NewEffort {
    /// What it costs: the sum, or the amount at the club's rate.
    pub fn cost(&self, rate: Option<Money>) -> Result<Money, Refusal> {
        if let Some(sum) = self.sum {
            return Ok(sum);
        }
        let Some(amount) = self.amount else {
            let unit = self.kind.label().1;
            return Err(Refusal::unfit("amount", format!("Write how much, in {unit}, or what it cost")));
        };
        let Some(rate) = rate else {
            return Err(Refusal::unfit(
                "sum",
                "The club has no rate for this: write what it cost, or have a steward set the rate on the Club page",
            ));
        };
        let cost = i128::from(amount.get()) * i128::from(rate.micros()) / 1000;
        i64::try_from(cost)
            .map(Money::from_micros)
            .map_err(|_| Refusal::unfit("amount", "This is too much to be meant"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn effort(amount: Option<i64>, sum: Option<i64>) -> NewEffort {
        NewEffort {
            batch: BatchId::fresh(),
            day: "2026-03-01".parse().unwrap(),
            kind: EffortKind::Work,
            amount: amount.map(Milli::new),
            sum: sum.map(Money::from_micros),
            remark: String::new(),
        }
    }

    #[test]
    fn an_amount_costs_its_rate_and_a_sum_is_itself() {
        let rate = Some(Money::from_micros(12_000_000));
        assert_eq!(effort(Some(2_500), None).cost(rate), Ok(Money::from_micros(30_000_000)));
        assert_eq!(effort(Some(2_500), Some(7)).cost(rate), Ok(Money::from_micros(7)));
        assert!(effort(Some(2_500), None).cost(None).unwrap_err().to_string().contains("no rate"));
        assert!(effort(None, None).cost(rate).unwrap_err().to_string().contains("how much, in h"));
        assert!(effort(Some(i64::MAX), None).cost(Some(Money::from_micros(i64::MAX))).is_err());
    }
}
