//! Taking bottles out of the cellar: the form, what was sent by page or API, and what is recorded.

use super::{Found, find, size};
use crate::actions::bottles::record_withdrawal;
use crate::db::members;
use crate::domain::bottles::{MOST_BOTTLES, Purpose, Withdrawal};
use crate::domain::members::{Doer, Role, Taster};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::BottlingId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Caution, Choice, Field, FormView};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// What can injure whoever opens a bottle.
pub(in crate::web) const PRESSURE: [&str; 2] = [
    "A drink that was not finished can ferment on in the bottle. Chill a bottle before you open it, point it away \
     from faces, and wrap it in a cloth.",
    "If one gushes, leaks or has a cork that moved, leave the rest standing cold and tell a cellarhand.",
];

/// The form of a bottling with bottles left. A taster takes bottles home in their own name; the rest is a
/// cellarhand's.
pub(super) async fn form(site: &Site, doer: &Doer, found: &Found) -> Result<FormView, Problem> {
    let bottling = &found.bottling;
    let each = words::money(&doer.currency, found.each());
    let hand = doer.role >= Role::Cellarhand;
    let mut fields = vec![
        Field::whole("bottles", "How many")
            .value("1")
            .after(format!("of {}, {each} each at cost", size(bottling))),
    ];
    if hand {
        let purposes = Purpose::ALL.map(|purpose| Choice::new(purpose.code(), purpose.label()));
        fields.push(Field::radios("reason", "What for", purposes.into()).value(Purpose::Taken.code()));
    }
    let places: Vec<Choice> = found
        .places
        .iter()
        .map(|(place, path, left, _)| {
            let left = if found.hidden() { String::new() } else { format!(": {left} left") };
            Choice::new(place.to_string(), format!("{path}{left}"))
        })
        .collect();
    if places.len() > 1 {
        let most = found.places.iter().filter(|_| !found.hidden()).max_by_key(|place| place.2);
        let most = most.map(|place| place.0.to_string());
        fields.push(Field::select("place", "From", places).value(most.unwrap_or_default()));
    }
    if hand {
        let who = Field::select("member", "Who", choices(site, doer).await?).value(doer.member.to_string());
        fields.push(who.hint("Whoever takes them home is charged what they cost."));
    }
    fields.push(Field::day("day", "Day").value(days::long(doer.today())));
    fields.push(Field::text("remark", "Remark").hint("Not needed."));
    let caution = Caution::new("Caution: glass under pressure", PRESSURE);
    let path = format!("/bottles/{}/withdrawals", bottling.id);
    let button = if hand { "Take the bottles" } else { "Take them home, at cost" };
    Ok(site.form(&path, "", button).fields(fields).caution(caution))
}

/// The members of the club now.
async fn choices(site: &Site, doer: &Doer) -> Result<Vec<Choice>, Problem> {
    let club = doer.club;
    let all = site.db.read(move |conn| members::members(conn, club)).await?;
    let present = all.into_iter().filter(|member| member.left_on.is_none());
    Ok(present.map(|member| Choice::new(member.id.to_string(), member.name)).collect())
}

/// What was sent, by page or API. Whoever takes bottles home and names nobody takes them in their own name.
pub fn read(draft: &Draft, doer: &Doer, bottling: BottlingId) -> Result<Withdrawal, Refusal> {
    draft.read(doer, |r| {
        let bottles = r.whole("bottles", 1..=MOST_BOTTLES);
        let purpose = r.optional_choice("reason", &Purpose::ALL, Purpose::code).unwrap_or(Purpose::Taken);
        let place = r.optional_id("place", "place");
        let member = r.optional_id("member", "member");
        let member = if purpose == Purpose::Taken { member.or(Some(doer.member)) } else { member };
        let happened_at = r.sent_later("at");
        let day = match happened_at {
            Some(at) if r.is_empty("day") => days::local_day(at, doer.zone),
            _ => r.day("day"),
        };
        Withdrawal { bottling, day, bottles, purpose, member, place, happened_at, remark: r.remark("remark") }
    })
}

/// Takes bottles.
pub async fn take(taster: Taster, site: Site, path: Path<BottlingId>, form: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read(&form.draft, &taster, id)?;
        record_withdrawal(&site.db, &taster, form.key.clone(), order).await
    };
    match done.await {
        Ok(entry) => Ok(site.see_other(&format!("/bottles/{id}?said={entry}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, found) =
                site.read(&taster, move |conn, doer| find(conn, doer, id, None, None)).await?;
            let found = found.ok_or_else(|| Problem::missing("bottling"))?;
            let bottling = &found.bottling;
            let view = self::form(&site, &taster, &found).await?;
            let view = FormView { heading: "Take bottles".to_owned(), ..view };
            let left = if found.hidden() { String::new() } else { format!(": {} left", found.left()) };
            let about = format!("{}, bottling {}{left}.", bottling.name, bottling.code);
            let view = view.intro(about).leave(site.at(&format!("/bottles/{id}")));
            let frame = site.frame(&taster, Room::Bottles, "Take bottles", facts);
            let up = (site.at(&format!("/bottles/{id}")), "The bottling".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), form.back(view, &refusal)), &refusal)
        }
    }
}
