//! Who may do what. A function that needs a role takes the type of that role; it cannot be forgotten.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

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
}

impl Doer {
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
    "password", "passwort", "motdepasse", "qwerty", "azerty", "letmein", "welcome", "iloveyou", "admin",
    "abc123", "123456", "111111", "000000", "undercroft", "changeme", "secret",
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
    fn an_address_is_kept_in_one_form() {
        assert_eq!(email(" Maren@Example.org ").unwrap(), "maren@example.org");
        for bad in ["maren", "@example.org", "maren@example", "a b@example.org", "a@b@c.d", "a@.b."] {
            assert!(email(bad).is_err(), "{bad}");
        }
    }
}
