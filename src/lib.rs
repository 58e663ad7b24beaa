//! Undercroft keeps the cellar of a club that ferments drinks together.
//!
//! The rooms, from the ground floor up; a lower room never names a higher one:
//!
//! `units ← science ← domain ← db ← actions ← {jobs, web} ← main`
//!
//! A feature has the same file name in every room: `ls src/*/batches.rs`. A page reads through `db` and writes
//! only through `actions`. `tests/tidy.rs` holds all of this.

pub mod actions;
pub mod config;
pub mod db;
pub mod domain;
pub mod jobs;
pub mod science;
pub mod units;
pub mod web;
