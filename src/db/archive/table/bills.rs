//! The files of bills.

use super::super::files::{File, Scope, has, may};
use super::WHOLE;
use crate::domain::archive::Kind::{self, Id, Instant, Of, Text, Word};
use crate::domain::bills::FileKind;

/// As long as a part may be, and a little more.
const LONGEST_PART: usize = 20_000;

const FINGERPRINT: Kind = Word(|word| word.len() == 64 && word.bytes().all(|byte| byte.is_ascii_hexdigit()));
const BASE64: Kind = Word(|word| {
    let known = |byte: u8| byte.is_ascii_alphanumeric() || b"+/=".contains(&byte);
    (1..=LONGEST_PART).contains(&word.len()) && word.bytes().all(known)
});

pub(super) const BILLS: File = File {
    name: "bills.csv",
    table: "bills",
    says: "Photos and PDFs of bills that are kept with receipts.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("entry_id", Of("entries.csv")),
        has("name", Text).says("how it was called where it came from"),
        has("kind", Word(|word| FileKind::from_code(word).is_some())),
        has("bytes", WHOLE).kept_as("size"),
        has("sha256", FINGERPRINT).kept_as("fingerprint").says("of what it holds"),
        has("added_by", Of("members.csv")),
        has("added_at", Instant),
        may("struck_at", Instant).says("what it held is gone then"),
        may("struck_by", Of("members.csv")),
        has("struck_because", Text),
    ],
    derived: &[],
};

pub(super) const PARTS: File = File {
    name: "bill_parts.csv",
    table: "bill_parts",
    says: "What bills hold, in base64: the parts of a bill in the order of their numbers are the file.",
    scope: Scope::Club,
    keys: &["bill_id", "number"],
    columns: &[has("bill_id", Of("bills.csv")), has("number", WHOLE), has("held", BASE64)],
    derived: &[],
};
