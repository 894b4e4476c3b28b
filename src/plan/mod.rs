//! Before the ride: what a day is expected to tell, and how to ride it.

pub mod ballast;

pub mod choose;

pub mod entry;

pub mod ground;

pub mod orders;

pub mod place;

pub mod text;
