//! What is known of the ratio of two drag areas, or rolling resistances: the answer of every estimate, plain or joint.

use super::student;

/// The logarithm of the ratio of set-up to baseline in what is compared, as a distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Indices into the set-ups.
    pub setup: usize,
    pub baseline: usize,
    pub log_ratio: f64,
    /// `None` where the data cannot give it, such as the average of one block a set-up.
    pub spread: Option<Spread>,
    /// Of the mean of one block beside another of the same set-up, as a log ratio; for planning more blocks.
    pub block_standard_deviation: Option<f64>,
    /// Blocks behind the set-up and the baseline.
    pub blocks: [usize; 2],
}

/// How an estimate may be off: a mixture of Student's t distributions about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// At least one; the weights sum to one.
    parts: Vec<Part>,
}

/// One Student's t: normal with infinite degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    pub weight: f64,
    /// Of its middle from the estimate.
    pub off: f64,
    pub scale: f64,
    pub degrees_of_freedom: f64,
}

impl Spread {
    pub fn student(standard_uncertainty: f64, degrees_of_freedom: f64) -> Spread {
        Spread {
            parts: vec![Part {
                weight: 1.0,
                off: 0.0,
                scale: standard_uncertainty,
                degrees_of_freedom,
            }],
        }
    }

    /// Normal distributions of (weight, mean, variance): their mean, and how it may be off.
    ///
    /// `None` without weight, or where a number is not finite.
    pub fn mixture(normals: &[(f64, f64, f64)]) -> Option<(f64, Spread)> {
        let sum: f64 = normals.iter().map(|(weight, _, _)| weight).sum();
        let middle = normals.iter().map(|(weight, mean, _)| weight * mean).sum::<f64>() / sum;
        let sound = normals
            .iter()
            .all(|(_, mean, variance)| mean.is_finite() && *variance >= 0.0);
        let parts = normals
            .iter()
            .map(|(weight, mean, variance)| Part {
                weight: weight / sum,
                off: mean - middle,
                scale: variance.sqrt(),
                degrees_of_freedom: f64::INFINITY,
            })
            .collect();
        (sound && sum > 0.0 && middle.is_finite()).then_some((middle, Spread { parts }))
    }

    /// The scale of a single part; of several, the standard deviation of the mixture.
    pub fn standard_uncertainty(&self) -> f64 {
        let square = |part: &Part| part.weight * (part.scale * part.scale + part.off * part.off);
        self.parts.iter().map(square).sum::<f64>().sqrt()
    }

    /// Of a single Student's t; infinite for a mixture of several.
    pub fn degrees_of_freedom(&self) -> f64 {
        match self.parts.as_slice() {
            [only] => only.degrees_of_freedom,
            _ => f64::INFINITY,
        }
    }

    /// With an independent error of infinite degrees of freedom added (Welch–Satterthwaite, JCGM 100 G.4).
    pub fn with(&self, common_standard_uncertainty: f64) -> Spread {
        let widened = |part: &Part| {
            let before = part.scale.powi(2);
            let after = before + common_standard_uncertainty.powi(2);
            Part {
                scale: after.sqrt(),
                degrees_of_freedom: if before == 0.0 {
                    f64::INFINITY
                } else {
                    part.degrees_of_freedom * (after / before).powi(2)
                },
                ..*part
            }
        };
        Spread {
            parts: self.parts.iter().map(widened).collect(),
        }
    }

    /// Share of the distribution that lies below `off` from the estimate.
    pub fn below(&self, off: f64) -> f64 {
        let share = |part: &Part| {
            if part.scale == 0.0 {
                return if part.off < off { 1.0 } else { 0.0 };
            }
            student::t_cdf((off - part.off) / part.scale, part.degrees_of_freedom).unwrap_or(f64::NAN)
        };
        let sum: f64 = self.parts.iter().map(|part| part.weight * share(part)).sum();
        // Weights of many parts sum to one but for the last digit.
        sum.clamp(0.0, 1.0)
    }

    /// How far from the estimate a share `probability` of the distribution lies below.
    pub fn quantile(&self, probability: f64) -> f64 {
        let own = |part: &Part| {
            let t = student::t_quantile(probability, part.degrees_of_freedom).unwrap_or(f64::NAN);
            part.off + part.scale * t
        };
        // The quantile of a mixture lies between those of its parts.
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for end in self.parts.iter().map(own) {
            if end.is_nan() {
                return end;
            }
            low = low.min(end);
            high = high.max(end);
        }
        while high - low > 1e-12 * (1.0 + high.abs().max(low.abs())) {
            let middle = 0.5 * (low + high);
            if self.below(middle) < probability {
                low = middle;
            } else {
                high = middle;
            }
            if middle == low && middle == high {
                break;
            }
        }
        0.5 * (low + high)
    }

    /// Ends of the central interval that holds `level` of the probability, from the estimate.
    pub fn interval(&self, level: f64) -> [f64; 2] {
        [0.5 - 0.5 * level, 0.5 + 0.5 * level].map(|probability| self.quantile(probability))
    }
}

impl Comparison {
    pub fn ratio(&self) -> f64 {
        self.log_ratio.exp()
    }

    /// The central interval of the ratio that holds `level` of the probability.
    pub fn ratio_interval(&self, level: f64) -> Option<[f64; 2]> {
        let ends = self.spread.as_ref()?.interval(level);
        Some(ends.map(|off| (self.log_ratio + off).exp()))
    }

    /// That the set-up has less than the baseline of what is compared.
    pub fn probability_lower(&self) -> Option<f64> {
        let spread = self.spread.as_ref()?;
        (spread.standard_uncertainty() > 0.0).then(|| spread.below(-self.log_ratio))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread(standard_uncertainty: f64, degrees_of_freedom: f64) -> Spread {
        Spread::student(standard_uncertainty, degrees_of_freedom)
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
                assert!((all.standard_uncertainty() - 1.02947).abs() < 1e-5);
                1.0 / all.degrees_of_freedom()
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
