//! The club: who is in it as what, invitations, the audit log.

use askama::Template;

use super::{SecretPage, read, roles};
use crate::actions::members;
use crate::db::members::audit::{self, Line};
use crate::db::members::links::{self, Open};
use crate::db::members::{self as rows, Member};
use crate::domain::members::{Doer, Onlooker, Role, Steward};
use crate::units::days;
use crate::units::ids::{AuditId, InvitationId, MemberId};
use crate::web::body::Form;
use crate::web::extract::{Paging, Path};
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

#[derive(Template)]
#[template(path = "members/club.html")]
struct ClubPage {
    frame: Frame,
    lead: String,
    members: Vec<MemberRow>,
    left: Vec<MemberRow>,
    invitations: Vec<InvitationRow>,
    steward: bool,
    /// They may record, and so bring tables in.
    records: bool,
}

struct MemberRow {
    id: MemberId,
    name: String,
    email: String,
    role: String,
    since: String,
    until: String,
    me: bool,
}

struct InvitationRow {
    id: InvitationId,
    name: String,
    role: String,
    by: String,
    until: String,
}

/// The club and its members.
pub async fn show(who: Onlooker, site: Site) -> Reply {
    let steward = who.role == Role::Steward;
    let (facts, (people, open)) = site
        .read(&who, move |conn, doer| {
            let open = if steward { links::open(conn, doer.club, doer.now)? } else { Vec::new() };
            Ok((rows::members(conn, doer.club)?, open))
        })
        .await?;
    let (left, members): (Vec<_>, Vec<_>) =
        people.into_iter().map(|member| member_row(member, &who)).partition(|row| !row.until.is_empty());
    let page = ClubPage {
        lead: lead(&members, &who),
        members,
        left,
        invitations: open.into_iter().map(|open| invitation_row(open, &who)).collect(),
        steward,
        records: who.role >= Role::Cellarhand,
        frame: site.frame(&who, Room::Club, "Club", facts),
    };
    respond::page(&page)
}

fn lead(members: &[MemberRow], who: &Doer) -> String {
    let count = i64::try_from(members.len()).unwrap_or(i64::MAX);
    let members = words::count(count, "member", "members");
    format!(
        "{members}. Money is in {}, and days are those of {}.",
        who.currency,
        who.zone.name().replace('_', " ")
    )
}

fn member_row(member: Member, who: &Doer) -> MemberRow {
    MemberRow {
        me: member.id == who.member,
        id: member.id,
        name: member.name,
        email: if who.role == Role::Steward { member.email } else { String::new() },
        role: words::capital(member.role.name()),
        since: days::long(member.joined_on),
        until: member.left_on.map(days::long).unwrap_or_default(),
    }
}

fn invitation_row(open: Open, who: &Doer) -> InvitationRow {
    InvitationRow {
        id: open.id,
        name: open.name,
        role: words::capital(open.role.name()),
        by: open.invited_by,
        until: words::when(open.ends_at, who),
    }
}

/// The form of an invitation.
pub async fn invitation_form(steward: Steward, site: Site) -> Reply {
    let view = invitation_view(&site);
    respond::page(&club_form(&site, &steward, "Invite somebody", view).await?)
}

/// Invites somebody; the link is shown once.
pub async fn invite(steward: Steward, site: Site, form: Form) -> Reply {
    site.limits.count("invite", Some(&steward.person.to_string()), &steward.address)?;
    let done = async {
        let invitation = read::invitation(&form.draft, &steward)?;
        members::invite(&site.db, &steward, form.key.clone(), invitation).await
    };
    match done.await {
        Ok((_, secret)) => {
            link_page(&site, &steward, &form.draft.typed("name").unwrap_or_default(), &secret).await
        }
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = form.back(invitation_view(&site), &refusal);
            respond::refused(&club_form(&site, &steward, "Invite somebody", view).await?, &refusal)
        }
    }
}

async fn link_page(site: &Site, steward: &Steward, name: &str, secret: &members::Secret) -> Reply {
    let (facts, ()) = site.read(steward, |_, _| Ok(())).await?;
    let page = SecretPage {
        frame: site.frame(steward, Room::Club, "The invitation", facts),
        up: up(site),
        title: format!("The link for {name}"),
        lead: "Send it to them and to nobody else: whoever opens it first joins the club. It works once, for a week, \
               and is shown only this once."
            .to_owned(),
        label: "Link",
        secret: site.address(&format!("/invitation/{}", secret.reveal())),
    };
    respond::page(&page)
}

/// Makes the link of a member who was brought in with a table.
pub async fn invite_member(steward: Steward, site: Site, id: Path<MemberId>, form: Form) -> Reply {
    site.limits.count("invite", Some(&steward.person.to_string()), &steward.address)?;
    let id = id.0;
    match members::invite_member(&site.db, &steward, form.key.clone(), id).await {
        Ok((_, secret)) => {
            let club = steward.club;
            let member = site.db.read(move |conn| rows::member(conn, club, id)).await?;
            link_page(&site, &steward, &member.name, &secret).await
        }
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = member_page(&site, &steward, id, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

fn invitation_view(site: &Site) -> FormView {
    site.form("/club/invitations", "Invite somebody", "Make the link")
        .fields([
            Field::text("name", "Whom do you invite?").hint("They can change it when they join."),
            Field::radios("role", "As what?", roles()).value(Role::Taster.name()),
        ])
        .leave(site.at("/club"))
}

/// Withdraws an invitation.
pub async fn withdraw(steward: Steward, site: Site, id: Path<InvitationId>, _form: Form) -> Reply {
    members::withdraw_invitation(&site.db, &steward, id.0).await?;
    Ok(site.see_other("/club#invitations"))
}

/// One member: the role, and the way out.
#[derive(Template)]
#[template(path = "members/member.html")]
struct MemberPage {
    frame: Frame,
    member: MemberRow,
    form: FormView,
    /// The link of who has no way to sign in yet.
    link: Option<FormView>,
}

/// One member.
pub async fn member(steward: Steward, site: Site, id: Path<MemberId>) -> Reply {
    respond::page(&member_page(&site, &steward, id.0, |view| view).await?)
}

/// Gives a member another role.
pub async fn change_role(steward: Steward, site: Site, id: Path<MemberId>, form: Form) -> Reply {
    let done = async {
        let change = read::role(&form.draft, &steward, id.0)?;
        members::change_role(&site.db, &steward, form.key.clone(), change).await
    };
    match done.await {
        Ok(()) => Ok(site.see_other("/club")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = member_page(&site, &steward, id.0, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn member_page(
    site: &Site,
    steward: &Steward,
    id: MemberId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<MemberPage, Problem> {
    let (facts, (member, signs_in)) = site
        .read(steward, move |conn, doer| Ok((rows::member(conn, doer.club, id)?, rows::signs_in(conn, id)?)))
        .await?;
    let link = (!signs_in).then(|| site.form(&format!("/club/members/{id}/link"), "", "Make their link"));
    let role = Field::radios("role", "Role", roles()).value(member.role.name());
    let form = site.form(&format!("/club/members/{id}/role"), "", "Give this role").fields([role]);
    let frame = site.frame(steward, Room::Club, &member.name, facts);
    Ok(MemberPage { frame, member: member_row(member, steward), form: fill(form), link })
}

/// Asks whether a membership is to end.
pub async fn removal_form(steward: Steward, site: Site, id: Path<MemberId>) -> Reply {
    let view = removal_view(&site, &steward, id.0).await?;
    respond::page(&club_form(&site, &steward, "End a membership", view).await?)
}

/// Ends a membership.
pub async fn remove(steward: Steward, site: Site, id: Path<MemberId>, form: Form) -> Reply {
    match members::remove_member(&site.db, &steward, form.key.clone(), id.0).await {
        Ok(()) if id.0 == steward.member => Ok(site.see_other("/sign-in")),
        Ok(()) => Ok(site.see_other("/club")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = form.back(removal_view(&site, &steward, id.0).await?, &refusal);
            respond::refused(&club_form(&site, &steward, "End a membership", view).await?, &refusal)
        }
    }
}

async fn removal_view(site: &Site, steward: &Steward, id: MemberId) -> Result<FormView, Problem> {
    let club = steward.club;
    let member = site.db.read(move |conn| rows::member(conn, club, id)).await?;
    let heading = format!("End the membership of {}", member.name);
    Ok(site
        .form(&format!("/club/members/{id}/removal"), &heading, "End the membership")
        .intro("They are let in no more, and their tokens end. What they recorded stays. You can invite them again.")
        .leave(site.at(&format!("/club/members/{id}"))))
}

#[derive(Template)]
#[template(path = "members/log.html")]
struct LogPage {
    frame: Frame,
    lines: Vec<LogRow>,
    more: Option<String>,
}

struct LogRow {
    day: String,
    time: String,
    what: String,
    address: String,
}

/// The audit log, latest first.
pub async fn log(steward: Steward, site: Site, paging: Paging<AuditId>) -> Reply {
    let (after, most) = (paging.after, paging.rows());
    let (facts, lines) =
        site.read(&steward, move |conn, doer| audit::lines(conn, doer.club, after, most)).await?;
    let page = paging.page(lines, |line| line.id, |line| log_row(line, &steward));
    let more = page.next.map(|next| site.at(&format!("/club/log?after={next}")));
    respond::page(&LogPage {
        frame: site.frame(&steward, Room::Club, "Audit log", facts),
        lines: page.items,
        more,
    })
}

fn log_row(line: Line, doer: &Doer) -> LogRow {
    let local = days::local(line.at, doer.zone);
    LogRow {
        day: days::short(local.date(), doer.today()),
        time: local.format("%H:%M").to_string(),
        what: match line.who {
            Some(who) => format!("{who}: {}", line.what),
            None => words::capital(&line.what),
        },
        address: line.address,
    }
}

fn up(site: &Site) -> (String, String) {
    (site.at("/club"), "Club".to_owned())
}

async fn club_form(site: &Site, steward: &Steward, title: &str, view: FormView) -> Result<FormPage, Problem> {
    let (facts, ()) = site.read(steward, |_, _| Ok(())).await?;
    Ok(FormPage::new(site.frame(steward, Room::Club, title, facts), Some(up(site)), view))
}
