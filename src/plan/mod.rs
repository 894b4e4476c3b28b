//! Before the ride: what a day is expected to tell, and how to ride it.

pub mod ballast;

pub mod chance;

pub mod choose;

pub mod day;

pub mod entry;

pub mod expect;

pub mod ground;

pub mod orders;

pub mod place;

pub mod propose;
pub mod rehearse;

mod ride;

pub mod roads;

pub mod schedule;

pub mod text;

pub mod told;

mod wind;

pub use chance::chance_to_resolve;
pub use day::{PlannedBlock, PlannedDay};
pub use expect::{Expected, ExpectedApart, ExpectedPair, expect, expect_apart, expect_told};
pub use schedule::{PlannedPass, Schedule};
