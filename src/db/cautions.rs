//! What the cautions of a batch follow from, and the reasons that members gave for going on.

use diesel::prelude::*;

use super::batches;
use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::Prepare;
use super::schema::{members, readings, reasons};
use super::{climate, holds, steps, stock, trace};
use crate::domain::batches::readings::followed;
use crate::domain::cautions::{Caution, Facts, Rule, warm_shelf};
use crate::domain::holds::Hold;
use crate::domain::members::Doer;
use crate::domain::plans::StepKind;
use crate::domain::steps::State;
use crate::domain::stock::Item;
use crate::science::fermentation::Reading;
use crate::units::days::{self, Instant};
use crate::units::ids::{BatchId, ClubId, EntryId, MemberId, ReasonId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::Milli;

/// A temperature of the batch counts for so many hours.
const TEMPERATURE_HOURS: i64 = 6;

/// The warmest shelf is that of the last year.
const WARMEST_DAYS: i64 = 366;

/// What is known of a batch now; a fixed number of queries, but for the levels of the trace above it.
pub fn facts(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Facts, Failure> {
    let club = doer.club;
    let batch = batches::batch(conn, club, id)?;
    let standing = batches::standing(conn, club, id)?;
    let above = trace::items_into(conn, &[id])?.remove(&id).unwrap_or_default();
    let items: Vec<Item> = stock::items_of(conn, club, &above)?.into_values().collect();
    let mut allergens: Vec<String> = items.iter().flat_map(|item| item.allergens.iter().cloned()).collect();
    allergens.sort_unstable();
    allergens.dedup();
    let since_pitch = batch.pitched_on.map(|day| days::begin(day, doer.zone));
    let recent = doer.now - chrono::Duration::hours(TEMPERATURE_HOURS);
    Ok(Facts {
        stage: Some(batch.stage),
        dairy: (!items.is_empty()).then(|| items.iter().any(Item::dairy)),
        raw_milk: None,
        honey: items.iter().any(|item| item.name.to_lowercase().contains("honey")),
        allergens,
        held: holds::above(conn, club, id)?.iter().map(Hold::words).collect(),
        liquid_c: last(conn, id, ReadingKind::Temperature, Some(recent))?,
        standing_hours: None,
        volume: Some(standing.holding.quantity).filter(|volume| *volume > Milli::ZERO),
        room_m3: None,
        vessel: None,
        gravities: gravities(conn, id)?,
        ph: match since_pitch {
            Some(pitched) => last(conn, id, ReadingKind::Ph, Some(pitched))?,
            None => None,
        },
        free_sulphite_mg_l: last(conn, id, ReadingKind::FreeSulphite, None)?,
        ..Facts::default()
    })
}

/// What else is known of a batch that is to be bottled.
pub fn before_bottling(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    facts: &mut Facts,
) -> Result<(), Failure> {
    let (club, since) = (doer.club, doer.today() - chrono::Duration::days(WARMEST_DAYS));
    let story = batches::story(conn, club, id)?;
    facts.galactose_g_l = story.galactose_g_l();
    facts.warmest_c = climate::warmest(conn, club, since)?.map(warm_shelf);
    facts.strength = story.strength().ok().map(|strength| strength.vol_percent);
    let steps = steps::steps(conn, club, id)?;
    facts.stabilised = steps
        .iter()
        .any(|step| step.plan.kind == StepKind::Stabilise && matches!(step.state(), State::Done(_)));
    Ok(())
}

/// The last value of a kind, not older than `since`.
fn last(
    conn: &mut AnyConn,
    id: BatchId,
    kind: ReadingKind,
    since: Option<Instant>,
) -> Result<Option<f64>, Failure> {
    let mut query = readings::table
        .filter(readings::batch_id.eq(id).and(readings::kind.eq(kind)).and(readings::struck_at.is_null()))
        .order((readings::at.desc(), readings::id.desc()))
        .select(readings::value_micro)
        .into_boxed();
    if let Some(since) = since {
        query = query.filter(readings::at.ge(since));
    }
    Ok(query.limit(1).prepared().get_result::<Measured>(conn).optional()?.map(Measured::number))
}

/// The gravities that say how far it is.
fn gravities(conn: &mut AnyConn, id: BatchId) -> Result<Vec<Reading>, Failure> {
    let kinds = [ReadingKind::Gravity, ReadingKind::Temperature];
    let mut found = batches::series(conn, &[id], &kinds)?;
    let mut of = |kind| found.remove(&(id, kind)).unwrap_or_default();
    Ok(followed(&of(ReadingKind::Gravity), &of(ReadingKind::Temperature)))
}

/// Keep why somebody goes on.
pub fn keep(
    conn: &mut AnyConn,
    club: ClubId,
    (batch, entry): (BatchId, Option<EntryId>),
    (caution, words): (&Caution, &str),
    (by, at): (MemberId, Instant),
) -> Result<(), Failure> {
    diesel::insert_into(reasons::table)
        .values((
            reasons::id.eq(ReasonId::fresh()),
            reasons::club_id.eq(club),
            reasons::batch_id.eq(batch),
            reasons::entry_id.eq(entry),
            reasons::rule.eq(caution.rule),
            reasons::danger.eq(&caution.title),
            reasons::words.eq(words),
            reasons::given_by.eq(by),
            reasons::given_at.eq(at),
        ))
        .execute(conn)?;
    Ok(())
}

/// A reason that was given.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Given {
    /// Which.
    pub id: ReasonId,
    /// For what; none where it was no entry of the books.
    pub entry: Option<EntryId>,
    /// The rule.
    pub rule: Rule,
    /// The caution as it was worded then.
    pub danger: String,
    /// The reason.
    pub words: String,
    /// Who gave it.
    pub by: String,
    /// When.
    pub at: Instant,
}

/// Which reasons.
#[derive(Debug, Clone, Copy)]
pub enum Which {
    /// Those of a batch, the latest first.
    Batch(BatchId),
    /// Those of an entry.
    Entry(EntryId),
}

/// The reasons that were given, the latest first, at most `limit`.
pub fn given(conn: &mut AnyConn, club: ClubId, which: Which, limit: i64) -> Result<Vec<Given>, Failure> {
    let mut query = reasons::table
        .inner_join(members::table.on(members::id.eq(reasons::given_by)))
        .filter(reasons::club_id.eq(club))
        .order(reasons::id.desc())
        .limit(limit)
        .select((
            reasons::id,
            reasons::entry_id,
            reasons::rule,
            reasons::danger,
            reasons::words,
            members::name,
            reasons::given_at,
        ))
        .into_boxed();
    query = match which {
        Which::Batch(batch) => query.filter(reasons::batch_id.eq(batch)),
        Which::Entry(entry) => query.filter(reasons::entry_id.eq(Some(entry))),
    };
    Ok(query.prepared().load(conn)?)
}
