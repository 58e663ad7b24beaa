//! What of a report is looked at: a year or all of them, a drink, a day. It lives in the address, so that a view can be
//! sent to somebody.

use chrono::Datelike;
use utoipa::ToSchema;

use crate::db::reports::first_day;
use crate::db::{AnyConn, Failure};
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::reports::Span;
use crate::units::Misread;
use crate::units::days::{self, Day};
use crate::web::input::Draft;

/// Which part of a report.
#[derive(Debug, serde::Deserialize, ToSchema)]
pub struct ReportQuery {
    /// A calendar year, or `all`; this year if left out.
    pub year: Option<String>,
    /// Only this drink, where a report is about drinks.
    pub drink: Option<String>,
    /// The day of a report that is about one, whose year it then tells too; the last of the year if left out.
    pub on: Option<String>,
}

/// What is looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// The year; none for all of them.
    pub year: Option<i32>,
    /// Its days, up to today.
    pub span: Span,
    /// The drink.
    pub drink: Option<String>,
    /// The day, for a report that is about one.
    pub on: Day,
    /// A day was asked for.
    pub by_day: bool,
}

fn year_of(text: &str, today: Day) -> Result<Option<i32>, Misread> {
    if text.trim() == "all" {
        return Ok(None);
    }
    let year = text.trim().parse().ok().filter(|year| (1900..=today.year()).contains(year));
    let misread = || Misread::new(format!("Write a year up to {}, or all", today.year()));
    year.map(Some).ok_or_else(misread)
}

impl Asked {
    /// A year, or all from `first` on; never later than today.
    pub fn of_year(year: Option<i32>, today: Day) -> Self {
        let days = |year| Span::year(year).unwrap_or(Span::until(today));
        let span = match year {
            Some(year) => days(year),
            None => Span { first: days(1900).first, last: today },
        };
        let span = Span { last: span.last.min(today), ..span };
        Self { year, span, drink: None, on: span.last, by_day: false }
    }

    /// Reads it off an address.
    pub fn read(draft: &Draft, doer: &Doer) -> Result<Self, Refusal> {
        draft.read(doer, |r| {
            let today = r.today();
            let on = r.optional("on", |text| days::read_past(text, today));
            let year = r.optional("year", |text| year_of(text, today));
            let year = year.unwrap_or(Some(on.unwrap_or(today).year()));
            let drink = r.optional_line("drink", 80, "a drink");
            let asked = Self::of_year(year, today);
            let on_day = on.unwrap_or(asked.on);
            Self { drink: (!drink.is_empty()).then_some(drink), on: on_day, by_day: on.is_some(), ..asked }
        })
    }

    /// The same from the first day of the books on, where all years are asked for.
    pub fn within_books(self, conn: &mut AnyConn, doer: &Doer) -> Result<Self, Failure> {
        if self.year.is_some() {
            return Ok(self);
        }
        let first = first_day(conn, doer.club)?.unwrap_or(self.span.last);
        Ok(Self { span: Span { first, ..self.span }, ..self })
    }

    /// "2026", "all years".
    pub fn period(&self) -> String {
        self.year.map_or_else(|| "all years".to_owned(), |year| year.to_string())
    }

    /// "in 2026", "since 3 March 2019".
    pub fn when(&self) -> String {
        match self.year {
            Some(year) => format!("in {year}"),
            None => format!("since {}", days::long(self.span.first)),
        }
    }

    /// The address of this view under `path`.
    pub fn address(&self, path: &str) -> String {
        let (year, on) =
            (self.year.map_or_else(|| "all".to_owned(), |year| year.to_string()), days::iso(self.on));
        let mut query = form_urlencoded::Serializer::new(String::new());
        if self.by_day {
            query.append_pair("on", &on);
        } else {
            query.append_pair("year", &year);
        }
        if let Some(drink) = &self.drink {
            query.append_pair("drink", drink);
        }
        format!("{path}?{}", query.finish())
    }

    /// In the name of a file.
    pub fn in_name(&self) -> String {
        if self.by_day { days::iso(self.on) } else { self.period().replace("all years", "all") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_view_is_its_address_and_no_day_is_still_to_come() {
        let today: Day = "2026-06-23".parse().unwrap();
        let asked = Asked::of_year(Some(2026), today);
        assert_eq!((asked.span.last, asked.on), (today, today));
        assert_eq!(asked.address("/reports/yields"), "/reports/yields?year=2026");
        let past = Asked { drink: Some("Perry & co".to_owned()), ..Asked::of_year(Some(2025), today) };
        assert_eq!(past.on, "2025-12-31".parse().unwrap());
        assert_eq!(past.address("/r"), "/r?year=2025&drink=Perry+%26+co");
        assert_eq!(Asked::of_year(None, today).address("/r"), "/r?year=all");
        assert_eq!(year_of("2027", today).unwrap_err().to_string(), "Write a year up to 2026, or all");
        assert_eq!(year_of("all", today), Ok(None));
    }
}
