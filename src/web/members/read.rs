//! What is sent about people, by page or API, as commands.

use crate::actions::members::{ChangeRole, Invitation, NewToken};
use crate::domain::members::{Doer, Role, Scope};
use crate::domain::refusal::Refusal;
use crate::units::ids::MemberId;
use crate::web::input::Draft;

/// The scopes of a token.
pub const SCOPES: [Scope; 3] = [Scope::Read, Scope::Write, Scope::Readings];

/// Whom to invite, and as what.
pub fn invitation(draft: &Draft, doer: &Doer) -> Result<Invitation, Refusal> {
    let (name, role) = draft
        .read(doer, |r| (r.line("name", 80, "whom you invite"), r.choice("role", &Role::ALL, Role::name)))?;
    Invitation::read(&name, role)
}

/// Which role a member gets.
pub fn role(draft: &Draft, doer: &Doer, member: MemberId) -> Result<ChangeRole, Refusal> {
    draft.read(doer, |r| ChangeRole { member, role: r.choice("role", &Role::ALL, Role::name) })
}

/// A token to be.
pub fn token(draft: &Draft, doer: &Doer) -> Result<NewToken, Refusal> {
    let (label, scope, days) = draft.read(doer, |r| {
        let label = r.line("label", 80, "what the token is for");
        (label, r.choice("scope", &SCOPES, Scope::name), r.whole("days", 1..=366))
    })?;
    NewToken::read(&label, scope, i64::from(days))
}
