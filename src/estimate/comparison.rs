//! What is known of the ratio of two drag areas: the answer of every estimate, plain or joint.

use super::student;

/// The logarithm of the ratio CdA(setup) / CdA(baseline), as a distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Indices into the set-ups.
    pub setup: usize,
    pub baseline: usize,
    pub log_ratio: f64,
    /// `None` where the data cannot give it, such as one block a set-up.
    pub spread: Option<Spread>,
    /// Of the mean of one block beside another of the same set-up, as a log ratio; for planning more blocks.
    pub block_standard_deviation: Option<f64>,
    /// Blocks behind the set-up and the baseline.
    pub blocks: [usize; 2],
}

/// Scale and degrees of freedom of Student's t about `log_ratio`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    pub standard_uncertainty: f64,
    pub degrees_of_freedom: f64,
}

impl Spread {
    /// With an independent error of infinite degrees of freedom added (Welch–Satterthwaite, JCGM 100 G.4).
    pub fn with(self, common_standard_uncertainty: f64) -> Spread {
        let before = self.standard_uncertainty.powi(2);
        let after = before + common_standard_uncertainty.powi(2);
        if before == 0.0 {
            return Spread {
                standard_uncertainty: after.sqrt(),
                degrees_of_freedom: f64::INFINITY,
            };
        }
        Spread {
            standard_uncertainty: after.sqrt(),
            degrees_of_freedom: self.degrees_of_freedom * (after / before).powi(2),
        }
    }

    /// Half the width of the central interval that holds `level` of the probability.
    pub fn half_width(&self, level: f64) -> f64 {
        self.standard_uncertainty
            * student::t_quantile(0.5 + 0.5 * level, self.degrees_of_freedom).unwrap_or(f64::NAN)
    }
}

impl Comparison {
    pub fn ratio(&self) -> f64 {
        self.log_ratio.exp()
    }

    /// The central interval of the ratio that holds `level` of the probability.
    pub fn ratio_interval(&self, level: f64) -> Option<[f64; 2]> {
        let half = self.spread?.half_width(level);
        Some([(self.log_ratio - half).exp(), (self.log_ratio + half).exp()])
    }

    /// That the set-up has less drag than the baseline.
    pub fn probability_lower(&self) -> Option<f64> {
        let spread = self.spread?;
        if spread.standard_uncertainty == 0.0 {
            return None;
        }
        student::t_cdf(
            -self.log_ratio / spread.standard_uncertainty,
            spread.degrees_of_freedom,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread(standard_uncertainty: f64, degrees_of_freedom: f64) -> Spread {
        Spread {
            standard_uncertainty,
            degrees_of_freedom,
        }
    }

    fn comparison(log_ratio: f64, spread: Option<Spread>) -> Comparison {
        Comparison {
            setup: 1,
            baseline: 0,
            log_ratio,
            spread,
            block_standard_deviation: None,
            blocks: [2, 2],
        }
    }

    /// JCGM 100:2008 G.4.1 (M+, recomputed L 1.02947 and 18.99874): 0.25, 0.57 and 0.82 % on 9, 4 and 14 degrees
    /// of freedom. Each part in turn finite and the rest certain: the reciprocals of what `with` gives add up.
    #[test]
    fn degrees_of_freedom_are_those_of_the_guide() {
        let parts = [(0.25f64, 9.0), (0.57, 4.0), (0.82, 14.0)];
        let whole: f64 = parts.iter().map(|(u, _)| u * u).sum();
        let reciprocal: f64 = parts
            .iter()
            .map(|(u, freedom)| {
                let all = spread(*u, *freedom).with((whole - u * u).sqrt());
                assert!((all.standard_uncertainty - 1.02947).abs() < 1e-5);
                1.0 / all.degrees_of_freedom
            })
            .sum();
        assert!((1.0 / reciprocal - 18.99874).abs() < 1e-4, "{}", 1.0 / reciprocal);
    }

    #[test]
    fn nothing_added_changes_nothing_and_a_certain_number_takes_the_common_part() {
        assert_eq!(spread(0.01, 3.0).with(0.0), spread(0.01, 3.0));
        assert_eq!(spread(0.0, 3.0).with(0.02), spread(0.02, f64::INFINITY));
    }

    /// Student's t on 2 degrees of freedom at 90 %: 2.91999 (GUM table G.2, L).
    #[test]
    fn the_interval_of_a_ratio_is_even_in_its_logarithm() {
        let found = comparison(-0.05, Some(spread(0.01, 2.0)));
        let [low, high] = found.ratio_interval(0.9).unwrap();
        assert!((low.ln() + 0.05 + 0.0291999).abs() < 1e-6 && (high.ln() + 0.05 - 0.0291999).abs() < 1e-6);
        // P(T < 5) on 2 degrees of freedom = ½ + ½·5/√(2+25) (closed form, D).
        assert!((found.probability_lower().unwrap() - (0.5 + 2.5 / 27f64.sqrt())).abs() < 1e-9);
    }

    #[test]
    fn without_a_spread_there_is_neither_interval_nor_probability() {
        assert_eq!(comparison(-0.05, None).ratio_interval(0.9), None);
        assert_eq!(comparison(-0.05, None).probability_lower(), None);
        assert_eq!(
            comparison(-0.05, Some(spread(0.0, 2.0))).probability_lower(),
            None
        );
    }
}
