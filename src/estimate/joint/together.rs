//! Intervals that hold over all pairs of set-ups together.

use super::Believed;
use nalgebra::{Cholesky, DMatrix};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// The level found is then off by 0.1 %, and the width of an interval by 0.3 % (one standard deviation).
const DRAWS: usize = 40_000;
const SEED: u64 = 2;

/// At which level the interval of each pair must be given so that all of them hold together at `level`.
///
/// Set-ups are drawn together from what is believed of them, and of every draw the pair that lies furthest out
/// decides, each pair measured by its own distribution. For normal distributions that is the quantile of the
/// largest studentised difference (Tukey). Measured by ranks, so that a skew mixture keeps its two tails alike.
/// `shared`: for each input common to all passes, what one standard uncertainty of it does to the logarithm of
/// each set-up's drag area; set-ups are indices into it and into what is believed.
///
/// Never below `level`. `None` where a pair has no distribution. The draws have a fixed seed.
pub(super) fn level_for_each(
    drags: &[Believed],
    setups: &[usize],
    shared: &[&[f64]],
    level: f64,
) -> Option<f64> {
    let draws = draws(drags, setups, shared)?;
    let mut furthest = vec![0f64; DRAWS];
    for first in 0..setups.len() {
        for second in first + 1..setups.len() {
            let apart: Vec<f64> = draws.iter().map(|draw| draw[second] - draw[first]).collect();
            for (most, out) in furthest.iter_mut().zip(outlying(&apart)) {
                *most = most.max(out);
            }
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

/// Log drag areas of the set-ups asked for, each draw with the same weight.
fn draws(drags: &[Believed], setups: &[usize], shared: &[&[f64]]) -> Option<Vec<Vec<f64>>> {
    let count = setups.len();
    let sum: f64 = drags.iter().map(|believed| believed.weight).sum();
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut all: Vec<Vec<f64>> = Vec::with_capacity(DRAWS);
    let mut weight = 0.0;
    for believed in drags {
        weight += believed.weight / sum;
        let upto = (weight * DRAWS as f64).round() as usize;
        if upto <= all.len() {
            continue;
        }
        let covariance = DMatrix::from_fn(count, count, |i, j| {
            let own = believed.covariance[(setups[i], setups[j])];
            let common: f64 = shared.iter().map(|line| line[setups[i]] * line[setups[j]]).sum();
            own + common
        });
        let factor = Cholesky::new(covariance)?.unpack();
        while all.len() < upto {
            let z: Vec<f64> = (0..count).map(|_| rng.sample(StandardNormal)).collect();
            let own = |i: usize| (0..=i).map(|j| factor[(i, j)] * z[j]).sum::<f64>();
            all.push((0..count).map(|i| believed.mean[setups[i]] + own(i)).collect());
        }
    }
    (all.len() == DRAWS).then_some(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DVector;
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

    /// Half the width of each interval at this level, in standard deviations of its pair.
    fn deviations(level: f64) -> f64 {
        Normal::standard().inverse_cdf(0.5 + 0.5 * level)
    }

    #[test]
    fn one_pair_alone_needs_no_more_than_its_own_interval() {
        let skew = [independent(0.7, &[0.01, 0.01]), independent(0.3, &[0.04, 0.02])];
        let level = level_for_each(&skew, &[0, 1], &[], 0.9).unwrap();
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
            let found = deviations(level_for_each(&drags, &all, &[], 0.9).unwrap()) * 2f64.sqrt();
            assert!((found / range - 1.0).abs() < 0.01, "{set_ups}: {found} {range}");
        }
    }

    /// With one set-up known far worse than the rest, its pairs all move together: the level is below that of
    /// set-ups known alike.
    #[test]
    fn what_pairs_share_does_not_count_twice() {
        let level = |sd: &[f64]| level_for_each(&[independent(1.0, sd)], &[0, 1, 2], &[], 0.9).unwrap();
        let (alike, one_worse) = (level(&[0.01; 3]), level(&[0.5, 0.01, 0.01]));
        // Two independent quantities, the bad set-up and the difference of the good ones: √0.9 each (D).
        assert!((one_worse - 0.9f64.sqrt()).abs() < 0.004, "{one_worse}");
        assert!(one_worse < alike, "{one_worse} {alike}");
    }

    /// An input that moves one set-up only is an error of its own there; one that moves all alike cancels.
    #[test]
    fn inputs_shared_by_all_passes_count_as_far_as_they_do_not_cancel() {
        let sure = [independent(1.0, &[0.01; 3])];
        let level = |shared: &[&[f64]]| level_for_each(&sure, &[0, 1, 2], shared, 0.9).unwrap();
        assert!((level(&[&[0.02; 3]]) - level(&[])).abs() < 0.004);
        assert!((level(&[&[0.5, 0.0, 0.0]]) - 0.9f64.sqrt()).abs() < 0.004);
    }

    #[test]
    fn set_ups_not_asked_for_do_not_count_and_what_has_no_distribution_has_no_level() {
        let drags = [independent(1.0, &[0.01, 9.0, 0.01])];
        let level = level_for_each(&drags, &[0, 2], &[], 0.9).unwrap();
        assert!((level - 0.9).abs() < 1e-4, "{level}");
        let unknown = [independent(1.0, &[0.01, f64::NAN])];
        assert_eq!(level_for_each(&unknown, &[0, 1], &[], 0.9), None);
    }
}
