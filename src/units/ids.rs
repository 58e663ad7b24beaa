//! Identities: 63-bit, ordered by the time they were made, one type a table.
//!
//! The upper 43 bits are milliseconds since 2020, the lower 20 start at a random place and count up, so
//! several servers can make ids without asking each other and new rows land at the end of an index.
//! In addresses an id is written as 13 letters and digits (Crockford's base 32, lower case).

use std::fmt;
use std::str::FromStr;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::Misread;

const EPOCH_MS: i64 = 1_577_836_800_000;
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
static LAST: AtomicI64 = AtomicI64::new(0);

/// The next number that no other id has: later than every earlier one of this process.
fn next() -> i64 {
    let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let ms = i64::try_from(since_1970.as_millis()).unwrap_or(i64::MAX).saturating_sub(EPOCH_MS);
    let random = i64::from(getrandom::u32().unwrap_or(0) & 0x7_ffff);
    let wanted = (ms.clamp(1, (1 << 43) - 1) << 20) | random;
    let before = LAST
        .fetch_update(Ordering::Relaxed, Ordering::Relaxed, |last| Some(wanted.max(last + 1)))
        .unwrap_or(wanted);
    wanted.max(before + 1)
}

/// The short form in which an id is shown.
pub(crate) fn write_short(number: i64) -> String {
    let digit = |place: u32| usize::try_from((number >> (5 * place)) & 31).unwrap_or(0);
    (0..13).rev().map(|place| char::from(LETTERS[digit(place)])).collect()
}

/// From its short form.
pub(crate) fn read_short(text: &str) -> Option<i64> {
    if text.len() != 13 {
        return None;
    }
    let number = text.bytes().try_fold(0_u128, |sum, letter| {
        let digit = LETTERS.iter().position(|known| *known == letter.to_ascii_lowercase())?;
        Some(sum << 5 | digit as u128)
    })?;
    i64::try_from(number).ok()
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(pub(crate) i64);

        impl $name {
            /// A new identity, later than all before it.
            pub fn fresh() -> Self {
                Self(next())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&write_short(self.0))
            }
        }

        impl FromStr for $name {
            type Err = Misread;
            fn from_str(text: &str) -> Result<Self, Misread> {
                read_short(text).map(Self).ok_or_else(|| Misread::new("There is nothing with this id"))
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.collect_str(self)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                String::deserialize(from)?.parse().map_err(serde::de::Error::custom)
            }
        }
    )*};
}

ids! {
    /// A club.
    ClubId,
    /// A person, who may be a member of several clubs.
    PersonId,
    /// A person's place in one club.
    MemberId,
    /// A signed-in browser.
    SessionId,
    /// An invitation to a club.
    InvitationId,
    /// A token for the API.
    TokenId,
    /// A one-time address where a club is set up.
    SetUpId,
    /// A line of the audit log.
    AuditId,
    /// A kind of thing kept.
    ItemId,
    /// Where stock stands.
    PlaceId,
    /// One identified quantity of one item.
    LotId,
    /// One making of one drink.
    BatchId,
    /// One event in the books.
    EntryId,
    /// One account of the books, with its balance.
    AccountId,
    /// A measured value.
    ReadingId,
    /// One filling of a batch into bottles.
    BottlingId,
    /// An age at which a bottling should be tasted.
    TastingAgeId,
    /// Something that somebody should do by a day.
    ReminderId,
    /// What is mailed to a member on a day.
    LetterId,
    /// A tasting.
    TastingId,
    /// A bottling that is poured at a tasting.
    SampleId,
    /// A coded glass.
    GlassId,
    /// What one member says of the glasses.
    SheetId,
    /// Why somebody went on in spite of a dangerous caution.
    ReasonId,
    /// A stock-taking.
    CountId,
    /// A lot at a place in a stock-taking.
    CountLineId,
    /// What one member counted of it.
    TallyId,
    /// A written way to make a drink.
    RecipeId,
    /// One numbered revision of a recipe.
    RevisionId,
    /// What became of a step of a batch.
    StepRecordId,
    /// An instrument of the club.
    InstrumentId,
    /// A logger’s file that came in as one act.
    ImportId,
    /// What was read at a place.
    ClimateId,
    /// Work or energy that went into a batch.
    EffortId,
    /// What a batch stands in.
    VesselId,
    /// A batch in a vessel, from a day to a day.
    FillingId,
    /// A lot that is held back.
    HoldId,
    /// A table that was brought in.
    IntakeId,
    /// A photo or a PDF of a bill.
    BillId,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn later_ids_are_larger_and_come_back_from_their_short_form() {
        let mut before = EntryId(0);
        for _ in 0..10_000 {
            let id = EntryId::fresh();
            assert!(id > before);
            assert_eq!(id.to_string().parse::<EntryId>().unwrap(), id);
            before = id;
        }
    }

    #[test]
    fn what_is_not_an_id_is_refused() {
        for text in ["", "12", "zzzzzzzzzzzzz", "0000000000uuu", "00000000000001", "é000000000000"] {
            assert!(text.parse::<LotId>().is_err(), "{text}");
        }
    }
}
