//! What changes slowly over the day: a power meter that feels the temperature, one that sits in one leg, and the
//! water that the rider loses.

use super::Measured;
use super::quantity::{MASS_LOSS, POWER_PER_KELVIN, Quantity, plain};
use super::section::Section;

/// Where the power meter sits in one leg only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerSide {
    Left,
    Right,
    /// Both legs are read.
    Both,
}

/// What is known of how power and mass change over the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slow {
    /// Recorded over true power moves by this for each kelvin. [1/K]
    pub power_scale_per_k: Measured,
    /// `None`: nobody wrote it.
    pub power_side: Option<PowerSide>,
    /// Sweat and breath; what is drunk from the bottles stays aboard. [kg/h]
    pub mass_loss_kg_per_h: Measured,
}

impl Default for Slow {
    fn default() -> Self {
        Slow {
            power_scale_per_k: by_default(&POWER_PER_KELVIN),
            power_side: None,
            mass_loss_kg_per_h: by_default(&MASS_LOSS),
        }
    }
}

/// Zero beside what it may be where nobody knows it.
fn by_default(quantity: &Quantity) -> Measured {
    let standard_uncertainty = match quantity.key {
        // Makers compensate for temperature and state 1 to 2 % over some 20 K; what is left moves a meter by some
        // 0.1 to 0.3 % a kelvin (common practice, no published source).
        "power_scale_per_k" => 0.002,
        // Riders lose 0.3 to 1 l an hour by sweat and breath at an even effort in mild air (from memory, M).
        _ => 0.5,
    };
    Measured {
        value: 0.0,
        standard_uncertainty,
        given: false,
    }
}

/// `[sensors]` and `[rider]`; a sentence for each default beside a typed value.
pub(super) fn read(
    sensors: Option<&Section>,
    rider: Option<&Section>,
    assumptions: &mut Vec<String>,
) -> Slow {
    let mut typed = |section: Option<&Section>, quantity: &Quantity| {
        let Some(found) = section.map(|section| section.quantity(quantity)) else {
            return by_default(quantity);
        };
        match (found.value, found.uncertainty) {
            (None, None) => by_default(quantity),
            (value, uncertainty) => {
                if uncertainty.is_none() {
                    assumptions.push(format!(
                        "{} as in test.toml, ± {}{} by default.",
                        super::quantity::capitalised(quantity.name),
                        plain(quantity.uncertainty),
                        quantity.unit
                    ));
                }
                Measured {
                    value: value.unwrap_or(0.0),
                    standard_uncertainty: uncertainty.unwrap_or(quantity.uncertainty),
                    given: true,
                }
            }
        }
    };
    Slow {
        power_scale_per_k: typed(sensors, &POWER_PER_KELVIN),
        mass_loss_kg_per_h: typed(rider, &MASS_LOSS),
        power_side: sensors.and_then(power_side),
    }
}

fn power_side(sensors: &Section) -> Option<PowerSide> {
    match sensors.text("power_side")?.as_str() {
        "left" => Some(PowerSide::Left),
        "right" => Some(PowerSide::Right),
        "both" => Some(PowerSide::Both),
        other => {
            sensors.fault(
                "power_side",
                format!("\"{other}\" is not a side that a power meter reads"),
                "Write \"left\" or \"right\" for a meter in one leg that doubles what it reads, else \"both\".",
            );
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{day, faults};
    use super::*;

    #[test]
    fn what_changes_over_the_day_is_read_with_its_uncertainty() {
        let known = day(
            "[sensors]\npower_scale_per_k = 0.001\npower_side = \"left\"\n\n[rider]\nmass_loss_kg_per_h = 0.7\nmass_loss_standard_uncertainty_kg_per_h = 0.1\n",
        );
        let measured = |m: Measured| (m.value, m.standard_uncertainty, m.given);
        assert_eq!(measured(known.slow.power_scale_per_k), (0.001, 0.0005, true));
        assert_eq!(known.slow.power_side, Some(PowerSide::Left));
        assert_eq!(measured(known.slow.mass_loss_kg_per_h), (0.7, 0.1, true));
        let stated =
            "Change of the power meter's scale with temperature as in test.toml, ± 0.0005 per K by default.";
        assert!(known.assumptions.iter().any(|sentence| sentence == stated));
        let unknown = day("[rider]\ntotal_mass_kg = 80\n");
        assert_eq!(unknown.slow, Slow::default());
        assert_eq!(unknown.slow.power_scale_per_k.standard_uncertainty, 0.002);
    }

    #[test]
    fn sides_and_sizes_that_cannot_be_are_faults() {
        let all = faults(
            "[sensors]\npower_side = \"front\"\npower_scale_per_k = 0.2\n\n[rider]\nmass_loss_kg_per_h = -1\n",
        );
        assert_eq!(all.len(), 3, "{all:?}");
    }
}
