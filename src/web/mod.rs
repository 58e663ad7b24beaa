//! What comes in over HTTP and what goes out: pages, and the API under `/api/v1`.
//!
//! [`routes`] is the one page with every route. A handler's first argument says who may ask
//! ([`extract`]), its other arguments what is sent ([`body`], [`input`]); it reads through `db`, records
//! through `actions`, and answers with a page or a value ([`respond`]), or with a [`problem`].
//! Surroundings, limits and headers are the same for all ([`site`], [`guard`], [`server`]).
//!
//! A page that records something: the form is shown, sent, and shown again with what was typed if it was
//! refused. The places in [`stock`] and [`api::stock`] are a whole feature in small; the others are made
//! like them.

pub mod api;
pub mod archive;
pub mod assets;
pub mod batches;
pub mod bills;
pub mod body;
pub mod bottles;
pub mod buying;
pub mod calendars;
mod cautions;
pub mod cellar;
pub mod climate;
pub mod costs;
pub mod counts;
pub mod efforts;
pub mod entries;
pub mod extract;
pub mod form_page;
pub mod forms;
pub mod frame;
pub mod guard;
pub mod health;
pub mod holds;
pub mod input;
pub mod instruments;
pub mod intake;
pub mod labels;
pub mod letters;
pub mod limits;
pub mod members;
pub mod paper;
pub mod payments;
pub mod phone;
pub mod pictures;
pub mod plans;
pub mod problem;
pub mod recall;
pub mod recipes;
pub mod reminders;
pub mod reports;
pub mod respond;
pub mod routes;
pub mod server;
pub mod shares;
pub mod site;
pub mod spreadsheet;
pub mod steps;
pub mod stock;
pub mod supplies;
pub mod table;
pub mod tastings;
pub mod trail;
pub mod vessels;
pub mod words;
pub mod workbench;
