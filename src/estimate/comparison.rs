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
