//! The mean winds that a planned day may have.

use super::PlannedDay;
use std::f64::consts::{SQRT_2, TAU};

/// Ways from which a wind of known strength may come.
const WAYS: usize = 6;

/// Weights that sum to one, and where the air moves to, east and north, in m/s.
///
/// What a mean wind does to a day goes about as its square, so that of a normal one few points are enough: on two
/// circles, with the radii and weights of Gauss and Laguerre for the squared radius, and ways in turn.
pub(super) fn winds(day: &PlannedDay) -> Vec<(f64, [f64; 2])> {
    match day.wind {
        Some(wind) if wind.from_deg.is_some() => vec![(1.0, day.expected_wind_m_s())],
        Some(wind) => ring(wind.speed_m_s, WAYS, 0.0, 1.0).collect(),
        None => {
            let sd_m_s = day.air.wind_standard_uncertainty_m_s;
            let (near, far) = (2.0 - SQRT_2, 2.0 + SQRT_2);
            // Weights of x = 2 ∓ √2 for ∫ e^−x: (2 ± √2) / 4.
            ring(sd_m_s * (2.0 * near).sqrt(), 4, 0.125, far / 4.0)
                .chain(ring(sd_m_s * (2.0 * far).sqrt(), 4, 0.0, near / 4.0))
                .map(|(weight, [east, north])| {
                    (
                        weight,
                        [day.air.wind_east_m_s + east, day.air.wind_north_m_s + north],
                    )
                })
                .collect()
        }
    }
}

fn ring(speed_m_s: f64, ways: usize, turned: f64, weight: f64) -> impl Iterator<Item = (f64, [f64; 2])> {
    (0..ways).map(move |way| {
        let (sin, cos) = (TAU * (turned + way as f64 / ways as f64)).sin_cos();
        (weight / ways as f64, [speed_m_s * sin, speed_m_s * cos])
    })
}
