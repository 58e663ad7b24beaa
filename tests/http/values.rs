//! What a field may hold, and for each kind of field what cannot be meant by it, with the words that say so.

use serde_json::{Value, json};

/// What a field takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Takes {
    /// An amount above zero with this unit.
    Amount(&'static str),
    /// The same, where zero is meant too.
    Counted(&'static str),
    /// Whole pieces.
    Pieces,
    /// Money.
    Price,
    /// A day up to today.
    Past,
    /// A day to come.
    ToCome,
    /// Any day.
    AnyDay,
    /// A time up to now.
    Moment,
    /// Which one, of this club.
    Id,
    /// Which supply, as a page says it: `item:…` or `lot:…`.
    Source,
    /// One line of text.
    Line,
    /// Text of several lines.
    Remark,
    /// A whole number.
    Whole,
    /// One of a few words.
    Word,
    /// Yes or no.
    Flag,
    /// A decimal number: one that fits, with a point, and one that is outside its range.
    Number(&'static str, &'static str),
    /// A decimal number of something that is done once only: one that is outside its range.
    Once(&'static str),
    /// Days, with commas between.
    Ages,
}

/// What cannot be meant, and what is said of it.
pub struct Wrong {
    pub value: Value,
    pub says: &'static str,
    /// Only JSON can say it.
    pub json_only: bool,
}

pub fn amount(amount: &str, unit: &str) -> Value {
    json!({"amount": amount, "unit": unit})
}

impl Takes {
    /// Whether a decimal number is part of it, and one that fits, with a point.
    pub fn decimal(self) -> Option<Decimal> {
        match self {
            Self::Amount(unit) | Self::Counted(unit) => Some(Decimal { number: "1.5", unit: Some(unit) }),
            Self::Price => Some(Decimal { number: "1.5", unit: None }),
            Self::Number(number, _) => Some(Decimal { number, unit: None }),
            _ => None,
        }
    }

    /// What cannot be meant here.
    pub fn wrongs(self) -> Vec<Wrong> {
        let ten_thousand = "9".repeat(10_000);
        let mut found = self.own();
        // A page shows no more of it than fits, and nothing takes it.
        let long_says = match self {
            Self::Id => "no such",
            Self::Remark | Self::Line => "at most",
            _ => "",
        };
        let long = match self {
            Self::Amount(unit) | Self::Counted(unit) => amount(&ten_thousand, unit),
            _ => json!(ten_thousand),
        };
        found.push(wrong(long, long_says));
        let nul = match self {
            Self::Amount(unit) | Self::Counted(unit) => amount("1\0", unit),
            _ => json!("1\0"),
        };
        found.push(wrong(nul, "the code 0"));
        found.push(Wrong { value: json!({"a": {"b": 1}}), says: "", json_only: true });
        found
    }

    fn own(self) -> Vec<Wrong> {
        match self {
            Self::Amount(unit) => {
                let mut found = Self::Counted(unit).own();
                found.push(wrong(amount("0", unit), "above zero"));
                found
            }
            Self::Counted(unit) => {
                let other = if unit == "L" { "kg" } else { "L" };
                vec![
                    wrong(amount("1", "cans"), "is not a unit"),
                    wrong(amount("1", other), "This is kept by"),
                    wrong(amount("-1", unit), "not below zero"),
                    wrong(amount("99999999999999999", unit), "more than can be kept"),
                    wrong(amount("NaN", unit), ""),
                    wrong(amount("1e3", unit), ""),
                    wrong(amount("", unit), "Write a number"),
                    wrong(json!("1"), "has no unit"),
                    Wrong { value: json!({"amount": [], "unit": {}}), says: "single value", json_only: true },
                    Wrong { value: json!({"amount": 1e300, "unit": unit}), says: "", json_only: true },
                ]
            }
            Self::Pieces => vec![
                wrong(json!("1.5"), "whole number of pieces"),
                wrong(json!("0"), "above zero"),
                wrong(json!("-3"), "not below zero"),
                wrong(json!("1 kg"), "by the piece"),
                wrong(json!("99999999999999999"), "more than can be kept"),
                wrong(json!("many"), ""),
            ],
            Self::Price => vec![
                wrong(json!("-1"), "not below zero"),
                wrong(json!("39,6O"), "39.60"),
                wrong(json!("99999999999"), "below 1 000 000 000"),
                wrong(json!("9".repeat(17)), "too large"),
                wrong(json!("NaN"), "39.60"),
            ],
            Self::Past => vec![wrong(json!("2199-01-01"), "still to come"), no_day(), long_ago()],
            Self::ToCome => vec![wrong(json!("yesterday"), "a day to come"), no_day(), long_ago()],
            Self::AnyDay => vec![no_day(), long_ago()],
            Self::Moment => vec![
                wrong(json!("2199-01-01T12:00:00Z"), "still to come"),
                wrong(json!("2026-06-02T25:00:00Z"), ""),
                no_day(),
            ],
            Self::Id => vec![wrong(json!("nothing"), "no such"), wrong(json!("-1"), "no such")],
            Self::Source => vec![
                wrong(json!("item:nothing"), "Choose what is drawn"),
                wrong(json!("nothing"), "Choose what is drawn"),
            ],
            Self::Line | Self::Remark => vec![wrong(json!("a\u{7}b"), "control characters")],
            Self::Whole => vec![
                wrong(json!("-1"), "whole number"),
                wrong(json!("0"), "whole number"),
                wrong(json!("1.5"), "whole number"),
                wrong(json!("many"), "whole number"),
                wrong(json!("99999999999"), "whole number"),
            ],
            Self::Word => vec![wrong(json!("smell"), "Choose one of these")],
            Self::Flag => vec![wrong(json!("perhaps"), "true or false")],
            Self::Number(_, outside) | Self::Once(outside) => vec![
                wrong(json!(outside), ""),
                wrong(json!("many"), "not a number"),
                wrong(json!("NaN"), "not a number"),
                wrong(json!("9".repeat(17)), ""),
            ],
            Self::Ages => vec![
                wrong(json!("-90"), "in days"),
                wrong(json!("0"), "in days"),
                wrong(json!("soon"), "in days"),
                wrong(json!("99999"), "in days"),
                wrong(json!((1..=21).map(|age| age.to_string()).collect::<Vec<_>>().join(" ")), "at most"),
            ],
        }
    }
}

/// A number with a point, and the unit that goes with it.
pub struct Decimal {
    number: &'static str,
    unit: Option<&'static str>,
}

impl Decimal {
    /// With a point, with a comma, and as a number of JSON.
    pub fn ways(&self) -> [Value; 3] {
        let as_json: Value = serde_json::from_str(self.number).expect("a number with a point is JSON");
        [json!(self.number), json!(self.number.replace('.', ",")), as_json].map(|number| match self.unit {
            Some(unit) => json!({"amount": number, "unit": unit}),
            None => number,
        })
    }
}

fn wrong(value: Value, says: &'static str) -> Wrong {
    Wrong { value, says, json_only: false }
}

fn no_day() -> Wrong {
    wrong(json!("1 Smarch"), "Write the day like")
}

fn long_ago() -> Wrong {
    wrong(json!("0001-01-01"), "between the years")
}
