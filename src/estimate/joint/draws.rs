//! Draws from what is believed.

use super::Believed;
use nalgebra::DMatrix;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Of the quantities in `used`, in that order: `count` draws of the same weight, as many from each part of the
/// mixture as it weighs. The seed is fixed by the caller, so that the same day gives the same numbers.
///
/// `None` where a part has no distribution.
pub(super) fn draws(believed: &[Believed], used: &[usize], count: usize, seed: u64) -> Option<Vec<Vec<f64>>> {
    let size = used.len();
    let sum: f64 = believed.iter().map(|part| part.weight).sum();
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut all: Vec<Vec<f64>> = Vec::with_capacity(count);
    let mut weight = 0.0;
    for part in believed {
        weight += part.weight / sum;
        let upto = (weight * count as f64).round() as usize;
        if upto <= all.len() {
            continue;
        }
        let root = root(DMatrix::from_fn(size, size, |i, j| {
            part.covariance[(used[i], used[j])]
        }))?;
        while all.len() < upto {
            let z: Vec<f64> = (0..size).map(|_| rng.sample(StandardNormal)).collect();
            let own = |i: usize| (0..size).map(|j| root[(i, j)] * z[j]).sum::<f64>();
            all.push((0..size).map(|i| part.mean[used[i]] + own(i)).collect());
        }
    }
    (all.len() == count).then_some(all)
}

/// A matrix that gives the covariance when multiplied by its transpose. By eigenvectors, since a quantity that is
/// certain, such as a rolling resistance that does not differ, leaves no Cholesky factor.
fn root(covariance: DMatrix<f64>) -> Option<DMatrix<f64>> {
    // The search for eigenvalues does not end on numbers that are none.
    if !covariance.iter().all(|value| value.is_finite()) {
        return None;
    }
    let eigen = covariance.symmetric_eigen();
    let spreads = eigen.eigenvalues.map(|variance| variance.max(0.0).sqrt());
    Some(eigen.eigenvectors * DMatrix::from_diagonal(&spreads))
}
