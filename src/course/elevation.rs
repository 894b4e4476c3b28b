//! One elevation profile from the altitudes of all passes.

use super::line::Line;
use super::middle::median;
use super::{Direction, Pass, measure};
use crate::streams::Streams;
use crate::test_day::Shape;

/// Spacing of the heights. Barometers step by 0.2 m and follow with a lag of a second or two; finer
/// would be noise.
const SPACING_M: f64 = 20.0;
/// A pass counts when this share of its heights is known.
const LEAST_KNOWN: f64 = 0.8;
/// Standard deviation of a pass's own linear drift: weather moves a barometer by some 0.35 m in
/// 2.5 min at 1 hPa/h.
const DRIFT_M_S: f64 = 0.0025;
/// Noise of one height, as it stands against the drift: the 0.2 m step and the wander of the sensor.
const HEIGHT_NOISE_M: f64 = 0.3;
/// Length over which the uncertainty of a height difference is stated.
pub const UNCERTAINTY_OVER_M: f64 = 150.0;
/// What a single pass leaves open over that length. Common practice, no published source.
const ALONE_M: f64 = 0.5;
/// Least uncertainty: two readings to 0.2 m, 0.2/√12·√2.
const LEAST_M: f64 = 0.08;
const ROUNDS: usize = 30;

/// Heights along the course, relative to its start. All vectors have the same length, at least 2.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Horizontal distance from the start, increasing, from 0 to the length of the line.
    pub distance_m: Vec<f64>,
    pub elevation_m: Vec<f64>,
    /// Finish minus start; 0 on a loop.
    pub climb_m: f64,
    /// Of a height difference over some 150 m, from the disagreement between passes.
    pub standard_uncertainty_m: f64,
    /// Median disagreement of two passes at one spot, each moved by its own offset and drift; NaN with
    /// one pass.
    pub disagreement_m: f64,
}

impl Profile {
    /// Length of the road over a horizontal length: longer by the slope.
    pub fn road_length_m(&self, flat_m: f64) -> f64 {
        let pieces = self.distance_m.windows(2).zip(self.elevation_m.windows(2));
        let (mut flat, mut road) = (0.0, 0.0);
        for (d, h) in pieces {
            flat += d[1] - d[0];
            road += (d[1] - d[0]).hypot(h[1] - h[0]);
        }
        if flat > 0.0 { flat_m * road / flat } else { flat_m }
    }

    /// Elevation relative to the start; that of the nearer end outside the course.
    pub fn elevation_at(&self, distance_m: f64) -> f64 {
        let piece = self.piece_at(distance_m);
        let (from, to) = (self.distance_m[piece], self.distance_m[piece + 1]);
        let share = ((distance_m - from) / (to - from)).clamp(0.0, 1.0);
        self.elevation_m[piece] + share * (self.elevation_m[piece + 1] - self.elevation_m[piece])
    }

    /// Rise over horizontal run, from start to finish.
    pub fn gradient_at(&self, distance_m: f64) -> f64 {
        let piece = self.piece_at(distance_m);
        (self.elevation_m[piece + 1] - self.elevation_m[piece])
            / (self.distance_m[piece + 1] - self.distance_m[piece])
    }

    fn piece_at(&self, distance_m: f64) -> usize {
        let after = self.distance_m.partition_point(|&d| d <= distance_m);
        after.clamp(1, self.distance_m.len() - 1) - 1
    }
}

/// The altitudes of one pass at the nodes of the profile, from start to finish of the course.
struct Ascent {
    reverse: bool,
    altitude_m: Vec<f64>,
    /// Time at the nodes, from the middle of the pass.
    time_s: Vec<f64>,
    offset_m: f64,
    drift_m_s: f64,
    weight: f64,
}

impl Ascent {
    fn height(&self, node: usize) -> f64 {
        self.altitude_m[node] - self.offset_m - self.drift_m_s * self.time_s[node]
    }
}

/// `None` without altitudes.
///
/// Altitude of pass i at a place = shared height + offset of the pass + its drift × time + noise, by
/// weighted least squares in turns. The drift has a prior: free, it would be the climb itself.
/// Both directions count the same however often each was ridden, because a barometer that lags shows a
/// hill late, and the mean of the two directions shows it where it is.
pub fn shared_profile(line: &Line, passes: &[Pass], streams: &[Streams], shape: Shape) -> Option<Profile> {
    let pieces = (line.length_m() / SPACING_M).ceil().max(2.0) as usize;
    let distance_m: Vec<f64> = (0..=pieces)
        .map(|n| line.length_m() * n as f64 / pieces as f64)
        .collect();
    let mut ascents: Vec<Ascent> = passes
        .iter()
        .filter_map(|pass| ascent(pass, streams.get(pass.recording)?, pieces))
        .collect();
    if ascents.is_empty() {
        return None;
    }
    let lag = ((UNCERTAINTY_OVER_M / (distance_m[1] - distance_m[0])).round() as usize).clamp(1, pieces);
    let mut heights = shared_heights(&ascents, pieces + 1, shape);
    for _ in 0..ROUNDS {
        for ascent in &mut ascents {
            settle(ascent, &heights);
        }
        weigh(&mut ascents, &heights, lag);
        heights = shared_heights(&ascents, pieces + 1, shape);
    }
    let climb_m = if shape == Shape::Loop {
        0.0
    } else {
        heights[pieces] - heights[0]
    };
    let standard_uncertainty_m = uncertainty(&ascents, &heights, lag);
    let disagreement_m = disagreement(&ascents, &heights);
    let start = heights[0];
    let elevation_m = heights.iter().map(|h| h - start).collect();
    Some(Profile {
        distance_m,
        elevation_m,
        climb_m,
        standard_uncertainty_m,
        disagreement_m,
    })
}

fn ascent(pass: &Pass, s: &Streams, pieces: usize) -> Option<Ascent> {
    let mut times = measure::times_at_shares(s, pass.start_s, pass.end_s, pieces)?;
    let reverse = pass.direction == Direction::Reverse;
    if reverse {
        times.reverse();
    }
    let altitude_m: Vec<f64> = times
        .iter()
        .map(|&t| s.altitude_at(t).unwrap_or(f64::NAN))
        .collect();
    let known: Vec<f64> = altitude_m.iter().copied().filter(|h| h.is_finite()).collect();
    if (known.len() as f64) < LEAST_KNOWN * altitude_m.len() as f64 {
        return None;
    }
    let offset_m = known.iter().sum::<f64>() / known.len() as f64;
    let middle = 0.5 * (pass.start_s + pass.end_s);
    let time_s = times.iter().map(|t| t - middle).collect();
    Some(Ascent {
        reverse,
        altitude_m,
        time_s,
        offset_m,
        drift_m_s: 0.0,
        weight: 1.0,
    })
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

/// Offset and drift of one pass against the shared heights.
fn settle(ascent: &mut Ascent, heights: &[f64]) {
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
    ascent.drift_m_s = along / square;
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

fn uncertainty(ascents: &[Ascent], heights: &[f64], lag: usize) -> f64 {
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

fn disagreement(ascents: &[Ascent], heights: &[f64]) -> f64 {
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
mod tests {
    use super::*;

    fn profile() -> Profile {
        Profile {
            distance_m: vec![0.0, 100.0, 200.0],
            elevation_m: vec![0.0, 10.0, 5.0],
            climb_m: 5.0,
            standard_uncertainty_m: 0.1,
            disagreement_m: 0.1,
        }
    }

    #[test]
    fn a_road_is_longer_than_its_map_by_the_slope() {
        // √(100² + 10²) + √(100² + 5²), Pythagoras.
        let exact = 10100f64.sqrt() + 10025f64.sqrt();
        assert!((profile().road_length_m(200.0) - exact).abs() < 1e-9);
    }

    #[test]
    fn heights_and_gradients_between_nodes() {
        let p = profile();
        assert_eq!(p.elevation_at(50.0), 5.0);
        assert_eq!(p.elevation_at(150.0), 7.5);
        assert_eq!(p.elevation_at(-10.0), 0.0);
        assert_eq!(p.elevation_at(900.0), 5.0);
        assert_eq!(p.gradient_at(150.0), -0.05);
        assert_eq!(
            p.gradient_at(100.0),
            -0.05,
            "a node belongs to the piece that starts there"
        );
    }

    /// Passes over a hill by a barometer with its own offset, drift and lag in time.
    fn ascents(truth: impl Fn(f64) -> f64, lag_s: f64, drifts: &[f64]) -> (Vec<Ascent>, usize) {
        let nodes = 76;
        let made = drifts.iter().enumerate().map(|(index, drift)| {
            let reverse = index % 2 == 1;
            let time = |n: usize| {
                2.0 * n as f64 * if reverse { -1.0 } else { 1.0 } - if reverse { -75.0 } else { 75.0 }
            };
            let place = |n: usize| n as f64 * 20.0 - if reverse { -lag_s * 10.0 } else { lag_s * 10.0 };
            Ascent {
                reverse,
                altitude_m: (0..nodes)
                    .map(|n| 300.0 + index as f64 + truth(place(n)) + drift * time(n))
                    .collect(),
                time_s: (0..nodes).map(time).collect(),
                offset_m: 300.0,
                drift_m_s: 0.0,
                weight: 1.0,
            }
        });
        (made.collect(), nodes)
    }

    fn solve(mut ascents: Vec<Ascent>, nodes: usize, shape: Shape) -> Vec<f64> {
        let mut heights = shared_heights(&ascents, nodes, shape);
        for _ in 0..ROUNDS {
            for ascent in &mut ascents {
                settle(ascent, &heights);
            }
            weigh(&mut ascents, &heights, 7);
            heights = shared_heights(&ascents, nodes, shape);
        }
        heights
    }

    #[test]
    fn both_directions_together_put_a_hill_where_it_is_although_the_barometer_lags() {
        let hill = |d: f64| 0.01 * d + 6.0 * (d / 240.0).sin();
        let (made, nodes) = ascents(hill, 1.5, &[0.001, -0.002, 0.0015, 0.0005, -0.001, 0.0]);
        let heights = solve(made, nodes, Shape::OutAndBack);
        let worst = (0..nodes)
            .map(|n| (heights[n] - heights[38] - hill(n as f64 * 20.0) + hill(760.0)).abs())
            .fold(0.0, f64::max);
        // One direction alone is wrong by lag × slope: 15 m × 3.5 % = 0.5 m.
        assert!(worst < 0.15, "{worst}");
    }

    #[test]
    fn a_loop_closes_whatever_the_barometer_does() {
        let hill = |d: f64| 3.0 * (d / 1500.0 * std::f64::consts::TAU).sin();
        let (made, nodes) = ascents(hill, 0.0, &[0.004, 0.004, 0.004, 0.004]);
        let forward = made.into_iter().step_by(2).collect();
        let heights = solve(forward, nodes, Shape::Loop);
        assert!((heights[nodes - 1] - heights[0]).abs() < 1e-9);
        let worst = (0..nodes)
            .map(|n| (heights[n] - heights[0] - hill(n as f64 * 20.0)).abs())
            .fold(0.0, f64::max);
        assert!(worst < 0.02, "{worst}");
    }
}
