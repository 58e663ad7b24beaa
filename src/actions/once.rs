//! Carrying out a request at most once, however often it is sent.

use std::fmt::Write as _;

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
    /// Between 1 and 255 visible ASCII characters.
    pub fn read(text: &str) -> Result<Self, Misread> {
        let fits = (1..=255).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_graphic());
        if fits {
            Ok(Self(text.to_owned()))
        } else {
            Err(Misread::new("A request key has 1 to 255 visible ASCII characters"))
        }
    }
}

/// What is to be carried out: a command, under a name that tells it from others, and how.
pub struct Request<C, T> {
    /// The name of the action.
    pub name: &'static str,
    /// The command.
    pub command: C,
    /// What carries it out, on the connection of an open transaction.
    pub act: fn(&mut AnyConn, &Doer, &C) -> Done<T>,
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
    let request = Request { name, command, act };
    db.write(move |conn| carry_out(conn, &doer, key.as_ref(), &request)).await
}

/// The same on the connection of a transaction that is open already.
pub fn carry_out<C, T>(
    conn: &mut AnyConn,
    doer: &Doer,
    key: Option<&RequestKey>,
    request: &Request<C, T>,
) -> Done<T>
where
    C: Serialize,
    T: Serialize + DeserializeOwned,
{
    let Some(RequestKey(key)) = key else {
        return (request.act)(conn, doer, &request.command);
    };
    let fingerprint = fingerprint(request.name, &request.command)?;
    if let Some((before, answer)) = requests::answered(conn, doer, key)? {
        return again(&before, &fingerprint, &answer);
    }
    let answer = (request.act)(conn, doer, &request.command)?;
    let kept = serde_json::to_string(&answer).map_err(|error| fault(&error))?;
    requests::keep(conn, doer, key, &fingerprint, &kept)?;
    Ok(answer)
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
    Ok(hash.iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a String does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    }))
}

fn fault(error: &serde_json::Error) -> Error {
    Failure::Fault(error.to_string()).into()
}
