//! Energy accounts of passes → drag areas, what tells them apart, and how sure that is.

pub mod braking;

pub mod bends;

pub mod both;

pub mod budget;

pub mod cells;

pub mod comparison;

pub mod days;

pub mod disturbed;

pub mod joint;

pub mod late_heights;

pub mod least_squares;

pub mod one_pass;

pub mod out_of_step;

pub mod plain;

pub mod rolling;

pub mod still_ride;

pub mod student;

pub mod welch;

#[cfg(test)]
mod exact_tests;
#[cfg(test)]
pub(crate) mod made;
#[cfg(test)]
pub(crate) mod trials;
