//! One reminder, and what becomes of it: done, put off, given to another; or still to do after all.

use askama::Template;

use super::{Row, missing, one, row};
use crate::actions::reminders::{Become, settle};
use crate::db::members;
use crate::domain::members::{Doer, Onlooker, Role, Taster};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::ReminderId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::frame::Frame;
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

#[derive(Template)]
#[template(path = "reminders/one.html")]
struct OnePage {
    frame: Frame,
    row: Row,
    /// When it was done.
    done_at: Option<String>,
    may_settle: bool,
    forms: Vec<(&'static str, FormView)>,
}

/// What can become of a reminder, as the end of an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// It is done.
    Done,
    /// It is put off.
    PutOff,
    /// It is given to another.
    Give,
    /// It is still to do after all.
    Undone,
}

impl Way {
    const fn code(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::PutOff => "put-off",
            Self::Give => "give",
            Self::Undone => "undone",
        }
    }

    const fn heading(self) -> &'static str {
        match self {
            Self::Done => "Done",
            Self::PutOff => "Put it off",
            Self::Give => "Give it to somebody",
            Self::Undone => "Not done after all",
        }
    }
}

/// What becomes of it, from what was sent by page or API.
pub fn read(draft: &Draft, doer: &Doer, way: Way) -> Result<Become, Refusal> {
    draft.read(doer, |r| match way {
        Way::Done => Become::Done,
        Way::PutOff => Become::PutOff(r.any_day("day")),
        Way::Give => Become::Given(r.id("member", "member")),
        Way::Undone => Become::Undone,
    })
}

/// The members of the club now, the one who asks first.
async fn choices(site: &Site, doer: &Doer) -> Result<Vec<Choice>, Problem> {
    let club = doer.club;
    let mut all = site.db.read(move |conn| members::members(conn, club)).await?;
    all.retain(|member| member.left_on.is_none());
    all.sort_by_key(|member| member.id != doer.member);
    Ok(all.into_iter().map(|member| Choice::new(member.id.to_string(), member.name)).collect())
}

async fn form_of(site: &Site, doer: &Doer, id: ReminderId, way: Way) -> Result<FormView, Problem> {
    let view = |button| site.form(&format!("/reminders/{id}/{}", way.code()), "", button);
    Ok(match way {
        Way::Done => view("It is done"),
        Way::Undone => view("It is still to do"),
        Way::PutOff => {
            let next = doer.today() + chrono::Duration::days(7);
            view("Put it off").fields([Field::day("day", "To which day").value(days::long(next))])
        }
        Way::Give => view("Give it").fields([Field::select("member", "To whom", choices(site, doer).await?)]),
    })
}

/// Shows a reminder with what can become of it.
pub async fn show(who: Onlooker, site: Site, path: Path<ReminderId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| one(conn, doer, id)).await?;
    let (reminder, around) = found.ok_or_else(missing)?;
    let ways: &[Way] = match (who.role >= Role::Taster, reminder.done_at) {
        (false, _) => &[],
        (true, Some(_)) => &[Way::Undone],
        (true, None) => &[Way::Done, Way::PutOff, Way::Give],
    };
    let mut forms = Vec::new();
    for way in ways {
        forms.push((way.heading(), form_of(&site, &who, id, *way).await?));
    }
    let page = OnePage {
        row: row(&site, &who, &reminder, &around),
        done_at: reminder.done_at.map(|at| words::when(at, &who)),
        may_settle: !forms.is_empty(),
        forms,
        frame: site.frame(&who, Room::Today, &reminder.text, facts),
    };
    respond::page(&page)
}

async fn become_of(taster: Taster, site: Site, id: ReminderId, form: Form, way: Way) -> Reply {
    let done = async {
        let what = read(&form.draft, &taster, way)?;
        settle(&site.db, &taster, form.key.clone(), id, what).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/?said={id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, found) = site.read(&taster, move |conn, doer| one(conn, doer, id)).await?;
            let (reminder, _) = found.ok_or_else(missing)?;
            let view = form_of(&site, &taster, id, way).await?;
            let view = FormView { heading: way.heading().to_owned(), ..view };
            let view = view.intro(reminder.text.clone()).leave(site.at("/"));
            let frame = site.frame(&taster, Room::Today, &reminder.text, facts);
            let up = (site.at(&format!("/reminders/{id}")), "The reminder".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), form.back(view, &refusal)), &refusal)
        }
    }
}

/// Marks a reminder done.
pub async fn done(taster: Taster, site: Site, path: Path<ReminderId>, form: Form) -> Reply {
    become_of(taster, site, path.0, form, Way::Done).await
}

/// Puts a reminder off to another day.
pub async fn put_off(taster: Taster, site: Site, path: Path<ReminderId>, form: Form) -> Reply {
    become_of(taster, site, path.0, form, Way::PutOff).await
}

/// Gives a reminder to a member.
pub async fn give(taster: Taster, site: Site, path: Path<ReminderId>, form: Form) -> Reply {
    become_of(taster, site, path.0, form, Way::Give).await
}

/// Opens a reminder again that was marked done.
pub async fn undone(taster: Taster, site: Site, path: Path<ReminderId>, form: Form) -> Reply {
    become_of(taster, site, path.0, form, Way::Undone).await
}
