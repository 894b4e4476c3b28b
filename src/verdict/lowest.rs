//! Each set-up's chance of being the one with the lowest drag.

use crate::estimate::comparison::Spread;
use crate::estimate::student;

/// Chances in the order given, from independent set-ups whose log drag areas are Student's t. They sum to 1.
///
/// `None` where one has no spread: a certain number beside uncertain ones would be made up.
pub fn chance_of_lowest(setups: &[(f64, Option<Spread>)]) -> Option<Vec<f64>> {
    let known: Vec<(f64, Spread)> = setups
        .iter()
        .map(|(m, s)| s.map(|s| (*m, s)))
        .collect::<Option<_>>()?;
    if known.len() < 2 || known.iter().any(|(_, s)| s.standard_uncertainty <= 0.0) {
        return None;
    }
    let raw: Vec<f64> = (0..known.len()).map(|one| chance(one, &known)).collect();
    let sum: f64 = raw.iter().sum();
    Some(raw.into_iter().map(|c| c / sum).collect())
}

/// ∫ f_one(x) Π P(other > x) dx over quantiles of `one`: the midpoint rule in probability.
fn chance(one: usize, all: &[(f64, Spread)]) -> f64 {
    let (middle, spread) = all[one];
    let points = 2000;
    let mut sum = 0.0;
    for point in 0..points {
        let p = (f64::from(point) + 0.5) / f64::from(points);
        let x = middle
            + spread.standard_uncertainty
                * student::t_quantile(p, spread.degrees_of_freedom).unwrap_or(f64::NAN);
        sum += all
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != one)
            .map(|(_, (m, s))| {
                student::t_cdf((m - x) / s.standard_uncertainty, s.degrees_of_freedom).unwrap_or(f64::NAN)
            })
            .product::<f64>();
    }
    sum / f64::from(points)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wide(standard_uncertainty: f64, degrees_of_freedom: f64) -> Option<Spread> {
        Some(Spread {
            standard_uncertainty,
            degrees_of_freedom,
        })
    }

    #[test]
    fn two_normal_set_ups_follow_the_closed_form() {
        // P(X < Y) = Φ((y − x) / √(σx² + σy²)) = Φ(1) for a step of 5 and spreads 3 and 4.
        let chances = chance_of_lowest(&[(0.0, wide(3.0, f64::INFINITY)), (5.0, wide(4.0, f64::INFINITY))]);
        assert!((chances.unwrap()[0] - 0.841_344_746).abs() < 1e-4);
    }

    #[test]
    fn equal_set_ups_share_and_an_unknown_one_spoils_the_table() {
        let same = (0.3f64.ln(), wide(0.01, 3.0));
        for chance in chance_of_lowest(&[same, same, same]).unwrap() {
            assert!((chance - 1.0 / 3.0).abs() < 1e-9);
        }
        assert_eq!(chance_of_lowest(&[same, (0.0, None)]), None);
    }
}
