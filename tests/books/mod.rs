//! The books under test: random histories against a small model, and each promise by itself.

mod deeds;
mod histories;
mod model;
mod steps;
mod world;
