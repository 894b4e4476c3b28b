//! How fast to be at the gate, and where to begin to pedal for it.

use crate::physics::{Piece, RelativeWind, Rig, Surroundings, ride_road, steady_speed_m_s};
use crate::verdict::Stretch;

/// The first metres of a pass: what they ask for decides whether a rider at the gate still gains or loses speed.
const FIRST_M: f64 = 150.0;
/// After a turn, before pedalling on: a walking pace. [m/s]
const TURNED_M_S: f64 = 3.0;
/// So near to the speed aimed at, it has been reached: 2 % of speed are 4 % of its energy, which a pass of 1 km loses
/// in the noise of its climb.
const REACHED: f64 = 0.98;
const STEP_M: f64 = 10.0;
const LONGEST_M: f64 = 1000.0;

/// How to enter a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// The speed that the power keeps up on the first metres, without wind.
    pub speed_m_s: f64,
    /// From a slow turn to that speed, at the power of the pass and on the slope of the first metres.
    pub run_up_m: f64,
}

/// `None` where the power keeps up no speed on this slope, or reaches it nowhere within a kilometre.
pub fn entry(rig: &Rig, around: &Surroundings, road: &[Stretch], power_w: f64) -> Option<Entry> {
    let gradient = first_gradient(road)?;
    let speed_m_s = steady_speed_m_s(rig, around, power_w, gradient, RelativeWind::default())?;
    Some(Entry {
        speed_m_s,
        run_up_m: run_up_m(rig, around, gradient, power_w, speed_m_s)?,
    })
}

/// Mean slope of the first metres, tan θ.
pub(super) fn first_gradient(road: &[Stretch]) -> Option<f64> {
    let (mut along_m, mut climb_m) = (0.0, 0.0);
    for stretch in road {
        let taken_m = stretch.length_m.min(FIRST_M - along_m);
        climb_m += taken_m * stretch.gradient;
        along_m += taken_m;
        if along_m >= FIRST_M {
            break;
        }
    }
    (along_m > 0.0).then(|| climb_m / along_m)
}

/// Way from a slow turn to within 2 % of a speed, to the next 10 m.
fn run_up_m(rig: &Rig, around: &Surroundings, gradient: f64, power_w: f64, speed_m_s: f64) -> Option<f64> {
    let piece = Piece {
        length_m: STEP_M,
        gradient,
        wind: RelativeWind::default(),
    };
    let (mut along_m, mut now_m_s) = (0.0, TURNED_M_S);
    while now_m_s < REACHED * speed_m_s {
        now_m_s = ride_road(rig, around, &[piece], power_w, now_m_s)?.exit_speed_m_s;
        along_m += STEP_M;
        if along_m > LONGEST_M {
            return None;
        }
    }
    Some(along_m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::bearing_force_n;

    const AROUND: Surroundings = Surroundings {
        air_density_kg_m3: 1.2,
        gravity_m_s2: 9.81,
    };

    fn rig(cda_m2: f64, crr: f64) -> Rig {
        Rig {
            cda_m2,
            crr,
            total_mass_kg: 80.0,
            wheel_inertia_kg_m2: 0.14,
            wheel_radius_m: 0.336,
            drivetrain_efficiency: 0.976,
        }
    }

    fn road(lengths_and_gradients: &[(f64, f64)]) -> Vec<Stretch> {
        let stretch = |(length_m, gradient): &(f64, f64)| Stretch {
            length_m: *length_m,
            gradient: *gradient,
            bearing_rad: 0.3,
        };
        lengths_and_gradients.iter().map(stretch).collect()
    }

    /// Closed form of the level: η P = v (½ρ CdA v² + Crr m g + bearings).
    #[test]
    fn the_entry_speed_is_the_one_that_the_power_keeps_up() {
        let rig = rig(0.3, 0.0045);
        let entry = entry(&rig, &AROUND, &road(&[(1500.0, 0.0)]), 220.0).unwrap();
        let v = entry.speed_m_s;
        let force = 0.5 * 1.2 * 0.3 * v * v + 0.0045 * 80.0 * 9.81 + bearing_force_n(v);
        assert!((v * force / (0.976 * 220.0) - 1.0).abs() < 1e-12);
        // Only the first metres count, by their mean slope: 100 m of 3 % and 50 m of −6 % are level.
        let hilly = super::entry(&rig, &AROUND, &road(&[(100.0, 0.03), (900.0, -0.06)]), 220.0).unwrap();
        assert!((hilly.speed_m_s - v).abs() < 1e-9);
        assert_eq!(super::entry(&rig, &AROUND, &[], 220.0), None);
    }

    /// Without drag and rolling, v³ = v₀³ + 3 η P x / m: the bearings take less than a hundredth of the force here, and
    /// the answer is a multiple of 10 m.
    #[test]
    fn the_run_up_follows_its_closed_form() {
        let rig = rig(1e-9, 0.0);
        let (to, power): (f64, f64) = (9.0, 220.0);
        let found = run_up_m(&rig, &AROUND, 0.0, power, to / REACHED).unwrap();
        let closed = rig.effective_mass_kg() * (to.powi(3) - TURNED_M_S.powi(3)) / (3.0 * 0.976 * power);
        assert!(
            (closed..closed * 1.02 + STEP_M).contains(&found),
            "{found} {closed}"
        );
        // Downhill the turn itself may be fast enough; against a wall nothing is.
        assert_eq!(run_up_m(&rig, &AROUND, 0.0, power, TURNED_M_S), Some(0.0));
        assert_eq!(run_up_m(&rig, &AROUND, 0.5, 50.0, 9.0), None);
    }
}
