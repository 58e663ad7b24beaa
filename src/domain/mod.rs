//! The rules of the cellar, as pure functions over plain values: no SQL, no HTTP, no clock.
//!
//! A rule either gives the entry to record, or a [`refusal::Refusal`] that says in plain words what stands
//! in the way.

pub mod archive;
pub mod batches;
pub mod bills;
pub mod books;
pub mod bottles;
pub mod buying;
pub mod calendars;
pub mod cautions;
pub mod cellar;
pub mod climate;
pub mod costs;
pub mod counts;
pub mod efforts;
pub mod holds;
pub mod instruments;
pub mod intake;
pub mod labels;
pub mod letters;
pub mod members;
pub mod payments;
pub mod plans;
pub mod recipes;
pub mod refusal;
pub mod reminders;
pub mod reports;
pub mod reversals;
pub mod shares;
pub mod steps;
pub mod stock;
pub mod tastings;
pub mod vessels;
pub mod workbench;
pub mod yields;
