//! People by the API: who is in the club as what, invitations, the member's tokens, the audit log.
//!
//! Tokens are made, and passwords changed, on pages only: a token that leaked cannot make others that
//! outlive it.

use serde::Serialize;
use utoipa::ToSchema;

use super::Page;
use crate::actions::members as actions;
use crate::db::members::{self as rows, audit, links, tokens};
use crate::domain::members::{Onlooker, Steward};
use crate::units::days::{self, Instant};
use crate::units::ids::{AuditId, InvitationId, MemberId, TokenId};
use crate::web::body::{Json, Sent};
use crate::web::extract::{Key, Paging, Path};
use crate::web::letters::read_wish;
use crate::web::members::read;
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created, Empty};
use crate::web::site::Site;

/// Who asks.
#[derive(Serialize, ToSchema)]
pub struct Me {
    /// The member's id.
    pub member: String,
    /// The member's name.
    pub name: String,
    /// steward, cellarhand, taster or onlooker.
    pub role: String,
    /// The club's id.
    pub club: String,
    /// The club's name.
    pub club_name: String,
    /// The club's currency, ISO 4217.
    pub currency: String,
    /// The club's time zone.
    pub time_zone: String,
}

/// Who asks, and in which club.
pub async fn me(who: Onlooker) -> Result<Answer<Me>, Problem> {
    Ok(Answer(Me {
        member: who.member.to_string(),
        name: who.name.clone(),
        role: who.role.name().to_owned(),
        club: who.club.to_string(),
        club_name: who.club_name.clone(),
        currency: who.currency.clone(),
        time_zone: who.zone.name().to_owned(),
    }))
}

/// When one gets letters.
#[derive(Serialize, serde::Deserialize, ToSchema)]
pub struct Letters {
    /// The hour of the club's day, 0 to 23; null for no letters.
    pub hour: Option<u32>,
}

/// When one gets letters.
pub async fn letters(who: Onlooker, site: Site) -> Result<Answer<Letters>, Problem> {
    let member = who.member;
    let wish = site.db.read(move |conn| crate::db::letters::wish(conn, member)).await?;
    Ok(Answer(Letters { hour: wish.hour }))
}

/// Another hour, or none.
pub async fn choose_letters(
    who: Onlooker,
    site: Site,
    Key(key): Key,
    sent: Json<Letters>,
) -> Result<Answer<Letters>, Problem> {
    let wish = read_wish(&sent.draft, &who)?;
    crate::actions::letters::choose(&site.db, &who, key, wish).await?;
    Ok(Answer(Letters { hour: wish.hour }))
}

/// A member.
#[derive(Serialize, ToSchema)]
pub struct Member {
    /// Their id.
    pub id: String,
    /// Their name.
    pub name: String,
    /// steward, cellarhand, taster or onlooker.
    pub role: String,
    /// The day they joined.
    pub joined_on: String,
    /// The day they left; null while they are in the club.
    pub left_on: Option<String>,
}

impl From<rows::Member> for Member {
    fn from(member: rows::Member) -> Self {
        Self {
            id: member.id.to_string(),
            name: member.name,
            role: member.role.name().to_owned(),
            joined_on: days::iso(member.joined_on),
            left_on: member.left_on.map(days::iso),
        }
    }
}

/// Those who are in the club, then those who have left it.
pub async fn members(who: Onlooker, site: Site) -> Result<Answer<Page<Member>>, Problem> {
    let club = who.club;
    let members = site.db.read(move |conn| rows::members(conn, club)).await?;
    Ok(Answer(Page { items: members.into_iter().map(Member::from).collect(), next: None }))
}

/// Another role.
#[derive(ToSchema)]
#[expect(dead_code, reason = "describes what is sent; a draft is read")]
pub struct NewRole {
    /// steward, cellarhand, taster or onlooker.
    role: String,
}

/// Gives a member another role.
pub async fn change_role(
    steward: Steward,
    site: Site,
    id: Path<MemberId>,
    Key(key): Key,
    sent: Json<NewRole>,
) -> Result<Answer<Member>, Problem> {
    let change = read::role(&sent.draft, &steward, id.0)?;
    actions::change_role(&site.db, &steward, key, change).await?;
    let club = steward.club;
    Ok(Answer(site.db.read(move |conn| rows::member(conn, club, id.0)).await?.into()))
}

/// Ends a membership.
pub async fn remove(
    steward: Steward,
    site: Site,
    id: Path<MemberId>,
    Key(key): Key,
) -> Result<Empty, Problem> {
    actions::remove_member(&site.db, &steward, key, id.0).await?;
    Ok(Empty)
}

/// An open invitation.
#[derive(Serialize, ToSchema)]
pub struct Invitation {
    /// Its id.
    pub id: String,
    /// Whom it is for.
    pub name: String,
    /// What they will be.
    pub role: String,
    /// Who invited them.
    pub invited_by: String,
    /// Until when.
    pub ends_at: String,
}

/// The open invitations.
pub async fn invitations(steward: Steward, site: Site) -> Result<Answer<Page<Invitation>>, Problem> {
    let (club, now) = (steward.club, steward.now);
    let open = site.db.read(move |conn| links::open(conn, club, now)).await?;
    let show = |open: links::Open| Invitation {
        id: open.id.to_string(),
        name: open.name,
        role: open.role.name().to_owned(),
        invited_by: open.invited_by,
        ends_at: rfc_3339(open.ends_at),
    };
    Ok(Answer(Page { items: open.into_iter().map(show).collect(), next: None }))
}

/// Whom to invite.
#[derive(ToSchema)]
#[expect(dead_code, reason = "describes what is sent; a draft is read")]
pub struct NewInvitation {
    /// Whom it is for.
    name: String,
    /// steward, cellarhand, taster or onlooker.
    role: String,
}

/// An invitation that was made.
#[derive(Serialize, ToSchema)]
pub struct Invited {
    /// Its id.
    pub id: String,
    /// The link for whom it is; it is not shown again. Sent twice with one key, the last link holds.
    pub link: String,
}

/// Invites somebody.
pub async fn invite(
    steward: Steward,
    site: Site,
    Key(key): Key,
    sent: Json<NewInvitation>,
) -> Result<Created<Invited>, Problem> {
    site.limits.count("invite", Some(&steward.person.to_string()), &steward.address)?;
    let invitation = read::invitation(&sent.draft, &steward)?;
    let (id, secret) = actions::invite(&site.db, &steward, key, invitation).await?;
    let link = site.address(&format!("/invitation/{}", secret.reveal()));
    Ok(Created(Invited { id: id.to_string(), link }))
}

/// Makes the link of a member who was brought in with a table.
pub async fn invite_member(
    steward: Steward,
    site: Site,
    id: Path<MemberId>,
    Key(key): Key,
    sent: Sent,
) -> Result<Created<Invited>, Problem> {
    sent.0.read(&steward, |_| ())?;
    site.limits.count("invite", Some(&steward.person.to_string()), &steward.address)?;
    let (id, secret) = actions::invite_member(&site.db, &steward, key, id.0).await?;
    let link = site.address(&format!("/invitation/{}", secret.reveal()));
    Ok(Created(Invited { id: id.to_string(), link }))
}

/// Withdraws an invitation.
pub async fn withdraw(steward: Steward, site: Site, id: Path<InvitationId>) -> Result<Empty, Problem> {
    actions::withdraw_invitation(&site.db, &steward, id.0).await?;
    Ok(Empty)
}

/// A token, without what it is made of.
#[derive(Serialize, ToSchema)]
pub struct Token {
    /// Its id.
    pub id: String,
    /// What it is for.
    pub label: String,
    /// read or write.
    pub scope: String,
    /// Since when.
    pub created_at: String,
    /// Until when.
    pub ends_at: Option<String>,
    /// When it was last used, to ten minutes.
    pub used_at: Option<String>,
}

/// The member's own tokens that hold.
pub async fn tokens(who: Onlooker, site: Site) -> Result<Answer<Page<Token>>, Problem> {
    let (member, now) = (who.member, who.now);
    let found = site.db.read(move |conn| tokens::of_member(conn, member, now)).await?;
    let show = |token: tokens::Token| Token {
        id: token.id.to_string(),
        label: token.label,
        scope: token.scope.name().to_owned(),
        created_at: rfc_3339(token.created_at),
        ends_at: token.ends_at.map(rfc_3339),
        used_at: token.used_at.map(rfc_3339),
    };
    Ok(Answer(Page { items: found.into_iter().map(show).collect(), next: None }))
}

/// Revokes one of the member's own tokens.
pub async fn revoke(who: Onlooker, site: Site, id: Path<TokenId>) -> Result<Empty, Problem> {
    actions::revoke_token(&site.db, &who, id.0).await?;
    Ok(Empty)
}

/// A line of the audit log.
#[derive(Serialize, ToSchema)]
pub struct LogLine {
    /// Its id.
    pub id: String,
    /// When.
    pub at: String,
    /// The person it is about, where one is known.
    pub who: Option<String>,
    /// What happened.
    pub what: String,
    /// Where the request came from; empty for the program itself.
    pub address: String,
}

/// The audit log, latest first.
pub async fn log(
    steward: Steward,
    site: Site,
    paging: Paging<AuditId>,
) -> Result<Answer<Page<LogLine>>, Problem> {
    let (club, after, most) = (steward.club, paging.after, paging.rows());
    let lines = site.db.read(move |conn| audit::lines(conn, club, after, most)).await?;
    let show = |line: audit::Line| LogLine {
        id: line.id.to_string(),
        at: rfc_3339(line.at),
        who: line.who,
        what: line.what,
        address: line.address,
    };
    Ok(Answer(paging.page(lines, |line| line.id, show)))
}

fn rfc_3339(at: Instant) -> String {
    at.and_utc().to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true)
}
