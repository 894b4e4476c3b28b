//! What is written down before a block: wind, mass, zero of the power meter, rollout, tyre pressure.

use super::bicycle::Bicycle;
use super::quantity::{POWER_ZERO, Quantity, ROLLOUT, TOTAL_MASS, TYRE_PRESSURE, capitalised, plain};
use super::section::Section;
use super::{Block, Measured, Notes, Setup, readings};

/// `setup`: that of the block; `None` in a block "none".
pub(super) fn read(section: &Section, setup: Option<&Setup>, assumptions: &mut Vec<String>) -> Notes {
    Notes {
        wind: readings::wind(section, assumptions),
        total_mass_kg: total_mass(section, setup, assumptions),
        power_zero_nm: number(section, &POWER_ZERO),
        rollout_m: number(section, &ROLLOUT),
        tyre_pressure_bar: number(section, &TYRE_PRESSURE),
    }
}

/// A quantity that takes no uncertainty.
fn number(section: &Section, quantity: &Quantity) -> Option<f64> {
    let value = section.number(quantity.key)?;
    match quantity.fault_of_value(value) {
        Some((what, next_step)) => {
            section.fault(quantity.key, what, next_step);
            None
        }
        None => Some(value),
    }
}

/// Without an uncertainty of its own it takes that of the set-up's mass where one was written: it was
/// read off the same scale.
fn total_mass(section: &Section, setup: Option<&Setup>, assumptions: &mut Vec<String>) -> Option<Measured> {
    let typed = section.quantity(&TOTAL_MASS);
    if section.has(TOTAL_MASS.uncertainty_key) && !section.has(TOTAL_MASS.key) {
        section.fault(
            TOTAL_MASS.uncertainty_key,
            "an uncertainty of the total mass without the mass",
            "Write total_mass_kg beside it, or remove it.",
        );
    }
    let value = typed.value?;
    let of_setup = setup.map(|setup| setup.total_mass_kg).filter(|mass| mass.given);
    let by_default = of_setup.map_or(TOTAL_MASS.uncertainty, |mass| mass.standard_uncertainty);
    if typed.uncertainty.is_none() && of_setup.is_none() {
        let sentence = format!(
            "{} as in test.toml, ± {}{} by default.",
            capitalised(TOTAL_MASS.name),
            plain(by_default),
            TOTAL_MASS.unit
        );
        if !assumptions.contains(&sentence) {
            assumptions.push(sentence);
        }
    }
    Some(Measured {
        value,
        standard_uncertainty: typed.uncertainty.unwrap_or(by_default),
        given: true,
    })
}

/// A set-up whose mass is written nowhere but before each of its blocks has their mean, and not a default
/// that none of its passes is ridden with.
pub(super) fn settle_masses(
    blocks: &[Block],
    setups: &mut [Setup],
    bicycles: &mut [Bicycle],
    assumptions: &mut Vec<String>,
) {
    for (index, (setup, bicycle)) in setups.iter_mut().zip(bicycles).enumerate() {
        if setup.total_mass_kg.given {
            continue;
        }
        let own = blocks.iter().filter(|block| block.setup == Some(index));
        let weighed: Option<Vec<Measured>> = own.map(|block| block.notes.total_mass_kg).collect();
        let Some(masses) = weighed.filter(|masses| !masses.is_empty()) else {
            continue;
        };
        let mean = |part: fn(&Measured) -> f64| masses.iter().map(part).sum::<f64>() / masses.len() as f64;
        let mass = Measured {
            value: mean(|mass| mass.value),
            standard_uncertainty: mean(|mass| mass.standard_uncertainty),
            given: true,
        };
        setup.total_mass_kg = mass;
        bicycle.weighed(mass);
        assumptions.push(format!(
            "Total mass of '{}' as weighed before each block, {} kg in the mean.",
            setup.name,
            plain(mass.value)
        ));
    }
}
