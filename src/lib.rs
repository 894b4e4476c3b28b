//! Which of two set-ups makes a cyclist faster, from ordinary rides on an ordinary road.
//!
//! The rooms below stand in the order in which the data flow. A room uses rooms above it only;
//! `units`, `error`, `saving`, `warning` and `treatment` are for everyone. `simulate` stands apart: it is a referee.

#![forbid(unsafe_code)]

pub mod error;

pub mod saving;

pub mod treatment;

pub mod units;

pub mod warning;

pub mod recording;

pub mod streams;

pub mod test_day;

pub mod course;

pub mod air;

pub mod physics;

pub mod estimate;

pub mod verdict;

pub mod event;

pub mod study;

pub mod archive;

pub mod plan;

pub mod simulate;

pub mod report;

pub mod export;

pub mod watch;

pub mod page;

pub mod cli;
