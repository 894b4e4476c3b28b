//! `[sensors]`: what is known of the sensors, and what is to be left as they recorded it.

use super::Measured;
use super::quantity::Quantity;
use super::quantity::{SPEED_SCALE, plain};
use super::section::Section;
use super::suggest::{listed, nearest};
use crate::treatment::{AsRecorded, Treatment};

/// What is known of one sensor; nothing where the user does not say.
pub(super) fn known(section: &Section, quantity: &Quantity) -> Option<Measured> {
    let typed = section.quantity(quantity);
    if typed.value.is_none() && typed.uncertainty.is_some() {
        section.fault(
            quantity.uncertainty_key,
            format!("there is no {} beside it", quantity.key),
            quantity.advice,
        );
    }
    Some(Measured {
        value: typed.value?,
        standard_uncertainty: typed.uncertainty.unwrap_or(quantity.uncertainty),
        given: true,
    })
}

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

/// `speed_scale` of `[sensors]` or of a set-up; a sentence where its uncertainty is a default.
pub(super) fn speed_scale(section: &Section, assumptions: &mut Vec<String>) -> Option<Measured> {
    let typed = section.quantity(&SPEED_SCALE);
    if section.has(SPEED_SCALE.uncertainty_key) && !section.has(SPEED_SCALE.key) {
        section.fault(
            SPEED_SCALE.uncertainty_key,
            "an uncertainty of the speed scale without the scale",
            "Write speed_scale beside it, or remove it.",
        );
    }
    let value = typed.value?;
    if typed.uncertainty.is_none() {
        let sentence = format!(
            "Speed scale as in test.toml, ± {} by default.",
            plain(SPEED_SCALE.uncertainty)
        );
        if !assumptions.contains(&sentence) {
            assumptions.push(sentence);
        }
    }
    Some(Measured {
        value,
        standard_uncertainty: typed.uncertainty.unwrap_or(SPEED_SCALE.uncertainty),
        given: true,
    })
}
