//! What is sent of tables, read for pages and API alike.

use crate::actions::intake::{Bringing, Progress, Saying, Sending, Undoing};
use crate::domain::intake::Kind;
use crate::domain::intake::tables::moments::Order;
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::units::ids::IntakeId;
use crate::web::input::{Draft, Reader};

/// Columns of which something may be said.
const COLUMNS: usize = 60;

/// A table; its rows were taken out of the draft before, for they may be long.
pub fn sending(draft: &Draft, doer: &Doer, rows: String) -> Result<Sending, Refusal> {
    draft.read(doer, |r| {
        r.group("rows");
        Sending {
            kind: r.choice("kind", &Kind::ALL, Kind::code),
            file_name: r.optional_line("file_name", 200, "the name of the file"),
            columns: columns(r),
            order: r.optional_choice("date_order", &Order::ALL, Order::code),
            rows,
        }
    })
}

fn columns(r: &mut Reader) -> Vec<(String, String)> {
    r.rows_up_to("columns", COLUMNS, |r| (r.text("heading"), r.text("field").trim().to_owned()))
}

/// What its columns hold.
pub fn saying(draft: &Draft, doer: &Doer, intake: IntakeId) -> Result<Saying, Refusal> {
    draft.read(doer, |r| Saying {
        intake,
        columns: columns(r),
        order: r.optional_choice("date_order", &Order::ALL, Order::code),
    })
}

/// Whether all of it or nothing is brought in, or what is good.
pub fn bringing(draft: &Draft, doer: &Doer, intake: IntakeId) -> Result<Bringing, Refusal> {
    draft.read(doer, |r| Bringing {
        intake,
        good: r.choice("keep", &["all", "good"], |word| word) == "good",
        progress: Progress::default(),
    })
}

/// Why it is undone.
pub fn undoing(draft: &Draft, doer: &Doer, intake: IntakeId) -> Result<Undoing, Refusal> {
    draft.read(doer, |r| Undoing { intake, reason: r.line("reason", 300, "why it is undone") })
}
