//! How values are said on a page: money with its sign, quantities with their unit, days in the club's own clock.

use crate::domain::members::Doer;
use crate::units::days::{self, Day, Instant};
use crate::units::money::Money;

/// What stands in the place of a figure that is covered for whoever counts.
pub const COVERED: &str = "covered";

/// The sign of a currency, before the figure; its code where it has none of its own.
pub fn sign(currency: &str) -> String {
    match currency {
        "EUR" => "€".to_owned(),
        "GBP" => "£".to_owned(),
        "USD" => "$".to_owned(),
        "JPY" => "¥".to_owned(),
        other => format!("{other}\u{a0}"),
    }
}

/// "€39.60", "− €46.20".
pub fn money(currency: &str, amount: Money) -> String {
    if amount < Money::ZERO && amount.shown() != "0.00" {
        format!("− {}{}", sign(currency), amount.negated().shown())
    } else {
        format!("{}{}", sign(currency), amount.negated().negated().shown().replace('−', ""))
    }
}

/// A figure of a table: "39.60", "− 46.20".
pub fn figure(amount: Money) -> String {
    spaced(&amount.shown())
}

/// A figure of a table with three places.
pub fn fine(amount: Money) -> String {
    spaced(&amount.shown_fine())
}

fn spaced(text: &str) -> String {
    text.replace('−', "− ")
}

/// "Tue 23 June, 18:40" in the club's clock.
pub fn when(at: Instant, doer: &Doer) -> String {
    let local = days::local(at, doer.zone);
    format!("{}, {}", days::short(local.date(), doer.today()), local.format("%H:%M"))
}

/// "today", "tomorrow", "in 5 days", "3 days late".
pub fn until(day: Day, today: Day) -> String {
    match (day - today).num_days() {
        0 => "Today".to_owned(),
        1 => "Tomorrow".to_owned(),
        -1 => "1 day late".to_owned(),
        days if days < 0 => format!("{} days late", -days),
        days => format!("In {days} days"),
    }
}

/// "3 July", with the year where it is another one.
pub fn day(day: Day, today: Day) -> String {
    let same_year = chrono::Datelike::year(&day) == chrono::Datelike::year(&today);
    day.format(if same_year { "%-d %B" } else { "%-d %B %Y" }).to_string()
}

/// "1 bottle", "42 bottles".
pub fn count(number: i64, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}

/// A mass for people: "8.80 kg", "640 g".
pub fn mass(grams: f64) -> String {
    if grams.abs() >= 1000.0 { format!("{:.1} kg", grams / 1000.0) } else { format!("{grams:.0} g") }
}

/// The first letter as a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_has_its_sign_and_a_minus_that_can_be_read() {
        assert_eq!(money("EUR", Money::from_micros(39_600_000)), "€39.60");
        assert_eq!(money("EUR", Money::from_micros(-46_200_000)), "− €46.20");
        assert_eq!(money("EUR", Money::from_micros(-1)), "€0.00");
        assert_eq!(money("CHF", Money::from_micros(1_000_000)), "CHF\u{a0}1.00");
        assert_eq!(fine(Money::from_micros(-1_100_000)), "− 1.100");
    }

    #[test]
    fn days_are_said_as_people_do() {
        let today: Day = "2026-06-23".parse().unwrap();
        assert_eq!(until(today, today), "Today");
        assert_eq!(until("2026-06-21".parse().unwrap(), today), "2 days late");
        assert_eq!(until("2026-06-28".parse().unwrap(), today), "In 5 days");
    }
}
