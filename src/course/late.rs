//! How late a barometer shows the road.

use super::ascents::{Ascent, HEIGHT_NOISE_M};

/// A lag is taken out where it is this many standard uncertainties from nothing, and known so well. (*chosen*)
const CLEAR: f64 = 2.5;
const SURE_S: f64 = 1.0;
/// Random walk of a barometer in a minute. Common practice, no published source.
const WALK_M_PER_SQRT_MIN: f64 = 0.15;
/// What is expected of the scatter beforehand counts as so many passes.
const EXPECTED_COUNTS: f64 = 3.0;

/// Altitudes come later than the road by this.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightLag {
    pub lag_s: f64,
    pub standard_uncertainty_s: f64,
    /// By how much they were put back; 0 where the lag is not clear.
    pub applied_s: f64,
    /// By the user.
    pub given: bool,
}

pub(super) fn clear(lag: &HeightLag) -> bool {
    lag.lag_s > CLEAR * lag.standard_uncertainty_s && lag.standard_uncertainty_s < SURE_S
}

/// What one pass says: its lag against the common heights, and the weight of that.
struct Told {
    reverse: bool,
    lag_s: f64,
    /// Sum of squares of the climbing rate, m²/s².
    weight: f64,
    /// Variance that a barometer makes of it, times the weight, m².
    expected_m2: f64,
}

/// From the two directions: late altitudes show a hill too far on, in the direction of travel, so that what is common
/// to both has it in its place. `None` unless both were ridden on a road that is not level.
pub(super) fn told(ascents: &[Ascent], heights: &[f64]) -> Option<HeightLag> {
    let all: Vec<Told> = ascents
        .iter()
        .filter_map(|ascent| of_pass(ascent, heights))
        .collect();
    let (mut lag_s, mut per_variance, mut squares, mut degrees) = (0.0, 0.0, 0.0, 0.0);
    for reverse in [false, true] {
        let of_direction = || all.iter().filter(|one| one.reverse == reverse);
        let weight: f64 = of_direction().map(|one| one.weight).sum();
        if weight <= 0.0 {
            return None;
        }
        let mean = of_direction().map(|one| one.weight * one.lag_s).sum::<f64>() / weight;
        lag_s += 0.5 * mean;
        per_variance += 0.25 / weight;
        squares += of_direction()
            .map(|one| one.weight * (one.lag_s - mean).powi(2))
            .sum::<f64>();
        degrees += of_direction().count() as f64 - 1.0;
    }
    let expected_m2 = all.iter().map(|one| one.expected_m2).sum::<f64>() / all.len() as f64;
    let variance_m2 = (squares + EXPECTED_COUNTS * expected_m2) / (degrees + EXPECTED_COUNTS);
    let standard_uncertainty_s = (variance_m2 * per_variance).sqrt();
    (lag_s.is_finite() && standard_uncertainty_s.is_finite()).then_some(HeightLag {
        lag_s,
        standard_uncertainty_s,
        applied_s: 0.0,
        given: false,
    })
}

/// Least squares of what the pass has beside the common heights on how fast those climb, offset and drift left free.
fn of_pass(ascent: &Ascent, heights: &[f64]) -> Option<Told> {
    let mut rows: Vec<[f64; 3]> = Vec::new();
    for n in 1..heights.len().checked_sub(1)? {
        // Along the course backwards time runs backwards too, so that this is the climb as ridden.
        let rate = (heights[n + 1] - heights[n - 1]) / (ascent.time_s[n + 1] - ascent.time_s[n - 1]);
        let beside = ascent.height(n) - heights[n];
        if beside.is_finite() && rate.is_finite() {
            rows.push([ascent.time_s[n], rate, beside]);
        }
    }
    if rows.len() < 5 {
        return None;
    }
    let count = rows.len() as f64;
    let mean = |k: usize| rows.iter().map(|row| row[k]).sum::<f64>() / count;
    let means = [mean(0), mean(1), mean(2)];
    let rows: Vec<[f64; 3]> = rows
        .iter()
        .map(|row| [row[0] - means[0], row[1] - means[1], row[2] - means[2]])
        .collect();
    let sum = |a: usize, b: usize| rows.iter().map(|row| row[a] * row[b]).sum::<f64>();
    let slope = sum(0, 1) / sum(0, 0);
    let rates: Vec<f64> = rows.iter().map(|row| row[1] - slope * row[0]).collect();
    let weight: f64 = rates.iter().map(|r| r * r).sum();
    if weight < 1e-9 {
        return None;
    }
    let lag_s = -rates.iter().zip(&rows).map(|(r, row)| r * row[2]).sum::<f64>() / weight;
    // A walk: what it adds at one node stays in all that come after.
    let mut after = 0.0;
    let mut walked = 0.0;
    for (k, pair) in rows.windows(2).enumerate().rev() {
        after += rates[k + 1];
        walked += after * after * (pair[1][0] - pair[0][0]).abs();
    }
    let walk_m2 = WALK_M_PER_SQRT_MIN.powi(2) / 60.0 * walked / weight;
    Some(Told {
        reverse: ascent.reverse,
        lag_s,
        weight,
        expected_m2: HEIGHT_NOISE_M.powi(2) + walk_m2,
    })
}

#[cfg(test)]
#[path = "late_tests.rs"]
mod tests;
