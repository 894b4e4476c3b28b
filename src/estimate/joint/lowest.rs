//! Each set-up's chance of being the one with the lowest drag.

use super::Believed;
use super::draws::draws;

/// 0.5 % on a chance of one half.
const DRAWS: usize = 10_000;
const SEED: u64 = 1;

/// In the order given; they sum to one. NaN where there is no distribution.
pub(in crate::estimate) fn chances(believed: &[Believed], setups: &[usize]) -> Vec<f64> {
    let Some(draws) = draws(believed, setups, DRAWS, SEED) else {
        return vec![f64::NAN; setups.len()];
    };
    let mut wins = vec![0.0; setups.len()];
    for draw in &draws {
        let lowest = (0..draw.len()).min_by(|a, b| draw[*a].total_cmp(&draw[*b]));
        if let Some(lowest) = lowest {
            wins[lowest] += 1.0 / draws.len() as f64;
        }
    }
    wins
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
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
