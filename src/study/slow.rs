//! What changes slowly over the day and so passes for a set-up where the order does not balance it: the air that
//! warms, a power meter that feels it, a rider who loses water, and the share of the one leg that is read.

use super::Surveyed;
use crate::air::{Air, KnownBy};
use crate::estimate::cells::{InDay, PassRide};
use crate::test_day::{Measured, PowerSide};
use crate::treatment::Treatment;
use crate::warning::Warning;

/// What one leg does of the whole changes by 1 or 2 % over a day, with fatigue, effort and position (common practice, no
/// published source), and so by some 0.75 % from one mounting to the next (judgement); doubled, 1.5 % of the power.
pub const ONE_LEG_SD: f64 = 0.015;
/// ... and stands off half by 1.5 % in a rider who rides evenly, 3 % of the power (the same).
const ONE_LEG_SCALE: f64 = 0.03;
/// +1 K is −0.37 % of density and so of CdA; +1 % of power +1.17 % of CdA (REFERENCES 9, D).
const CDA_PER_K: f64 = 0.0037;
const CDA_OVER_POWER: f64 = 1.17;
/// What an unbalanced order may make of the comparison is worth a remark from here on, as a share of CdA.
const WORTH_SAYING: f64 = 0.004;
/// Warming over the passes that is worth a word.
const WARMING_K: f64 = 1.0;

/// A rest as long as this makes another day of it: a night, or a unit and a rider that are not the same any more.
const OTHER_DAY_S: f64 = 6.0 * 3600.0;

/// Tells each pass where in the day it stands, and sets right what is known to change.
pub(super) fn place(rides: &mut [PassRide], surveyed: &Surveyed, airs: &[Air]) {
    let count = rides.len() as f64;
    let mean = |value: fn(&PassRide) -> f64, rides: &[PassRide]| rides.iter().map(value).sum::<f64>() / count;
    let temperature_c = mean(|r| r.air.temperature_c, rides);
    let day = &surveyed.test_day;
    let left = |treatment| day.as_recorded.leaves(treatment);
    let per_kelvin = day.slow.power_scale_per_k;
    let mornings = mornings(rides);
    for (ride, morning) in rides.iter_mut().zip(mornings) {
        let recorded = surveyed.streams.iter().map(|s| s.start_s());
        let started_s = recorded
            .filter(|start_s| *start_s > morning.first_s - OTHER_DAY_S)
            .fold(f64::INFINITY, f64::min);
        let warming = &airs[surveyed.ridden.passes[ride.pass].recording].warming;
        ride.in_day = InDay {
            since_middle_h: (ride.middle_s - morning.middle_s) / 3600.0,
            warmer_k: ride.air.temperature_c - temperature_c,
            warming_standard_uncertainty_k_per_h: warming.standard_uncertainty_k_per_h,
            power_scale_per_k_standard_uncertainty: per_kelvin.standard_uncertainty,
            one_leg_sd: if reads_one_leg(surveyed) { ONE_LEG_SD } else { 0.0 },
        };
        if left(Treatment::PowerWithTemperature) {
            ride.in_day.power_scale_per_k_standard_uncertainty = 0.0;
        } else if per_kelvin.value != 0.0 {
            let recorded_over_true = 1.0 + per_kelvin.value * ride.in_day.warmer_k;
            for step in ride.cells.iter_mut().flat_map(|cell| &mut cell.steps) {
                step.power_w /= recorded_over_true;
            }
        }
        let loss = day.slow.mass_loss_kg_per_h;
        if loss.value != 0.0 && ride.total_mass_kg.is_none() {
            let weighed = day.setups[ride.setup].total_mass_kg;
            ride.total_mass_kg = Some(Measured {
                value: weighed.value - loss.value * (ride.middle_s - started_s) / 3600.0,
                ..weighed
            });
        }
    }
}

/// Whether the power is twice that of one leg, as somebody wrote or the recordings say.
fn reads_one_leg(surveyed: &Surveyed) -> bool {
    let day = &surveyed.test_day;
    if day.as_recorded.leaves(Treatment::OneLegPower) {
        return false;
    }
    match day.slow.power_side {
        Some(side) => side != PowerSide::Both,
        None => surveyed.streams.iter().any(|s| s.one_leg_power),
    }
}

/// Standard uncertainty of the power's scale beyond that of the meter.
pub(super) fn one_leg_scale(rides: &[PassRide]) -> f64 {
    if rides.iter().any(|ride| ride.in_day.one_leg_sd > 0.0) {
        ONE_LEG_SCALE
    } else {
        0.0
    }
}

/// Standard uncertainty of the mass lost in an hour; nothing where every block was weighed. [kg/h]
pub(super) fn mass_loss_uncertainty(surveyed: &Surveyed) -> f64 {
    let day = &surveyed.test_day;
    let weighed =
        |block: &crate::test_day::Block| block.setup.is_none() || block.notes.total_mass_kg.is_some();
    if !day.blocks.is_empty() && day.blocks.iter().all(weighed) {
        0.0
    } else {
        day.slow.mass_loss_kg_per_h.standard_uncertainty
    }
}

/// What was set right of its own accord, in sentences for what the numbers rest on.
pub(super) fn sentences(surveyed: &Surveyed) -> Vec<String> {
    let slow = &surveyed.test_day.slow;
    let mut all = Vec::new();
    if slow.power_scale_per_k.given {
        all.push(format!(
            "Power is set right by {:+.2} % for each kelvin of warming, as test.toml says (power_scale_per_k).",
            -100.0 * slow.power_scale_per_k.value
        ));
    }
    if slow.mass_loss_kg_per_h.given {
        all.push(format!(
            "The total mass falls by {} kg an hour from the start of the recording, as test.toml says \
             (mass_loss_kg_per_h); a mass weighed before a block stands as weighed.",
            slow.mass_loss_kg_per_h.value
        ));
    }
    all
}

pub(super) fn remarks(surveyed: &Surveyed, airs: &[Air], rides: &[PassRide]) -> Vec<Warning> {
    let mut all = Vec::new();
    if !surveyed.test_day.as_recorded.leaves(Treatment::WarmingAir) {
        all.extend(warming(surveyed, airs, rides));
    }
    if !surveyed
        .test_day
        .as_recorded
        .leaves(Treatment::PowerWithTemperature)
    {
        all.extend(meter_with_temperature(surveyed, rides));
    }
    if rides.iter().any(|ride| ride.in_day.one_leg_sd > 0.0) {
        all.push(one_leg());
    }
    all
}

/// The set-ups that lie farthest apart in the mean of something over their passes: by how much, and their names,
/// the one with less first.
fn apart<'a>(
    surveyed: &'a Surveyed,
    rides: &[PassRide],
    value: fn(&PassRide) -> f64,
) -> Option<(f64, [&'a str; 2])> {
    let means: Vec<(f64, &str)> = surveyed
        .test_day
        .setups
        .iter()
        .enumerate()
        .filter_map(|(index, setup)| {
            let own: Vec<f64> = rides.iter().filter(|r| r.setup == index).map(value).collect();
            let mean = own.iter().sum::<f64>() / own.len() as f64;
            (!own.is_empty()).then_some((mean, setup.name.as_str()))
        })
        .collect();
    let low = means.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let high = means.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (means.len() > 1).then_some((high.0 - low.0, [low.1, high.1]))
}

/// The passes that were ridden in one go.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Morning {
    first_s: f64,
    /// Mean of the passes' middles.
    middle_s: f64,
}

/// Of each ride its own: what changes slowly begins anew after a night. `rides` are in order of time.
fn mornings(rides: &[PassRide]) -> Vec<Morning> {
    let in_one_go = |a: &PassRide, b: &PassRide| b.middle_s - a.middle_s < OTHER_DAY_S;
    let groups = rides.chunk_by(in_one_go).flat_map(|group| {
        let morning = Morning {
            first_s: group[0].middle_s,
            middle_s: group.iter().map(|r| r.middle_s).sum::<f64>() / group.len() as f64,
        };
        vec![morning; group.len()]
    });
    groups.collect()
}

/// From the first pass to the last of what was ridden in one go, at most. [h]
fn span_h(rides: &[PassRide]) -> f64 {
    let hours = || rides.iter().map(|r| r.in_day.since_middle_h);
    hours().fold(f64::NEG_INFINITY, f64::max) - hours().fold(f64::INFINITY, f64::min)
}

fn warming(surveyed: &Surveyed, airs: &[Air], rides: &[PassRide]) -> Option<Warning> {
    let first = rides.first()?;
    let warming = airs.get(surveyed.ridden.passes[first.pass].recording)?.warming;
    let next = "Write temperature_c into [[air]] with its time before the first block and after the last, read in the \
                shade.";
    let per_hour = warming.standard_uncertainty_k_per_h;
    let open = apart(surveyed, rides, |r| r.in_day.since_middle_h).map_or(0.0, |(hours, _)| hours * per_hour);
    let warmed_k = warming.k_per_h * span_h(rides);
    let left_open = if open * CDA_PER_K > WORTH_SAYING {
        format!(
            "; by the order of the blocks ± {per_hour:.1} K an hour is ± {:.1} % in the comparison, which the interval allows for",
            100.0 * open * CDA_PER_K
        )
    } else {
        String::new()
    };
    match warming.known_by {
        KnownBy::UnitThermometer if warmed_k.abs() > WARMING_K || !left_open.is_empty() => {
            Some(Warning::new(
                "warming air",
                format!(
                    "by the unit's thermometer the air changed by {warmed_k:+.1} K from the first pass to the last \
                 ({:+.1} ± {per_hour:.1} K an hour), and the density of each pass follows it{left_open}",
                    warming.k_per_h
                ),
                next,
            ))
        }
        KnownBy::Nothing if !left_open.is_empty() => Some(Warning::new(
            "warming air",
            format!(
                "how the air warmed over the day is not known: neither readings nor a thermometer say{left_open}"
            ),
            next,
        )),
        _ => None,
    }
}

fn meter_with_temperature(surveyed: &Surveyed, rides: &[PassRide]) -> Option<Warning> {
    let (kelvin, [cold, warm]) = apart(surveyed, rides, |r| r.air.temperature_c)?;
    let per_kelvin = surveyed.test_day.slow.power_scale_per_k.standard_uncertainty;
    let effect = CDA_OVER_POWER * per_kelvin * kelvin;
    (effect > WORTH_SAYING).then(|| {
        Warning::new(
            "power meter with temperature",
            format!(
                "the air was {kelvin:.1} K warmer with '{warm}' than with '{cold}': a power meter whose scale moves by \
                 {:.2} % a kelvin makes {:.1} % of CdA of that; the interval allows for it",
                100.0 * per_kelvin,
                100.0 * effect
            ),
            "Ride in a balanced order such as A B B A, so that it cancels; or write power_scale_per_k of your meter \
             into [sensors].",
        )
    })
}

fn one_leg() -> Warning {
    Warning::new(
        "power of one leg",
        format!(
            "the power is that of one leg, doubled: what the legs share stands in every CdA (± {:.0} % of power), and \
             where it changes with fatigue or position it looks like a change of drag (± {:.1} % of power from one \
             mounting to the next, which the intervals allow for)",
            100.0 * ONE_LEG_SCALE,
            100.0 * ONE_LEG_SD
        ),
        "Change over often, in an order such as A B B A A B B A; a difference of 1 or 2 % needs a meter that reads \
         both legs.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::made::level_pass;

    #[test]
    fn what_changes_slowly_begins_anew_after_a_night() {
        let at = |hours: f64| PassRide {
            middle_s: 3600.0 * hours,
            ..level_pass(0.3, crate::course::Direction::Forward, 0, 0)
        };
        let found = mornings(&[at(0.0), at(1.0), at(2.0), at(26.0), at(28.0)]);
        let middles: Vec<f64> = found.iter().map(|m| m.middle_s / 3600.0).collect();
        assert_eq!(middles, [1.0, 1.0, 1.0, 27.0, 27.0]);
        assert_eq!(found[4].first_s, 26.0 * 3600.0);
        assert_eq!(mornings(&[]), []);
    }
}
