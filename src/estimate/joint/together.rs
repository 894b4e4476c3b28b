//! Intervals that hold over all pairs of set-ups together.

use super::Believed;
use super::draws::draws;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// The level found is then off by 0.1 %, and the width of an interval by 0.3 % (one standard deviation).
const DRAWS: usize = 40_000;
const SEED: u64 = 2;

/// A pair's log ratio as factors of the quantities that are believed.
type Factors = [(usize, f64); 4];

/// At which level the interval of each pair must be given so that all of them hold together at `level`.
///
/// Set-ups are drawn together from what is believed of them, and of every draw the pair that lies furthest out
/// decides, each pair measured by its own distribution. For normal distributions that is the quantile of the
/// largest studentised difference (Tukey). Measured by ranks, so that a skew mixture keeps its two tails alike.
/// `shared`: for each input common to all passes, what one standard uncertainty of it does to what is believed.
///
/// Never below `level`. `None` where a pair has no distribution. The draws have a fixed seed.
pub(in crate::estimate) fn level_for_each(
    drags: &[Believed],
    pairs: &[Factors],
    shared: &[Vec<f64>],
    level: f64,
) -> Option<f64> {
    let mut used: Vec<usize> = pairs
        .iter()
        .flatten()
        .filter(|(_, factor)| *factor != 0.0)
        .map(|(quantity, _)| *quantity)
        .collect();
    used.sort_unstable();
    used.dedup();
    let mut draws = draws(drags, &used, DRAWS, SEED)?;
    moved_together(&mut draws, &used, shared);
    let mut furthest = vec![0f64; DRAWS];
    for pair in pairs {
        let weights: Vec<f64> = used
            .iter()
            .map(|q| {
                pair.iter()
                    .filter(|(of, _)| of == q)
                    .map(|(_, factor)| factor)
                    .sum()
            })
            .collect();
        let apart: Vec<f64> = draws
            .iter()
            .map(|draw| {
                draw.iter()
                    .zip(&weights)
                    .map(|(value, weight)| value * weight)
                    .sum()
            })
            .collect();
        for (most, out) in furthest.iter_mut().zip(outlying(&apart)) {
            *most = most.max(out);
        }
    }
    furthest.sort_by(f64::total_cmp);
    let at = ((level * DRAWS as f64).ceil() as usize).clamp(1, DRAWS);
    Some(furthest[at - 1].max(level))
}

/// For each value the share of all values that lie nearer to the median: 0 at the median, almost 1 at the ends.
fn outlying(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut outlying = vec![0.0; values.len()];
    for (rank, index) in order.into_iter().enumerate() {
        outlying[index] = (2.0 * (rank as f64 + 0.5) / values.len() as f64 - 1.0).abs();
    }
    outlying
}

/// Every draw moved by errors of the inputs that all passes share.
fn moved_together(draws: &mut [Vec<f64>], used: &[usize], shared: &[Vec<f64>]) {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    // The draws themselves come from the first stream of this seed.
    rng.set_stream(1);
    for draw in draws {
        for line in shared {
            let z: f64 = rng.sample(StandardNormal);
            for (value, quantity) in draw.iter_mut().zip(used) {
                *value += z * line[*quantity];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use statrs::distribution::{ContinuousCDF, Normal};

    fn independent(weight: f64, standard_deviations: &[f64]) -> Believed {
        let variances = DVector::from_iterator(
            standard_deviations.len(),
            standard_deviations.iter().map(|sd| sd * sd),
        );
        Believed {
            weight,
            mean: DVector::from_fn(standard_deviations.len(), |i, _| -0.03 * i as f64),
            covariance: DMatrix::from_diagonal(&variances),
        }
    }

    /// The log ratio of a later set-up to an earlier one, for each two of these.
    fn all_pairs(set_ups: &[usize]) -> Vec<Factors> {
        let later = |k: usize| set_ups[k + 1..].iter().map(move |later| (set_ups[k], *later));
        (0..set_ups.len())
            .flat_map(later)
            .map(|(first, second)| [(second, 1.0), (first, -1.0), (0, 0.0), (0, 0.0)])
            .collect()
    }

    fn level(drags: &[Believed], set_ups: &[usize], shared: &[Vec<f64>]) -> f64 {
        level_for_each(drags, &all_pairs(set_ups), shared, 0.9).unwrap()
    }

    /// Half the width of each interval at this level, in standard deviations of its pair.
    fn deviations(level: f64) -> f64 {
        Normal::standard().inverse_cdf(0.5 + 0.5 * level)
    }

    #[test]
    fn one_pair_alone_needs_no_more_than_its_own_interval() {
        let skew = [independent(0.7, &[0.01, 0.01]), independent(0.3, &[0.04, 0.02])];
        let level = level(&skew, &[0, 1], &[]);
        // One rank.
        assert!((0.9..0.9 + 2.0 / DRAWS as f64).contains(&level), "{level}");
    }

    /// Tukey's studentised range for infinite degrees of freedom at 0.90 (L, SciPy 1.17.1,
    /// `studentized_range.ppf(0.9, k, inf)`; 2.902 for three also from a printed table, M). A pair's difference has
    /// √2 σ. The tolerance is three standard deviations of the draws.
    #[test]
    fn equal_and_independent_set_ups_have_the_studentised_range() {
        for (set_ups, range) in [(3, 2.902380), (4, 3.240446), (6, 3.660721)] {
            let all: Vec<usize> = (0..set_ups).collect();
            let drags = [independent(1.0, &vec![0.012; set_ups])];
            let found = deviations(level(&drags, &all, &[])) * 2f64.sqrt();
            assert!((found / range - 1.0).abs() < 0.01, "{set_ups}: {found} {range}");
        }
    }

    /// With one set-up known far worse than the rest, its pairs all move together: the level is below that of
    /// set-ups known alike.
    #[test]
    fn what_pairs_share_does_not_count_twice() {
        let of = |sd: &[f64]| level(&[independent(1.0, sd)], &[0, 1, 2], &[]);
        let (alike, one_worse) = (of(&[0.01; 3]), of(&[0.5, 0.01, 0.01]));
        // Two independent quantities, the bad set-up and the difference of the good ones: √0.9 each (D).
        assert!((one_worse - 0.9f64.sqrt()).abs() < 0.004, "{one_worse}");
        assert!(one_worse < alike, "{one_worse} {alike}");
    }

    /// An input that moves one set-up only is an error of its own there; one that moves all alike cancels.
    #[test]
    fn inputs_shared_by_all_passes_count_as_far_as_they_do_not_cancel() {
        let sure = [independent(1.0, &[0.01; 3])];
        let of = |shared: &[Vec<f64>]| level(&sure, &[0, 1, 2], shared);
        assert!((of(&[vec![0.02; 3]]) - of(&[])).abs() < 0.004);
        assert!((of(&[vec![0.5, 0.0, 0.0]]) - 0.9f64.sqrt()).abs() < 0.004);
    }

    #[test]
    fn what_is_not_asked_for_does_not_count_and_what_has_no_distribution_has_no_level() {
        let drags = [independent(1.0, &[0.01, f64::NAN, 0.01])];
        let found = level(&drags, &[0, 2], &[vec![0.01, f64::NAN, 0.02]]);
        assert!((found - 0.9).abs() < 1e-4, "{found}");
        assert_eq!(level_for_each(&drags, &all_pairs(&[0, 1]), &[], 0.9), None);
        assert_eq!(level_for_each(&[], &all_pairs(&[0, 1]), &[], 0.9), None);
    }

    /// Drag areas in the first half, rolling resistances behind: a certain one has no factor and no harm is done.
    #[test]
    fn pairs_may_be_about_different_quantities() {
        let drags = [independent(1.0, &[0.01, 0.01, 0.0, 0.03])];
        let drag = [(1, 1.0), (0, -1.0), (3, 0.0), (2, 0.0)];
        let rolling = [(1, 0.0), (0, -0.0), (3, 1.0), (2, -1.0)];
        let found = level_for_each(&drags, &[drag, rolling], &[], 0.9).unwrap();
        // Independent of each other (D).
        assert!((found - 0.9f64.sqrt()).abs() < 0.004, "{found}");
        // Weighed alike, both pairs are one quantity.
        let both = [(1, 0.7), (0, -0.7), (3, 0.3), (2, -0.3)];
        let found = level_for_each(&drags, &[both, both], &[], 0.9).unwrap();
        assert!((found - 0.9).abs() < 1e-4, "{found}");
    }
}
