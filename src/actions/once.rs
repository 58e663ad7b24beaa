//! Carrying out a request at most once, however often it is sent.

use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

use super::{Done, Error};
use crate::db::{AnyConn, Database, Failure, requests};
use crate::domain::members::Doer;
use crate::domain::refusal::{Refusal, Why};
use crate::units::Misread;

/// The key that a form or a program gives a request before it is sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequestKey(String);

impl RequestKey {
    /// Between 8 and 128 visible ASCII characters.
    pub fn read(text: &str) -> Result<Self, Misread> {
        let fits = (8..=128).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_graphic());
        if fits {
            Ok(Self(text.to_owned()))
        } else {
            Err(Misread::new("A request key has 8 to 128 visible ASCII characters"))
        }
    }
}

/// Run `act` in one transaction. With a key, the answer is kept beside what was recorded: the same key and command
/// give the same answer again, the same key with another command is refused.
pub async fn once<C, T>(
    db: &Database,
    doer: &Doer,
    key: Option<RequestKey>,
    name: &'static str,
    command: C,
    act: fn(&mut AnyConn, &Doer, &C) -> Done<T>,
) -> Done<T>
where
    C: Serialize + Send + Sync + 'static,
    T: Serialize + DeserializeOwned + Send + 'static,
{
    let doer = doer.clone();
    let Some(RequestKey(key)) = key else {
        return db.write(move |conn| act(conn, &doer, &command)).await;
    };
    let fingerprint = fingerprint(name, &command)?;
    db.write(move |conn| {
        if let Some((before, answer)) = requests::answered(conn, &doer, &key)? {
            return again(&before, &fingerprint, &answer);
        }
        let answer = act(conn, &doer, &command)?;
        let kept = serde_json::to_string(&answer).map_err(|error| fault(&error))?;
        requests::keep(conn, &doer, &key, &fingerprint, &kept)?;
        Ok(answer)
    })
    .await
}

fn again<T: DeserializeOwned>(before: &str, now: &str, answer: &str) -> Done<T> {
    if before != now {
        return Err(Refusal::new(
            Why::Unfit,
            "request_key",
            "This form was sent before with other content, and that was recorded. Open the form anew to record more",
        )
        .into());
    }
    serde_json::from_str(answer).map_err(|error| fault(&error))
}

fn fingerprint<C: Serialize>(name: &str, command: &C) -> Done<String> {
    let text = serde_json::to_string(command).map_err(|error| fault(&error))?;
    let hash = Sha256::new().chain_update(name).chain_update([0]).chain_update(text).finalize();
    Ok(hash.iter().map(|byte| format!("{byte:02x}")).collect())
}

fn fault(error: &serde_json::Error) -> Error {
    Failure::Fault(error.to_string()).into()
}
