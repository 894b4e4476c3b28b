//! The plain comparison of two means whose spreads may differ (Welch), with Satterthwaite's degrees of freedom.

/// Mean of `b` minus mean of `a`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Welch {
    pub difference: f64,
    pub standard_uncertainty: f64,
    /// Not rounded: Student's t takes any number above zero.
    pub degrees_of_freedom: f64,
}

/// A mean, the variance *of that mean*, and the degrees of freedom of the variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    pub value: f64,
    pub variance: f64,
    pub degrees_of_freedom: f64,
}

impl Mean {
    /// `None` for fewer than two values or one that is not finite.
    pub fn of(values: &[f64]) -> Option<Mean> {
        if values.len() < 2 || values.iter().any(|value| !value.is_finite()) {
            return None;
        }
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        Some(Mean {
            value: mean,
            variance: squares / (count - 1.0) / count,
            degrees_of_freedom: count - 1.0,
        })
    }
}

/// `None` where either has fewer than two values, or neither has any spread.
pub fn welch(a: &[f64], b: &[f64]) -> Option<Welch> {
    welch_from(Mean::of(a)?, Mean::of(b)?)
}

/// The same from means. `None` where the two variances are not a positive finite sum.
pub fn welch_from(a: Mean, b: Mean) -> Option<Welch> {
    let variance = a.variance + b.variance;
    let spread = a.variance >= 0.0 && b.variance >= 0.0 && variance > 0.0 && variance.is_finite();
    let freedom = a.degrees_of_freedom > 0.0 && b.degrees_of_freedom > 0.0;
    if !(spread && freedom) {
        return None;
    }
    // As shares, so that tiny variances do not vanish when squared.
    let (share_a, share_b) = (a.variance / variance, b.variance / variance);
    Some(Welch {
        difference: b.value - a.value,
        standard_uncertainty: variance.sqrt(),
        degrees_of_freedom: 1.0
            / (share_a * share_a / a.degrees_of_freedom + share_b * share_b / b.degrees_of_freedom),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::student::{t_cdf, t_quantile};

    fn mean(value: f64, standard_deviation: f64, count: f64) -> Mean {
        Mean {
            value,
            variance: standard_deviation * standard_deviation / count,
            degrees_of_freedom: count - 1.0,
        }
    }

    /// NIST/SEMATECH e-Handbook 1.3.5.3, data AUTO83B: T −12.946, 136.87 degrees of freedom (S, through
    /// the output printed by Boost.Math; recomputed L −12.946268, 136.8750).
    #[test]
    fn the_cars_of_the_handbook_differ_as_published() {
        let found = welch_from(mean(30.48101, 6.10771, 79.0), mean(20.14458, 6.41470, 249.0)).unwrap();
        let t = found.difference / found.standard_uncertainty;
        assert!((t + 12.946268).abs() < 1e-4, "{t}");
        assert!((found.degrees_of_freedom - 136.8750).abs() < 1e-3);
    }

    /// JCGM 100:2008 G.4.1 (M+, recomputed L): relative uncertainties 0.25, 0.57, 0.82 % on 9, 4, 14
    /// degrees of freedom give 1.03 % on 19.0. Two at a time, since the shares add.
    #[test]
    fn degrees_of_freedom_combine_as_in_the_guide() {
        let part = |u: f64, freedom: f64| Mean {
            value: 0.0,
            variance: u * u,
            degrees_of_freedom: freedom,
        };
        let two = welch_from(part(0.25, 9.0), part(0.57, 4.0)).unwrap();
        let all = welch_from(
            part(two.standard_uncertainty, two.degrees_of_freedom),
            part(0.82, 14.0),
        )
        .unwrap();
        assert!((all.standard_uncertainty - 1.02947).abs() < 1e-5);
        assert!((all.degrees_of_freedom - 18.99874).abs() < 1e-5);
    }

    /// Three readings of mean 37.8 and s 0.964365: 95 % from 35.40438 to 40.19562 (S, Miller and Miller).
    #[test]
    fn few_values_have_a_wide_interval() {
        let half_width = t_quantile(0.975, 2.0).unwrap() * 0.964365 / 3f64.sqrt();
        assert!((37.8 - half_width - 35.40438).abs() < 1e-5);
        assert!((37.8 + half_width - 40.19562).abs() < 1e-5);
    }

    /// Shoes (MASS), as two independent samples: by hand (D), mean difference −0.41 of A from B.
    #[test]
    fn values_and_moments_agree() {
        let a = [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3];
        let b = [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6];
        let found = welch(&a, &b).unwrap();
        assert!((found.difference - 0.41).abs() < 1e-12);
        assert_eq!(
            Some(found),
            welch_from(Mean::of(&a).unwrap(), Mean::of(&b).unwrap())
        );
        // Equal counts: t is that of the pooled test, 0.3689 on a little less than 18 (D).
        let t = found.difference / found.standard_uncertainty;
        let p = 2.0 * (1.0 - t_cdf(t, found.degrees_of_freedom).unwrap());
        assert!((t - 0.3689).abs() < 1e-4 && (0.71..0.72).contains(&p), "{t} {p}");
        assert!((17.9..18.0).contains(&found.degrees_of_freedom));
    }

    #[test]
    fn too_little_is_no_comparison() {
        assert_eq!(welch(&[1.0], &[1.0, 2.0]), None);
        assert_eq!(welch(&[1.0, 1.0], &[2.0, 2.0]), None);
        assert_eq!(welch(&[1.0, f64::NAN], &[2.0, 3.0]), None);
        assert!(welch(&[1.0, 1.0], &[2.0, 3.0]).is_some());
    }
}
