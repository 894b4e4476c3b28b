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

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    /// Three standard deviations of a share of 10 000 draws.
    fn off(share: f64) -> f64 {
        3.0 * (share * (1.0 - share) / DRAWS as f64).sqrt()
    }

    fn believed(weight: f64, mean: &[f64], covariance: &[f64]) -> Believed {
        Believed {
            weight,
            mean: DVector::from_column_slice(mean),
            covariance: DMatrix::from_row_slice(mean.len(), mean.len(), covariance),
        }
    }

    /// Closed form (D): the difference of two normals is normal, here of variance 4 + 1 − 2·0.5 = 4.
    #[test]
    fn of_two_the_chance_is_that_of_their_difference() {
        let one = believed(0.75, &[0.0, 1.0], &[4.0, 0.5, 0.5, 1.0]);
        let other = believed(0.25, &[0.0, -3.0], &[4.0, 0.5, 0.5, 1.0]);
        let below = |z: f64| Normal::standard().cdf(z);
        let expected = 0.75 * below(1.0 / 2.0) + 0.25 * below(-3.0 / 2.0);
        let found = chances(&[one, other], &[0, 1]);
        assert!(
            (found[0] - expected).abs() < off(expected),
            "{found:?} {expected}"
        );
        assert!((found[0] + found[1] - 1.0).abs() < 1e-12);
    }

    /// Three alike have a third each; what they share cancels. A fourth that is far above has no chance.
    #[test]
    fn of_three_alike_each_has_a_third() {
        let mut covariance = [9.0; 16];
        for k in [0, 5, 10, 15] {
            covariance[k] += 1.0;
        }
        let found = chances(
            &[believed(1.0, &[2.0, 2.0, 2.0, 20.0], &covariance)],
            &[0, 1, 2, 3],
        );
        for share in &found[..3] {
            assert!((share - 1.0 / 3.0).abs() < off(1.0 / 3.0), "{found:?}");
        }
        assert_eq!(found[3], 0.0);
        // In the order asked for.
        assert_eq!(
            chances(&[believed(1.0, &[2.0, 2.0, 2.0, 20.0], &covariance)], &[3, 1])[0],
            0.0
        );
    }
}
