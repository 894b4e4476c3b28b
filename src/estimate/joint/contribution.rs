//! What one pass brings to the estimate of the day: an immutable value that depends on nothing but its inputs.

use super::prior::When;
use crate::estimate::cells::{Account, PassRide, Shift, accounts, rig};
use crate::estimate::one_pass::{covariance, gusts_j2};
use crate::test_day::Setup;
use nalgebra::DMatrix;

/// Differences are taken this far from the known wind; exact for the quadratic that drag nearly is.
const WIND_STEP_M_S: f64 = 0.5;

/// Work against the air in one cell per m² of drag area, as a quadratic in the wind beyond what is known.
///
/// (v+w)V_a = (v+w)² + ½c² but for c⁴/8(v+w)²: 0.1 % at 3 m/s of crosswind and 10 m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirWork {
    pub still: f64,
    /// By east and north, J/m² per m/s.
    pub slope: [f64; 2],
    /// Second derivatives: east east, east north, north north.
    pub curve: [f64; 3],
    /// Of a mean square of gusts, per m²/s²: ½ρ × length.
    pub gust: f64,
}

impl AirWork {
    pub fn at(&self, [east, north]: [f64; 2], gust_m2_s2: f64) -> f64 {
        self.still
            + self.slope[0] * east
            + self.slope[1] * north
            + 0.5 * self.curve[0] * east * east
            + self.curve[1] * east * north
            + 0.5 * self.curve[2] * north * north
            + self.gust * gust_m2_s2
    }

    pub fn slope_at(&self, [east, north]: [f64; 2]) -> [f64; 2] {
        [
            self.slope[0] + self.curve[0] * east + self.curve[1] * north,
            self.slope[1] + self.curve[1] * east + self.curve[2] * north,
        ]
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    pub setup: usize,
    pub block: usize,
    pub when: When,
    /// Standard uncertainty, each way, of the wind that was assumed.
    pub wind_standard_uncertainty_m_s: f64,
    /// Energy of each cell with rolling at the assumed Crr and the climb of the shared profile taken off, J.
    pub energy_j: Vec<f64>,
    pub air: Vec<AirWork>,
    /// m g ∫cos θ ds of each cell, J.
    pub rolling_j: Vec<f64>,
    /// Crr that was taken off.
    pub crr: f64,
    pub distance_m: f64,
    pub weight_n: f64,
    /// Where each cell starts and ends along the course, in the order ridden.
    pub edges_m: Vec<[f64; 2]>,
    /// Covariance of the energies without gusts, J².
    noise_j2: DMatrix<f64>,
    /// ... and what gusts add for each m²/s of their strength and each m⁴ of CdA².
    gusts_j2: DMatrix<f64>,
}

impl Contribution {
    pub fn of(
        ride: &PassRide,
        setup: &Setup,
        course_length_m: f64,
        crr_shift: f64,
        shift: &Shift,
    ) -> Contribution {
        let at = |east: f64, north: f64| -> Vec<Account> {
            let moved = Shift {
                wind_east_m_s: shift.wind_east_m_s + east,
                wind_north_m_s: shift.wind_north_m_s + north,
                ..*shift
            };
            accounts(ride, setup, course_length_m, &moved)
        };
        let h = WIND_STEP_M_S;
        let rest = at(0.0, 0.0);
        let (e, w, n, s) = (at(h, 0.0), at(-h, 0.0), at(0.0, h), at(0.0, -h));
        let corner = at(h, h);
        let density = ride.air.density_kg_m3 * shift.density_scale;
        let air = (0..rest.len())
            .map(|c| {
                let work = |side: &[Account]| side[c].air_j_m2;
                let still = work(&rest);
                let slope = [
                    (work(&e) - work(&w)) / (2.0 * h),
                    (work(&n) - work(&s)) / (2.0 * h),
                ];
                let (ee, nn) = (
                    (work(&e) - 2.0 * still + work(&w)) / (h * h),
                    (work(&n) - 2.0 * still + work(&s)) / (h * h),
                );
                let together = work(&corner) - still - h * (slope[0] + slope[1]) - 0.5 * h * h * (ee + nn);
                AirWork {
                    still,
                    slope,
                    curve: [ee, together / (h * h), nn],
                    gust: 0.5 * density * rest[c].distance_m,
                }
            })
            .collect();
        let crr = setup.crr.value + crr_shift + shift.crr;
        let mass = rig(setup, shift).effective_mass_kg();
        Contribution {
            setup: ride.setup,
            block: ride.block,
            when: When {
                middle_s: ride.middle_s,
                duration_s: ride.duration_s(),
            },
            wind_standard_uncertainty_m_s: ride.air.wind_standard_uncertainty_m_s,
            energy_j: rest.iter().map(|a| a.energy_j - crr * a.rolling_j).collect(),
            air,
            rolling_j: rest.iter().map(|a| a.rolling_j).collect(),
            crr,
            distance_m: rest.iter().map(|a| a.distance_m).sum(),
            weight_n: rest.first().map_or(0.0, |a| a.weight_n),
            edges_m: ride.cells.iter().map(|c| [c.from_m, c.to_m]).collect(),
            gusts_j2: gusts_j2(&rest),
            noise_j2: covariance(ride, &rest, mass, 0.0, 0.0),
        }
    }

    pub fn cells(&self) -> usize {
        self.energy_j.len()
    }

    /// Covariance of the energies at a drag area and a gust strength, J².
    pub fn covariance_j2(&self, cda_m2: f64, gust_q_m2_s: f64) -> DMatrix<f64> {
        &self.noise_j2 + &self.gusts_j2 * (cda_m2 * cda_m2 * gust_q_m2_s)
    }
}

#[cfg(test)]
impl Contribution {
    /// Plain readings instead of a ride: each is its pass's drag area over the prior's median, with an error of
    /// this variance. For statistics whose answers are published.
    pub(super) fn of_readings(setup: usize, block: usize, readings: &[f64], variance: f64) -> Contribution {
        let cells = readings.len();
        let air = AirWork {
            still: 1.0 / super::prior::CDA_MEDIAN_M2,
            slope: [0.0; 2],
            curve: [0.0; 3],
            gust: 0.0,
        };
        Contribution {
            setup,
            block,
            when: When {
                middle_s: 1000.0 * block as f64,
                duration_s: 100.0,
            },
            wind_standard_uncertainty_m_s: 1.0,
            energy_j: readings.to_vec(),
            air: vec![air; cells],
            rolling_j: vec![0.0; cells],
            crr: 0.0,
            distance_m: cells as f64,
            weight_n: 0.0,
            edges_m: (0..cells).map(|c| [c as f64, c as f64 + 1.0]).collect(),
            noise_j2: DMatrix::identity(cells, cells) * variance,
            gusts_j2: DMatrix::zeros(cells, cells),
        }
    }
}
