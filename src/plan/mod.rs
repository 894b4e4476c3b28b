//! Before the ride.

pub mod ballast;

pub mod chance;

pub mod day;

pub mod entry;

pub mod expect;

pub mod orders;

pub mod place;

pub mod rehearse;

mod ride;

pub mod roads;

pub mod schedule;

mod wind;

pub use chance::chance_to_resolve;
pub use day::{PlannedBlock, PlannedDay};
pub use expect::{Expected, ExpectedApart, ExpectedPair, expect, expect_apart, expect_told};
pub use schedule::{PlannedPass, Schedule};
