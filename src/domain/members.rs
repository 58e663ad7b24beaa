//! Who may do what. A function that needs a role takes the type of that role; it cannot be forgotten.

use std::fmt;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::refusal::Refusal;
use crate::units::days::{self, Day, Instant};
use crate::units::ids::{ClubId, MemberId, PersonId};
use crate::units::{Misread, text};

/// What a member may do; each role includes those before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Reads.
    Onlooker,
    /// Sees the cellar, tastes, takes bottles.
    Taster,
    /// Records everything.
    Cellarhand,
    /// Runs the club.
    Steward,
}

impl Role {
    /// All roles, the one with most rights first.
    pub const ALL: [Role; 4] = [Self::Steward, Self::Cellarhand, Self::Taster, Self::Onlooker];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Onlooker => "onlooker",
            Self::Taster => "taster",
            Self::Cellarhand => "cellarhand",
            Self::Steward => "steward",
        }
    }

    /// What it is for, in a line.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Onlooker => "reads",
            Self::Taster => "sees the cellar, tastes, takes bottles",
            Self::Cellarhand => "records everything",
            Self::Steward => "runs the club",
        }
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name)
    }
}

/// How the address of somebody ends who was brought in with a table and has given none (RFC 2606: it leads nowhere).
pub const NOWHERE: &str = "@members.invalid";

/// What a token for the API may do, within the role of its member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Scope {
    /// Reads.
    Read,
    /// Reads and records.
    Write,
    /// Sends readings of a batch or a place, and does nothing else: for a sensor.
    Readings,
}

impl Scope {
    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Write => "write",
            Self::Readings => "readings",
        }
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Read, Self::Write, Self::Readings].into_iter().find(|scope| scope.name() == name)
    }
}

/// Who asks, in which club, and when: comes with every request.
#[derive(Debug, Clone)]
pub struct Doer {
    /// The club everything is bound to.
    pub club: ClubId,
    /// The club's name.
    pub club_name: String,
    /// ISO 4217.
    pub currency: String,
    /// The club's zone: decides which day it is.
    pub zone: Tz,
    /// The member.
    pub member: MemberId,
    /// The person behind the member.
    pub person: PersonId,
    /// The member's name.
    pub name: String,
    /// The member's role.
    pub role: Role,
    /// When the request came.
    pub now: Instant,
    /// Where it came from, for the audit log; empty for the program itself.
    pub address: String,
}

impl Doer {
    /// Whether what this member paid, took and owes may be shown to the doer: it is their own, or they run the club.
    pub fn may_see_money_of(&self, member: MemberId) -> bool {
        member == self.member || self.role >= Role::Steward
    }

    /// The day it is in the club.
    pub fn today(&self) -> Day {
        days::local_day(self.now, self.zone)
    }
}

macro_rules! ranks {
    ($($(#[$doc:meta])* $name:ident),*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone)]
        pub struct $name(Doer);

        impl $name {
            /// The doer as one of this rank, if the role covers it.
            pub fn from_doer(doer: Doer) -> Option<Self> {
                (doer.role >= Role::$name).then_some(Self(doer))
            }
        }

        impl std::ops::Deref for $name {
            type Target = Doer;
            fn deref(&self) -> &Doer {
                &self.0
            }
        }
    )*};
}

ranks! {
    /// Any member.
    Onlooker,
    /// A taster or more.
    Taster,
    /// A cellarhand or a steward.
    Cellarhand,
    /// A steward.
    Steward
}

/// An e-mail address as it is kept: trimmed, in lower case, plausible.
pub fn email(typed: &str) -> Result<String, Misread> {
    let address = text::line(typed, 254, "an e-mail address")?.to_lowercase();
    let plausible = address.split_once('@').is_some_and(|(name, host)| {
        !name.is_empty() && host.contains('.') && !host.starts_with('.') && !host.ends_with('.')
    });
    if plausible && !address.contains(' ') && address.matches('@').count() == 1 {
        Ok(address)
    } else {
        Err(Misread::new("Write the whole address, such as maren@example.org"))
    }
}

/// The shortest password that is taken.
pub const PASSWORD_AT_LEAST: usize = 12;

/// Words that guessers try first, each at least as long as a password must be; from memory, no source.
const COMMON: &[&str] = &[
    "password",
    "passwort",
    "motdepasse",
    "qwerty",
    "azerty",
    "letmein",
    "welcome",
    "iloveyou",
    "admin",
    "abc123",
    "123456",
    "111111",
    "000000",
    "undercroft",
    "changeme",
    "secret",
];

/// Whether a password may be used: long enough, and not one that guessers try first.
pub fn check_password(password: &str, name: &str, email: &str) -> Result<(), Misread> {
    let length = password.chars().count();
    if length < PASSWORD_AT_LEAST {
        return Err(Misread::new(format!(
            "Use at least {PASSWORD_AT_LEAST} characters; three or four words are easy to remember"
        )));
    }
    if length > 200 {
        return Err(Misread::new("Use at most 200 characters"));
    }
    let mut rest = text::folded(password);
    let own = [text::folded(name), email.split('@').next().unwrap_or_default().to_owned()];
    for known in COMMON.iter().copied().chain(own.iter().map(String::as_str).filter(|word| word.len() > 2)) {
        rest = rest.replace(known, "");
    }
    let mut left: Vec<char> = rest.chars().filter(|c| c.is_alphabetic()).collect();
    left.sort_unstable();
    left.dedup();
    if left.len() < 4 {
        return Err(Misread::new("This password is among the first that are guessed; use another"));
    }
    Ok(())
}

/// What a person typed in order to be let in; never shown, logged or kept.
#[derive(Clone, PartialEq, Eq)]
pub struct Password(String);

impl Password {
    /// As it was typed.
    pub fn new(typed: impl Into<String>) -> Self {
        Self(typed.into())
    }

    /// For hashing.
    pub fn as_bytes(&self) -> &[u8] {
        self.0.as_bytes()
    }

    /// Whether a person of this name and address may choose it.
    pub fn check(&self, name: &str, email: &str) -> Result<(), Misread> {
        check_password(&self.0, name, email)
    }
}

impl fmt::Debug for Password {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Password(…)")
    }
}

/// A person as written down by themselves. Whether the password may be chosen is asked when it is known
/// that the person is new; somebody who is known gives the password they have.
#[derive(Debug, Clone)]
pub struct NewPerson {
    /// What the others call them.
    pub name: String,
    /// In the one form in which addresses are kept.
    pub email: String,
    /// Of their choice, or the one they have.
    pub password: Password,
}

impl NewPerson {
    /// Reads the fields `name`, `email` and `password`; all that is wrong is said at once.
    pub fn read(name: &str, email: &str, password: &str) -> Result<Self, Refusal> {
        let name = text::line(name, 80, "a name").map_err(|wrong| Refusal::unfit("name", wrong));
        let address = self::email(email).map_err(|wrong| Refusal::unfit("email", wrong));
        let typed = if password.is_empty() {
            Err(Refusal::unfit("password", "Write a password"))
        } else {
            Ok(Password::new(password))
        };
        match (name, address, typed) {
            (Ok(name), Ok(email), Ok(password)) => Ok(Self { name, email, password }),
            (name, email, password) => Err(together([name.err(), email.err(), password.err()])),
        }
    }

    /// Refuses a password that a new person may not choose, at the field `password`.
    pub fn check_password(&self) -> Result<(), Refusal> {
        self.password.check(&self.name, &self.email).map_err(|wrong| Refusal::unfit("password", wrong))
    }
}

/// A club to be, with the person who will run it.
#[derive(Debug, Clone)]
pub struct NewClub {
    /// Its name.
    pub name: String,
    /// ISO 4217.
    pub currency: String,
    /// Decides which day it is.
    pub zone: Tz,
    /// Its first steward.
    pub steward: NewPerson,
}

impl NewClub {
    /// Reads the fields `name`, `currency`, `time_zone`; all that is wrong is said at once, with what is
    /// wrong with the steward (under `steward_name`, `steward_email`).
    pub fn read(
        name: &str,
        currency: &str,
        time_zone: &str,
        steward: Result<NewPerson, Refusal>,
    ) -> Result<Self, Refusal> {
        let name =
            text::line(name, 80, "the name of the club").map_err(|wrong| Refusal::unfit("name", wrong));
        let currency = self::currency(currency).map_err(|wrong| Refusal::unfit("currency", wrong));
        let zone = self::time_zone(time_zone).map_err(|wrong| Refusal::unfit("time_zone", wrong));
        match (name, currency, zone, steward) {
            (Ok(name), Ok(currency), Ok(zone), Ok(steward)) => Ok(Self { name, currency, zone, steward }),
            (name, currency, zone, steward) => {
                let steward = steward.err().map(of_steward);
                Err(together([name.err(), currency.err(), zone.err(), steward]))
            }
        }
    }
}

/// The same refusal for the person who will run a club, as the form for a club names the fields.
pub fn of_steward(mut refusal: Refusal) -> Refusal {
    for fault in &mut refusal.faults {
        if matches!(fault.field.as_str(), "name" | "email") {
            fault.field = format!("steward_{}", fault.field);
        }
    }
    refusal
}

/// All faults of several refusals in one.
fn together<const N: usize>(refusals: [Option<Refusal>; N]) -> Refusal {
    let faults = refusals.into_iter().flatten().flat_map(|refusal| refusal.faults).collect();
    Refusal { why: super::refusal::Why::Unfit, faults, entries: Vec::new() }
}

/// The code of a currency, ISO 4217: three letters. Which of them exist is not asked.
fn currency(typed: &str) -> Result<String, Misread> {
    let code = typed.trim().to_ascii_uppercase();
    if code.len() == 3 && code.bytes().all(|letter| letter.is_ascii_uppercase()) {
        Ok(code)
    } else {
        Err(Misread::new("Write the three letters of the currency, such as EUR or USD"))
    }
}

/// A time zone by its name in the IANA data base.
fn time_zone(typed: &str) -> Result<Tz, Misread> {
    typed
        .trim()
        .parse()
        .map_err(|_| Misread::new("Choose a place in the time zone, such as Europe/Amsterdam"))
}

/// Whether a member may stop being a steward while `others` run the club too.
pub fn may_step_down(others: i64) -> Result<(), Refusal> {
    if others > 0 {
        return Ok(());
    }
    Err(Refusal::conflict("role", "A club has at least one steward: make another member steward first"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_role_covers_those_below_it() {
        assert!(Role::Steward > Role::Cellarhand && Role::Cellarhand > Role::Taster);
        assert!(Role::Taster > Role::Onlooker);
    }

    #[test]
    fn passwords_that_are_guessed_first_are_refused() {
        for bad in ["short", "passwordpassword", "123456123456", "Maren Holt 2026!", "aaaaaaaaaaaa"] {
            assert!(check_password(bad, "Maren Holt", "maren@example.org").is_err(), "{bad}");
        }
        for good in ["wheel pit at low tide", "tidemill-demo-cellar", "пароль для погреба"] {
            assert!(check_password(good, "Maren Holt", "maren@example.org").is_ok(), "{good}");
        }
    }

    #[test]
    fn a_password_does_not_show_itself() {
        let person = NewPerson::read("Marit", "marit@tidemill.example", "wheel pit at low tide").unwrap();
        assert!(!format!("{person:?}").contains("wheel"));
    }

    #[test]
    fn all_that_is_wrong_with_a_new_club_is_said_at_once() {
        let steward = NewPerson::read("", "nobody", "");
        let refusal = NewClub::read(" ", "euro", "Middle Earth", steward).unwrap_err();
        let fields: Vec<_> = refusal.faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["name", "currency", "time_zone", "steward_name", "steward_email", "password"]);

        let steward = NewPerson::read("Marit", "Marit@tidemill.example", "wheel pit at low tide");
        let club = NewClub::read("Tidemill", "eur", "Europe/Amsterdam", steward).unwrap();
        assert_eq!((club.currency.as_str(), club.zone), ("EUR", Tz::Europe__Amsterdam));
    }

    #[test]
    fn the_last_steward_cannot_step_down() {
        assert!(may_step_down(0).unwrap_err().to_string().contains("at least one steward"));
        assert!(may_step_down(1).is_ok());
    }

    #[test]
    fn an_address_is_kept_in_one_form() {
        assert_eq!(email(" Maren@Example.org ").unwrap(), "maren@example.org");
        for bad in ["maren", "@example.org", "maren@example", "a b@example.org", "a@b@c.d", "a@.b."] {
            assert!(email(bad).is_err(), "{bad}");
        }
    }
}
