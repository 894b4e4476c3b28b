//! `[air_speed]`: which channel of the recordings holds the air speed, and its factor.

use super::quantity::{AIR_SPEED_FACTOR, plain};
use super::section::Section;
use super::{AirSpeedGiven, Measured};

/// The table, or nothing after a fault; a sentence for each default.
pub(super) fn read(section: &Section, assumptions: &mut Vec<String>) -> Option<AirSpeedGiven> {
    if !section.has("channel") {
        section.fault(
            "channel",
            "this table does not say which channel holds the air speed",
            "Write channel = \"…\" with the name that `stillair inspect` lists.",
        );
    }
    let channel = section.text("channel");
    let typed = section.quantity(&AIR_SPEED_FACTOR);
    let factor = Measured {
        value: typed.value.unwrap_or(1.0),
        standard_uncertainty: typed.uncertainty.unwrap_or(AIR_SPEED_FACTOR.uncertainty),
        given: typed.value.is_some(),
    };
    let (value, uncertainty) = (plain(factor.value), plain(factor.standard_uncertainty));
    match (factor.given, typed.uncertainty.is_some()) {
        (false, _) => assumptions.push(format!(
            "Air-speed factor (true over recorded) {value} ± {uncertainty}, a default (factor)."
        )),
        (true, false) => assumptions.push(format!(
            "Air-speed factor as in test.toml, ± {uncertainty} by default."
        )),
        (true, true) => {}
    }
    Some(AirSpeedGiven {
        line: section.line,
        channel: channel?.trim().to_string(),
        factor,
    })
}
