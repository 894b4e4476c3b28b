//! What the wheel counted from gate to gate, against the length of the course.
//!
//! A run is a row of passes that share their gates (flying laps), or a single pass. At its gate k the course says
//! k L, and the wheel D_k, and each crossing is off by the wander of positions. So within a run D is a straight line
//! in k L, and its slope is recorded over true distance: of n laps in a row the gates between count too, and a gate
//! that two laps share is not counted as two errors.

use crate::course::POSITION_STANDARD_UNCERTAINTY_M;
use nalgebra::{DMatrix, DVector};

/// Positions wander "over a minute" (common practice, no published source): of gates that are crossed sooner after
/// each other the errors are alike, as on the laps of a track.
const WANDER_MEMORY_S: f64 = 60.0;
/// The spread of gates on the day is judged as if so many more had been seen at the usual wander.
const PRIOR_GATES: f64 = 4.0;
/// A run farther than this from the middle of all, in median deviations made standard ones or in usual wanders,
/// had a position that jumped.
const OUTLIER: f64 = 4.0;

/// Passes in a row by one set-up.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Run {
    pub setup: usize,
    /// When each gate of it was crossed; two at least. [unix s]
    pub time_s: Vec<f64>,
    /// What the wheel counted at each gate, from the first. [m]
    pub counted_m: Vec<f64>,
}

/// What the passes of one set-up say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ByGates {
    /// ln(true / recorded).
    pub log_scale: f64,
    pub standard_uncertainty: f64,
    pub passes: usize,
}

/// For each set-up what its runs say of the scale, apart from an error of the course's length; `None` where it has
/// none. The slope is found by least squares; the spread of gates is that about the slopes, with the usual one; the
/// uncertainty of a slope is that of its sum over gates whose errors fade with time.
pub(super) fn by_gates(runs: &[Run], course_length_m: f64, setups: usize) -> Vec<Option<ByGates>> {
    let kept = without_outliers(runs, course_length_m);
    let mut squares = PRIOR_GATES * POSITION_STANDARD_UNCERTAINTY_M.powi(2);
    let mut freedom = PRIOR_GATES;
    let mut slopes: Vec<Option<(f64, f64, usize)>> = vec![None; setups];
    for (setup, found) in slopes.iter_mut().enumerate() {
        let own = || kept.iter().filter(|run| run.setup == setup);
        let lines: Vec<Line> = own().map(|run| Line::of(run, course_length_m)).collect();
        let xx: f64 = lines.iter().map(|line| line.x_m.norm_squared()).sum();
        let xy: f64 = lines.iter().map(|line| line.x_m.dot(&line.y_m)).sum();
        if xx <= 0.0 || xy <= 0.0 {
            continue;
        }
        let slope = xy / xx;
        // Variance of the slope, and expected squares about the lines, for gates that are off by 1 m.
        let apart: f64 = lines
            .iter()
            .map(|line| line.x_m.dot(&(&line.alike * &line.x_m)))
            .sum();
        let alone: f64 = lines.iter().map(|line| line.about_its_mean()).sum();
        freedom += (alone - apart / xx).max(0.0);
        squares += lines
            .iter()
            .map(|line| (&line.y_m - &line.x_m * slope).norm_squared())
            .sum::<f64>();
        let passes = lines.iter().map(|line| line.x_m.len() - 1).sum();
        *found = Some((slope, apart / (xx * xx), passes));
    }
    let gate_variance_m2 = squares / freedom;
    slopes
        .into_iter()
        .map(|found| {
            let (slope, variance, passes) = found?;
            Some(ByGates {
                log_scale: -slope.ln(),
                standard_uncertainty: (gate_variance_m2 * variance).sqrt() / slope,
                passes,
            })
        })
        .collect()
}

/// Distance on the course and counted distance at each gate of a run, both less their means, and the correlation of
/// the gates' errors.
struct Line {
    x_m: DVector<f64>,
    y_m: DVector<f64>,
    alike: DMatrix<f64>,
}

impl Line {
    fn of(run: &Run, course_length_m: f64) -> Line {
        let count = run.counted_m.len();
        let x_m = DVector::from_fn(count, |k, _| k as f64 * course_length_m);
        let y_m = DVector::from_column_slice(&run.counted_m);
        let (x_mean, y_mean) = (x_m.mean(), y_m.mean());
        Line {
            x_m: x_m.add_scalar(-x_mean),
            y_m: y_m.add_scalar(-y_mean),
            alike: DMatrix::from_fn(count, count, |i, j| {
                (-(run.time_s[i] - run.time_s[j]).abs() / WANDER_MEMORY_S).exp()
            }),
        }
    }

    /// Expected squares about the mean of the run.
    fn about_its_mean(&self) -> f64 {
        self.alike.trace() - self.alike.sum() / self.x_m.len() as f64
    }
}

fn without_outliers(runs: &[Run], course_length_m: f64) -> Vec<&Run> {
    let log = |run: &Run| -> Option<f64> {
        let length_m = (run.counted_m.len() - 1) as f64 * course_length_m;
        Some((run.counted_m.last()? / length_m).ln()).filter(|log| log.is_finite())
    };
    let judged: Vec<(&Run, f64)> = runs
        .iter()
        .filter(|run| run.counted_m.len() > 1)
        .filter_map(|run| Some((run, log(run)?)))
        .collect();
    let middle = median(judged.iter().map(|(_, log)| *log));
    let spread = 1.4826 * median(judged.iter().map(|(_, log)| (log - middle).abs()));
    judged
        .into_iter()
        .filter(|(run, log)| {
            let length_m = (run.counted_m.len() - 1) as f64 * course_length_m;
            let usual = 2f64.sqrt() * POSITION_STANDARD_UNCERTAINTY_M / length_m;
            (log - middle).abs() <= OUTLIER * spread.max(usual)
        })
        .map(|(run, _)| run)
        .collect()
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;

    /// Gates far apart in time.
    fn run(setup: usize, counted_m: &[f64]) -> Run {
        Run {
            setup,
            time_s: (0..counted_m.len()).map(|k| 1e6 * k as f64).collect(),
            counted_m: counted_m.to_vec(),
        }
    }

    /// By hand: slope 1485/1500; Sxx 2 · 750²; the day's spread is the usual 3 m, as one pass has none of its own.
    #[test]
    fn one_pass_is_its_distance_over_the_length() {
        let found = by_gates(&[run(0, &[0.0, 1485.0])], 1500.0, 2);
        let one = found[0].unwrap();
        assert!((one.log_scale + (0.99f64).ln()).abs() < 1e-12);
        let expected = 3.0 / (2f64.sqrt() * 750.0) / 0.99;
        assert!((one.standard_uncertainty - expected).abs() < 1e-12, "{one:?}");
        assert_eq!((one.passes, found[1]), (1, None));
    }

    /// Closed form of a regression on k = 0..n: Σ(k − n/2)² = n(n+1)(n+2)/12, 10 L² for four laps.
    #[test]
    fn laps_in_a_row_share_their_gates() {
        let laps = [0.0, 1010.0, 2020.0, 3030.0, 4040.0];
        let one = by_gates(&[run(0, &laps)], 1000.0, 1)[0].unwrap();
        assert!((one.log_scale + (1.01f64).ln()).abs() < 1e-12);
        // Four more gates that lie on the line make the spread smaller: 4 · 9 m² over 4 + 3 degrees.
        let gate_m = (36.0f64 / 7.0).sqrt();
        let expected = gate_m / (10f64.sqrt() * 1000.0) / 1.01;
        assert!((one.standard_uncertainty - expected).abs() < 1e-12, "{one:?}");
    }

    #[test]
    fn a_pass_with_a_position_that_jumped_has_no_say() {
        let mut runs: Vec<Run> = (0..6)
            .map(|k| run(0, &[0.0, 1500.0 + 2.0 * f64::from(k % 3)]))
            .collect();
        let calm = by_gates(&runs, 1500.0, 1)[0].unwrap();
        runs.push(run(0, &[0.0, 1420.0]));
        assert_eq!(by_gates(&runs, 1500.0, 1)[0].unwrap(), calm);
    }

    /// A thousand days of eight passes a set-up, of laps, and of laps of a track, gates off by 3 m that fade as
    /// supposed: the errors are as large as stated.
    #[test]
    fn errors_are_as_large_as_stated() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(11);
        let mut normal = || rng.sample::<f64, _>(StandardNormal);
        for (laps, rows, length_m, lap_s) in
            [(1, 8, 1500.0, 150.0), (4, 2, 1800.0, 180.0), (8, 4, 250.0, 20.0)]
        {
            let fade = (-lap_s / WANDER_MEMORY_S).exp();
            let (mut squares, mut stated) = (0.0, 0.0);
            for _ in 0..1000 {
                let runs: Vec<Run> = (0..rows)
                    .map(|_| {
                        let mut off = normal();
                        let at: Vec<f64> = (0..=laps)
                            .map(|k| {
                                off = if k == 0 {
                                    off
                                } else {
                                    fade * off + (1.0 - fade * fade).sqrt() * normal()
                                };
                                0.99 * length_m * k as f64 + 3.0 * off
                            })
                            .collect();
                        Run {
                            time_s: (0..=laps).map(|k| lap_s * k as f64).collect(),
                            ..run(0, &at.iter().map(|d| d - at[0]).collect::<Vec<_>>())
                        }
                    })
                    .collect();
                let one = by_gates(&runs, length_m, 1)[0].unwrap();
                squares += (one.log_scale + 0.99f64.ln()).powi(2);
                stated += one.standard_uncertainty.powi(2);
            }
            let ratio = (squares / stated).sqrt();
            // The root mean square of a thousand is known to 2.2 %.
            assert!((0.93..1.07).contains(&ratio), "{laps}: {ratio}");
        }
    }
}
