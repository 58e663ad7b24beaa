//! Counts by the API: the same commands, rules and secrets as the pages.

use serde::Serialize;
use utoipa::ToSchema;

use super::bodies::Reason as Because;
use super::entries::instant;
use super::reminders::Nothing;
use super::{Amount, Page};
use crate::actions::counts as acts;
use crate::db::Failure;
use crate::db::counts::{self as rows, Listed};
use crate::domain::counts::{Count, Finding, Line};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Taster};
use crate::units::ids::CountId;
use crate::web::body::Json;
use crate::web::counts::line::lot_coded;
use crate::web::counts::{Seen, find, missing, read};
use crate::web::extract::{Key, Paging, Path};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

pub mod accuracy;
pub mod ways;

/// What is to be counted; all of the cellar where nothing is named.
#[derive(ToSchema)]
pub struct CountStart {
    /// What it is called; from what it covers if left out.
    pub title: Option<String>,
    /// Places, with those within them.
    pub places: Option<Vec<String>>,
    /// ingredient, aid, packaging, by-product, drink.
    pub kinds: Option<Vec<String>>,
    /// Items.
    pub items: Option<Vec<String>>,
}

/// A count that has begun.
#[derive(Serialize, ToSchema)]
#[schema(as = StartedCount)]
pub struct StartedBody {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// How many lines it has.
    pub lines: usize,
}

/// A count.
#[derive(Serialize, ToSchema)]
#[schema(as = Count)]
pub struct CountBody {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// What it covers.
    pub title: String,
    /// counting, review, over or called-off.
    pub state: String,
    /// Who began it.
    pub started_by: String,
    /// When.
    pub started_at: String,
    /// Since when its differences are looked at.
    pub ended_at: Option<String>,
    /// Since when nothing of it is open.
    pub over_at: Option<String>,
    /// Why it came to nothing.
    pub called_off_because: String,
    /// Who has counted in it.
    pub counters: Vec<String>,
    /// Whether what the books say may be shown to whoever asks.
    pub shows_books: bool,
}

impl CountBody {
    fn of(count: &Count, doer: &Doer) -> Self {
        Self {
            id: count.id.to_string(),
            code: count.code.clone(),
            title: count.title.clone(),
            state: count.state().code().to_owned(),
            started_by: count.started_by.0.to_string(),
            started_at: instant(count.started_at),
            ended_at: count.ended_at.map(instant),
            over_at: count.over_at.map(instant),
            called_off_because: count.called_off_because.clone(),
            counters: count.counters.iter().map(|counter| counter.0.to_string()).collect(),
            shows_books: count.shows_books_to(doer),
        }
    }
}

/// What somebody counted of a line.
#[derive(Serialize, ToSchema)]
#[schema(as = Tally)]
pub struct TallyBody {
    /// Its id.
    pub id: String,
    /// Who.
    pub member: String,
    /// How much.
    pub counted: Amount,
    /// What the scale showed, with the vessel, g.
    pub gross: Option<Amount>,
    /// The empty vessel, g.
    pub tare: Option<Amount>,
    /// A package of it was open.
    pub opened: bool,
    /// What was said to it.
    pub remark: String,
    /// When.
    pub counted_at: String,
    /// It counts: nobody has counted anew since.
    pub stands: bool,
}

/// A line of a count. While it is counted, `book`, `difference` and what others counted are null or empty.
#[derive(Serialize, ToSchema)]
#[schema(as = CountLine)]
pub struct LineBody {
    /// Its number in the count.
    pub line: u32,
    /// Where.
    pub place: String,
    /// The names of the place.
    pub place_path: String,
    /// The lot; null where the books do not know it.
    pub lot: Option<String>,
    /// What stands on the label.
    pub code: String,
    /// The item, or what was found.
    pub name: String,
    /// g, mL or piece.
    pub unit: String,
    /// It was not on the sheet.
    pub found: bool,
    /// not-counted, again, counted, settled.
    pub progress: String,
    /// Who counted how much, as far as it is shown.
    pub tallies: Vec<TallyBody>,
    /// What the books said at the moment it was counted.
    pub book: Option<Amount>,
    /// Counted less book.
    pub difference: Option<Amount>,
    /// Those who counted it found different differences.
    pub disagreed: Option<bool>,
    /// not-written, written-wrong, broken, dried, measured, elsewhere, not-known.
    pub reason: Option<String>,
    /// The same in words.
    pub words: String,
    /// right, posted or left-out, once it is settled.
    pub ending: Option<String>,
    /// What the difference was worth.
    pub worth: Option<String>,
    /// The entry that put the books right.
    pub entry: Option<String>,
}

fn line_body(line: &Line, seen: &Seen, doer: &Doer) -> LineBody {
    let finding = line.finding(doer.zone);
    let settled = line.settled.as_ref();
    let against = match (settled, finding) {
        (Some(settled), _) => settled.against,
        (None, Finding::Known { counted, book, .. }) => Some((counted, book)),
        (None, _) => None,
    };
    let against = against.filter(|_| seen.shows);
    let standing: Vec<_> = line.standing().iter().map(|tally| tally.id).collect();
    let told = line.tallies.iter().filter(|tally| seen.shows || tally.member.0 == doer.member);
    let grams = |milli| Amount::of(milli, crate::units::quantity::BaseUnit::Gram);
    LineBody {
        line: line.number,
        place: line.place.0.to_string(),
        place_path: line.place.1.clone(),
        lot: line.lot.as_ref().map(|lot| lot.id.to_string()),
        code: line.code().to_owned(),
        name: line.name().to_owned(),
        unit: line.unit.sign().to_owned(),
        found: line.found,
        progress: line.progress().code().to_owned(),
        tallies: told
            .map(|tally| TallyBody {
                id: tally.id.to_string(),
                member: tally.member.0.to_string(),
                counted: Amount::of(tally.counted, line.unit),
                gross: tally.weighed.map(|weighed| grams(weighed.0)),
                tare: tally.weighed.map(|weighed| grams(weighed.1)),
                opened: tally.opened,
                remark: tally.remark.clone(),
                counted_at: instant(tally.counted_at),
                stands: standing.contains(&tally.id),
            })
            .collect(),
        book: against.map(|one| Amount::of(one.1, line.unit)),
        difference: against.map(|one| Amount::of(one.0 - one.1, line.unit)),
        disagreed: seen.shows.then_some(finding == Finding::Disagreed && settled.is_none()),
        reason: line.reason.map(|reason| reason.code().to_owned()).filter(|_| seen.shows),
        words: if seen.shows { line.words.clone() } else { String::new() },
        ending: settled.map(|settled| settled.ending.code().to_owned()),
        worth: settled.filter(|_| seen.shows).and_then(|settled| Some(settled.worth?.plain())),
        entry: settled.filter(|_| seen.shows).and_then(|settled| Some(settled.entry?.0.to_string())),
    }
}

/// Counts, the latest first.
pub async fn list(
    who: Onlooker,
    site: Site,
    paging: Paging<CountId>,
) -> Result<Answer<Page<CountBody>>, Problem> {
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let found = site.db.read(move |conn| rows::counts(conn, club, false, after, limit)).await?;
    let body = |listed: Listed| CountBody::of(&listed.count, &who);
    Ok(Answer(paging.page(found, |listed| listed.count.id, body)))
}

async fn seen(site: &Site, doer: &Doer, id: CountId) -> Result<Seen, Problem> {
    let doer = doer.clone();
    let read = site.db.read(move |conn| find(conn, &doer, id)).await;
    read.map_err(|failure: Failure| missing(failure.into()))
}

/// One count.
pub async fn show(who: Onlooker, site: Site, path: Path<CountId>) -> Result<Answer<CountBody>, Problem> {
    let (club, id) = (who.club, path.0);
    let count = site.db.read(move |conn| rows::count(conn, club, id)).await;
    let count = count.map_err(|failure: Failure| missing(failure.into()))?;
    Ok(Answer(CountBody::of(&count, &who)))
}

/// Its lines, in the order in which one walks.
pub async fn lines(
    who: Onlooker,
    site: Site,
    path: Path<CountId>,
) -> Result<Answer<Page<LineBody>>, Problem> {
    let seen = seen(&site, &who, path.0).await?;
    let items = seen.lines.iter().map(|line| line_body(line, &seen, &who)).collect();
    Ok(Answer(Page { items, next: None }))
}

/// Begins a count.
pub async fn start(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<CountStart>,
) -> Result<Created<StartedBody>, Problem> {
    let order = read::start(&sent.draft, &hand)?;
    let started = acts::start(&site.db, &hand, key, order).await?;
    Ok(Created(StartedBody { id: started.id.to_string(), code: started.code, lines: started.lines }))
}

/// What somebody counted of a line.
#[derive(ToSchema)]
pub struct NewTally {
    /// The number of the line.
    pub line: u32,
    /// How much stands there; 0 for nothing. May be left out where it is weighed.
    pub counted: Option<Amount>,
    /// Nothing is there.
    pub none: Option<bool>,
    /// What the scale showed, with the vessel.
    pub gross: Option<Amount>,
    /// The empty vessel.
    pub tare: Option<Amount>,
    /// A package of it is open.
    pub opened: Option<bool>,
    /// A remark.
    pub remark: Option<String>,
    /// When, if it is sent later; RFC 3339.
    pub at: Option<String>,
}

/// The number of a line.
#[derive(Serialize, ToSchema)]
pub struct LineNumber {
    /// Its number in the count.
    pub line: u32,
}

/// Says what one counted.
pub async fn tally(
    taster: Taster,
    site: Site,
    path: Path<CountId>,
    Key(key): Key,
    sent: Json<NewTally>,
) -> Result<Created<LineNumber>, Problem> {
    let (id, club) = (path.0, taster.club);
    let number = sent.draft.typed("line").and_then(|text| text.trim().parse::<u32>().ok());
    let found = site.db.read(move |conn| {
        rows::count(conn, club, id)?;
        number.map_or(Ok(None), |number| Ok(rows::lines(conn, club, id, Some(number))?.pop()))
    });
    let found = found.await.map_err(|failure: Failure| missing(failure.into()))?;
    let line = found.ok_or_else(|| {
        crate::domain::refusal::Refusal::unfit("line", "Write the number of a line of this count, such as 3")
    })?;
    let order = read::tally(&sent.draft, &taster, id, &line)?;
    Ok(Created(LineNumber { line: acts::tally(&site.db, &taster, key, order).await? }))
}

/// Something that is not on the sheet.
#[derive(ToSchema)]
pub struct NewFound {
    /// Where it stands.
    pub place: String,
    /// The code on its label, or the address that a phone reads off it.
    pub code: Option<String>,
    /// What it is, where it has none.
    pub what: Option<String>,
    /// How much.
    pub counted: Option<Amount>,
    /// Nothing is there after all.
    pub none: Option<bool>,
    /// What the scale showed, with the vessel.
    pub gross: Option<Amount>,
    /// The empty vessel.
    pub tare: Option<Amount>,
    /// A package of it is open.
    pub opened: Option<bool>,
    /// A remark.
    pub remark: Option<String>,
    /// When, if it is sent later; RFC 3339.
    pub at: Option<String>,
}

/// Says that something stands there which is not on the sheet.
pub async fn found(
    taster: Taster,
    site: Site,
    path: Path<CountId>,
    Key(key): Key,
    sent: Json<NewFound>,
) -> Result<Created<LineNumber>, Problem> {
    let lot = lot_coded(&site, &taster, sent.draft.typed("code").unwrap_or_default()).await?;
    let order = read::thing(&sent.draft, &taster, path.0, lot)?;
    Ok(Created(LineNumber { line: acts::found_thing(&site.db, &taster, key, order).await? }))
}

/// How many lines that concerned.
#[derive(Serialize, ToSchema)]
pub struct AgainBody {
    /// Lines that are to be counted again.
    pub again: usize,
}

/// Ends the counting.
pub async fn end(
    hand: Cellarhand,
    site: Site,
    path: Path<CountId>,
    Key(key): Key,
    sent: Json<Nothing>,
) -> Result<Created<AgainBody>, Problem> {
    sent.draft.read(&hand, |_| ())?;
    let ended = acts::end(&site.db, &hand, key, path.0).await?;
    Ok(Created(AgainBody { again: ended.again }))
}

/// Lines to be counted again.
#[derive(ToSchema)]
pub struct Recounts {
    /// Their numbers.
    pub again: Vec<u32>,
}

/// Asks for lines to be counted again.
pub async fn ask_again(
    hand: Cellarhand,
    site: Site,
    path: Path<CountId>,
    Key(key): Key,
    sent: Json<Recounts>,
) -> Result<Created<AgainBody>, Problem> {
    let order = read::recount(&sent.draft, &hand, path.0)?;
    Ok(Created(AgainBody { again: acts::ask_again(&site.db, &hand, key, order).await? }))
}

/// What is said of one line: one of `stands`, `lot`, `leave_out`, or only the reason.
#[derive(ToSchema)]
pub struct LineSaying {
    /// Which of several counts stands.
    pub stands: Option<String>,
    /// Of which lot it is.
    pub lot: Option<String>,
    /// It stays as the books have it.
    pub leave_out: Option<bool>,
    /// not-written, written-wrong, broken, dried, measured, elsewhere, not-known.
    pub reason: Option<String>,
    /// The same in words.
    pub words: Option<String>,
}

/// Says something of one line.
pub async fn say(
    hand: Cellarhand,
    site: Site,
    path: Path<(CountId, u32)>,
    Key(key): Key,
    sent: Json<LineSaying>,
) -> Result<Created<LineNumber>, Problem> {
    let (id, number) = path.0;
    let order = read::saying(&sent.draft, &hand, id, number)?;
    Ok(Created(LineNumber { line: acts::say(&site.db, &hand, key, order).await? }))
}

/// Why one line differs.
#[derive(ToSchema)]
pub struct LineReason {
    /// The number of the line.
    pub line: u32,
    /// not-written, written-wrong, broken, dried, measured, elsewhere, not-known.
    pub reason: String,
    /// The same in words.
    pub words: Option<String>,
}

/// What is to be posted.
#[derive(ToSchema)]
pub struct NewPosting {
    /// Lines that are counted again instead.
    pub again: Option<Vec<u32>>,
    /// Why single lines differ.
    pub reasons: Option<Vec<LineReason>>,
    /// Why all others differ.
    pub reason: Option<String>,
    /// The same in words.
    pub words: Option<String>,
}

/// What posting did.
#[derive(Serialize, ToSchema)]
#[schema(as = PostedCount)]
pub struct PostedBody {
    /// The entry; null where the books were right.
    pub entry: Option<String>,
    /// Lines in which the books were put right.
    pub posted: usize,
    /// Lines in which they were right.
    pub right: usize,
    /// Lines that stay open.
    pub open: usize,
}

/// Posts what is clear.
pub async fn post(
    hand: Cellarhand,
    site: Site,
    path: Path<CountId>,
    Key(key): Key,
    sent: Json<NewPosting>,
) -> Result<Created<PostedBody>, Problem> {
    let order = read::posting(&sent.draft, &hand, path.0)?;
    let posted = acts::post(&site.db, &hand, key, order).await?;
    Ok(Created(PostedBody {
        entry: posted.entry.map(|entry| entry.to_string()),
        posted: posted.posted,
        right: posted.right,
        open: posted.open,
    }))
}

/// Calls a count off.
pub async fn call_off(
    hand: Cellarhand,
    site: Site,
    path: Path<CountId>,
    Key(key): Key,
    sent: Json<Because>,
) -> Result<Answer<CountBody>, Problem> {
    let (id, club) = (path.0, hand.club);
    let order = read::calling_off(&sent.draft, &hand, id)?;
    acts::call_off(&site.db, &hand, key, order).await?;
    let count = site.db.read(move |conn| rows::count(conn, club, id)).await?;
    Ok(Answer(CountBody::of(&count, &hand)))
}
