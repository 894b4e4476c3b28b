//! Each set-up's chance of being the one with the lowest drag.

use super::Believed;
use nalgebra::{Cholesky, DMatrix, DVector};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// 0.5 % on a chance of one half.
const DRAWS: usize = 10_000;
const SEED: u64 = 1;

/// In the order given; they sum to one. The draws have a fixed seed, so that the same day gives the same numbers.
pub(in crate::estimate) fn chances(drags: &[Believed], setups: &[usize]) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut wins = vec![0.0; setups.len()];
    for believed in drags {
        let count = setups.len();
        let mean = DVector::from_fn(count, |i, _| believed.mean[setups[i]]);
        let covariance = DMatrix::from_fn(count, count, |i, j| believed.covariance[(setups[i], setups[j])]);
        let Some(factor) = Cholesky::new(covariance) else {
            continue;
        };
        let draws = (believed.weight * DRAWS as f64).ceil() as usize;
        for _ in 0..draws {
            let z = DVector::from_fn(count, |_, _| rng.sample::<f64, _>(StandardNormal));
            let (lowest, _) = (&mean + factor.l_dirty().lower_triangle() * z).argmin();
            wins[lowest] += believed.weight / draws as f64;
        }
    }
    let sum: f64 = wins.iter().sum();
    wins.into_iter().map(|w| w / sum).collect()
}
