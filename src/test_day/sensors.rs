//! `[sensors]`: what is known of the sensors, and what is to be left as they recorded it.

use super::section::Section;
use super::suggest::{listed, nearest};
use crate::treatment::{AsRecorded, Treatment};

/// The names in `as_recorded`; a fault for each that is none.
pub(super) fn as_recorded(section: &Section) -> AsRecorded {
    let names: Vec<&str> = Treatment::ALL.iter().map(|treatment| treatment.name()).collect();
    let mut left = Vec::new();
    for typed in section.texts("as_recorded").unwrap_or_default() {
        match Treatment::ALL.iter().find(|treatment| treatment.name() == typed) {
            Some(treatment) => left.push(*treatment),
            None => section.fault(
                "as_recorded",
                format!("\"{typed}\" is nothing that is set right"),
                match nearest(&typed, &names) {
                    Some(name) => format!("Did you mean \"{name}\"?"),
                    None => format!("Known are {}.", listed(&names)),
                },
            ),
        }
    }
    AsRecorded::new(&left)
}
