//! Secrets that let somebody in: 256 random bits, given out once; the database holds their SHA-256.

use std::fmt;

use sha2::{Digest, Sha256};

use crate::db::Failure;

/// A secret as it is given out.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// 256 bits from the operating system, as 64 hexadecimal digits after `prefix`.
    pub(in crate::actions) fn fresh(prefix: &str) -> Result<Self, Failure> {
        let mut bits = [0_u8; 32];
        getrandom::fill(&mut bits).map_err(|error| Failure::Fault(format!("no random numbers: {error}")))?;
        Ok(Self(format!("{prefix}{}", hex(&bits))))
    }

    /// The text, for whom it is made.
    pub fn reveal(&self) -> &str {
        &self.0
    }

    pub(in crate::actions) fn hash(&self) -> String {
        hash(&self.0)
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(…)")
    }
}

/// What is kept of a secret that somebody shows.
pub(in crate::actions) fn hash(shown: &str) -> String {
    hex(&Sha256::digest(shown))
}

fn hex(bytes: &[u8]) -> String {
    let digit = |value: u8| char::from(b"0123456789abcdef"[usize::from(value & 15)]);
    bytes.iter().flat_map(|byte| [digit(byte >> 4), digit(*byte)]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_long_and_new_each_time_and_does_not_show_itself() {
        let (one, other) = (Secret::fresh("uc_").unwrap(), Secret::fresh("uc_").unwrap());
        assert_ne!(one, other);
        assert_eq!(one.reveal().len(), 3 + 64);
        assert!(!format!("{one:?}").contains(&one.reveal()[3..]));
    }

    #[test]
    fn the_hash_is_sha_256() {
        // FIPS 180-4, the example with the message "abc".
        assert_eq!(hash("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
