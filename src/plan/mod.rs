//! Before the ride.

pub mod ballast;

pub mod entry;

pub mod orders;

pub mod place;
