//! A track of two straights and two bends, and a rider who leans in them.
//!
//! The wheel goes along the measuring line; the centre of mass leans inward of it, so it goes a shorter way, slower,
//! and lower. All of it follows from three things: the lean that balances weight and centrifugal force, the speed of
//! the centre of mass about the same centre, and the energy of the whole.

use super::plan::TrackTruth;
use std::f64::consts::PI;

/// Half a lap, from the middle of a straight to the middle of the other.
#[derive(Debug, Clone, Copy)]
pub(super) struct Track {
    half_lap_m: f64,
    /// Where the curve begins to grow, and how far it grows and fades.
    begins_m: f64,
    ramp_m: f64,
    /// Length at full curve.
    full_m: f64,
    curve_per_m: f64,
}

impl Track {
    pub fn of(truth: &TrackTruth, lap_m: f64) -> Track {
        let half_lap_m = 0.5 * lap_m;
        let full_m = (PI * truth.bend_radius_m - truth.transition_m).max(0.0);
        Track {
            half_lap_m,
            begins_m: 0.5 * (half_lap_m - full_m) - truth.transition_m,
            ramp_m: truth.transition_m,
            full_m,
            curve_per_m: 1.0 / truth.bend_radius_m,
        }
    }

    /// Radians turned to the left since the middle of the first straight.
    pub fn turned_rad(&self, s: f64) -> f64 {
        let halves = (s / self.half_lap_m).floor();
        let u = s - halves * self.half_lap_m - self.begins_m;
        let (ramp, full, k) = (self.ramp_m, self.full_m, self.curve_per_m);
        // The curve grows as half a wave, so that no force on the rider jumps.
        let grown = |u: f64| match ramp > 0.0 {
            true => 0.5 * k * (u - ramp / PI * (PI * u / ramp).sin()),
            false => 0.0,
        };
        let inside = if u <= 0.0 {
            0.0
        } else if u < ramp {
            grown(u)
        } else if u < ramp + full {
            grown(ramp) + k * (u - ramp)
        } else if u < 2.0 * ramp + full {
            PI - grown(2.0 * ramp + full - u)
        } else {
            PI
        };
        halves * PI + inside
    }

    /// One over the radius at this place.
    pub fn curve_per_m(&self, s: f64) -> f64 {
        let u = s.rem_euclid(self.half_lap_m) - self.begins_m;
        let (ramp, full) = (self.ramp_m, self.full_m);
        let share = (u / ramp).min((2.0 * ramp + full - u) / ramp);
        self.curve_per_m * 0.5 * (1.0 - (PI * share.clamp(0.0, 1.0)).cos())
    }
}

/// How the rider leans at one place and speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leaning {
    /// Speed of the centre of mass over that of the wheel.
    pub slower: f64,
    /// Load on the tyres over the weight.
    pub load: f64,
    /// Height of the centre of mass.
    pub height_m: f64,
}

impl Leaning {
    pub fn at(v: f64, curve_per_m: f64, height_m: f64, gravity: f64) -> Leaning {
        // tan φ = v_c² / (g r_c) with v_c = v s, r_c = s/κ and s = 1 − κ h sin φ: tan φ = v² κ s / g. Newton's
        // method would save nothing: each round gains two digits.
        let mut tan = v * v * curve_per_m / gravity;
        let mut slower = 1.0;
        for _ in 0..30 {
            slower = 1.0 - curve_per_m * height_m * tan / 1f64.hypot(tan);
            tan = v * v * curve_per_m * slower / gravity;
        }
        Leaning {
            slower,
            load: 1f64.hypot(tan),
            height_m: height_m / 1f64.hypot(tan),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TRUTH: TrackTruth = TrackTruth {
        bend_radius_m: 23.0,
        transition_m: 12.0,
        centre_of_mass_height_m: 1.0,
    };

    #[test]
    fn a_lap_turns_once_and_the_curve_is_the_slope_of_the_turn() {
        let track = Track::of(&TRUTH, 250.0);
        assert!((track.turned_rad(250.0) - 2.0 * PI).abs() < 1e-12);
        assert!((track.turned_rad(62.5) - 0.5 * PI).abs() < 1e-12);
        assert_eq!(track.curve_per_m(0.0), 0.0);
        assert_eq!(track.curve_per_m(62.5), 1.0 / 23.0);
        for k in 0..5000 {
            let s = 0.05 * f64::from(k) + 0.013;
            let slope = (track.turned_rad(s + 1e-5) - track.turned_rad(s - 1e-5)) / 2e-5;
            assert!((slope - track.curve_per_m(s)).abs() < 1e-6, "{s}");
        }
    }

    #[test]
    fn the_lean_balances_weight_and_centrifugal_force_about_the_centre_of_mass() {
        for (v, radius) in [(8.0, 36.5), (12.0, 23.0), (17.0, 21.0)] {
            let lean = Leaning::at(v, 1.0 / radius, 1.0, 9.81);
            let cos = lean.height_m;
            let sin = (1.0 - cos * cos).sqrt();
            let (r_c, v_c) = (radius - sin, v * lean.slower);
            assert!((v_c / v - r_c / radius).abs() < 1e-9);
            assert!((sin / cos - v_c * v_c / (9.81 * r_c)).abs() < 1e-9);
            assert!((lean.load - 1.0 / cos).abs() < 1e-12);
        }
        assert_eq!(Leaning::at(12.0, 0.0, 1.0, 9.81).slower, 1.0);
    }
}
