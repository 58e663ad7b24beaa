//! Striking a reading out.

use super::read;
use crate::actions::batches as acts;
use crate::domain::members::Cellarhand;
use crate::units::ids::{BatchId, ReadingId};
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::Field;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// Strikes a reading out.
pub async fn record(hand: Cellarhand, site: Site, path: Path<(BatchId, ReadingId)>, form: Form) -> Reply {
    let (batch, reading) = path.0;
    let done = async {
        let order = read::strike(&form.draft, &hand, reading)?;
        acts::strike_reading(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(batch) => Ok(site.see_other(&format!("/batches/{batch}/readings"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let path = format!("/batches/{batch}/readings/{reading}/strike");
            let view = site
                .form(&path, "Strike a reading out", "Strike it out")
                .intro("It stays in the record and no longer counts.")
                .fields([Field::text("reason", "Why is it struck out?")])
                .leave(site.at(&format!("/batches/{batch}")));
            let frame = site.frame(&hand, Room::Batches, "Strike a reading out", facts);
            let up = (site.at(&format!("/batches/{batch}")), "The batch".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), form.back(view, &refusal)), &refusal)
        }
    }
}
