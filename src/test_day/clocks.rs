//! `[sensors] clock_offset_s`: clocks of units that the user knows to be off.

use super::section::Section;
use crate::streams::ClockGiven;
use toml_edit::{Item, Value};

/// A day and the farthest time zone.
const LARGEST_S: f64 = 200_000.0;
/// Read off two clocks side by side (judgement).
const STANDARD_UNCERTAINTY_S: f64 = 0.5;
const EXAMPLE: &str = "clock_offset_s = { \"logger.csv\" = 3.5 }: seconds by which its clock is ahead";

/// One for each file named; a fault for what is no number of seconds.
pub(super) fn read(section: &Section) -> Vec<ClockGiven> {
    let sure = section.number_within(
        "clock_offset_standard_uncertainty_s",
        0.01,
        60.0,
        "Write how well the offsets of the clocks are known, in seconds.",
    );
    let Some(value) = section.value("clock_offset_s", "files with seconds", EXAMPLE) else {
        return Vec::new();
    };
    let Value::InlineTable(table) = value else {
        section.wrong_type(
            "clock_offset_s",
            &Item::Value(value.clone()),
            "files with seconds",
            EXAMPLE,
        );
        return Vec::new();
    };
    let mut clocks = Vec::new();
    for (file, value) in table.iter() {
        let seconds = match value {
            Value::Integer(whole) => Some(*whole.value() as f64),
            Value::Float(float) => Some(*float.value()),
            _ => None,
        };
        match seconds.filter(|seconds| seconds.abs() <= LARGEST_S) {
            Some(offset_s) => clocks.push(ClockGiven {
                file: file.to_string(),
                offset_s,
                standard_uncertainty_s: sure.unwrap_or(STANDARD_UNCERTAINTY_S),
            }),
            None => section.fault(
                "clock_offset_s",
                format!("the offset of {file} is no number of seconds within two days"),
                format!("Write it as in {EXAMPLE}."),
            ),
        }
    }
    clocks
}
