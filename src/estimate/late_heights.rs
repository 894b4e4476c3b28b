//! How late altitudes are, where a road was ridden one way only: by what power and speed say of its hills.
//!
//! Virtual elevation has a hill where it was ridden, the barometer has it late. The account of each pass is drawn up
//! step by step and whitened as in `disturbed`, drag area and wind are left free within what is known of them, and
//! what is left is set against how fast the road climbs.

use super::cells::{PassRide, Shift, accounts};
use super::disturbed::trail::Trail;
use super::disturbed::whiten::Whitener;
use super::one_pass::GUST_Q_MEDIAN_M2_S;
use crate::course::{Direction, Profile};
use crate::test_day::Setup;
use nalgebra::{DMatrix, DVector};

/// Heights are smoothed over this, as the standard deviation of a Gaussian: over less, slopes are the noise of the
/// heights, and their noise passes for hills that are not late.
const SMOOTH_M: f64 = 50.0;
/// Errors of the profile are straight between knots so far apart, as its uncertainty is stated.
const KNOT_M: f64 = crate::course::UNCERTAINTY_OVER_M;
/// Drag area, wind east and north; the fourth of a trail is a place along the road, which a lag is.
const FREE: usize = 3;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lag {
    pub lag_s: f64,
    pub standard_uncertainty_s: f64,
}

/// `level`: length of the line over that of the road. `None` unless two passes or more tell.
pub fn lag(rides: &[PassRide], setups: &[Setup], profile: &Profile, level: f64) -> Option<Lag> {
    let length_m = *profile.distance_m.last()?;
    let knots = (length_m / KNOT_M).round().max(1.0) as usize;
    let mut told: Vec<(f64, f64)> = Vec::new();
    let mut of_knots = vec![0.0; knots + 1];
    for ride in rides {
        let Some(seen) = seen(ride, &setups[ride.setup], profile, level, knots) else {
            continue;
        };
        told.push((seen.like, seen.information));
        for (sum, of_knot) in of_knots.iter_mut().zip(&seen.of_knots) {
            *sum += of_knot;
        }
    }
    let information: f64 = told.iter().map(|one| one.1).sum();
    if told.len() < 2 || information <= 0.0 {
        return None;
    }
    let lag_s = told.iter().map(|one| one.0).sum::<f64>() / information;
    // Passes do not know of each other, but for the heights that they share.
    let passes = told.len() as f64;
    let apart = told
        .iter()
        .map(|one| (one.0 - lag_s * one.1).powi(2))
        .sum::<f64>()
        * passes
        / (passes - 1.0);
    let by_passes = apart.max(information).sqrt() / information;
    // A knot's share of the uncertainty of a height difference.
    let height_m = profile.standard_uncertainty_m / 2f64.sqrt();
    let by_heights = of_knots
        .iter()
        .map(|of_knot| (of_knot / information * height_m).powi(2))
        .sum::<f64>();
    let standard_uncertainty_s = (by_passes.powi(2) + by_heights).sqrt();
    (lag_s.is_finite() && standard_uncertainty_s.is_finite()).then_some(Lag {
        lag_s,
        standard_uncertainty_s,
    })
}

/// What one pass says.
struct Seen {
    /// Scalar product of what is left over and what a lag of one second would leave, and of the latter with itself.
    like: f64,
    information: f64,
    /// The first of these for an error of 1 m at each knot of the profile.
    of_knots: Vec<f64>,
}

fn seen(ride: &PassRide, setup: &Setup, profile: &Profile, level: f64, knots: usize) -> Option<Seen> {
    let trail = Trail::new(ride, setup, rough_cda_m2(ride, setup)?, setup.crr.value);
    let whitener = Whitener::new(&trail, GUST_Q_MEDIAN_M2_S);
    let steps = trail.steps();
    let weight_n = accounts(ride, setup, 1.0, &Shift::default()).first()?.weight_n;
    let sign = match ride.direction {
        Direction::Forward => 1.0,
        Direction::Reverse => -1.0,
    };
    let place_m = |boundary: usize| sign * trail.at_m[boundary] * level;
    // The mean: an error of the speed at a boundary is one of the kinetic energy too, and would pass for a lag.
    let speed_m_s = ride.mean_speed_m_s();
    let white = |sum: &dyn Fn(usize) -> f64| {
        let start = sum(0);
        DVector::from_vec(whitener.whiten(0, (1..=steps).map(|boundary| sum(boundary) - start)))
    };
    let free: Vec<DVector<f64>> = (0..FREE)
        .map(|k| white(&|boundary| trail.whole_pass_j[k][boundary]))
        .collect();
    let free = DMatrix::from_columns(&free);
    let mut square = free.tr_mul(&free);
    for k in 0..FREE {
        // Columns are one standard uncertainty high.
        square[(k, k)] += 1.0;
    }
    let inverse = square.cholesky()?.inverse();
    // What the heights lack when they are a second late.
    let smooth: Vec<(f64, f64)> = (0..=steps)
        .map(|boundary| smoothed(profile, place_m(boundary)))
        .collect();
    let late = white(&|boundary| weight_n * speed_m_s * sign * smooth[boundary].1);
    let kept = &late - &free * (&inverse * free.tr_mul(&late));
    let left = white(&|boundary| {
        let rough_m = profile.elevation_at(place_m(boundary));
        trail.left_j[boundary] + weight_n * (rough_m - smooth[boundary].0)
    });
    let apart_m = profile.distance_m.last()? / knots as f64;
    let of_knots = (0..=knots)
        .map(|knot| {
            let hat = |at_m: f64| (1.0 - (at_m / apart_m - knot as f64).abs()).max(0.0);
            kept.dot(&white(&|boundary| weight_n * hat(place_m(boundary))))
        })
        .collect();
    Some(Seen {
        like: kept.dot(&left),
        information: kept.dot(&late),
        of_knots,
    })
}

/// Height and slope along the course of a straight line through the heights about a place.
fn smoothed(profile: &Profile, at_m: f64) -> (f64, f64) {
    let (mut w, mut x, mut h, mut xx, mut xh) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let first = profile.distance_m.partition_point(|&d| d < at_m - 3.0 * SMOOTH_M);
    let known = profile.distance_m.iter().zip(&profile.elevation_m).skip(first);
    for (distance_m, height_m) in known.take_while(|(d, _)| **d <= at_m + 3.0 * SMOOTH_M) {
        let away = distance_m - at_m;
        let weight = (-0.5 * (away / SMOOTH_M).powi(2)).exp();
        w += weight;
        x += weight * away;
        h += weight * height_m;
        xx += weight * away * away;
        xh += weight * away * height_m;
    }
    let slope = (xh - x * h / w) / (xx - x * x / w);
    let height = (h - slope * x) / w;
    if slope.is_finite() && height.is_finite() {
        (height, slope)
    } else {
        (profile.elevation_at(at_m), 0.0)
    }
}

/// In the wind as it is known: its error is left free.
fn rough_cda_m2(ride: &PassRide, setup: &Setup) -> Option<f64> {
    let (mut work, mut air) = (0.0, 0.0);
    for account in accounts(ride, setup, 1.0, &Shift::default()) {
        work += account.energy_j - setup.crr.value * account.rolling_j;
        air += account.air_j_m2;
    }
    let cda_m2 = work / air;
    cda_m2.is_finite().then(|| cda_m2.clamp(0.1, 1.0))
}

#[cfg(test)]
#[path = "late_heights_tests.rs"]
mod tests;
