//! The instruments of the club: what each is off by, and when that was checked.

use askama::Template;

use super::body::Form;
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView};
use super::frame::Frame;
use super::input::{Draft, Reader};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use crate::actions::instruments::{Change, add_instrument, change_instrument};
use crate::db::instruments::{self as rows, Kept};
use crate::domain::instruments::{Instrument, InstrumentKind};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::InstrumentId;
use crate::units::measure::{Measured, ReadingKind};
use crate::units::number;

#[derive(Template)]
#[template(path = "instruments/list.html")]
struct ListPage {
    frame: Frame,
    may_record: bool,
    rows: Vec<Row>,
}

struct Row {
    id: String,
    name: String,
    kind: &'static str,
    says: String,
    stale: Option<String>,
    retired: bool,
}

fn row(kept: &Kept, doer: &Doer) -> Row {
    let one = &kept.instrument;
    let unit = match one.kind.reads() {
        ReadingKind::Gravity => " SG",
        ReadingKind::Temperature => " °C",
        ReadingKind::Brix => " °Brix",
        _ => "",
    };
    let mut says = Vec::new();
    says.extend(one.made_for_c.map(|c| format!("made for {} °C", c.plain())));
    says.push(match one.offset.micros() {
        0 => "reads true".to_owned(),
        micros => {
            let size = Measured::from_micros(micros.abs()).plain();
            format!("shows {size}{unit} too {}", if micros > 0 { "little" } else { "much" })
        }
    });
    says.push(format!("checked on {}", days::long(one.checked_on)));
    Row {
        id: kept.id.to_string(),
        name: one.name.clone(),
        kind: one.kind.label(),
        says: super::words::capital(&says.join(", ")),
        stale: one.stale(doer.today()).filter(|_| !kept.retired),
        retired: kept.retired,
    }
}

/// Shows the instruments.
pub async fn list(who: Onlooker, site: Site) -> Reply {
    let (facts, found) = site.read(&who, |conn, doer| rows::instruments(conn, doer.club)).await?;
    let page = ListPage {
        may_record: who.role >= Role::Cellarhand,
        rows: found.iter().map(|kept| row(kept, &who)).collect(),
        frame: site.frame(&who, Room::Club, "Instruments", facts),
    };
    respond::page(&page)
}

/// An offset: a decimal number, perhaps below zero.
fn offset(text: &str) -> Result<Measured, crate::units::Misread> {
    let text = text.trim().replace('−', "-");
    let (sign, size) = text.strip_prefix('-').map_or((1, text.trim_start_matches('+')), |rest| (-1, rest));
    number::scaled(size, 1_000_000, "0.002").map(|micros| Measured::from_micros(sign * micros))
}

/// Reads an instrument, from a page or a program; its kind stays where it is known.
pub fn read(
    draft: &Draft,
    doer: &Doer,
    known: Option<InstrumentKind>,
) -> Result<(Instrument, bool), Refusal> {
    draft.read(doer, |r: &mut Reader| {
        let sent = r.optional_choice("kind", &InstrumentKind::ALL, InstrumentKind::code);
        let kind = known.or(sent).unwrap_or_else(|| {
            r.fault("kind", "Choose one of these: hydrometer, thermometer, ph-meter, refractometer");
            InstrumentKind::Hydrometer
        });
        if sent.is_some_and(|sent| sent != kind) {
            r.fault("kind", "The kind of an instrument stays: put this one away and keep another");
        }
        let made_for_c = r.optional_measured("made_for_c", ReadingKind::Temperature);
        let instrument = Instrument {
            name: r.line("name", 60, "what it is called"),
            kind,
            made_for_c: made_for_c.filter(|_| kind == InstrumentKind::Hydrometer),
            offset: r.optional("offset", offset).unwrap_or(Measured::from_micros(0)),
            checked_on: r.day("checked_on"),
        };
        (instrument, r.flag("retired"))
    })
}

/// Shows the form of a new instrument.
pub async fn new_form(hand: Cellarhand, site: Site) -> Reply {
    respond::page(&page(&site, &hand, "Keep an instrument", view(&site, &hand, None)).await?)
}

/// Keeps it.
pub async fn add(hand: Cellarhand, site: Site, sent: Form) -> Reply {
    let done = async {
        let (instrument, _) = read(&sent.draft, &hand, None)?;
        add_instrument(&site.db, &hand, sent.key.clone(), instrument).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/club/instruments")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(view(&site, &hand, None), &refusal);
            respond::refused(&page(&site, &hand, "Keep an instrument", view).await?, &refusal)
        }
    }
}

async fn kept(site: &Site, hand: &Cellarhand, id: InstrumentId) -> Result<Kept, Problem> {
    let club = hand.club;
    let found = site.db.read(move |conn| rows::instrument(conn, club, id)).await;
    found.map_err(|failure| match failure {
        crate::db::Failure::Gone => Problem::missing("instrument"),
        other => other.into(),
    })
}

/// Shows what is known of an instrument, to be changed.
pub async fn change_form(hand: Cellarhand, site: Site, path: Path<InstrumentId>) -> Reply {
    let kept = kept(&site, &hand, path.0).await?;
    respond::page(&page(&site, &hand, &kept.instrument.name, view(&site, &hand, Some(&kept))).await?)
}

/// Changes it.
pub async fn change(hand: Cellarhand, site: Site, path: Path<InstrumentId>, sent: Form) -> Reply {
    let kept = kept(&site, &hand, path.0).await?;
    let done = async {
        let (now, retired) = read(&sent.draft, &hand, Some(kept.instrument.kind))?;
        change_instrument(&site.db, &hand, sent.key.clone(), Change { id: kept.id, now, retired }).await
    };
    match done.await {
        Ok(()) => Ok(site.see_other("/club/instruments")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(view(&site, &hand, Some(&kept)), &refusal);
            respond::refused(&page(&site, &hand, &kept.instrument.name, view).await?, &refusal)
        }
    }
}

fn view(site: &Site, doer: &Doer, kept: Option<&Kept>) -> FormView {
    let own = kept.map(|kept| &kept.instrument);
    let kind = own.map(|one| one.kind);
    let mut fields = vec![
        Field::text("name", "What is it called?")
            .hint("As it is marked: Hydrometer 2, or pH meter of the loft.")
            .value(own.map(|one| one.name.clone()).unwrap_or_default()),
    ];
    if own.is_none() {
        let kinds = InstrumentKind::ALL.map(|kind| Choice::new(kind.code(), kind.label()));
        fields.push(Field::radios("kind", "What is it?", kinds.into()).value("hydrometer"));
    }
    if kind.is_none_or(|kind| kind == InstrumentKind::Hydrometer) {
        let made_for = own.and_then(|one| one.made_for_c).map(Measured::plain);
        fields.push(
            Field::decimal("made_for_c", "A hydrometer: the temperature printed on it")
                .hint("15, 15.56 (60 °F) or 20. Empty for 20.")
                .after("°C")
                .value(made_for.unwrap_or_default()),
        );
    }
    let offset = own.map(|one| one.offset).filter(|offset| offset.micros() != 0).map(Measured::plain);
    fields.push(
        Field::text("offset", "What is added to what it shows")
            .hint(
                "In water at its temperature a hydrometer shows 1.000: one that shows 0.998 takes 0.002. A \
                 refractometer that shows 0.3 in water takes −0.3. Ice in water is 0 °C.",
            )
            .value(offset.unwrap_or_default()),
    );
    fields.push(
        Field::day("checked_on", "When was that checked?")
            .value(days::long(own.map_or_else(|| doer.today(), |one| one.checked_on))),
    );
    if let Some(kept) = kept {
        let retired = Field::check("retired", "It is not used any more");
        fields.push(if kept.retired { retired.value("yes") } else { retired });
    }
    let (path, heading) = match kept {
        Some(kept) => (format!("/club/instruments/{}", kept.id), kept.instrument.name.clone()),
        None => ("/club/instruments".to_owned(), "Keep an instrument".to_owned()),
    };
    site.form(&path, &heading, "Keep this")
        .intro("What was read off it before stays as it was recorded.")
        .fields(fields)
        .leave(site.at("/club/instruments"))
}

async fn page(site: &Site, hand: &Cellarhand, title: &str, view: FormView) -> Result<FormPage, Problem> {
    let (facts, ()) = site.read(hand, |_, _| Ok(())).await?;
    let up = (site.at("/club/instruments"), "Instruments".to_owned());
    Ok(FormPage::new(site.frame(hand, Room::Club, title, facts), Some(up), view))
}
