//! Hashing passwords: Argon2id off the async threads, and never more than two at once, so that signing in
//! cannot exhaust the memory (46 MiB each).

use std::fmt;
use std::time::Duration;

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use tokio::sync::Semaphore;

use crate::actions::Done;
use crate::db::Failure;
use crate::domain::members::Password;

/// Memory in KiB; with one pass and one lane a choice of the OWASP Password Storage Cheat Sheet.
const MEMORY_KIB: u32 = 47_104;
/// How long somebody may wait for their turn.
const PATIENCE: Duration = Duration::from_secs(10);
static TURNS: Semaphore = Semaphore::const_new(2);

/// Hashed like a password, and of none: what an unknown name is compared with, so that it takes as long.
const NOBODY: &str = "$argon2id$v=19$m=47104,t=1,p=1$YIb66BlOFmRJy9pLyCR1Aw$\
                      IrC5YoGZy6czMPvdOBJu5dFTkSMABRct+MXrY5rLMxo";

/// A password as it is kept, in the PHC form.
#[derive(Clone, PartialEq, Eq)]
pub struct PasswordHash(String);

impl PasswordHash {
    pub(super) fn kept(text: String) -> Self {
        Self(text)
    }

    pub(super) fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for PasswordHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PasswordHash(…)")
    }
}

/// Hash a password that may be chosen.
pub async fn hash(password: &Password) -> Done<PasswordHash> {
    let password = password.clone();
    let hashed = in_turn(move || {
        let mut salt = [0_u8; 16];
        getrandom::fill(&mut salt).map_err(|error| error.to_string())?;
        let params = Params::new(MEMORY_KIB, 1, 1, None).map_err(|error| error.to_string())?;
        Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
            .hash_password_with_salt(password.as_bytes(), &salt)
            .map(|hash| hash.to_string())
            .map_err(|error| error.to_string())
    })
    .await?;
    Ok(PasswordHash(hashed.map_err(Failure::Fault)?))
}

/// Whether a password is the one that was hashed; with nothing to compare it takes as long and is not.
pub(super) async fn fits(password: &Password, hash: Option<&PasswordHash>) -> Done<bool> {
    let (password, known) = (password.clone(), hash.is_some());
    let hash = hash.map_or(NOBODY, PasswordHash::as_str).to_owned();
    let fits = in_turn(move || Argon2::default().verify_password(password.as_bytes(), hash.as_str()).is_ok())
        .await?;
    Ok(fits && known)
}

async fn in_turn<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Failure> {
    let turn = tokio::time::timeout(PATIENCE, TURNS.acquire()).await.map_err(|_| Failure::Busy)?;
    // The semaphore is never closed; the turn goes with the work, so that it counts until the work has
    // ended even when whoever asked has gone away.
    let turn = turn.map_err(|_| Failure::Busy)?;
    tokio::task::spawn_blocking(move || {
        let _turn = turn;
        work()
    })
    .await
    .map_err(|error| Failure::Fault(error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn only_the_password_itself_fits() {
        let password = Password::new("wheel pit at low tide");
        let kept = hash(&password).await.unwrap();
        assert!(fits(&password, Some(&kept)).await.unwrap());
        assert!(!fits(&Password::new("wheel pit at low tide "), Some(&kept)).await.unwrap());
        assert!(!fits(&password, None).await.unwrap());
        assert_ne!(hash(&password).await.unwrap(), kept, "each hash has a salt of its own");
    }

    #[tokio::test]
    async fn an_unknown_name_takes_the_same_work() {
        let kept = hash(&Password::new("wheel pit at low tide")).await.unwrap();
        let form = |text: &str| {
            let parts: Vec<_> = text.split('$').map(str::to_owned).collect();
            (parts[..4].join("$"), parts[4].len(), parts[5].len())
        };
        assert_eq!(form(NOBODY), form(kept.as_str()));
        let parsed = argon2::password_hash::phc::PasswordHash::new(NOBODY);
        assert!(parsed.is_ok(), "a hash that cannot be read would be refused at once");
    }
}
