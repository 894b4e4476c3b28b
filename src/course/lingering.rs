//! Least squares where errors linger along the way: they fade from node to node, and each reading has its own besides.

use nalgebra::{Cholesky, DMatrix, DVector};

/// Nodes over which an error fades to 1/e, and the variance of a reading's own error over that of what lingers: a grid
/// wide enough for a barometer's step (short, all its own) and for a morning's drift (long, nothing its own).
const MEMORIES: [f64; 6] = [1.5, 4.0, 10.0, 25.0, 64.0, 160.0];
const OWN: [f64; 5] = [0.0, 0.2, 1.0, 4.0, 20.0];
/// Variance and parameters, in turns.
const TURNS: usize = 4;

/// What is known of one parameter beforehand; an infinite uncertainty: nothing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Before {
    pub mean: f64,
    pub standard_uncertainty: f64,
}

/// The answer where the errors linger in one way.
#[derive(Debug, Clone)]
pub(super) struct Answer {
    pub log_evidence: f64,
    pub parameters: DVector<f64>,
    pub covariance: DMatrix<f64>,
}

/// One answer for each way in which errors may linger; the last column is what is to be explained.
pub(super) fn answers(rows: &DMatrix<f64>, before: &[Before]) -> Vec<Answer> {
    let mut all = Vec::new();
    for memory in MEMORIES {
        for own in OWN {
            all.extend(answer(rows, before, (-1.0 / memory).exp(), own));
        }
    }
    all
}

fn answer(rows: &DMatrix<f64>, before: &[Before], keep: f64, own: f64) -> Option<Answer> {
    let (white, log_scale) = whitened(rows, keep, own);
    let (count, unknowns) = (white.nrows() as f64, before.len());
    let square = white.tr_mul(&white);
    let of_unknowns = square.view((0, 0), (unknowns, unknowns)).into_owned();
    let like = square.view((0, unknowns), (unknowns, 1)).column(0).into_owned();
    let whole = square[(unknowns, unknowns)];
    let precision = |one: &Before| one.standard_uncertainty.powi(-2);
    let known: DVector<f64> = DVector::from_iterator(unknowns, before.iter().map(precision));
    let pull = DVector::from_iterator(unknowns, before.iter().map(|one| one.mean * precision(one)));
    let free = known.iter().filter(|known| **known == 0.0).count() as f64;
    let mut variance = whole / count;
    let mut last = None;
    for _ in 0..TURNS {
        let information = &of_unknowns / variance + DMatrix::from_diagonal(&known);
        let solved = Cholesky::new(information)?;
        let parameters = solved.solve(&(&like / variance + &pull));
        let left = whole - 2.0 * parameters.dot(&like) + (&of_unknowns * &parameters).dot(&parameters);
        if left.is_nan() || left <= 0.0 || count <= free {
            return None;
        }
        variance = left / (count - free);
        last = Some((solved, parameters, left));
    }
    let (solved, parameters, left) = last?;
    let off: f64 = parameters
        .iter()
        .zip(before)
        .map(|(found, one)| (found - one.mean).powi(2) * precision(one))
        .sum();
    let log_evidence =
        -0.5 * (log_scale + count * variance.ln() + left / variance + off + solved.ln_determinant());
    Some(Answer {
        log_evidence,
        covariance: solved.inverse(),
        parameters,
    })
}

/// Rows freed of what lingers from those before, each with an error of one (a Kalman filter), and the logarithm of the
/// determinant of what they were.
fn whitened(rows: &DMatrix<f64>, keep: f64, own: f64) -> (DMatrix<f64>, f64) {
    let mut white = rows.clone();
    let mut expected = vec![0.0; rows.ncols()];
    let (mut variance, mut log_scale) = (1.0, 0.0);
    for row in 0..rows.nrows() {
        let total: f64 = variance + own;
        let gain = variance / total;
        for (column, expected) in expected.iter_mut().enumerate() {
            let surprise = rows[(row, column)] - *expected;
            white[(row, column)] = surprise / total.sqrt();
            *expected = keep * (*expected + gain * surprise);
        }
        log_scale += total.ln();
        variance = keep * keep * variance * (1.0 - gain) + 1.0 - keep * keep;
    }
    (white, log_scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the same errors as one dense covariance.
    #[test]
    fn the_filter_whitens_as_the_dense_covariance_does() {
        let (keep, own): (f64, f64) = (0.8, 0.5);
        let count = 12;
        let covariance = DMatrix::from_fn(count, count, |a, b| {
            keep.powi((a as i32 - b as i32).abs()) + if a == b { own } else { 0.0 }
        });
        let rows = DMatrix::from_fn(count, 2, |row, column| ((row * (column + 2)) as f64).sin());
        let (white, log_scale) = whitened(&rows, keep, own);
        let dense = Cholesky::new(covariance).unwrap();
        let expected = rows.tr_mul(&dense.solve(&rows));
        assert!((white.tr_mul(&white) - expected).amax() < 1e-12);
        assert!((log_scale - dense.ln_determinant()).abs() < 1e-12);
    }
}
