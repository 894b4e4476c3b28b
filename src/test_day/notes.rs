//! What is written down before a block: wind, mass, zero of the power meter, rollout, tyre pressure.

use super::bicycle::Bicycle;
use super::quantity::{
    POWER_ZERO, Quantity, ROLLOUT, TOTAL_MASS, TYRE_PRESSURE, WHEEL_RADIUS, capitalised, plain,
};
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

/// A set-up whose mass or rolling radius is written nowhere but before each of its blocks has their mean, and
/// not a default that none of its passes is ridden with.
pub(super) fn settle_means(
    blocks: &[Block],
    setups: &mut [Setup],
    bicycles: &mut [Bicycle],
    assumptions: &mut Vec<String>,
) {
    for (index, (setup, bicycle)) in setups.iter_mut().zip(bicycles).enumerate() {
        let own: Vec<Notes> = blocks
            .iter()
            .filter(|block| block.setup == Some(index))
            .map(|block| block.notes)
            .collect();
        if !setup.total_mass_kg.given
            && let Some(mass) = mean(&own, |notes| notes.total_mass_kg)
        {
            setup.total_mass_kg = mass;
            bicycle.weighed(mass);
            assumptions.push(format!(
                "Total mass of '{}' as weighed before each block, {} kg in the mean.",
                setup.name,
                plain(mass.value)
            ));
        }
        if !setup.wheel_radius_m.given
            && let Some(radius) = mean(&own, radius)
        {
            setup.wheel_radius_m = radius;
            bicycle.rolled_out(radius);
            assumptions.push(format!(
                "Rolling radius of '{}' by the rollout before each block, {} ± {} m in the mean.",
                setup.name,
                plain(radius.value),
                plain(radius.standard_uncertainty)
            ));
        }
    }
}

fn radius(notes: &Notes) -> Option<Measured> {
    Some(Measured {
        value: notes.rollout_m? / std::f64::consts::TAU,
        standard_uncertainty: WHEEL_RADIUS.uncertainty,
        given: true,
    })
}

/// Nothing unless every block has it.
fn mean(notes: &[Notes], part: fn(&Notes) -> Option<Measured>) -> Option<Measured> {
    let all: Option<Vec<Measured>> = notes.iter().map(part).collect();
    let all = all.filter(|all| !all.is_empty())?;
    let mean = |of: fn(&Measured) -> f64| all.iter().map(of).sum::<f64>() / all.len() as f64;
    Some(Measured {
        value: mean(|one| one.value),
        standard_uncertainty: mean(|one| one.standard_uncertainty),
        given: true,
    })
}
