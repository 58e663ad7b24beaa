//! Tokens: how a script or a sensor acts for a member.

use chrono::Duration;
use serde::{Deserialize, Serialize};

use super::secrets::{Secret, hash as hash_of};
use super::sessions::{SEEN_EVERY, report};
use super::{audit, audit_by, token_rows};
use crate::actions::Done;
use crate::actions::once::{RequestKey, once};
use crate::db::{Database, Failure};
use crate::domain::members::{Doer, Onlooker, Scope};
use crate::domain::refusal::{Refusal, Why};
use crate::units::days::Instant;
use crate::units::ids::TokenId;
use crate::units::text;

/// Tokens that a member may have at once.
const MOST: usize = 50;
/// How long sending the same request again still gives a secret: a new one, in place of the first.
pub(super) const ANSWERED_AGAIN: Duration = Duration::minutes(10);

/// A token to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewToken {
    label: String,
    scope: Scope,
    days: i64,
}

impl NewToken {
    /// For what it is, what it may do, and for how many days (1 to 366).
    pub fn read(label: &str, scope: Scope, days: i64) -> Result<Self, Refusal> {
        let label =
            text::line(label, 80, "what the token is for").map_err(|wrong| Refusal::unfit("label", wrong))?;
        if !(1..=366).contains(&days) {
            return Err(Refusal::unfit("days", "Write for how many days it holds: 1 to 366"));
        }
        Ok(Self { label, scope, days })
    }
}

/// Who a token stands for, and what it may do; nobody when it has ended or the member has left.
pub async fn doer_of_token(
    db: &Database,
    secret: &str,
    address: &str,
    now: Instant,
) -> Result<Option<(Doer, Scope)>, Failure> {
    let (hash, from) = (hash_of(secret), address.to_owned());
    let found = db.read(move |conn| token_rows::find(conn, &hash, &from, now)).await?;
    let Some(found) = found else { return Ok(None) };
    if found.used_at.is_none_or(|used| now - used > SEEN_EVERY) {
        let first_today = found.used_at.is_none_or(|used| used.date() < now.date());
        let (id, doer, what) = (found.id, found.doer.clone(), format!("used the token “{}”", found.label));
        let marked = db.write(move |conn| {
            if first_today {
                audit_by(conn, &doer, &what)?;
            }
            token_rows::used(conn, id, now)
        });
        report(marked.await, "when a token was used");
    }
    Ok(Some((found.doer, found.scope)))
}

/// A new token for who asks, shown this once. The same request again within minutes, as after a lost
/// answer, gives the same token another secret, for the first was not kept.
pub async fn new_token(
    db: &Database,
    by: &Onlooker,
    key: Option<RequestKey>,
    new: NewToken,
) -> Done<(TokenId, Secret)> {
    let id = once(db, by, key, "new token", new, |conn, by, new| {
        if token_rows::of_member(conn, by.member, by.now)?.len() >= MOST {
            return Err(Refusal::conflict("", format!("{MOST} tokens are enough: revoke one first")).into());
        }
        let nobody_knows = Secret::fresh("")?.hash();
        let ends_at = by.now + Duration::days(new.days);
        let id = token_rows::add(conn, by, &nobody_knows, &new.label, new.scope, ends_at)?;
        audit_by(conn, by, &format!("made the token “{}” ({})", new.label, new.scope.name()))?;
        Ok(id)
    })
    .await?;
    let secret = Secret::fresh("uc_")?;
    let (member, hash, made_after) = (by.member, secret.hash(), by.now - ANSWERED_AGAIN);
    let given = db.write(move |conn| token_rows::set_hash(conn, member, id, &hash, made_after)).await?;
    if given {
        Ok((id, secret))
    } else {
        Err(Refusal::conflict("", "This token was made before, and it is shown only once: make another")
            .into())
    }
}

/// Revoke one of one's own tokens.
pub async fn revoke_token(db: &Database, by: &Onlooker, id: TokenId) -> Done<()> {
    let by = Doer::clone(by);
    db.write(move |conn| {
        let label = token_rows::revoke(conn, by.member, id, by.now)?
            .ok_or_else(|| Refusal::new(Why::Missing, "", "This token has been revoked already"))?;
        let what = format!("revoked the token “{label}”");
        Ok(audit::add(conn, Some(by.club), Some(by.person), by.now, &what, &by.address)?)
    })
    .await
}
