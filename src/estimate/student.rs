//! Student's t for any degrees of freedom above zero.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Above this the quantile of statrs 0.19.1 loses digits (2e-9 in probability at 9999, 0.13 in t at
/// 1e7), while the normal with three terms of Fisher and Cornish (1960) is good to 1e-10.
const NEARLY_NORMAL: f64 = 1000.0;

/// The t below which a share `probability` of the distribution lies.
///
/// `None` for degrees of freedom not above zero and a probability not between 0 and 1. Infinite degrees
/// of freedom are the normal distribution.
pub fn t_quantile(probability: f64, degrees_of_freedom: f64) -> Option<f64> {
    if !(probability > 0.0 && probability < 1.0) {
        return None;
    }
    if degrees_of_freedom > NEARLY_NORMAL {
        let z = Normal::standard().inverse_cdf(probability);
        return Some(nearly_normal_quantile(z, degrees_of_freedom));
    }
    Some(student(degrees_of_freedom)?.inverse_cdf(probability))
}

/// Share of the distribution below `t` (at 1e7 degrees of freedom good to 1e-8); `None` for degrees of freedom not above zero and t not a number.
pub fn t_cdf(t: f64, degrees_of_freedom: f64) -> Option<f64> {
    if t.is_nan() {
        return None;
    }
    if degrees_of_freedom == f64::INFINITY {
        return Some(Normal::standard().cdf(t));
    }
    Some(student(degrees_of_freedom)?.cdf(t))
}

/// From the normal quantile z: expansion in powers of one over the degrees of freedom.
fn nearly_normal_quantile(z: f64, degrees_of_freedom: f64) -> f64 {
    let (n, square) = (degrees_of_freedom, z * z);
    let first = (square + 1.0) / 4.0;
    let second = ((5.0 * square + 16.0) * square + 3.0) / 96.0;
    let third = (((3.0 * square + 19.0) * square + 17.0) * square - 15.0) / 384.0;
    z * (1.0 + (first + (second + third / n) / n) / n)
}

fn student(degrees_of_freedom: f64) -> Option<StudentsT> {
    StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1 (L), equal to table G.2 of JCGM 100:2008.
    const TABLE: [(f64, [f64; 4]); 11] = [
        (
            1.0,
            [
                6.313751514675037,
                12.706204736174694,
                31.820515953773935,
                63.656741162871526,
            ],
        ),
        (
            2.0,
            [
                2.9199855803537242,
                4.302652729749462,
                6.9645567342832715,
                9.924843200918287,
            ],
        ),
        (
            3.0,
            [
                2.3533634348018233,
                3.1824463052837078,
                4.540702858568132,
                5.840909309733355,
            ],
        ),
        (
            4.0,
            [
                2.1318467863266495,
                2.7764451051977934,
                3.746947387979196,
                4.604094871349992,
            ],
        ),
        (
            5.0,
            [
                2.0150483733330233,
                2.5705818356363146,
                3.3649299989072174,
                4.032142983555228,
            ],
        ),
        (
            6.0,
            [
                1.9431802805153042,
                2.4469118511449786,
                3.1426684032910064,
                3.7074280213248065,
            ],
        ),
        (
            8.0,
            [
                1.8595480375308973,
                2.306004135204166,
                2.896459447709622,
                3.355387331333395,
            ],
        ),
        (
            10.0,
            [
                1.8124611228116756,
                2.228138851986274,
                2.7637694581126957,
                3.16927267261695,
            ],
        ),
        (
            16.0,
            [
                1.7458836762762495,
                2.1199052992212546,
                2.5834871852759904,
                2.9207816224251,
            ],
        ),
        (
            20.0,
            [
                1.7247182429207866,
                2.085963447265864,
                2.527977002741573,
                2.8453397097861077,
            ],
        ),
        (
            30.0,
            [
                1.697260886593957,
                2.0422724563012378,
                2.457261542400591,
                2.7499956535672254,
            ],
        ),
    ];

    #[test]
    fn quantiles_are_those_of_the_tables() {
        for (freedom, quantiles) in TABLE {
            for (probability, expected) in [0.95, 0.975, 0.99, 0.995].into_iter().zip(quantiles) {
                let found = t_quantile(probability, freedom).unwrap();
                assert!(
                    (found / expected - 1.0).abs() < 1e-9,
                    "{freedom} {probability}: {found}"
                );
                let mirrored = t_quantile(1.0 - probability, freedom).unwrap();
                assert!((mirrored / expected + 1.0).abs() < 1e-9);
            }
        }
        // Boost.Math example text (S): 194 degrees of freedom.
        assert!((t_quantile(0.975, 194.0).unwrap() - 1.972).abs() < 5e-4);
    }

    /// Degrees of freedom need not be whole.
    #[test]
    fn the_quantile_is_the_inverse_of_the_cdf() {
        for freedom in [0.7, 1.5, 3.37, 16.752, 136.875, 999.0, 1_001.0] {
            for probability in [0.001, 0.05, 0.5, 0.9, 0.975, 0.999] {
                let t = t_quantile(probability, freedom).unwrap();
                let back = t_cdf(t, freedom).unwrap();
                assert!(
                    (back - probability).abs() < 2e-9,
                    "{freedom} {probability}: {back}"
                );
            }
        }
    }

    /// scipy 1.17.1, t.ppf (L).
    #[test]
    fn with_many_degrees_of_freedom_the_quantile_keeps_its_digits() {
        for (freedom, [at_90, at_975, at_999]) in [
            (1000.5, [1.282398297809231, 1.962337892459348, 3.0983980711528862]),
            (9_999.0, [1.281636238198314, 1.960201263621357, 3.091047597579455]),
            (1e6, [1.281552412129939, 1.959966356814107, 3.09024045631652]),
        ] {
            for (probability, expected) in [(0.9, at_90), (0.975, at_975), (0.999, at_999)] {
                let found = t_quantile(probability, freedom).unwrap();
                assert!(
                    (found - expected).abs() < 1e-9,
                    "{freedom} {probability}: {found}"
                );
            }
        }
    }

    #[test]
    fn what_is_no_distribution_has_no_quantile() {
        for freedom in [0.0, -1.0, f64::NAN] {
            assert_eq!(t_quantile(0.9, freedom), None);
            assert_eq!(t_cdf(1.0, freedom), None);
        }
        for probability in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!(t_quantile(probability, 5.0), None);
        }
        assert!((t_quantile(0.975, f64::INFINITY).unwrap() - 1.959963984540054).abs() < 1e-9);
    }
}
