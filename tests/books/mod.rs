//! The books under test: random histories against a small model, and each promise by itself.

mod accuracy;
mod amounts;
mod clubs;
mod counts;
mod crowds;
mod curves;
mod deeds;
mod fifo;
mod forgotten;
mod histories;
mod holds;
mod making;
mod model;
mod past;
mod payments;
mod places;
mod planted;
mod recipes;
mod reports;
mod requests;
mod reversals;
mod steps;
mod tastings;
mod traces;
mod vessels;
mod world;
