//! The bills of a receipt by the API: a file is sent and answered as it is.

use serde::Serialize;
use utoipa::ToSchema;

use super::Page;
use super::bodies::Reason;
use super::entries::instant;
use crate::actions::bills::{self as acts, NewBills};
use crate::db::bills as rows;
use crate::db::books::{self, Which};
use crate::domain::bills::{Bill, BillFile, FileKind};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::domain::refusal::Refusal;
use crate::units::ids::{BillId, EntryId};
use crate::web::bills;
use crate::web::body::{BillBytes, Json};
use crate::web::extract::{Key, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created, Reply};
use crate::web::site::Site;

/// A photo or a PDF of a bill.
#[derive(Serialize, ToSchema)]
#[schema(as = Bill)]
pub struct BillBody {
    /// Its id.
    pub id: String,
    /// How it was called where it came from; may be empty.
    pub name: String,
    /// image/jpeg, image/png, image/webp or application/pdf.
    pub media_type: String,
    /// How many bytes.
    pub bytes: usize,
    /// The name of the member who added it.
    pub added_by: String,
    /// When.
    pub added_at: String,
    /// What struck it out; it cannot be opened any more then.
    pub struck: Option<BillStruck>,
}

/// What struck a bill out.
#[derive(Serialize, ToSchema)]
pub struct BillStruck {
    /// The name of the member who did it.
    pub by: String,
    /// When.
    pub at: String,
    /// Why.
    pub reason: String,
}

/// The bill that this is about.
#[derive(Serialize, ToSchema)]
pub struct BillKept {
    /// Its id.
    pub bill: String,
}

/// What is said of a bill that is sent.
#[derive(serde::Deserialize, ToSchema)]
pub struct BillQuery {
    /// How it is called, such as invoice-118.pdf.
    pub name: Option<String>,
}

impl From<&Bill> for BillBody {
    fn from(bill: &Bill) -> Self {
        let struck = bill.struck.as_ref().map(|(by, at, reason)| BillStruck {
            by: by.clone(),
            at: instant(*at),
            reason: reason.clone(),
        });
        Self {
            id: bill.id.to_string(),
            name: bill.name.clone(),
            media_type: bill.kind.media_type().to_owned(),
            bytes: bill.size,
            added_by: bill.by.clone(),
            added_at: instant(bill.at),
            struck,
        }
    }
}

/// The bills of a receipt, in the order in which they came.
pub async fn list(who: Onlooker, site: Site, path: Path<EntryId>) -> Result<Answer<Page<BillBody>>, Problem> {
    let (club, entry) = (who.club, path.0);
    let found = site
        .db
        .read(move |conn| {
            let told = books::tell(conn, club, Which::One(entry), None, 1)?.pop();
            Ok::<_, crate::db::Failure>((told, rows::of_entry(conn, club, entry)?))
        })
        .await?;
    found.0.filter(|told| told.may_be_told_to(&who)).ok_or_else(|| Problem::missing("entry"))?;
    Ok(Answer(Page { items: found.1.iter().map(BillBody::from).collect(), next: None }))
}

/// Keeps a file with a receipt.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    path: Path<EntryId>,
    Key(key): Key,
    query: Query<BillQuery>,
    sent: BillBytes,
) -> Result<Created<BillKept>, Problem> {
    let name = query.value.name.unwrap_or_default();
    let file = BillFile::read(&name, sent.bytes).map_err(|misread| Refusal::unfit("bills", misread))?;
    if let Some(said) = FileKind::ALL.into_iter().find(|kind| kind.media_type() == sent.said)
        && said != file.kind
    {
        let words =
            format!("These bytes are a {}, and the Content-Type says {}", file.kind.label(), sent.said);
        return Err(Refusal::unfit("bills", words).into());
    }
    let order = NewBills { entry: path.0, files: vec![file] };
    let kept = acts::add_bills(&site.db, &hand, key, order).await?;
    let bill = kept.first().map(BillId::to_string).unwrap_or_default();
    Ok(Created(BillKept { bill }))
}

/// A file, as it was sent.
pub async fn file(who: Onlooker, site: Site, path: Path<(EntryId, BillId)>) -> Reply {
    bills::file(&who, &site, path.0).await
}

/// Strikes a bill out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<(EntryId, BillId)>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<BillKept>, Problem> {
    let order = bills::read_strike(&sent.draft, &hand, path.0)?;
    let bill = acts::strike_bill(&site.db, &hand, key, order).await?;
    Ok(Created(BillKept { bill: bill.to_string() }))
}
