//! What is between two clocks, to a fraction of a second, with its uncertainty.

use super::series::Series;
use nalgebra::{DMatrix, DVector};

/// What is between the clocks of two units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    /// Donor's clock less that of the base, in the middle of what they have in common.
    pub offset_s: f64,
    pub offset_standard_uncertainty_s: f64,
    /// What the donor's clock gains in an hour.
    pub drift_s_per_h: f64,
    pub drift_standard_uncertainty_s_per_h: f64,
    /// The middle of what they have in common, on the base's clock.
    pub middle_s: f64,
    /// Median distance of the two, in the unit of the base's series.
    pub median_off: f64,
    pub correlation: f64,
}

/// Quartz clocks of units and loggers gain or lose less than that in an hour (judgement; 0.2 s/h is 50 millionths,
/// the usual tolerance of a watch crystal, and loggers are worse).
const DRIFT_PRIOR_S_PER_H: f64 = 1.0;
/// Residuals hang together over tens of seconds: their sums over such blocks are taken as independent.
const BLOCK_S: f64 = 60.0;
/// The means hang together over this time.
const TOGETHER_S: f64 = 5.0;
const STEPS: usize = 12;
/// Beyond so many spreads a second counts less (Huber's weights).
const HUBER: f64 = 1.5;
/// 1.4826 makes the median deviation of a normal distribution its standard deviation.
const MEDIAN_TO_SD: f64 = 1.4826;
/// Farther than this from where the search began, the fit has run away. [s]
const RUN_AWAY_S: f64 = 10.0;

/// The offset near `start_s` at which base = scale · donor + Σ extras, by least squares with Huber's weights.
/// Its uncertainty is that of sums over minutes, so residuals need not be independent from second to second.
/// `None` where there is too little to fit, or the fit runs away.
///
/// Both are taken as means over `smoothed_s` seconds: interpolating between noisy samples makes them smoother half
/// way, and the clock would be drawn there.
pub(super) fn fit(
    base: &Series,
    donor: &Series,
    extras: &[Series],
    start_s: f64,
    smoothed_s: usize,
) -> Option<Fitted> {
    let (base, donor) = (base.smoothed(smoothed_s), donor.smoothed(smoothed_s));
    let mut clock = [start_s, 0.0];
    let middle_s = middle(&base, &donor, start_s)?;
    let mut scale = 1.0;
    for _ in 0..STEPS {
        let rows = rows(&base, &donor, extras, clock, scale, middle_s);
        let solved = solve(&rows, clock[1])?;
        scale = solved.value[0];
        clock = [clock[0] + solved.value[1], clock[1] + solved.value[2]];
        if (clock[0] - start_s).abs() > RUN_AWAY_S {
            return None;
        }
    }
    let rows = rows(&base, &donor, extras, clock, scale, middle_s);
    let solved = solve(&rows, clock[1])?;
    Some(Fitted {
        offset_s: clock[0],
        offset_standard_uncertainty_s: solved.sandwich(1).sqrt(),
        drift_s_per_h: clock[1],
        drift_standard_uncertainty_s_per_h: solved.sandwich(2).sqrt().min(DRIFT_PRIOR_S_PER_H),
        middle_s,
        median_off: solved.median_off,
        correlation: solved.correlation,
    })
}

/// The middle of the time that both tell of, on the base's clock.
fn middle(base: &Series, donor: &Series, offset_s: f64) -> Option<f64> {
    let both = |index: &usize| {
        let time_s = base.start_s + *index as f64;
        base.values[*index].is_finite() && donor.at(time_s + offset_s).is_finite()
    };
    let known: Vec<usize> = (0..base.values.len()).filter(both).collect();
    let sum: f64 = known.iter().map(|&index| index as f64).sum();
    (known.len() as f64 > BLOCK_S).then(|| base.start_s + sum / known.len() as f64)
}

struct Rows {
    /// Donor, its slope by the offset, its slope by the drift, a constant, the extras.
    columns: Vec<Vec<f64>>,
    told: Vec<f64>,
    block: Vec<i64>,
}

fn rows(
    base: &Series,
    donor: &Series,
    extras: &[Series],
    clock: [f64; 2],
    scale: f64,
    middle_s: f64,
) -> Rows {
    let mut rows = Rows {
        columns: Vec::new(),
        told: Vec::new(),
        block: Vec::new(),
    };
    for (index, &told) in base.values.iter().enumerate() {
        let time_s = base.start_s + index as f64;
        let hours = (time_s - middle_s) / 3600.0;
        let at_s = time_s + clock[0] + clock[1] * hours;
        let value = donor.at(at_s);
        let slope = scale * 0.5 * (donor.at(at_s + 1.0) - donor.at(at_s - 1.0));
        let mut row = vec![value, slope, slope * hours, 1.0];
        row.extend(extras.iter().map(|extra| extra.at(time_s)));
        if told.is_finite() && row.iter().all(|x| x.is_finite()) {
            rows.columns.push(row);
            rows.told.push(told);
            rows.block.push((time_s / BLOCK_S) as i64);
        }
    }
    rows
}

struct Solved {
    value: DVector<f64>,
    inverse: DMatrix<f64>,
    /// Of the sums over blocks.
    meat: DMatrix<f64>,
    median_off: f64,
    correlation: f64,
}

impl Solved {
    fn sandwich(&self, index: usize) -> f64 {
        (&self.inverse * &self.meat * &self.inverse)[(index, index)].max(0.0)
    }
}

fn solve(rows: &Rows, drift_s_per_h: f64) -> Option<Solved> {
    let count = rows.told.len();
    let width = rows.columns.first()?.len();
    if count < 10 * width {
        return None;
    }
    let matrix = DMatrix::from_fn(count, width, |i, j| rows.columns[i][j]);
    let told = DVector::from_column_slice(&rows.told);
    let mut weight = vec![1.0; count];
    let mut solved = None;
    for _ in 0..4 {
        let (value, inverse, off, spread) = weighted(&matrix, &told, &weight, drift_s_per_h)?;
        for (w, r) in weight.iter_mut().zip(off.iter()) {
            *w = (HUBER * spread / r.abs().max(1e-12)).min(1.0);
        }
        solved = Some((value, inverse, off, spread));
    }
    let (value, inverse, off, spread) = solved?;
    Some(Solved {
        meat: meat(&matrix, &off, &weight, &rows.block, spread),
        correlation: correlation(&rows.told, off.as_slice()),
        median_off: spread / MEDIAN_TO_SD,
        value,
        inverse,
    })
}

type Weighted = (DVector<f64>, DMatrix<f64>, DVector<f64>, f64);

/// One round of weighted least squares. The change of the drift has its prior about the drift so far.
fn weighted(
    matrix: &DMatrix<f64>,
    told: &DVector<f64>,
    weight: &[f64],
    drift_s_per_h: f64,
) -> Option<Weighted> {
    let width = matrix.ncols();
    let mut scaled = matrix.clone();
    for (mut row, w) in scaled.row_iter_mut().zip(weight) {
        row *= *w;
    }
    let mut normal = scaled.transpose() * matrix;
    let mut right = scaled.transpose() * told;
    // The prior needs the residuals' variance: a first solution gives it.
    let spread_of = |value: &DVector<f64>| {
        let off = told - matrix * value;
        let mut sizes: Vec<f64> = off.iter().map(|r| r.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let spread = MEDIAN_TO_SD * sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
        (off, spread.max(1e-9))
    };
    let ridge = 1e-12 * normal.trace() / width as f64;
    for k in 0..width {
        normal[(k, k)] += ridge;
    }
    let first = normal.clone().cholesky()?.solve(&right);
    let (_, spread) = spread_of(&first);
    let precision = prior_precision(spread);
    normal[(2, 2)] += precision;
    right[2] -= precision * drift_s_per_h;
    let factor = normal.cholesky()?;
    let value = factor.solve(&right);
    let (off, spread) = spread_of(&value);
    Some((value, factor.inverse(), off, spread))
}

/// Of the drift, in the unit of the sums. Seconds that were averaged carry less than single ones.
fn prior_precision(spread: f64) -> f64 {
    spread * spread * TOGETHER_S / (DRIFT_PRIOR_S_PER_H * DRIFT_PRIOR_S_PER_H)
}

/// Of sums over blocks; and what the prior of the drift may pull it off the truth.
fn meat(
    matrix: &DMatrix<f64>,
    off: &DVector<f64>,
    weight: &[f64],
    block: &[i64],
    spread: f64,
) -> DMatrix<f64> {
    let width = matrix.ncols();
    let mut meat = DMatrix::zeros(width, width);
    let mut sum = DVector::zeros(width);
    let mut blocks = 0usize;
    for i in 0..block.len() {
        sum += matrix.row(i).transpose() * (weight[i] * off[i]);
        if block.get(i + 1) != block.get(i) {
            meat += &sum * sum.transpose();
            sum.fill(0.0);
            blocks += 1;
        }
    }
    // Blocks of perfect series still have the rounding of what was recorded.
    let few = blocks as f64 / (blocks as f64 - width as f64).max(1.0);
    let least = 1e-6 * spread * spread;
    let mut meat = meat * few;
    meat[(2, 2)] += (prior_precision(spread) * DRIFT_PRIOR_S_PER_H).powi(2);
    meat + DMatrix::identity(width, width) * least
}

/// Of what was told and what was left over: √(1 − unexplained share).
fn correlation(told: &[f64], off: &[f64]) -> f64 {
    let mean = told.iter().sum::<f64>() / told.len() as f64;
    let all: f64 = told.iter().map(|v| (v - mean).powi(2)).sum();
    let left: f64 = off.iter().map(|r| r * r).sum();
    if all > 0.0 {
        (1.0 - left / all).max(0.0).sqrt()
    } else {
        0.0
    }
}
