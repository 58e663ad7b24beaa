//! A table that was sent and waits: what the neighbours kept, with three rows that somebody has to look at.

use super::Scribe;
use crate::actions::intake::{Sending, send};
use crate::domain::intake::Kind;
use crate::domain::members::Cellarhand;
use crate::jobs::demo::Error;
use crate::jobs::demo::files::Line;

const NAME: &str = "neighbours.csv";
const ROWS: &str = include_str!("../../../../seeds/neighbours.csv");

impl Scribe<'_> {
    /// Sends the table as a member would.
    pub(in crate::jobs::demo) async fn send_table(&self, founder: &Cellarhand) -> Result<(), Error> {
        let table = Sending {
            kind: Kind::Items,
            file_name: NAME.to_owned(),
            rows: ROWS.to_owned(),
            columns: Vec::new(),
            order: None,
        };
        send(self.db, founder, None, table).await.map_err(|why| Line::first(NAME).failed(why))?;
        Ok(())
    }
}
