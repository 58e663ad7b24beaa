//! What a formula says about its inputs: the range it takes, the range it was checked in, the
//! refusal outside the one and the warning between the two.

use super::root;
use std::fmt;

/// A value that a formula cannot take, and what a person can do about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutOfRange {
    /// What the value is, in plain words: "sample temperature".
    pub what: &'static str,
    /// The value that was given; may be no number at all.
    pub value: f64,
    /// The lowest value taken.
    pub low: f64,
    /// The highest value taken.
    pub high: f64,
    /// The unit of all three, empty for a plain number.
    pub unit: &'static str,
    /// What to do, as a sentence.
    pub advice: &'static str,
}

impl std::error::Error for OutOfRange {}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, value, low, high, unit, advice } = *self;
        write!(f, "The {what} must lie between {} and {}", plain(low), with_unit(&plain(high), unit))?;
        if value.is_finite() {
            let side = if value < low { "low" } else { "high" };
            write!(f, "; {} is too {side}", with_unit(&exact(value), unit))?;
        } else {
            write!(f, "; what was given is not a number")?;
        }
        write!(f, ". {advice}")
    }
}

/// An input of a formula: what it is, the values taken, and those the formula was checked with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// What the value is, in plain words.
    pub what: &'static str,
    /// The unit, empty for a plain number.
    pub unit: &'static str,
    /// The lowest and highest value taken.
    pub allowed: (f64, f64),
    /// The lowest and highest value for which the formula was compared with a source.
    pub validated: (f64, f64),
    /// What to do when a value lies outside `allowed`.
    pub advice: &'static str,
}

impl Range {
    /// An input taken, and good, from `low` to `high`.
    pub const fn new(what: &'static str, unit: &'static str, low: f64, high: f64) -> Self {
        let advice = if unit.is_empty() { "Check the value." } else { "Check the value and its unit." };
        Self { what, unit, allowed: (low, high), validated: (low, high), advice }
    }

    /// The same input, checked only from `low` to `high`.
    #[must_use]
    pub const fn validated(self, low: f64, high: f64) -> Self {
        Self { validated: (low, high), ..self }
    }

    /// The same input, with other words for what to do.
    #[must_use]
    pub const fn advice(self, advice: &'static str) -> Self {
        Self { advice, ..self }
    }

    /// The same input, with bounds that follow from another one.
    #[must_use]
    pub const fn within(self, low: f64, high: f64) -> Self {
        Self { allowed: (low, high), ..self }
    }

    /// The value, if the formula takes it. NaN and infinities are refused.
    pub fn check(&self, value: f64) -> Result<f64, OutOfRange> {
        if (self.allowed.0..=self.allowed.1).contains(&value) { Ok(value) } else { Err(self.refuse(value)) }
    }

    /// The value, if the formula takes it, with a warning where it was not checked.
    pub fn guide(&self, value: f64) -> Result<Guide<f64>, OutOfRange> {
        let (low, high) = self.validated;
        let unchecked = !(low..=high).contains(&self.check(value)?);
        Ok(Guide::sure(value).warn_if(unchecked, || {
            format!(
                "This was checked for a {} from {} to {} only: take the figure as a rough guide.",
                self.what,
                plain(low),
                with_unit(&plain(high), self.unit)
            )
        }))
    }

    /// The refusal of `value`.
    pub const fn refuse(&self, value: f64) -> OutOfRange {
        let (low, high) = self.allowed;
        OutOfRange { what: self.what, value, low, high, unit: self.unit, advice: self.advice }
    }

    /// The `x` of the bracket for which `f(x)` is `value`. Where there is none, the value is refused.
    pub fn invert(&self, value: f64, bracket: (f64, f64), f: impl Fn(f64) -> f64) -> Result<f64, OutOfRange> {
        self.check(value)?;
        root::find(bracket.0, bracket.1, |x| f(x) - value).map_err(|_| self.refuse(value))
    }
}

/// A volume of drink, milk or water that a club may handle.
pub const VOLUME_L: Range = Range::new("volume", "L", 0.0, 1e6);

/// A computed value and, where it goes beyond what was checked, the warning to show with it.
#[must_use]
#[derive(Debug, Clone, PartialEq)]
pub struct Guide<T> {
    /// The value.
    pub value: T,
    /// What a person must be told with it, as one or more sentences.
    pub warning: Option<String>,
}

impl<T> Guide<T> {
    /// A value without a warning.
    pub const fn sure(value: T) -> Self {
        Self { value, warning: None }
    }

    /// The same, with one more sentence of warning, unless it says so already.
    pub fn warn(mut self, text: &str) -> Self {
        match &mut self.warning {
            None => self.warning = Some(text.to_owned()),
            Some(said) if said.contains(text) => {}
            Some(said) => *said = format!("{said} {text}"),
        }
        self
    }

    /// The same, with the warning if it applies.
    pub fn warn_if<S: AsRef<str>>(self, applies: bool, text: impl FnOnce() -> S) -> Self {
        if applies { self.warn(text().as_ref()) } else { self }
    }

    /// Another value that carries the same warning.
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Guide<U> {
        Guide { value: f(self.value), warning: self.warning }
    }

    /// Both values, with the warnings of both.
    pub fn and<U>(self, other: Guide<U>) -> Guide<(T, U)> {
        let both = Guide { value: (self.value, other.value), warning: self.warning };
        match other.warning {
            Some(text) => both.warn(&text),
            None => both,
        }
    }
}

/// A bound, rounded to four decimals.
fn plain(value: f64) -> String {
    if value.abs() >= 1e9 {
        return format!("{value:e}");
    }
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A given value, as it was given.
fn exact(value: f64) -> String {
    let short = value == 0.0 || (1e-6..1e9).contains(&value.abs());
    if short { format!("{value}") } else { format!("{value:e}") }
}

fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_owned() } else { format!("{number} {unit}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAMPLE: Range = Range::new("sample temperature", "°C", 5.0, 40.0).validated(10.0, 30.0);

    #[test]
    fn a_refusal_says_what_is_wrong_and_what_to_do() {
        let cold = SAMPLE.advice("Warm the sample.").check(-3.5).unwrap_err().to_string();
        assert_eq!(
            cold,
            "The sample temperature must lie between 5 and 40 °C; -3.5 °C is too low. Warm the sample."
        );
        let none = Range::new("gravity", "", 0.98, 1.17).check(f64::NAN).unwrap_err().to_string();
        assert_eq!(
            none,
            "The gravity must lie between 0.98 and 1.17; what was given is not a number. Check the value."
        );
    }

    #[test]
    fn only_a_number_inside_the_bounds_is_taken() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 4.999, 40.001, 1e300, -1e300] {
            assert!(SAMPLE.check(value).is_err() && SAMPLE.guide(value).is_err(), "{value}");
        }
        assert_eq!(SAMPLE.check(5.0), Ok(5.0));
        assert_eq!(SAMPLE.check(40.0), Ok(40.0));
    }

    #[test]
    fn between_checked_and_allowed_there_is_a_warning() {
        assert_eq!(SAMPLE.guide(20.0).unwrap().warning, None);
        assert_eq!(
            SAMPLE.guide(35.0).unwrap().warning.unwrap(),
            "This was checked for a sample temperature from 10 to 30 °C only: \
             take the figure as a rough guide."
        );
    }

    #[test]
    fn warnings_add_up_and_are_said_once() {
        let hot = SAMPLE.guide(35.0).unwrap().and(SAMPLE.guide(36.0).unwrap()).warn("Stir.");
        assert!(hot.warning.unwrap().ends_with("rough guide. Stir."));
        assert_eq!(Guide::sure(1.0).warn("Stir.").warn("Stir.").warning.unwrap(), "Stir.");
    }

    #[test]
    fn an_inverse_refuses_what_the_function_never_reaches() {
        let input = Range::new("square", "", 0.0, 100.0);
        assert!((input.invert(2.0, (0.0, 3.0), |x| x * x).unwrap() - 2.0_f64.sqrt()).abs() < 1e-14);
        assert!(input.invert(50.0, (0.0, 3.0), |x| x * x).is_err());
    }
}
