//! Power and speed out of step: how much later the power was stamped than the speed that it made.
//!
//! Second by second a rider is uneven, and what the legs put in comes back as speed. The account of a pass is drawn up
//! for power moved by whole seconds; gusts and errors of speed are whitened as in `disturbed`, what changes slowly
//! (drag area, wind, hills, whatever altitude says of them) is projected out, and the offset that leaves least is
//! taken. So neither climb nor a steady wind matters: it is told by what happens within some ten seconds.

use super::cells::{PassRide, Shift, accounts};
use super::disturbed::trail::Trail;
use super::disturbed::whiten::Whitener;
use super::one_pass::GUST_Q_MEDIAN_M2_S;
use crate::streams::Worked;
use crate::test_day::Setup;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// Offsets that are looked at, whole seconds: units that average, and meters that lag, are late by up to 3 s or so;
/// some stamp a second early (common practice, no published source).
const EARLIEST_S: i32 = -3;
const LATEST_S: i32 = 6;
/// What an offset is beforehand: 0 ± this. Common practice, no published source.
pub const PRIOR_S: f64 = 1.5;
/// What changes more slowly than this is left out of account.
const SLOW_S: f64 = 25.0;
/// Residuals beyond this many standard deviations count in proportion to their size only (Huber 1964, M).
const ROBUST: f64 = 2.0;
/// Errors within such a time go together, as far as the uncertainty is concerned.
const TOGETHER_S: f64 = 30.0;
const STEP_S: f64 = 0.05;
/// Derivatives are taken over so much to either side.
const H_S: f64 = 0.05;
/// Of the weights of neighbouring seconds; 3/8 at a whole second is [¼, ½, ¼].
const SQUARES: f64 = 0.375;
/// Where power was not measured, so long before and after it nothing is believed.
const DARK_BEFORE_S: f64 = 7.0;
const DARK_AFTER_S: f64 = 10.0;
/// Within one offset nothing is known better: speed is a mean over a turn of the wheel or two, and interpolated.
const LEAST_S: f64 = 0.05;
const MAD_TO_SD: f64 = 1.4826;

/// Power was stamped this much later than the speed that it made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    pub delay_s: f64,
    pub standard_uncertainty_s: f64,
}

impl Delay {
    /// Beforehand.
    pub fn unknown() -> Delay {
        Delay {
            delay_s: 0.0,
            standard_uncertainty_s: PRIOR_S,
        }
    }
}

/// The account of one pass, whitened, with the slow projected out.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Left over with the power as recorded.
    left: Vec<f64>,
    /// What power moved earlier by each of the whole seconds adds.
    moved: Vec<Vec<f64>>,
    /// Number of the stretch that each value belongs to; `None` where nothing is to be believed.
    stretch: Vec<Option<usize>>,
}

impl Seen {
    /// One ride, whose steps hold the power as recorded, and the work done over the recording.
    pub fn of(ride: &PassRide, setup: &Setup, worked: &Worked) -> Option<Seen> {
        let crr = setup.crr.value;
        let trail = Trail::new(ride, setup, rough_cda_m2(ride, setup)?, crr);
        let steps = trail.steps();
        let at_s = |boundary: usize| ride.start_s + trail.time_s[boundary];
        let efficiency = setup.drivetrain_efficiency.value;
        let whitener = Whitener::new(&trail, GUST_Q_MEDIAN_M2_S);
        let white = |sum: &dyn Fn(usize) -> f64| {
            let start = sum(0);
            whitener.whiten(0, (1..=steps).map(|boundary| sum(boundary) - start))
        };
        let mut slow: Vec<Vec<f64>> = trail
            .whole_pass_j
            .iter()
            .map(|sums| white(&|boundary| sums[boundary]))
            .collect();
        let duration_s = trail.duration_s();
        let waves = (2.0 * duration_s / SLOW_S) as usize;
        // Slopes and winds that are unknown, as cosines in time; the account holds their sums.
        slow.extend((0..=waves).map(|wave| {
            let turn = PI * wave as f64 / duration_s;
            white(&|boundary| match wave {
                0 => trail.time_s[boundary],
                _ => (turn * trail.time_s[boundary]).sin() * duration_s / wave as f64,
            })
        }));
        let without_slow = Projected::new(&slow)?;
        let left = without_slow.of(white(&|boundary| trail.left_j[boundary]));
        let moved = (EARLIEST_S..=LATEST_S)
            .map(|seconds| {
                without_slow.of(white(&|boundary| {
                    let now = at_s(boundary);
                    efficiency * (worked.work_j(now + f64::from(seconds)) - worked.work_j(now))
                }))
            })
            .collect();
        let believed = |step: usize| {
            let (from_s, to_s) = (at_s(step + 1) - DARK_AFTER_S, at_s(step + 1) + DARK_BEFORE_S);
            let dark_s = to_s - from_s - worked.known_s(from_s, to_s);
            dark_s < 1e-3 && ride.cells[trail.cell[step]].braked_j == 0.0
        };
        let stretch = (0..steps)
            .map(|step| believed(step).then(|| (trail.time_s[step + 1] / TOGETHER_S) as usize))
            .collect();
        Some(Seen { left, moved, stretch })
    }

    /// Left over with the power moved earlier by `delay_s`, how it changes with that, and the stretch, in turn.
    fn at(&self, delay_s: f64) -> impl Iterator<Item = (f64, f64, usize)> + '_ {
        let (low, high) = (place(delay_s - H_S), place(delay_s + H_S));
        let (first, weights) = place(delay_s);
        (0..self.left.len()).filter_map(move |row| {
            let stretch = self.stretch[row]?;
            let sum = |first: usize, weights: &[f64; 4]| -> f64 {
                let columns = self.moved[first..first + 4].iter();
                columns
                    .zip(weights)
                    .map(|(column, weight)| weight * column[row])
                    .sum()
            };
            let by_second = (sum(high.0, &high.1) - sum(low.0, &low.1)) / (2.0 * H_S);
            Some((self.left[row] + sum(first, &weights), by_second, stretch))
        })
    }
}

/// Which four whole seconds make up an offset between them, and their weights.
///
/// Between whole seconds power is interpolated, which takes half of the noise out of single readings; the offset with
/// least left over would then like to lie half way between, as on real recordings it did. So power is smoothed a
/// little, by [a, 1 − 2a, a], with the a that makes the sum of squared weights the same everywhere.
fn place(delay_s: f64) -> (usize, [f64; 4]) {
    let place = delay_s - f64::from(EARLIEST_S);
    let most = (LATEST_S - EARLIEST_S - 2) as usize;
    let below = (place.floor().max(1.0) as usize).min(most);
    let f = place - below as f64;
    let plain = [0.0, 1.0 - f, f, 0.0];
    let more = [1.0 - f, f - 2.0 * (1.0 - f), 1.0 - f - 2.0 * f, f];
    let dot = |a: &[f64; 4], b: &[f64; 4]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let (p, q, r) = (
        dot(&more, &more),
        dot(&plain, &more),
        dot(&plain, &plain) - SQUARES,
    );
    let a = (-q - (q * q - p * r).max(0.0).sqrt()) / p;
    (below - 1, std::array::from_fn(|k| plain[k] + a * more[k]))
}

/// Still air: its error is steady, and projected out.
fn rough_cda_m2(ride: &PassRide, setup: &Setup) -> Option<f64> {
    let accounts = accounts(ride, setup, 1.0, &Shift::default());
    let (mut work, mut air) = (0.0, 0.0);
    for account in accounts {
        work += account.energy_j - setup.crr.value * account.rolling_j;
        air += account.air_j_m2;
    }
    let cda_m2 = work / air;
    cda_m2.is_finite().then(|| cda_m2.clamp(0.1, 1.0))
}

/// Takes what some columns explain out of others.
struct Projected {
    columns: DMatrix<f64>,
    inverse: DMatrix<f64>,
}

impl Projected {
    fn new(columns: &[Vec<f64>]) -> Option<Projected> {
        let rows = columns.first()?.len();
        let columns = DMatrix::from_fn(rows, columns.len(), |row, column| columns[column][row]);
        let mut square = columns.tr_mul(&columns);
        for k in 0..square.nrows() {
            // Some are nearly alike, such as wind east and north on a straight road.
            square[(k, k)] *= 1.0 + 1e-6;
            square[(k, k)] += 1e-12;
        }
        Some(Projected {
            inverse: square.cholesky()?.inverse(),
            columns,
        })
    }

    fn of(&self, values: Vec<f64>) -> Vec<f64> {
        let values = DVector::from_vec(values);
        let amounts = &self.inverse * self.columns.tr_mul(&values);
        (values - &self.columns * amounts).iter().copied().collect()
    }
}

/// The offset that all of these passes have in common; what was known beforehand where they do not tell.
pub fn delay(seen: &[&Seen]) -> Delay {
    told(seen).map_or_else(Delay::unknown, |told| {
        let (own, prior) = (told.standard_uncertainty_s.powi(-2), PRIOR_S.powi(-2));
        Delay {
            delay_s: told.delay_s * own / (own + prior),
            standard_uncertainty_s: (own + prior).sqrt().recip(),
        }
    })
}

/// By the passes alone.
fn told(seen: &[&Seen]) -> Option<Delay> {
    let mut scale = spread(seen, 0.0)?;
    let mut delay_s = 0.0;
    for _ in 0..3 {
        delay_s = least(seen, scale)?;
        scale = spread(seen, delay_s)?;
    }
    let mut information = 0.0;
    let mut scores: Vec<f64> = Vec::new();
    for one in seen {
        let mut of_pass: Vec<f64> = Vec::new();
        for (left, by_second, stretch) in one.at(delay_s) {
            let r = left / scale;
            if of_pass.len() <= stretch {
                of_pass.resize(stretch + 1, 0.0);
            }
            of_pass[stretch] += r.clamp(-ROBUST, ROBUST) * by_second / scale;
            if r.abs() < ROBUST {
                information += (by_second / scale).powi(2);
            }
        }
        scores.extend(of_pass);
    }
    // The spread of stretches that do not know of each other is what the residuals' own size would make it, or more.
    let stretches = scores.len() as f64;
    if stretches < 2.0 || information <= 0.0 {
        return None;
    }
    let square = scores.iter().map(|s| s * s).sum::<f64>() * stretches / (stretches - 1.0);
    let standard_uncertainty_s = (square.sqrt() / information)
        .max(information.sqrt().recip())
        .hypot(LEAST_S);
    Some(Delay {
        delay_s,
        standard_uncertainty_s,
    })
}

/// The offset with the least robust sum; `None` at an end of the range.
fn least(seen: &[&Seen], scale: f64) -> Option<f64> {
    let sum = |delay_s: f64| -> f64 {
        let values = seen.iter().flat_map(|one| one.at(delay_s));
        values
            .map(|(left, _, _)| {
                let r = (left / scale).abs();
                if r < ROBUST {
                    0.5 * r * r
                } else {
                    ROBUST * (r - 0.5 * ROBUST)
                }
            })
            .sum()
    };
    // A second at either end is for smoothing.
    let (earliest, latest) = (EARLIEST_S + 1, LATEST_S - 1);
    let whole = (earliest..=latest).map(f64::from);
    let near = whole.min_by(|a, b| sum(*a).total_cmp(&sum(*b)))?;
    let count = (2.0 / STEP_S).round() as i32;
    let range = f64::from(earliest)..=f64::from(latest);
    let fine = (0..=count)
        .map(|k| near - 1.0 + STEP_S * f64::from(k))
        .filter(|delay_s| range.contains(delay_s))
        .map(|delay_s| (delay_s, sum(delay_s)));
    let (best, _) = fine.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let inside = best > range.start() + STEP_S && best < range.end() - STEP_S;
    inside.then_some(best)
}

fn spread(seen: &[&Seen], delay_s: f64) -> Option<f64> {
    let mut sizes: Vec<f64> = seen
        .iter()
        .flat_map(|one| one.at(delay_s))
        .map(|(left, _, _)| left.abs())
        .collect();
    if sizes.is_empty() {
        return None;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    Some(MAD_TO_SD * median.max(1e-6))
}

#[cfg(test)]
#[path = "out_of_step_tests.rs"]
mod tests;
