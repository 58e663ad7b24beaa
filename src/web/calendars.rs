//! The calendar of a member, which their own calendar program reads from a private address (RFC 5545).

use actix_web::HttpResponse;
use icalendar::{Alarm, Calendar, Component, EventLike, EventStatus, Property, Trigger};

use super::members::SecretPage;
use crate::actions::calendars as acts;
use crate::domain::calendars::Event;
use crate::domain::letters::USUAL_HOUR;
use crate::domain::members::{Doer, Onlooker};
use crate::web::body::Form;
use crate::web::extract::{Anyone, Path};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// Another address, shown once.
pub async fn make(who: Onlooker, site: Site, _form: Form) -> Reply {
    let secret = acts::make(&site.db, &who).await?;
    let (facts, ()) = site.read(&who, |_, _| Ok(())).await?;
    let page = SecretPage {
        frame: site.frame(&who, Room::Elsewhere, "The address of your calendar", facts),
        up: (site.at("/me#calendar"), who.name.clone()),
        title: "The address of your calendar".to_owned(),
        lead: "Subscribe to it in your calendar program. It is shown only this once, and whoever has it can read what \
               you are to do; make another one, and this one ends."
            .to_owned(),
        label: "Address",
        secret: site.address(&format!("/calendar/{}.ics", secret.reveal())),
    };
    respond::page(&page)
}

/// Ends the address.
pub async fn end(who: Onlooker, site: Site, _form: Form) -> Reply {
    acts::end(&site.db, &who).await?;
    Ok(site.see_other("/me#calendar"))
}

/// The calendar.
pub async fn file(anyone: Anyone, site: Site, name: Path<String>) -> Reply {
    let secret = name.0.strip_suffix(".ics").unwrap_or(&name.0);
    let found = acts::read(&site.db, secret, anyone.now).await?;
    let (doer, hour, events) = found.ok_or_else(|| Problem::missing("calendar"))?;
    Ok(HttpResponse::Ok()
        .content_type("text/calendar; charset=utf-8")
        .insert_header(("Cache-Control", "private, max-age=900"))
        .body(written(&doer, hour, &events, |path| site.address(path))))
}

/// Events as a calendar program reads them: whole days, and an alarm at the hour at which the member wants letters.
pub fn written(doer: &Doer, hour: Option<i64>, events: &[Event], address: impl Fn(&str) -> String) -> String {
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", "-//Undercroft//EN"))
        .append_property(Property::new("CALSCALE", "GREGORIAN"))
        .name(&doer.club_name)
        .ttl(&chrono::Duration::hours(1));
    let now = doer.now.and_utc();
    let hour = hour.unwrap_or(i64::from(USUAL_HOUR));
    for event in events {
        let uid = format!("{}.{}@undercroft", event.key.replace(':', "."), doer.club);
        let mut told = icalendar::Event::new();
        told.uid(&uid)
            .timestamp(now)
            .summary(&event.text)
            .starts(event.day)
            .sequence(u32::try_from(event.revision).unwrap_or(u32::MAX))
            .url(&address(&event.path))
            .add_property("TRANSP", "TRANSPARENT");
        if event.off {
            told.status(EventStatus::Cancelled);
        } else {
            let mut alarm = Alarm::display(&event.text, Trigger::after_start(chrono::Duration::hours(hour)));
            alarm.uid(&format!("alarm.{uid}"));
            told.alarm(alarm);
        }
        calendar.push(told.done());
    }
    calendar.to_string()
}
