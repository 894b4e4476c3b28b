//! Round a bend: the rider leans, the centre of mass goes a shorter way than the wheels, the tyres carry more.
//!
//! With φ the lean from the vertical, h the height of the centre of mass along the leaning bicycle, κ one over the
//! radius of the wheels' path and v their speed:
//!
//! v_c = v (1 − κ h sin φ),   tan φ = v_c² / (g (1/κ − h sin φ)) = v² κ (1 − κ h sin φ) / g,   load = m g / cos φ
//!
//! (balance of weight and centrifugal force about the wheels' line; as in models of track cycling, for example
//! Fitton and Symons 2018, Sports Eng 21:409, title and accuracy only, S). The banking does not enter: it decides
//! where on the tyre the load acts. Whatever turns about that line, rider and bicycle, is taken as one point.

use std::f64::consts::PI;

/// Lean at one place and speed. [`Lean::UPRIGHT`] on a straight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lean {
    /// From the vertical. [rad]
    pub lean_rad: f64,
    /// Speed of the centre of mass over that of the wheels. [1]
    pub centre_speed_ratio: f64,
    /// Load on the tyres over the weight. [1]
    pub load_factor: f64,
}

impl Lean {
    pub const UPRIGHT: Lean = Lean {
        lean_rad: 0.0,
        centre_speed_ratio: 1.0,
        load_factor: 1.0,
    };

    /// `wheel_speed_m_s` and `curve_per_m` (one over the radius) of the wheels' path. A radius smaller than the
    /// centre of mass is high has no meaning, and is taken as twice that height.
    pub fn at(wheel_speed_m_s: f64, curve_per_m: f64, centre_height_m: f64, gravity_m_s2: f64) -> Lean {
        let curve = curve_per_m
            .abs()
            .min(0.5 / centre_height_m.max(f64::MIN_POSITIVE));
        if curve <= 0.0 {
            return Lean::UPRIGHT;
        }
        let upright_tan = wheel_speed_m_s * wheel_speed_m_s * curve / gravity_m_s2;
        let ratio = |lean: f64| 1.0 - curve * centre_height_m * lean.sin();
        // tan φ grows and the other side falls, so the difference has one root; Newton from above it.
        let mut lean = upright_tan.atan();
        for _ in 0..20 {
            let off = lean.tan() - upright_tan * ratio(lean);
            let slope = lean.cos().powi(-2) + upright_tan * curve * centre_height_m * lean.cos();
            let next = lean - off / slope;
            if (next - lean).abs() < 1e-15 {
                break;
            }
            lean = next;
        }
        Lean {
            lean_rad: lean,
            centre_speed_ratio: ratio(lean),
            load_factor: lean.cos().recip(),
        }
    }

    /// The same with what the centre of mass loses on the wheels greater by a share, as by a greater height.
    pub fn scaled(self, share: f64) -> Lean {
        Lean {
            centre_speed_ratio: 1.0 - (1.0 - self.centre_speed_ratio) * (1.0 + share),
            ..self
        }
    }
}

/// A level track of two straights and two bends. The curve of a bend grows and fades evenly over `transition_m`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Track {
    pub lap_length_m: f64,
    /// Of a bend where it is tightest.
    pub bend_radius_m: f64,
    pub transition_m: f64,
}

impl Track {
    /// One over the radius, a distance along the lap from the middle of a straight. [1/m]
    ///
    /// Each bend turns by π: full curve over πR − transition, and a transition at either end.
    pub fn curve_per_m(&self, from_middle_of_straight_m: f64) -> f64 {
        let half_lap_m = 0.5 * self.lap_length_m;
        let from_middle_of_bend_m =
            (from_middle_of_straight_m.rem_euclid(half_lap_m) - 0.5 * half_lap_m).abs();
        let ends_m = 0.5 * (PI * self.bend_radius_m + self.transition_m);
        let share = if self.transition_m > 0.0 {
            (ends_m - from_middle_of_bend_m) / self.transition_m
        } else if from_middle_of_bend_m < ends_m {
            1.0
        } else {
            0.0
        };
        share.clamp(0.0, 1.0) / self.bend_radius_m
    }

    /// Mean over a lap at even wheel speed of the cube of the centre's speed over the wheels', which is what drag
    /// takes of the power it would take upright, and of the load over the weight.
    pub fn lap_means(&self, wheel_speed_m_s: f64, centre_height_m: f64, gravity_m_s2: f64) -> (f64, f64) {
        const PARTS: usize = 400;
        let (mut cubes, mut loads) = (0.0, 0.0);
        for part in 0..PARTS {
            let at_m = (part as f64 + 0.5) / PARTS as f64 * 0.5 * self.lap_length_m;
            let lean = Lean::at(
                wheel_speed_m_s,
                self.curve_per_m(at_m),
                centre_height_m,
                gravity_m_s2,
            );
            cubes += lean.centre_speed_ratio.powi(3);
            loads += lean.load_factor;
        }
        (cubes / PARTS as f64, loads / PARTS as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const G: f64 = 9.81;

    /// Closed form the other way round: choose lean and the centre's radius, then both speeds and the wheels' radius
    /// follow without solving anything.
    #[test]
    fn the_lean_is_what_balances() {
        for (lean_rad, centre_radius_m, height_m) in [
            (0.1f64, 80.0, 1.0),
            (0.6, 22.0, 1.1),
            (0.8, 18.0, 0.9),
            (1.1, 12.0, 1.2),
        ] {
            let centre_m_s = (G * centre_radius_m * lean_rad.tan()).sqrt();
            let wheel_radius_m = centre_radius_m + height_m * lean_rad.sin();
            let wheel_m_s = centre_m_s * wheel_radius_m / centre_radius_m;
            let found = Lean::at(wheel_m_s, 1.0 / wheel_radius_m, height_m, G);
            assert!((found.lean_rad - lean_rad).abs() < 1e-12, "{found:?}");
            assert!((found.centre_speed_ratio - centre_m_s / wheel_m_s).abs() < 1e-12);
            assert!((found.load_factor - 1.0 / lean_rad.cos()).abs() < 1e-12);
        }
    }

    #[test]
    fn a_point_on_the_line_leans_as_the_textbook_has_it() {
        // h = 0: tan φ = v²/(g R), load √(1 + (v²/gR)²).
        let found = Lean::at(12.0, 1.0 / 23.0, 0.0, G);
        let tan = 144.0 / (G * 23.0);
        assert!((found.lean_rad.tan() - tan).abs() < 1e-12);
        assert!((found.load_factor - 1f64.hypot(tan)).abs() < 1e-12);
        assert_eq!(found.centre_speed_ratio, 1.0);
        assert_eq!(Lean::at(12.0, 0.0, 1.0, G), Lean::UPRIGHT);
        let scaled = Lean::at(12.0, 1.0 / 23.0, 1.0, G);
        let taller = Lean::at(12.0, 1.0 / 23.0, 1.1, G);
        // A tenth more height is a tenth more loss, but for the lean that it takes away.
        assert!((scaled.scaled(0.1).centre_speed_ratio - taller.centre_speed_ratio).abs() < 1e-4);
    }

    #[test]
    fn a_lap_turns_by_two_pi_and_half_of_it_in_each_bend() {
        for transition_m in [0.0, 12.5, 30.0] {
            let track = Track {
                lap_length_m: 250.0,
                bend_radius_m: 23.0,
                transition_m,
            };
            let step = 0.001;
            let turned: f64 = (0..250_000)
                .map(|k| track.curve_per_m((f64::from(k) + 0.5) * step) * step)
                .sum();
            assert!((turned - 2.0 * PI).abs() < 1e-4, "{turned}");
            assert_eq!(track.curve_per_m(0.0), 0.0);
            assert_eq!(track.curve_per_m(62.5), 1.0 / 23.0);
            assert_eq!(track.curve_per_m(187.5), 1.0 / 23.0);
        }
    }

    /// By hand for plain arcs: the share of the lap in bends is 2πR/L, 0.578, and there tan φ = 0.62353 (by repeated
    /// substitution), sin φ = 0.52910, v_c/v = 0.976996 and its cube 0.932562; the load is 1.178470 (D).
    #[test]
    fn means_over_a_lap_by_hand() {
        let track = Track {
            lap_length_m: 250.0,
            bend_radius_m: 23.0,
            transition_m: 0.0,
        };
        let (cube, load) = track.lap_means(12.0, 1.0, G);
        let bends = 2.0 * PI * 23.0 / 250.0;
        // Where the arcs begin and end falls anywhere in one of 400 parts.
        let part = 1.0 / 400.0;
        assert!(
            (cube - (1.0 - bends * (1.0 - 0.932562))).abs() < 0.068 * part,
            "{cube}"
        );
        assert!((load - (1.0 + bends * 0.178470)).abs() < 0.179 * part, "{load}");
    }
}
