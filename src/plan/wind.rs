//! The mean winds that a planned day may have.

use super::PlannedDay;
use std::f64::consts::TAU;

/// Ways from which a wind of known strength may come.
const WAYS: usize = 6;

/// Weights that sum to one, and where the air moves to, east and north, in m/s.
///
/// Where nothing is expected of it, the air that `[[air]]` tells of, or still air: what a mean wind of an ordinary day
/// does to the uncertainty is small (1 % at 2 m/s along an out and back).
pub(super) fn winds(day: &PlannedDay) -> Vec<(f64, [f64; 2])> {
    match day.wind {
        Some(wind) if wind.from_deg.is_none() => ring(wind.speed_m_s).collect(),
        _ => vec![(1.0, day.expected_wind_m_s())],
    }
}

fn ring(speed_m_s: f64) -> impl Iterator<Item = (f64, [f64; 2])> {
    (0..WAYS).map(move |way| {
        let (sin, cos) = (TAU * way as f64 / WAYS as f64).sin_cos();
        (1.0 / WAYS as f64, [speed_m_s * sin, speed_m_s * cos])
    })
}
