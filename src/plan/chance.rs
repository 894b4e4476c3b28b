//! How likely a planned day is to resolve a difference.

use super::ExpectedPair;
use crate::verdict::LEVEL;
use statrs::distribution::{ContinuousCDF, Normal};

/// Chance that the interval of the verdict excludes zero where the true change is `difference_percent`, in what the
/// pair is about: over the days that may come.
pub fn chance_to_resolve(pair: &ExpectedPair, difference_percent: f64) -> f64 {
    chance_at(pair, difference_percent, LEVEL)
}

/// The same with the interval of a level.
///
/// The interval of a day is a mixture over the strengths that it allows: each other day that may come counts in it as
/// much as the blocks of this one are likely to spread by what that one would make them, n blocks as n normal values
/// of unknown spread. With few blocks a calm day cannot know that it is one; with many it does.
fn chance_at(pair: &ExpectedPair, difference_percent: f64, level: f64) -> f64 {
    let normal = Normal::standard();
    let difference = (difference_percent / 100.0).ln_1p();
    let tail = 0.5 * (1.0 - level);
    let freedom = pair.degrees_of_freedom as f64;
    let resolved = |sd: f64| {
        let seen: Vec<(f64, f64)> = pair
            .days
            .iter()
            .map(|(weight, other)| {
                let ratio = (other / sd).powi(2);
                (
                    weight * (-0.5 * freedom * (ratio.ln() + 1.0 / ratio - 1.0)).exp(),
                    *other,
                )
            })
            .collect();
        let half = half_width(&seen, tail, &normal);
        normal.sf((half - difference) / sd) + normal.sf((half + difference) / sd)
    };
    pair.days.iter().map(|(weight, sd)| weight * resolved(*sd)).sum()
}

/// Beyond this lies the share `tail` of normals about zero, each by its weight.
fn half_width(parts: &[(f64, f64)], tail: f64, normal: &Normal) -> f64 {
    let sum: f64 = parts.iter().map(|(weight, _)| weight).sum();
    let beyond = |x: f64| parts.iter().map(|(w, sd)| w * normal.sf(x / sd)).sum::<f64>() / sum;
    let widest = parts.iter().map(|(_, sd)| *sd).fold(0.0, f64::max);
    let (mut low, mut high) = (0.0, -normal.inverse_cdf(tail) * widest);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if beyond(middle) > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
