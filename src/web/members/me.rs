//! One's own page: where one is signed in, tokens, the password, one's clubs, leaving.

use askama::Template;

use super::{SecretPage, as_whom, device, entering, read, with_cookie};
use crate::actions::members::{self, Visitor};
use crate::db::members::{self as rows, Membership};
use crate::db::{calendars, letters};
use crate::domain::letters::Wish;
use crate::domain::members::{Onlooker, PASSWORD_AT_LEAST, Password, Scope};
use crate::units::days;
use crate::units::ids::{ClubId, SessionId, TokenId};
use crate::web::body::Form;
use crate::web::extract::{Path, Session};
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::frame::Frame;
use crate::web::letters::clock;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

#[derive(Template)]
#[template(path = "members/me.html")]
struct MePage {
    frame: Frame,
    role: String,
    here: Membership,
    others: Vec<Membership>,
    sessions: Vec<SessionRow>,
    tokens: Vec<TokenRow>,
    /// When letters come, and what became of the last one.
    letters: Vec<String>,
    /// Since when the calendar has an address.
    calendar: Option<String>,
}

struct SessionRow {
    id: SessionId,
    here: bool,
    seen: String,
    since: String,
    device: String,
}

struct TokenRow {
    id: TokenId,
    label: String,
    does: &'static str,
    used: String,
    until: String,
}

/// One's own page.
pub async fn show(who: Onlooker, site: Site, session: Session) -> Reply {
    let sessions = members::sessions_of(&site.db, &who, &session.0).await?;
    let (facts, (clubs, tokens, own, since)) = site
        .read(&who, |conn, doer| {
            let own = (letters::wish(conn, doer.member)?, letters::last(conn, doer.member)?);
            let since = calendars::since(conn, doer.member)?;
            let tokens = rows::tokens::of_member(conn, doer.member, doer.now)?;
            Ok((rows::memberships(conn, doer.person)?, tokens, own, since))
        })
        .await?;
    let sessions = sessions.into_iter().map(|session| SessionRow {
        id: session.id,
        here: session.here,
        seen: words::when(session.seen_at, &who),
        since: words::when(session.created_at, &who),
        device: device::name(&session.device),
    });
    let tokens = tokens.into_iter().map(|token| TokenRow {
        id: token.id,
        label: token.label,
        does: does(token.scope),
        used: token.used_at.map_or("Never used".to_owned(), |at| format!("Used {}", words::when(at, &who))),
        until: token.ends_at.map(|at| days::long(days::local_day(at, who.zone))).unwrap_or_default(),
    });
    let (here, others) = clubs.into_iter().partition::<Vec<_>, _>(|place| place.member == who.member);
    let page = MePage {
        role: as_whom(who.role),
        here: here.into_iter().next().ok_or_else(Problem::signed_out)?,
        others,
        sessions: sessions.collect(),
        tokens: tokens.collect(),
        letters: of_letters(&who, site.settings.mail, own.0, own.1),
        calendar: since.map(|at| days::long(days::local_day(at, who.zone))),
        frame: site.frame(&who, Room::Elsewhere, &who.name, facts),
    };
    respond::page(&page)
}

/// When letters come, and what became of the last one.
fn of_letters(who: &Onlooker, mail: bool, wish: Wish, last: Option<letters::Last>) -> Vec<String> {
    let mut said = vec![match wish.hour {
        _ if !mail => "This server sends no letters: whoever runs it has named no mail server.".to_owned(),
        None => "You get no letters.".to_owned(),
        Some(hour) => format!("You get one letter a day, at {}, when something is due.", clock(hour)),
    }];
    said.extend(last.map(|last| match (last.sent_at, last.next_try_at) {
        (Some(at), _) => format!("The last one was sent {}.", words::when(at, who)),
        (None, Some(at)) if last.trouble.is_empty() => {
            format!("One is on its way since {}.", words::when(at, who))
        }
        (None, Some(at)) => {
            format!(
                "One could not be sent yet and is tried again {}: {}.",
                words::when(at, who),
                last.trouble
            )
        }
        (None, None) => format!("The one of {} could not be sent: {}.", days::long(last.day), last.trouble),
    }));
    said
}

const fn does(scope: Scope) -> &'static str {
    match scope {
        Scope::Read => "reads",
        Scope::Write => "reads and records",
        Scope::Readings => "sends readings, nothing else",
    }
}

/// Ends one of one's sessions.
pub async fn end_session(who: Onlooker, site: Site, id: Path<SessionId>, _form: Form) -> Reply {
    members::end_session(&site.db, &who, id.0).await?;
    Ok(site.see_other("/me#signed-in"))
}

/// Goes on in another of one's clubs.
pub async fn change_club(who: Onlooker, site: Site, session: Session, form: Form) -> Reply {
    let club: ClubId = form.draft.read(&who, |r| r.id("club", "club"))?;
    members::change_club(&site.db, &who, &session.0, club).await?;
    Ok(site.see_other("/"))
}

/// The form of a new token.
pub async fn new_token_form(who: Onlooker, site: Site) -> Reply {
    let view = token_view(&site);
    respond::page(&own_form(&site, &who, "A new token", view).await?)
}

/// A new token, shown once.
pub async fn new_token(who: Onlooker, site: Site, form: Form) -> Reply {
    site.limits.count("token", Some(&who.person.to_string()), &who.address)?;
    let done = async {
        let token = read::token(&form.draft, &who)?;
        members::new_token(&site.db, &who, form.key.clone(), token).await
    };
    match done.await {
        Ok((_, token)) => {
            let (facts, ()) = site.read(&who, |_, _| Ok(())).await?;
            let page = SecretPage {
                frame: site.frame(&who, Room::Elsewhere, "The new token", facts),
                up: up(&site),
                title: "The new token".to_owned(),
                lead: "Copy it now to where it is used: it is shown only this once. Whoever has it can do in your name \
                       what it is for."
                    .to_owned(),
                label: "Token",
                secret: token.reveal().to_owned(),
            };
            respond::page(&page)
        }
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = form.back(token_view(&site), &refusal);
            respond::refused(&own_form(&site, &who, "A new token", view).await?, &refusal)
        }
    }
}

fn token_view(site: &Site) -> FormView {
    let scopes = read::SCOPES.map(|scope| Choice::new(scope.name(), words::capital(does(scope))));
    site.form("/me/tokens", "A new token", "Make the token")
        .intro("With a token a script or a sensor uses the API in your name, with no more rights than your role has.")
        .fields([
            Field::text("label", "What is it for?").hint("Such as: sensor of the wheel pit."),
            Field::radios("scope", "What does it do?", scopes.into()).value("read"),
            Field::whole("days", "How long does it hold?").hint("At most 366 days.").after("days").value("90"),
        ])
        .leave(site.at("/me"))
}

/// Revokes one of one's tokens.
pub async fn revoke_token(who: Onlooker, site: Site, id: Path<TokenId>, _form: Form) -> Reply {
    members::revoke_token(&site.db, &who, id.0).await?;
    Ok(site.see_other("/me#tokens"))
}

/// The form for another password.
pub async fn password_form(who: Onlooker, site: Site) -> Reply {
    let view = password_view(&site);
    respond::page(&own_form(&site, &who, "Another password", view).await?)
}

/// Another password; all sessions end, and this browser goes on in a new one.
pub async fn password(who: Onlooker, site: Site, visitor: Visitor, form: Form) -> Reply {
    site.limits.count("password", Some(&who.person.to_string()), &who.address)?;
    let typed = |name: &str| Password::new(form.draft.typed(name).unwrap_or_default());
    let (current, new) = (typed("current_password"), typed("new_password"));
    match members::change_password(&site.db, &who, &current, &new, &visitor.device).await {
        Ok(secret) => entering(&site, &secret, "/me"),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = form.back(password_view(&site), &refusal);
            respond::refused(&own_form(&site, &who, "Another password", view).await?, &refusal)
        }
    }
}

fn password_view(site: &Site) -> FormView {
    site.form("/me/password", "Another password", "Change the password")
        .intro("You are signed out everywhere else. Tokens stay; revoke them on your page if somebody may have them.")
        .fields([
            Field::password("current_password", "The password you have"),
            Field::new_password("new_password", "The new one").hint(format!(
                "At least {PASSWORD_AT_LEAST} characters; three or four words are easy to remember."
            )),
        ])
        .leave(site.at("/me"))
}

/// Asks whether one means to leave.
pub async fn leave_form(who: Onlooker, site: Site) -> Reply {
    let view = leave_view(&site, &who);
    respond::page(&own_form(&site, &who, "Leave the club", view).await?)
}

/// Leaves the club.
pub async fn leave(who: Onlooker, site: Site, form: Form) -> Reply {
    match members::leave(&site.db, &who, form.key.clone()).await {
        Ok(()) => with_cookie(site.no_cookie(), site.see_other("/sign-in")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = form.back(leave_view(&site, &who), &refusal);
            respond::refused(&own_form(&site, &who, "Leave the club", view).await?, &refusal)
        }
    }
}

fn leave_view(site: &Site, who: &Onlooker) -> FormView {
    site.form("/me/leave", &format!("Leave {}", who.club_name), "Leave the club")
        .intro(
            "You are let in no more, and your tokens end. What you recorded stays. A steward can invite you again.",
        )
        .leave(site.at("/me"))
}

fn up(site: &Site) -> (String, String) {
    (site.at("/me"), "Your page".to_owned())
}

async fn own_form(site: &Site, who: &Onlooker, title: &str, view: FormView) -> Result<FormPage, Problem> {
    let (facts, ()) = site.read(who, |_, _| Ok(())).await?;
    Ok(FormPage::new(site.frame(who, Room::Elsewhere, title, facts), Some(up(site)), view))
}
