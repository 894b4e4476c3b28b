//! Results → text for a terminal, JSON for programs. No arithmetic beyond units and rounding.

pub mod json;

pub mod sheet;

pub mod terminal;

pub mod words;

mod table;
