//! Whether several days agree on a difference as well as their own intervals say they should.

use statrs::distribution::{ChiSquared, ContinuousCDF};

/// How the days stand about their common mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Standard deviation of the days' log ratios, each counting alike.
    pub spread: f64,
    /// Weighted sum of squares about the weighted mean.
    pub chi_squared: f64,
    pub degrees_of_freedom: usize,
    /// That days of the same truth, with nothing beyond their own errors, are as far apart or farther.
    pub chance_of_more: f64,
    /// The day that is farthest from the others, by its own and their uncertainty; `None` of two, where each is.
    pub odd_one: Option<usize>,
}

/// Below this the days disagree: one in twenty comparisons of days of the same truth is called so by mistake.
pub const DOUBTFUL: f64 = 0.05;

impl Agreement {
    pub fn holds(&self) -> bool {
        self.chance_of_more >= DOUBTFUL
    }
}

/// Of log ratios, each with its standard uncertainty.
///
/// Cochran's Q (Cochran 1954, Biometrics 10:101, from memory, M) against chi-squared. `None` with fewer than two days, or
/// where a number is not finite or an uncertainty not positive.
pub fn agreement(days: &[(f64, f64)]) -> Option<Agreement> {
    let sound = days
        .iter()
        .all(|(x, u)| x.is_finite() && u.is_finite() && *u > 0.0);
    if days.len() < 2 || !sound {
        return None;
    }
    let chi_squared = about_mean(days.iter());
    let freedom = days.len() - 1;
    let plain = days.iter().map(|(x, _)| x).sum::<f64>() / days.len() as f64;
    let squares: f64 = days.iter().map(|(x, _)| (x - plain).powi(2)).sum();
    Some(Agreement {
        spread: (squares / freedom as f64).sqrt(),
        chi_squared,
        degrees_of_freedom: freedom,
        chance_of_more: ChiSquared::new(freedom as f64).ok()?.sf(chi_squared),
        odd_one: (days.len() > 2).then(|| odd_one(days)),
    })
}

fn about_mean<'a>(days: impl Iterator<Item = &'a (f64, f64)> + Clone) -> f64 {
    let weight = |u: f64| 1.0 / (u * u);
    let all: f64 = days.clone().map(|(_, u)| weight(*u)).sum();
    let mean = days.clone().map(|(x, u)| weight(*u) * x).sum::<f64>() / all;
    days.map(|(x, u)| weight(*u) * (x - mean).powi(2)).sum()
}

/// The one without which the others agree best.
fn odd_one(days: &[(f64, f64)]) -> usize {
    let without = |day: usize| about_mean(days.iter().enumerate().filter(|(d, _)| *d != day).map(|(_, x)| x));
    (0..days.len())
        .min_by(|a, b| without(*a).total_cmp(&without(*b)))
        .unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two days: Q = (x₁ − x₂)² / (u₁² + u₂²), and the tail of χ² on one degree is that of a normal both ways (D):
    /// 1.96 standard deviations apart are 5.0 % (normal tables).
    #[test]
    fn two_days_are_a_difference_over_its_uncertainty() {
        let apart = 1.959964 * (0.02f64.powi(2) + 0.01f64.powi(2)).sqrt();
        let found = agreement(&[(-0.03, 0.02), (-0.03 + apart, 0.01)]).unwrap();
        assert!((found.chi_squared - 1.959964f64.powi(2)).abs() < 1e-9);
        assert!((found.chance_of_more - 0.05).abs() < 1e-6, "{found:?}");
        assert!((found.spread - apart / 2f64.sqrt()).abs() < 1e-12);
        assert_eq!((found.degrees_of_freedom, found.odd_one), (1, None));
    }

    /// Q = 152.23 on 12 degrees of freedom is what is published of these trials (from memory, M+; recomputed L with
    /// Python 3.11: 152.23301).
    #[test]
    fn q_is_that_of_a_well_known_meta_analysis() {
        let days = crate::estimate::trials::log_risks().map(|(x, variance)| (x, variance.sqrt()));
        let found = agreement(&days).unwrap();
        assert!((found.chi_squared - 152.23301).abs() < 1e-4, "{found:?}");
        assert_eq!(found.degrees_of_freedom, 12);
        assert!(!found.holds());
    }

    #[test]
    fn the_odd_day_is_named_among_three() {
        let found = agreement(&[(-0.04, 0.01), (0.02, 0.01), (-0.05, 0.012)]).unwrap();
        assert_eq!(found.odd_one, Some(1));
        assert!(!found.holds());
        assert!(
            agreement(&[(-0.04, 0.01), (-0.03, 0.01), (-0.05, 0.012)])
                .unwrap()
                .holds()
        );
    }

    #[test]
    fn one_day_and_days_without_an_uncertainty_cannot_be_asked() {
        assert_eq!(agreement(&[(0.1, 0.01)]), None);
        assert_eq!(agreement(&[(0.1, 0.01), (0.1, 0.0)]), None);
        assert_eq!(agreement(&[(0.1, 0.01), (f64::NAN, 0.01)]), None);
    }
}
