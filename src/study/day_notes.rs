//! What was noted before the blocks: handed to the passes, told among what the numbers rest on, and doubted.

use super::power_zero::PowerZeros;
use crate::estimate::cells::{BlockWind, PassRide};
use crate::test_day::{Block, Notes, TestDay};
use crate::warning::Warning;
use std::f64::consts::TAU;

/// Gauges are read to about this (common practice, no published source).
const PRESSURES_ALIKE_BAR: f64 = 0.15;

/// Gives a pass what was noted before its block. `noted_at_s`: when, for each block of the day.
pub(super) fn hand_over(ride: &mut PassRide, day: &TestDay, zeros: &PowerZeros, noted_at_s: &[Option<f64>]) {
    let known = |ride: &PassRide| {
        let mut steps = ride.cells.iter().flat_map(|cell| &cell.steps);
        steps.any(|step| step.air_speed_m_s.is_finite())
    };
    if let (Some(given), true) = (&day.air_speed, known(ride)) {
        let factor = given.factor;
        ride.air_speed_scale_standard_uncertainty = Some(factor.standard_uncertainty / factor.value);
    }
    ride.power_zero_noted = zeros.holds(ride.middle_s);
    let Some(block) = day.blocks.get(ride.block) else {
        return;
    };
    let notes = &block.notes;
    ride.wind_reading = notes.wind.map(|wind| {
        let [wind_east_m_s, wind_north_m_s] = wind.east_north_m_s();
        BlockWind {
            time_s: noted_at_s
                .get(ride.block)
                .copied()
                .flatten()
                .unwrap_or(ride.middle_s),
            wind_east_m_s,
            wind_north_m_s,
            wind_standard_uncertainty_m_s: wind.standard_uncertainty_m_s,
        }
    });
    ride.total_mass_kg = notes.total_mass_kg;
    ride.wheel_radius_m = notes.rollout_m.map(|rollout_m| rollout_m / TAU);
}

/// A sentence for each kind of note that the day has.
pub(super) fn sentences(day: &TestDay, zeros: &PowerZeros, rides: &[PassRide]) -> Vec<String> {
    let mut all = Vec::new();
    let noted = |has: fn(&Notes) -> bool| day.blocks.iter().filter(|b| has(&b.notes)).count();
    if let Some(given) = &day.air_speed {
        all.push(format!(
            "Air speed of channel '{}' is known for {:.0} % of the time of the passes.",
            given.channel,
            100.0 * air_speed_share(rides)
        ));
    }
    let winds = noted(|n| n.wind.is_some());
    if winds > 0 {
        all.push(format!(
            "Wind read before {}; the average of passes makes no use of it.",
            blocks(winds)
        ));
    }
    let weighed = noted(|n| n.total_mass_kg.is_some());
    if weighed > 0 {
        all.push(format!("Total mass weighed before {}.", blocks(weighed)));
    }
    if !zeros.is_empty() {
        let (torque_nm, power_w) = zeros.largest();
        let corrected = rides.iter().filter(|ride| ride.power_zero_noted).count();
        all.push(format!(
            "Zero of the power meter read {}: its drift, {torque_nm:.2} N m ({power_w:.1} W at 90 rpm) at most, is \
             taken out of {corrected} of {} passes; the meter counts as zeroed at the start of the recording and at each \
             reading.",
            match noted(|n| n.power_zero_nm.is_some()) {
                1 => "once".to_string(),
                count => format!("{count} times"),
            },
            rides.len()
        ));
    }
    let rolled = noted(|n| n.rollout_m.is_some());
    if rolled > 0 {
        all.push(format!(
            "Rollout measured before {}: used as rolling radius, and to tell the speed scales of set-ups apart.",
            blocks(rolled)
        ));
    }
    all.extend(pressures(day));
    all
}

fn blocks(count: usize) -> String {
    match count {
        1 => "one block".to_string(),
        count => format!("{count} blocks"),
    }
}

fn air_speed_share(rides: &[PassRide]) -> f64 {
    let (mut known_s, mut all_s) = (0.0, 0.0);
    for step in rides
        .iter()
        .flat_map(|ride| &ride.cells)
        .flat_map(|cell| &cell.steps)
    {
        all_s += step.duration_s;
        if step.air_speed_m_s.is_finite() {
            known_s += step.duration_s;
        }
    }
    if all_s > 0.0 { known_s / all_s } else { 0.0 }
}

/// "Tyre pressure as noted: 5.5 bar before block 1, 4; 5 bar before block 2, 3."
fn pressures(day: &TestDay) -> Option<String> {
    let mut seen: Vec<(f64, Vec<String>)> = Vec::new();
    for (index, block) in day.blocks.iter().enumerate() {
        let Some(bar) = block.notes.tyre_pressure_bar else {
            continue;
        };
        let number = (index + 1).to_string();
        match seen.iter_mut().find(|(known, _)| *known == bar) {
            Some((_, numbers)) => numbers.push(number),
            None => seen.push((bar, vec![number])),
        }
    }
    let told: Vec<String> = seen
        .iter()
        .map(|(bar, numbers)| format!("{bar} bar before block {}", numbers.join(", ")))
        .collect();
    (!told.is_empty()).then(|| format!("Tyre pressure as noted: {}.", told.join("; ")))
}

/// What differs between set-ups in their notes and acts on the comparison; passes whose drift is not known.
pub(super) fn remarks(day: &TestDay, zeros: &PowerZeros, rides: &[PassRide]) -> Vec<Warning> {
    let mut all = Vec::new();
    if let Some((low, high)) = apart(day, |n| n.tyre_pressure_bar)
        && high.1 - low.1 > PRESSURES_ALIKE_BAR
    {
        all.push(Warning::new(
            "tyre pressure",
            format!(
                "the tyres were at {:.1} bar with '{}' and at {:.1} bar with '{}': rolling resistance may differ, and shows \
                 as a difference in drag area",
                low.1, low.0, high.1, high.0
            ),
            "Ride all set-ups at one pressure, or write a crr for each set-up if you know it.",
        ));
    }
    if !zeros.is_empty() {
        let open = rides.iter().filter(|ride| !ride.power_zero_noted).count();
        if open > 0 {
            all.push(Warning::new(
                "power zero",
                format!("{open} of {} passes come after the last reading of the power meter's zero, and their drift is not known", rides.len()),
                "Read the zero after the last pass as well, and write it into a last [[block]] with setup = \"none\", from and to.",
            ));
        }
    }
    all
}

/// A set-up's name and the mean of a note over its blocks.
type NamedMean<'a> = (&'a str, f64);

/// The set-ups with the lowest and the highest mean of a note, by name; nothing where fewer than two have it.
fn apart(day: &TestDay, note: fn(&Notes) -> Option<f64>) -> Option<(NamedMean<'_>, NamedMean<'_>)> {
    let mean = |index: usize| {
        let of_setup = |block: &&Block| block.setup == Some(index);
        let values: Vec<f64> = day
            .blocks
            .iter()
            .filter(of_setup)
            .filter_map(|block| note(&block.notes))
            .collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let means: Vec<NamedMean> = day
        .setups
        .iter()
        .enumerate()
        .filter_map(|(index, setup)| Some((setup.name.as_str(), mean(index)?)))
        .collect();
    let low = means.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let high = means.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
    (means.len() > 1).then_some((low, high))
}
