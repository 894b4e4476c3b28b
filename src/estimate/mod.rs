//!

pub mod least_squares;

pub mod student;

pub mod welch;
