//! Every test that needs more than one room, in one binary: it is linked once.
//!
//! `cargo test` runs what needs nothing but this repository. The rest is asked for:
//! `UNDERCROFT_TEST_POSTGRES=postgres://… cargo test --test suite -- --ignored postgres` on a server where databases
//! may be made and dropped.

mod archive;
mod books;
mod browser;
mod faults;
mod ground;
mod http;
mod letters;
mod reference;
mod schema;
mod tidy;
