//! What a reader should know of a pass, in words.

use super::{Direction, Pass, measure};
use crate::streams::{LOST_POSITIONS, Streams};
use crate::units::M_S_PER_KM_H;

/// Shorter than this is not worth a word: a gear change, a corner.
const LEAST_S: f64 = 3.0;
/// Slowing down by more than this needs brakes: at 60 km/h on the level, air and tyres give 0.6 m/s².
const BRAKING_M_S2: f64 = 1.0;
/// Entering slower than the other passes by more than this share is a standing start or a late turn.
const SLOW_ENTRY: f64 = 0.15;

pub fn raise(passes: &mut [Pass], streams: &[Streams]) {
    let usual = [Direction::Forward, Direction::Reverse].map(|direction| {
        let mut speeds: Vec<f64> = passes
            .iter()
            .filter(|pass| pass.direction == direction && pass.entry_speed_m_s.is_finite())
            .map(|pass| pass.entry_speed_m_s)
            .collect();
        speeds.sort_by(f64::total_cmp);
        (speeds.len() >= 3).then(|| speeds[speeds.len() / 2])
    });
    for pass in passes.iter_mut() {
        let Some(s) = streams.get(pass.recording) else {
            continue;
        };
        pass.flags.extend(power_flags(pass, s));
        pass.flags.extend(hole_flag(pass, s));
        pass.flags.extend(lost_flag(pass, s));
        pass.flags.extend(braking_flag(pass, s));
        let usual = usual[usize::from(pass.direction == Direction::Reverse)];
        if let Some(below) = usual.map(|usual| usual - pass.entry_speed_m_s)
            && below > SLOW_ENTRY * (below + pass.entry_speed_m_s)
        {
            pass.flags.push(format!(
                "entry speed {:.1} km/h below the others",
                below / M_S_PER_KM_H
            ));
        }
    }
}

fn power_flags(pass: &Pass, s: &Streams) -> Vec<String> {
    let power = measure::power(s, pass.start_s, pass.end_s);
    if power.known_s == 0.0 {
        return vec!["no power".to_string()];
    }
    let missing_s = pass.duration_s() - power.known_s;
    let mut flags = Vec::new();
    if missing_s >= LEAST_S {
        flags.push(format!("power missing for {missing_s:.0} s"));
    }
    if power.coasted_s >= LEAST_S {
        flags.push(format!("coasted for {:.0} s", power.coasted_s));
    }
    flags
}

fn hole_flag(pass: &Pass, s: &Streams) -> Option<String> {
    let missing_s: f64 = s
        .gaps
        .iter()
        .map(|gap| gap.end_s.min(pass.end_s) - gap.start_s.max(pass.start_s))
        .filter(|&seconds| seconds >= LEAST_S)
        .sum();
    (missing_s > 0.0).then(|| format!("no samples for {missing_s:.0} s"))
}

/// Positions that the unit made up are taken out; of a gate among them nobody knows when it was crossed.
fn lost_flag(pass: &Pass, s: &Streams) -> Option<String> {
    let lost_s: f64 = s
        .repairs
        .iter()
        .filter(|repair| repair.kind == LOST_POSITIONS || repair.kind == "frozen position")
        .map(|repair| repair.end_s.min(pass.end_s) - repair.start_s.max(pass.start_s))
        .filter(|&seconds| seconds > 0.0)
        .sum();
    (lost_s >= LEAST_S).then(|| format!("positions lost for {lost_s:.0} s"))
}

/// Braked: slowing down by more than the limit over two seconds at least.
fn braking_flag(pass: &Pass, s: &Streams) -> Option<String> {
    let first = s.time_s.partition_point(|&t| t < pass.start_s);
    let last = s.time_s.partition_point(|&t| t <= pass.end_s);
    let braked = (first..last).any(|index| {
        let later = (index + 1..last).find(|&j| s.time_s[j] - s.time_s[index] >= 2.0);
        later.is_some_and(|j| {
            let seconds = s.time_s[j] - s.time_s[index];
            seconds < 5.0 && s.speed_m_s[index] - s.speed_m_s[j] > BRAKING_M_S2 * seconds
        })
    });
    braked.then(|| "braked".to_string())
}
