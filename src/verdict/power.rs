//! How many blocks tell a difference apart: the power of a two-sided two-sample t test.

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, Normal};

use crate::estimate::student;

/// Chance that the test at the two-sided `level` (0.10 for a 90 % interval) resolves a true `difference`
/// with `each` blocks a set-up, whose values spread by `standard_deviation`.
///
/// Independent blocks of equal spread; Student's t with 2(n − 1) degrees of freedom.
pub fn chance_to_resolve(difference: f64, standard_deviation: f64, level: f64, each: usize) -> f64 {
    if each < 2 {
        return 0.0;
    }
    let freedom = 2.0 * (each as f64 - 1.0);
    let off = difference.abs() / (standard_deviation * (2.0 / each as f64).sqrt());
    let critical = student::t_quantile(1.0 - 0.5 * level, freedom).unwrap_or(f64::NAN);
    above(critical, off, freedom) + above(critical, -off, freedom)
}

/// The fewest blocks for each of two set-ups with at least this `chance`; `None` above `most` for both together.
pub fn blocks_to_resolve(
    difference: f64,
    standard_deviation: f64,
    level: f64,
    chance: f64,
    most: usize,
) -> Option<usize> {
    let enough = |each| chance_to_resolve(difference, standard_deviation, level, each) >= chance;
    // More blocks never resolve less, so the answer is halved in on: each chance is a long integral.
    let (mut few, mut many) = (1, most / 2);
    if many < 2 || !enough(many) {
        return None;
    }
    while many - few > 1 {
        let each = few + (many - few) / 2;
        if enough(each) {
            many = each;
        } else {
            few = each;
        }
    }
    Some(many)
}

/// P(T > t) for the noncentral t: the normal tail averaged over the χ distribution of the spread.
fn above(t: f64, off: f64, freedom: f64) -> f64 {
    let (Ok(normal), Ok(chi2)) = (Normal::new(0.0, 1.0), ChiSquared::new(freedom)) else {
        return f64::NAN;
    };
    // s = √(χ²/ν) lies within 12 of its own standard deviations (about 1/√(2ν)) of 1.
    let reach = 12.0 / (2.0 * freedom).sqrt();
    let (low, high) = ((1.0 - reach).max(1e-9), 1.0 + reach);
    let steps = 4000;
    let width = (high - low) / f64::from(steps);
    // By its logarithm: statrs' own density overflows from 228 degrees of freedom on.
    let value = |s: f64| normal.sf(t * s - off) * chi2.ln_pdf(freedom * s * s).exp() * 2.0 * freedom * s;
    // Simpson: even number of steps.
    let mut sum = value(low) + value(high);
    for step in 1..steps {
        sum += value(low + f64::from(step) * width) * if step % 2 == 1 { 4.0 } else { 2.0 };
    }
    sum * width / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chance(d: f64, n: usize) -> f64 {
        chance_to_resolve(d, 1.0, 0.05, n)
    }

    #[test]
    fn power_agrees_with_published_and_recomputed_values() {
        // REFERENCES 5.5 (S): values shipped in statsmodels' tests, from the R package pwr.
        assert!((chance(1.0, 30) - 0.967708258242517).abs() < 1e-6);
        assert!((chance(0.1, 20) - 0.06095912465411235).abs() < 1e-6);
    }

    #[test]
    fn sample_sizes_agree_with_the_power_primer() {
        // Cohen 1992, Psychol Bull 112:155-159, Table 2 (M+; L 393.406, 63.766, 25.525): α .05, power .80.
        // The table rounds to the nearest; the fewest that reach the power round up.
        assert_eq!(blocks_to_resolve(0.2, 1.0, 0.05, 0.8, 2000), Some(394));
        assert_eq!(blocks_to_resolve(0.5, 1.0, 0.05, 0.8, 2000), Some(64));
        assert_eq!(blocks_to_resolve(0.8, 1.0, 0.05, 0.8, 2000), Some(26));
        // REFERENCES 5.5 (L): d 1.25 → 11.094 → 12 per arm.
        assert_eq!(blocks_to_resolve(0.005, 0.004, 0.05, 0.8, 2000), Some(12));
        assert_eq!(blocks_to_resolve(0.01, 1.0, 0.05, 0.8, 100), None);
    }
}
