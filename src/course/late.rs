//! How late a barometer shows the road, together with what it reads of the air stream.
//!
//! Late altitudes show a hill too far on, in the direction of travel; so do altitudes that sink with the square of
//! the speed, where riders are fast after the top. What the two directions have apart is set against both.

use super::ascents::Ascent;
use super::lingering::{Before, answers};
use super::port::{PortEffect, TWICE_GRAVITY_M_S2, UNKNOWN, UNKNOWN_STANDARD_UNCERTAINTY};
use nalgebra::{Cholesky, DMatrix, DVector};

/// A lag is taken out where it is this many standard uncertainties from nothing, and known so well. (*chosen*)
const CLEAR: f64 = 2.5;
const SURE_S: f64 = 1.0;
/// Barometers follow by a second or two. Common practice, no published source.
const EXPECTED: Before = Before {
    mean: 1.5,
    standard_uncertainty: 2.0,
};
/// A slope is that of so many nodes on either side: over less it is the noise of the heights.
const SLOPE_NODES: usize = 4;
/// Where noise makes this share of what the slopes tell, nothing is told. (*chosen*)
const NOISE_SHARE: f64 = 0.5;
/// Where a gate is crossed is known to this in one pass: positions wander. Common practice, no published source.
const GATE_M: f64 = 2.5;
/// Of wind along the road, in the port: twice its coefficient times 2 m/s over 2g.
const WIND_S: f64 = 0.08;
/// In what slopes do not explain of the speed there is wind, that the air at the port does not follow.
const OF_THE_REST: Before = Before {
    mean: 0.2,
    standard_uncertainty: 0.4,
};
/// Speeds answer slopes within this. (*chosen*: a rider of 80 kg comes to a new speed within 100 to 300 m)
const ANSWER_M: [f64; 2] = [100.0, 300.0];
const LEAST_NODES: usize = 12;

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

/// What the two directions tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Told {
    /// Beyond what the altitudes are put back by already.
    pub more_s: f64,
    pub standard_uncertainty_s: f64,
    pub port: PortEffect,
    /// Whether slopes stand out of the noise.
    pub sure: bool,
}

/// Mean altitude and speed of the passes of a direction at each node.
struct Side {
    altitude_m: Vec<f64>,
    speed_m_s: Vec<f64>,
    passes: f64,
}

impl Side {
    fn of(ascents: &[Ascent], reverse: bool, nodes: usize, spacing_m: f64) -> Option<Side> {
        let all: Vec<&Ascent> = ascents.iter().filter(|a| a.reverse == reverse).collect();
        let weight: f64 = all.iter().map(|a| a.weight).sum();
        if weight <= 0.0 {
            return None;
        }
        let mean = |value: &dyn Fn(&Ascent, usize) -> f64| -> Vec<f64> {
            (0..nodes)
                .map(|n| {
                    let known = all
                        .iter()
                        .map(|a| (a.weight, value(a, n)))
                        .filter(|k| k.1.is_finite());
                    let (sum, weight) = known.fold((0.0, 0.0), |(s, w), k| (s + k.0 * k.1, w + k.0));
                    sum / weight
                })
                .collect()
        };
        let speed = |a: &Ascent, n: usize| {
            let (from, to) = (n.saturating_sub(1), (n + 1).min(nodes - 1));
            spacing_m * (to - from) as f64 / (a.time_s[to] - a.time_s[from]).abs()
        };
        Some(Side {
            altitude_m: mean(&|a, n| a.height(n)),
            speed_m_s: mean(&speed),
            passes: all.len() as f64,
        })
    }
}

/// `None` unless both directions were ridden on a road that is not level. `applied_s`: what the
/// altitudes are put back by already.
pub(super) fn told(ascents: &[Ascent], heights: &[f64], spacing_m: f64, applied_s: f64) -> Option<Told> {
    let nodes = heights.len();
    let forward = Side::of(ascents, false, nodes, spacing_m)?;
    let reverse = Side::of(ascents, true, nodes, spacing_m)?;
    let base_m = 2.0 * SLOPE_NODES as f64 * spacing_m;
    let slope = |n: usize| match n.checked_sub(SLOPE_NODES).and_then(|before| heights.get(before)) {
        Some(before) => heights
            .get(n + SLOPE_NODES)
            .map_or(f64::NAN, |after| (after - before) / base_m),
        None => f64::NAN,
    };
    let slopes: Vec<f64> = (0..nodes).map(slope).collect();
    let speeds = Speeds::of(&forward, &reverse, &slopes, spacing_m)?;
    let rows: Vec<[f64; UNKNOWNS + 1]> = (0..nodes)
        .map(|n| {
            let (along, share) = (
                forward.speed_m_s[n] + reverse.speed_m_s[n],
                n as f64 / (nodes - 1) as f64,
            );
            [
                -along * slopes[n],
                -speeds.driven[n] / TWICE_GRAVITY_M_S2,
                -speeds.rest[n] / TWICE_GRAVITY_M_S2,
                along,
                1.0,
                share - 0.5,
                (1.0 - share) * slopes[n],
                share * slopes[n],
                forward.altitude_m[n] - reverse.altitude_m[n],
            ]
        })
        .filter(|row| row.iter().all(|value| value.is_finite()))
        .collect();
    if rows.len() < LEAST_NODES {
        return None;
    }
    let along_squares: f64 = rows.iter().map(|row| row[3] * row[3]).sum();
    let rows = DMatrix::from_fn(rows.len(), UNKNOWNS + 1, |row, column| rows[row][column]);
    let gate_m = GATE_M * (forward.passes.recip() + reverse.passes.recip()).sqrt();
    // Half the difference of the sides and their mean have the same noise. In white noise of one, a difference over
    // a base has the variance ½/base², and so it is in any other once that is made white.
    let by_noise = 0.5 * along_squares / (base_m * base_m);
    mixed(&rows, gate_m, by_noise, applied_s)
}

/// Lag, port by what slopes drive and by the rest, wind, offset, drift, places of the gates.
const UNKNOWNS: usize = 8;

fn mixed(rows: &DMatrix<f64>, gate_m: f64, by_noise: f64, applied_s: f64) -> Option<Told> {
    let nothing = |standard_uncertainty| Before {
        mean: 0.0,
        standard_uncertainty,
    };
    let unknown = nothing(f64::INFINITY);
    let port = Before {
        mean: UNKNOWN,
        standard_uncertainty: UNKNOWN_STANDARD_UNCERTAINTY,
    };
    let gate = nothing(gate_m);
    let before = [
        unknown,
        port,
        OF_THE_REST,
        nothing(WIND_S),
        unknown,
        unknown,
        gate,
        gate,
    ];
    let all = answers(rows, &before);
    let best = all
        .iter()
        .map(|one| one.log_evidence)
        .fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut share_of_noise) = (0.0, 0.0);
    let mut means = [0.0; 2];
    let mut variances = [0.0; 2];
    for one in &all {
        let weight = (one.log_evidence - best).exp();
        let told = without_noise(&one.parameters, &one.covariance, by_noise, applied_s);
        for k in 0..2 {
            means[k] += weight * told.0[k];
            variances[k] += weight * told.1[k];
        }
        share_of_noise += weight * by_noise * one.covariance[(0, 0)];
        sum += weight;
    }
    let [more_s, coefficient] = means.map(|mean| mean / sum);
    let [lag_variance, port_variance] = variances.map(|variance| variance / sum);
    let told = Told {
        more_s,
        standard_uncertainty_s: lag_variance.sqrt(),
        port: PortEffect {
            coefficient,
            standard_uncertainty: port_variance.sqrt(),
        },
        sure: share_of_noise / sum < NOISE_SHARE,
    };
    let numbers = [
        more_s,
        told.standard_uncertainty_s,
        coefficient,
        port_variance.sqrt(),
    ];
    numbers.iter().all(|number| number.is_finite()).then_some(told)
}

/// Lag and port with their variances, freed of the slopes that are noise (they would make the lag too small), and with
/// what is expected of a lag beforehand.
fn without_noise(
    parameters: &DVector<f64>,
    covariance: &DMatrix<f64>,
    by_noise: f64,
    applied_s: f64,
) -> ([f64; 2], [f64; 2]) {
    let information = covariance[(0, 0)].recip();
    let expected = EXPECTED.standard_uncertainty.powi(-2);
    let known = (information - by_noise).max(0.0) + expected;
    let lag_s = (information * parameters[0] + expected * (EXPECTED.mean - applied_s)) / known;
    let lag_variance = ((information + expected) / (known * known)).min(expected.recip());
    let with_lag = covariance[(1, 0)] * information;
    let port = parameters[1] + with_lag * (lag_s - parameters[0]);
    let port_variance = covariance[(1, 1)] + with_lag * with_lag * (lag_variance - covariance[(0, 0)]);
    ([lag_s, port], [lag_variance, port_variance])
}

/// Squares of the speed forward less those of the way back: what slopes drive of them, and the rest.
struct Speeds {
    driven: Vec<f64>,
    rest: Vec<f64>,
}

impl Speeds {
    fn of(forward: &Side, reverse: &Side, slopes: &[f64], spacing_m: f64) -> Option<Speeds> {
        let square = |side: &Side| -> Vec<f64> { side.speed_m_s.iter().map(|v| v * v).collect() };
        let (ahead, mut back) = (square(forward), square(reverse));
        let driven = driven(&ahead, slopes.iter().copied(), spacing_m)?;
        back.reverse();
        let mut driven_back = self::driven(&back, slopes.iter().rev().map(|slope| -slope), spacing_m)?;
        back.reverse();
        driven_back.reverse();
        let driven: Vec<f64> = driven.iter().zip(&driven_back).map(|(a, b)| a - b).collect();
        let rest = ahead
            .iter()
            .zip(&back)
            .zip(&driven)
            .map(|((a, b), driven)| a - b - driven);
        Some(Speeds {
            rest: rest.collect(),
            driven,
        })
    }
}

/// Of squares of the speed in the order ridden, what follows from the slopes before.
fn driven(squares: &[f64], slopes: impl Iterator<Item = f64>, spacing_m: f64) -> Option<Vec<f64>> {
    let slopes: Vec<f64> = slopes
        .map(|slope| if slope.is_finite() { slope } else { 0.0 })
        .collect();
    let follows = |answer_m: f64| -> Vec<f64> {
        let keep = (-spacing_m / answer_m).exp();
        let mut state = 0.0;
        let next = |slope: &f64| {
            state = keep * state + (1.0 - keep) * slope;
            state
        };
        slopes.iter().map(next).collect()
    };
    let answers = ANSWER_M.map(follows);
    let count = slopes.len();
    let design = DMatrix::from_fn(count, 4, |n, column| match column {
        0 => 1.0,
        1 => n as f64 / count as f64,
        2 => 100.0 * answers[0][n],
        _ => 100.0 * answers[1][n],
    });
    let known = |n: usize| squares[n].is_finite();
    let square = DMatrix::from_fn(4, 4, |a, b| {
        let sum: f64 = (0..count)
            .filter(|&n| known(n))
            .map(|n| design[(n, a)] * design[(n, b)])
            .sum();
        // A level road drives nothing.
        sum + if a == b { 1e-6 } else { 0.0 }
    });
    let like = DVector::from_fn(4, |a, _| {
        (0..count)
            .filter(|&n| known(n))
            .map(|n| design[(n, a)] * squares[n])
            .sum()
    });
    let found = Cholesky::new(square)?.solve(&like);
    Some((design * found).iter().copied().collect())
}

#[cfg(test)]
#[path = "late_tests.rs"]
mod tests;
