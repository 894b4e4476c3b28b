//! The brakes' share of a cell, as far as it shows.

use super::cells::RiddenStep;

/// Below this the rider coasts.
pub(crate) const COASTING_W: f64 = 15.0;
/// A rider who sits up: what air and tyres can take at most without the brakes (REFERENCES 1.4, 1.5).
const BRAKED_CDA_M2: f64 = 0.5;
const BRAKED_CRR: f64 = 0.008;
const BRAKED_MASS_KG: f64 = 80.0;
/// A loss smaller than these may be slope or wind: 25 N is 3 % of slope, 600 J the height of 0.75 m.
const BRAKED_LEAST_N: f64 = 25.0;
const BRAKED_LEAST_J: f64 = 600.0;

/// Energy lost while coasting beyond what air and tyres can take: the brakes had it.
///
/// Judged over each run of coasting as a whole, since a second's deceleration and slope are noisy. A brake
/// touched lightly under power stays unseen.
pub(super) fn braked_j(steps: &[RiddenStep], gravity_m_s2: f64, air_density_kg_m3: f64) -> f64 {
    let mut all_j = 0.0;
    let (mut lost_j, mut length_m) = (0.0, 0.0);
    let mut end_run = |lost_j: &mut f64, length_m: &mut f64| {
        if *lost_j > BRAKED_LEAST_J.max(BRAKED_LEAST_N * *length_m) {
            all_j += *lost_j;
        }
        (*lost_j, *length_m) = (0.0, 0.0);
    };
    for step in steps {
        if step.power_w > COASTING_W {
            end_run(&mut lost_j, &mut length_m);
            continue;
        }
        let speed = 0.5 * (step.start_speed_m_s + step.end_speed_m_s);
        let distance_m = speed * step.duration_s;
        let weight_n = BRAKED_MASS_KG * gravity_m_s2;
        let taken_n = 0.5 * air_density_kg_m3 * BRAKED_CDA_M2 * speed * speed
            + weight_n * (BRAKED_CRR * step.cos_slope + step.sin_slope);
        let slowed_j = 0.5 * BRAKED_MASS_KG * (step.start_speed_m_s.powi(2) - step.end_speed_m_s.powi(2));
        lost_j += slowed_j - taken_n * distance_m;
        length_m += distance_m;
    }
    end_run(&mut lost_j, &mut length_m);
    all_j
}
