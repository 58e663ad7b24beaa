//! Letters: when a member wants them, and stopping them from the letter itself with one click (RFC 8058).

use crate::actions::letters as acts;
use crate::db::letters as rows;
use crate::domain::letters::{USUAL_HOUR, Wish};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::web::body::{Form, OpenForm};
use crate::web::extract::{Anyone, Path};
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::input::{Draft, Reader};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// Reads when a member wants letters; none where it is left empty.
pub fn read_wish(draft: &Draft, doer: &Doer) -> Result<Wish, Refusal> {
    draft.read(doer, hour)
}

fn hour(r: &mut Reader) -> Wish {
    Wish { hour: r.optional_whole("hour", 0..=23) }
}

/// "07:00", as a clock shows it.
pub fn clock(hour: u32) -> String {
    format!("{hour:02}:00")
}

/// The form.
pub async fn form(who: Onlooker, site: Site) -> Reply {
    respond::page(&page(&site, &who, |view| view).await?)
}

/// Keeps it.
pub async fn choose(who: Onlooker, site: Site, sent: Form) -> Reply {
    let done = async {
        let wish = read_wish(&sent.draft, &who)?;
        acts::choose(&site.db, &who, sent.key.clone(), wish).await
    };
    match done.await {
        Ok(()) => Ok(site.see_other("/me#letters")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &who, |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    who: &Onlooker,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, wish) = site.read(who, |conn, doer| rows::wish(conn, doer.member)).await?;
    let hours = (0..24).map(|hour: u32| Choice::new(hour.to_string(), clock(hour)));
    let choices = std::iter::once(Choice::new("", "No letters")).chain(hours).collect();
    let standing = wish.hour.map(|hour| hour.to_string()).unwrap_or_default();
    let view = site
        .form("/me/letters", "Letters", "Keep it")
        .intro(format!(
            "One letter a day, when something is due that you were not told of before. Hours are those of {}.",
            who.zone.name().replace('_', " ")
        ))
        .fields([Field::select("hour", "When?", choices)
            .hint(format!("Who says nothing gets it at {}.", clock(USUAL_HOUR)))
            .value(standing)])
        .leave(site.at("/me#letters"));
    let frame = site.frame(who, Room::Elsewhere, "Letters", facts);
    Ok(FormPage::new(frame, Some((site.at("/me#letters"), who.name.clone())), fill(view)))
}

/// What somebody sees who follows the link in a letter: nothing has happened yet.
pub async fn stop_form(_: Anyone, site: Site, secret: Path<String>) -> Reply {
    let asked = secret.0.clone();
    let found = site.db.read(move |conn| rows::by_stop_secret(conn, &asked)).await?;
    let (_, club, any) = found.ok_or_else(|| Problem::missing("letter"))?;
    let view = site.form(&format!("/letters/{}", secret.0), "No more letters", "No more letters");
    let view = if any {
        view.intro(format!(
            "You get a letter from {club} when something is due. Reminders stay on its pages."
        ))
    } else {
        view.intro(format!(
            "You get no letters from {club}. On your own page there you can ask for them again."
        ))
    };
    respond::page(&FormPage::new(site.stranger_frame("No more letters"), None, view))
}

/// Stops them: a mail program asks for this with one click, without a session.
pub async fn stop(_: Anyone, site: Site, secret: Path<String>, _form: OpenForm) -> Reply {
    acts::stop(&site.db, &secret.0).await?.ok_or_else(|| Problem::missing("letter"))?;
    Ok(site.see_other(&format!("/letters/{}", secret.0)))
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn an_hour_is_one_of_the_day_or_none() {
        let now = "2026-06-23T10:00:00".parse().unwrap();
        let read = |sent: Value| {
            let draft = Draft::from_json(json!({ "hour": sent })).unwrap();
            Reader::run(&draft, now, chrono_tz::Europe::Amsterdam, hour)
        };
        assert_eq!(read(json!(0)).unwrap(), Wish { hour: Some(0) });
        assert_eq!(read(json!("23")).unwrap(), Wish { hour: Some(23) });
        assert_eq!(read(Value::Null).unwrap(), Wish { hour: None });
        for wrong in ["24", "-1", "7:30", "7.5", "seven"] {
            let refusal = read(json!(wrong)).unwrap_err();
            assert!(refusal.faults[0].message.contains("from 0 to 23"), "{wrong}: {refusal}");
        }
    }
}
