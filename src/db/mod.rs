//! The only room that knows diesel: the connection, the transaction, the failures, the tables, and then, under the
//! same names as in the other rooms, what is read and written.

pub mod backup;
pub mod connection;
pub mod failure;
pub mod migrations;
mod prepared;
pub mod schema;
pub mod types;
pub mod writer;

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
pub mod letters;
pub mod members;
pub mod plans;
pub mod recipes;
pub mod reminders;
pub mod reports;
pub mod requests;
pub mod shares;
pub mod steps;
pub mod stock;
pub mod tastings;
pub mod trace;
pub mod verify;
pub mod vessels;
pub mod workbench;

pub use connection::{AnyConn, Database};
pub use failure::Failure;
