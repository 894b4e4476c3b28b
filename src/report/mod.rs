//! Results → text for a terminal, JSON for programs, a document to share. No arithmetic beyond units and rounding.

pub mod html;

pub mod json;

mod private;

pub mod picture;

pub mod printout;

pub mod terminal;

pub mod words;

mod sheet;

mod table;

pub use sheet::Sheet;
