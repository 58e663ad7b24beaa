//! What the club marks on lines: the list, to be changed as a whole.

use crate::actions::tastings::set_attributes;
use crate::db::tastings as rows;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::tastings::sheet::{Attribute, LONGEST_NAME, MOST_ATTRIBUTES, WHOLE};
use crate::web::body::Form;
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView, Group};
use crate::web::input::{Draft, Reader};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// The list that was sent, by page or API: `lines`, and `whole` for the drink as a whole.
pub fn read(draft: &Draft, doer: &Doer) -> Result<Vec<Attribute>, Refusal> {
    draft.read(doer, |r| {
        let mut number = WHOLE;
        let mut list = r.rows("lines", |r| {
            number += 1;
            line(r, "", number)
        });
        list.push(line(r, "whole.", WHOLE));
        list
    })
}

fn line(r: &mut Reader, under: &str, number: u32) -> Attribute {
    Attribute {
        number,
        name: r.line(&format!("{under}name"), LONGEST_NAME, "what is marked"),
        low_end: r.line(&format!("{under}low_end"), LONGEST_NAME, "what 0 means"),
        high_end: r.line(&format!("{under}high_end"), LONGEST_NAME, "what 10 means"),
    }
}

fn fields(under: &str) -> Vec<Field> {
    vec![
        Field::text(format!("{under}name"), "What is marked"),
        Field::text(format!("{under}low_end"), "0 means"),
        Field::text(format!("{under}high_end"), "10 means"),
    ]
}

fn form(site: &Site) -> FormView {
    let lines = Group::repeated("Line by line", "line", "lines", MOST_ATTRIBUTES, |_| fields(""));
    site.form("/tastings/attributes", "What is marked", "Keep this list")
        .intro(
            "Each is a line from 0 to 10 with named ends. Tastings that have begun keep the list they had. The drink \
             as a whole is always marked: by it ages are compared.",
        )
        .group(lines)
        .group(Group::new("The drink as a whole", fields("whole.")))
        .leave(site.at("/tastings"))
}

fn standing(list: &[Attribute], name: &str) -> Option<String> {
    let (line, field) = if let Some(field) = name.strip_prefix("whole.") {
        (list.iter().find(|line| line.number == WHOLE)?, field)
    } else {
        let (at, field) = name.strip_prefix("lines.")?.split_once('.')?;
        (list.iter().filter(|line| line.number != WHOLE).nth(at.parse().ok()?)?, field)
    };
    Some(match field {
        "name" => line.name.clone(),
        "low_end" => line.low_end.clone(),
        _ => line.high_end.clone(),
    })
}

fn page(site: &Site, doer: &Doer, facts: crate::db::reminders::Facts, view: FormView) -> FormPage {
    let frame = site.frame(doer, Room::Tastings, "What is marked", facts);
    FormPage::new(frame, Some((site.at("/tastings"), "All tastings".to_owned())), view)
}

/// Shows the list.
pub async fn show(hand: Cellarhand, site: Site) -> Reply {
    let (facts, list) = site.read(&hand, |conn, doer| rows::attributes(conn, doer.club)).await?;
    let view = form(&site).filled(|name| standing(&list, name));
    respond::page(&page(&site, &hand, facts, view))
}

/// Keeps another list.
pub async fn change(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let list = read(&form.draft, &hand)?;
        set_attributes(&site.db, &hand, form.key.clone(), list).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/tastings")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let view = form.back(self::form(&site), &refusal);
            respond::refused(&page(&site, &hand, facts, view), &refusal)
        }
    }
}
