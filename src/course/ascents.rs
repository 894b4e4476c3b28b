//! Altitudes of the passes, each freed of its own offset and drift, and the heights that they have in common.

use super::middle::median;
use super::{Direction, Pass, measure};
use crate::streams::Streams;
use crate::test_day::Shape;

/// A pass counts when this share of its heights is known.
const LEAST_KNOWN: f64 = 0.8;
/// Standard deviation of a pass's own linear drift: weather moves a barometer by some 0.35 m in
/// 2.5 min at 1 hPa/h.
const DRIFT_M_S: f64 = 0.0025;
/// Noise of one height, as it stands against the drift: the 0.2 m step and the wander of the sensor.
pub(super) const HEIGHT_NOISE_M: f64 = 0.3;
/// What a single pass leaves open over the stated length. Common practice, no published source.
const ALONE_M: f64 = 0.5;
/// Least uncertainty: two readings to 0.2 m, 0.2/√12·√2.
const LEAST_M: f64 = 0.08;
const ROUNDS: usize = 30;

/// The altitudes of one pass, or of a part of it, at the nodes of the profile, from start to finish of the course.
pub(super) struct Ascent {
    pub reverse: bool,
    /// NaN where it is not known.
    pub altitude_m: Vec<f64>,
    /// Time at the nodes, from the middle of the pass.
    pub time_s: Vec<f64>,
    pub offset_m: f64,
    pub drift_m_s: f64,
    pub weight: f64,
    /// Of a pass within which the altitude was set anew.
    pub part: bool,
}

impl Ascent {
    pub fn height(&self, node: usize) -> f64 {
        self.altitude_m[node] - self.offset_m - self.drift_m_s * self.time_s[node]
    }
}

/// The altitudes of a pass, read `lag_s` after it was there; in parts where the altitude was set anew on the way, as
/// far as `split` says so.
pub(super) fn of_pass(pass: &Pass, s: &Streams, pieces: usize, lag_s: f64, split: bool) -> Vec<Ascent> {
    let Some(mut times) = measure::times_at_shares(s, pass.start_s, pass.end_s, pieces) else {
        return Vec::new();
    };
    let reverse = pass.direction == Direction::Reverse;
    if reverse {
        times.reverse();
    }
    let altitude_m: Vec<f64> = times
        .iter()
        .map(|&t| s.altitude_at(t + lag_s).unwrap_or(f64::NAN))
        .collect();
    let known: Vec<f64> = altitude_m.iter().copied().filter(|h| h.is_finite()).collect();
    if (known.len() as f64) < LEAST_KNOWN * altitude_m.len() as f64 {
        return Vec::new();
    }
    let offset_m = known.iter().sum::<f64>() / known.len() as f64;
    let middle = 0.5 * (pass.start_s + pass.end_s);
    let part_of = |t: f64| match split {
        true => s.altitude_steps_s.partition_point(|&step_s| step_s <= t + lag_s),
        false => 0,
    };
    let (first, last) = (part_of(pass.start_s), part_of(pass.end_s));
    (first..=last)
        .map(|part| Ascent {
            reverse,
            altitude_m: times
                .iter()
                .zip(&altitude_m)
                .map(|(t, h)| if part_of(*t) == part { *h } else { f64::NAN })
                .collect(),
            time_s: times.iter().map(|t| t - middle).collect(),
            // One for all parts to begin with: the parts were brought together as well as the step is known.
            offset_m,
            drift_m_s: 0.0,
            weight: 1.0,
            part: first < last,
        })
        .filter(|ascent| {
            ascent
                .altitude_m
                .iter()
                .filter(|h| h.is_finite())
                .nth(2)
                .is_some()
        })
        .collect()
}

/// Offset, drift and weight of each, and the heights in common, in turns.
pub(super) fn pool(ascents: &mut [Ascent], nodes: usize, shape: Shape, apart: usize) -> Vec<f64> {
    let mut heights = shared_heights(ascents, nodes, shape);
    if ascents.iter().any(|ascent| ascent.part) {
        // Parts that stand wrong would tilt all passes, and a tilt that all have goes back in many rounds only.
        for _ in 0..ROUNDS {
            for ascent in ascents.iter_mut() {
                settle(ascent, &heights, false);
            }
            heights = shared_heights(ascents, nodes, shape);
        }
    }
    for _ in 0..ROUNDS {
        for ascent in ascents.iter_mut() {
            settle(ascent, &heights, true);
        }
        weigh(ascents, &heights, apart);
        heights = shared_heights(ascents, nodes, shape);
    }
    heights
}

fn shared_heights(ascents: &[Ascent], nodes: usize, shape: Shape) -> Vec<f64> {
    let mut heights: Vec<f64> = (0..nodes)
        .map(|node| {
            let sides: Vec<f64> = [false, true]
                .iter()
                .filter_map(|&reverse| mean_height(ascents, node, reverse))
                .collect();
            sides.iter().sum::<f64>() / sides.len() as f64
        })
        .collect();
    bridge(&mut heights);
    if shape == Shape::Loop {
        let rise = heights[nodes - 1] - heights[0];
        for (node, height) in heights.iter_mut().enumerate() {
            *height -= rise * node as f64 / (nodes - 1) as f64;
        }
    }
    heights
}

fn mean_height(ascents: &[Ascent], node: usize, reverse: bool) -> Option<f64> {
    let (mut sum, mut weight) = (0.0, 0.0);
    for ascent in ascents
        .iter()
        .filter(|a| a.reverse == reverse && a.altitude_m[node].is_finite())
    {
        sum += ascent.weight * ascent.height(node);
        weight += ascent.weight;
    }
    (weight > 0.0).then(|| sum / weight)
}

/// Heights that no pass knows lie on a straight line between those that are known.
fn bridge(heights: &mut [f64]) {
    let known: Vec<(usize, f64)> = heights
        .iter()
        .copied()
        .enumerate()
        .filter(|(_, h)| h.is_finite())
        .collect();
    for (node, height) in heights.iter_mut().enumerate().filter(|(_, h)| !h.is_finite()) {
        let after = known.partition_point(|&(n, _)| n < node);
        *height = match (after.checked_sub(1).and_then(|i| known.get(i)), known.get(after)) {
            (Some(&(a, low)), Some(&(b, high))) => low + (high - low) * (node - a) as f64 / (b - a) as f64,
            (Some(&(_, end)), None) | (None, Some(&(_, end))) => end,
            (None, None) => 0.0,
        };
    }
}

/// Offset and, if that is free, drift of one pass against the shared heights.
fn settle(ascent: &mut Ascent, heights: &[f64], drifts: bool) {
    let known: Vec<(f64, f64)> = (0..heights.len())
        .filter(|&n| ascent.altitude_m[n].is_finite())
        .map(|n| (ascent.time_s[n], ascent.altitude_m[n] - heights[n]))
        .collect();
    let count = known.len().max(1) as f64;
    let time = known.iter().map(|k| k.0).sum::<f64>() / count;
    let rest = known.iter().map(|k| k.1).sum::<f64>() / count;
    let (mut along, mut square) = (0.0, (HEIGHT_NOISE_M / DRIFT_M_S).powi(2));
    for (t, r) in known {
        along += (t - time) * (r - rest);
        square += (t - time).powi(2);
    }
    ascent.drift_m_s = if drifts { along / square } else { 0.0 };
    ascent.offset_m = rest - ascent.drift_m_s * time;
}

/// Squared disagreement of a pass with the shared heights over the stated length, mean along the course.
fn mean_square(ascent: &Ascent, heights: &[f64], lag: usize) -> Option<f64> {
    let rest = |n: usize| ascent.height(n) - heights[n];
    let steps: Vec<f64> = (lag..heights.len())
        .map(|n| (rest(n) - rest(n - lag)).powi(2))
        .filter(|d| d.is_finite())
        .collect();
    (!steps.is_empty()).then(|| steps.iter().sum::<f64>() / steps.len() as f64)
}

/// A pass that disagrees with the others counts less, within bounds, so that none decides alone.
fn weigh(ascents: &mut [Ascent], heights: &[f64], lag: usize) {
    if ascents.len() < 3 {
        return;
    }
    let mut squares: Vec<f64> = ascents
        .iter()
        .filter_map(|a| mean_square(a, heights, lag))
        .collect();
    let Some(usual) = median(&mut squares) else { return };
    let least = LEAST_M * LEAST_M;
    for ascent in ascents.iter_mut() {
        let square = mean_square(ascent, heights, lag).unwrap_or(usual);
        ascent.weight = ((usual + least) / (square + least)).clamp(0.1, 2.0);
    }
}

pub(super) fn uncertainty(ascents: &[Ascent], heights: &[f64], lag: usize) -> f64 {
    let squares: Vec<f64> = ascents
        .iter()
        .filter_map(|a| mean_square(a, heights, lag))
        .collect();
    let n = squares.len() as f64;
    if n < 2.0 {
        return ALONE_M;
    }
    // Each pass helped to make the mean it is compared with: n/(n-1).
    let scatter = squares.iter().sum::<f64>() / n * n / (n - 1.0) / n;
    let turned: Vec<f64> = (lag..heights.len())
        .filter_map(|node| {
            let step = |reverse| {
                Some(mean_height(ascents, node, reverse)? - mean_height(ascents, node - lag, reverse)?)
            };
            Some((0.5 * (step(false)? - step(true)?)).powi(2))
        })
        .collect();
    // What the two directions see differently (lag, pressure of the air stream) repeats in every pass.
    let turned = turned.iter().sum::<f64>() / turned.len().max(1) as f64;
    scatter.max(turned).sqrt().max(LEAST_M)
}

/// Root mean square by which passes of one direction leave their common heights over `apart` nodes, the median over
/// passes; `None` unless a direction was ridden twice.
pub(super) fn wander_m(ascents: &[Ascent], nodes: usize, apart: usize) -> Option<f64> {
    let mut squares = Vec::new();
    for reverse in [false, true] {
        let count = ascents.iter().filter(|a| a.reverse == reverse).count();
        if count < 2 {
            continue;
        }
        let own: Vec<f64> = (0..nodes)
            .map(|node| mean_height(ascents, node, reverse).unwrap_or(f64::NAN))
            .collect();
        // Each pass helped to make the mean it is compared with.
        let share = count as f64 / (count - 1) as f64;
        let of_direction = ascents.iter().filter(|a| a.reverse == reverse);
        squares.extend(of_direction.filter_map(|a| Some(share * mean_square(a, &own, apart)?)));
    }
    median(&mut squares).map(f64::sqrt)
}

/// Of the finish above the start, where heights wander: by what passes disagree over three quarters of the course.
pub(super) fn wander_uncertainty(ascents: &[Ascent], heights: &[f64]) -> f64 {
    let far = (3 * heights.len() / 4).max(1);
    // As recorded: what wanders for minutes was taken for a drift.
    let beside = |a: &Ascent, n: usize| a.altitude_m[n] - heights[n];
    let squares: Vec<f64> = ascents
        .iter()
        .filter_map(|a| {
            let steps = (far..heights.len()).map(|n| (beside(a, n) - beside(a, n - far)).powi(2));
            let known: Vec<f64> = steps.filter(|square| square.is_finite()).collect();
            (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
        })
        .collect();
    let n = squares.len() as f64;
    if n < 2.0 {
        return ALONE_M;
    }
    // A spread that few passes tell is itself uncertain: (n − 1)/(n − 3), JCGM 101:2008, 6.4.9.4 (M+); for fewer than
    // four as for four.
    let few = if n > 4.0 { (n - 1.0) / (n - 3.0) } else { 3.0 };
    (few * squares.iter().sum::<f64>() / n / (n - 1.0)).sqrt()
}

pub(super) fn disagreement(ascents: &[Ascent], heights: &[f64]) -> f64 {
    let mut apart: Vec<f64> = Vec::new();
    // Every fifth node and neighbours in time are enough for a median of a hundred passes.
    for node in (0..heights.len()).step_by(5) {
        let here: Vec<f64> = ascents
            .iter()
            .map(|a| a.height(node))
            .filter(|h| h.is_finite())
            .collect();
        for (index, one) in here.iter().enumerate() {
            apart.extend(
                here.iter()
                    .skip(index + 1)
                    .take(20)
                    .map(|other| (one - other).abs()),
            );
        }
    }
    median(&mut apart).unwrap_or(f64::NAN)
}

#[cfg(test)]
#[path = "ascents_tests.rs"]
mod tests;
