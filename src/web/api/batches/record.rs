//! What is recorded of a batch by the API, and taken back.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::once::RequestKey;
use crate::actions::steps::{self, Booked, ByEntry, Deed, Mark};
use crate::actions::vessels::{Into as IntoVessel, racked, transferred};
use crate::actions::{batches as acts, bottles, reversals};
use crate::db::batches as rows;
use crate::db::stock::{self, Units};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::Transfer;
use crate::domain::members::{Cellarhand, Doer};
use crate::units::ids::{BatchId, EntryId, ItemId, ReadingId};
use crate::web::api::Amount;
use crate::web::api::bodies::{
    Blend, ByProduct, Draw, Ending, LossBody, NewBottling, Racking, Reason, Split,
};
use crate::web::batches::read;
use crate::web::body::Json;
use crate::web::entries::read_reversal;
use crate::web::extract::{Key, Path};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::Created;
use crate::web::site::Site;
use crate::web::steps::read::mark;
use crate::web::supplies;

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct Recorded {
    /// The entry in the books.
    pub entry: String,
    /// The stage of the batch then.
    pub stage: String,
    /// The volume of the batch then.
    pub volume: Amount,
}

impl From<acts::Recorded> for Recorded {
    fn from(made: acts::Recorded) -> Self {
        Self {
            entry: made.entry.to_string(),
            stage: made.stage.code().to_owned(),
            volume: Amount::volume(made.volume),
        }
    }
}

/// What the supplies that a request names are counted in.
async fn units(site: &Site, doer: &Doer, draft: &Draft, paths: &[impl AsRef<str>]) -> Result<Units, Problem> {
    let (mut items, mut lots) = (Vec::new(), Vec::new());
    for path in paths {
        let named = supplies::named(draft, path.as_ref());
        items.extend(named.0);
        lots.extend(named.1);
    }
    items.extend(draft.typed("item").and_then(|id| id.parse::<ItemId>().ok()));
    let club = doer.club;
    Ok(site.db.read(move |conn: &mut AnyConn| stock::units(conn, club, &items, &lots)).await?)
}

/// What was sent, without the step that it does.
fn of_step(mut draft: Draft, hand: &Cellarhand) -> Result<(Draft, Option<Mark>), Problem> {
    let mark = mark(&mut draft, hand)?;
    Ok((draft, mark))
}

/// Records an entry together with the step that it does.
async fn by_entry(
    site: &Site,
    hand: &Cellarhand,
    key: Option<RequestKey>,
    batch: BatchId,
    (deed, mark): (Deed, Mark),
) -> Result<Booked, Problem> {
    Ok(steps::by_entry(&site.db, hand, key, ByEntry { batch, deed, mark }).await?)
}

/// Draws supplies into a batch.
pub async fn draw(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Draw>,
) -> Result<Created<Recorded>, Problem> {
    let units = units(&site, &hand, &sent.draft, &["lines"]).await?;
    let (draft, mark) = of_step(sent.draft, &hand)?;
    let order = read::draw(&draft, &hand, path.0, false, &units)?;
    let made = match mark {
        None => acts::draw(&site.db, &hand, key, order).await?,
        Some(mark) => by_entry(&site, &hand, key, path.0, (Deed::Draw(order), mark)).await?.recorded,
    };
    Ok(Created(made.into()))
}

/// Pitches the yeast.
pub async fn pitch(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Draw>,
) -> Result<Created<Recorded>, Problem> {
    let units = units(&site, &hand, &sent.draft, &["lines"]).await?;
    let (draft, mark) = of_step(sent.draft, &hand)?;
    let order = read::draw(&draft, &hand, path.0, true, &units)?;
    let made = match mark {
        None => acts::draw(&site.db, &hand, key, order).await?,
        Some(mark) => by_entry(&site, &hand, key, path.0, (Deed::Draw(order), mark)).await?.recorded,
    };
    Ok(Created(made.into()))
}

/// A by-product that was weighed off.
#[derive(Serialize, ToSchema)]
pub struct WeighedOff {
    /// The entry in the books.
    pub entry: String,
    /// The lot it became.
    pub lot: String,
    /// The lot's code.
    pub code: String,
}

/// Weighs a by-product off.
pub async fn by_product(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<ByProduct>,
) -> Result<Created<WeighedOff>, Problem> {
    let units = units(&site, &hand, &sent.draft, &["lines"]).await?;
    let (draft, mark) = of_step(sent.draft, &hand)?;
    let order = read::by_product(&draft, &hand, path.0, &units)?;
    if let Some(mark) = mark {
        let booked = by_entry(&site, &hand, key, path.0, (Deed::ByProduct(order), mark)).await?;
        let (lot, code) = booked.lot.map(|(lot, code)| (lot.to_string(), code)).unwrap_or_default();
        return Ok(Created(WeighedOff { entry: booked.recorded.entry.to_string(), lot, code }));
    }
    let made = acts::by_product(&site.db, &hand, key, order).await?;
    Ok(Created(WeighedOff { entry: made.entry.to_string(), lot: made.lot.to_string(), code: made.code }))
}

/// Records drink that was lost.
pub async fn lose(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<LossBody>,
) -> Result<Created<Recorded>, Problem> {
    let made = acts::record_loss(&site.db, &hand, key, read::loss(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(made.into()))
}

/// Racks a batch, or records the volume measured.
pub async fn rack(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Racking>,
) -> Result<Created<Recorded>, Problem> {
    let (draft, mark) = of_step(sent.draft, &hand)?;
    let order = read::racking(&draft, &hand, path.0)?;
    let made = match mark {
        None => racked(&site.db, &hand, key, order).await?,
        Some(mark) => {
            by_entry(&site, &hand, key, path.0, (Deed::Rack(order.0, order.1), mark)).await?.recorded
        }
    };
    Ok(Created(made.into()))
}

/// Where drink went.
#[derive(Serialize, ToSchema)]
pub struct Moved {
    /// The entry in the books.
    pub entry: String,
    /// The batch it went into.
    pub into: String,
    /// That batch's number.
    pub code: String,
}

impl From<acts::Transferred> for Moved {
    fn from(made: acts::Transferred) -> Self {
        Self { entry: made.entry.to_string(), into: made.into.to_string(), code: made.code }
    }
}

/// Moves drink to another batch, with the step that this does where one is named.
async fn moved(
    site: &Site,
    hand: &Cellarhand,
    key: Option<RequestKey>,
    batch: BatchId,
    (order, mark): ((Transfer, Option<IntoVessel>), Option<Mark>),
) -> Result<Created<Moved>, Problem> {
    let Some(mark) = mark else {
        return Ok(Created(transferred(&site.db, hand, key, order).await?.into()));
    };
    let booked = by_entry(site, hand, key, batch, (Deed::Transfer(order.0, order.1), mark)).await?;
    let into = booked.into.ok_or_else(|| Problem::fault("drink went nowhere"))?;
    let club = hand.club;
    let code = site.db.read(move |conn| Ok::<_, Failure>(rows::batch(conn, club, into)?.code)).await?;
    Ok(Created(Moved { entry: booked.recorded.entry.to_string(), into: into.to_string(), code }))
}

/// Splits part of a batch into a new one.
pub async fn split(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Split>,
) -> Result<Created<Moved>, Problem> {
    let (draft, mark) = of_step(sent.draft, &hand)?;
    let order = read::split(&draft, &hand, path.0)?;
    moved(&site, &hand, key, path.0, (order, mark)).await
}

/// Blends part of a batch into another.
pub async fn blend(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Blend>,
) -> Result<Created<Moved>, Problem> {
    let (draft, mark) = of_step(sent.draft, &hand)?;
    let order = read::blend(&draft, &hand, path.0)?;
    moved(&site, &hand, key, path.0, (order, mark)).await
}

/// The batch of a reading that was struck out.
#[derive(Serialize, ToSchema)]
pub struct Struck {
    /// The batch.
    pub batch: String,
}

/// Strikes a reading out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<ReadingId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<Struck>, Problem> {
    let batch = acts::strike_reading(&site.db, &hand, key, read::strike(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(Struck { batch: batch.to_string() }))
}

/// A filling that was laid down.
#[derive(Serialize, ToSchema)]
pub struct BottledBody {
    /// The first size, or the only one.
    #[serde(flatten)]
    pub first: BottledSize,
    /// The other sizes, as they were sent.
    pub also: Vec<BottledSize>,
}

/// Bottles of one size.
#[derive(Serialize, ToSchema)]
pub struct BottledSize {
    /// The entry in the books.
    pub entry: String,
    /// The bottling.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// The lot of its bottles.
    pub lot: String,
    /// What one bottle costs; the last one takes the rest.
    pub cost_per_bottle: String,
}

/// Fills bottles from a batch and lays them down.
pub async fn bottle(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewBottling>,
) -> Result<Created<BottledBody>, Problem> {
    let units = units(&site, &hand, &sent.draft, &read::packaging(&sent.draft)).await?;
    let orders = read::bottlings(&sent.draft, &hand, path.0, &units)?;
    let made = bottles::record_bottlings(&site.db, &hand, key, orders).await?;
    let told = |made: bottles::Bottled| BottledSize {
        entry: made.entry.to_string(),
        bottling: made.bottling.to_string(),
        code: made.code,
        lot: made.lot.to_string(),
        cost_per_bottle: made.cost_per_bottle.plain(),
    };
    let mut sizes = made.into_iter().map(told);
    let first = sizes.next().ok_or_else(|| Problem::missing("bottling"))?;
    Ok(Created(BottledBody { first, also: sizes.collect() }))
}

/// Closes a batch in which nothing is left.
pub async fn close(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Ending>,
) -> Result<Created<Recorded>, Problem> {
    let order = read::ending(&sent.draft, &hand, path.0, false)?;
    let made = acts::record_end(&site.db, &hand, key, order).await?;
    Ok(Created(made.into()))
}

/// Gives a batch up: the rest is lost.
pub async fn abandon(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Ending>,
) -> Result<Created<Recorded>, Problem> {
    let order = read::ending(&sent.draft, &hand, path.0, true)?;
    let made = acts::record_end(&site.db, &hand, key, order).await?;
    Ok(Created(made.into()))
}

/// A reversal.
#[derive(Serialize, ToSchema)]
pub struct Reversed {
    /// The entry that takes the other back.
    pub entry: String,
}

/// Reverses an entry; 409 names the entries that rest on it.
pub async fn reverse(
    hand: Cellarhand,
    site: Site,
    path: Path<EntryId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<Reversed>, Problem> {
    let order = read_reversal(&sent.draft, &hand, path.0)?;
    let entry = reversals::record_reversal(&site.db, &hand, key, order).await?;
    Ok(Created(Reversed { entry: entry.to_string() }))
}
