//! Where drag area and rolling resistance of one pass can lie together.
//!
//! At one speed the two are one force: what the one gains the other loses. A pass gives a line of pairs, and only
//! unevenness of its speed, or what is known of rolling resistance beforehand, says where on it.

use super::cells::{PassRide, Shift, accounts, ride_rig};
use super::least_squares::gls;
use super::one_pass::{FreeFit, drag, free};
use super::plain::pass_covariance;
use super::rolling::Rolling;
use crate::test_day::Setup;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

/// Points of an outline: it is drawn as a polygon.
const OUTLINE: usize = 40;

/// Errors as in the pass's own drag area: gusts, noise, and the wander of the wind from pass to pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Both {
    /// Rolling resistance at which the drag area of the pass is stated.
    pub crr: f64,
    /// What that drag area changes by for each unit of rolling resistance, m².
    pub cda_per_crr_m2: f64,
    /// By this pass alone; `None` where its speeds are too even.
    pub alone: Option<FreeFit>,
    /// With what was known of rolling resistance before the day.
    pub together: FreeFit,
}

/// `spread_ratio`: the spread seen between passes over the expected one, as `Averages` has it. `None` where nothing
/// can be fitted.
pub fn both(
    ride: &PassRide,
    setup: &Setup,
    course_length_m: f64,
    rolling: &Rolling,
    spread_ratio: f64,
) -> Option<Both> {
    let account = accounts(ride, setup, course_length_m, &Shift::default());
    let mass = ride_rig(ride, setup, &Shift::default()).effective_mass_kg();
    let crr = setup.crr.value + rolling.shift;
    let errors =
        pass_covariance(ride, &account, mass, rolling.gust_q_m2_s, crr)? * (spread_ratio * spread_ratio);
    let per = drag(&account, &errors, crr + 1.0)?.cda_m2 - drag(&account, &errors, crr)?.cda_m2;
    let cells = account.len();
    // What is known beforehand is one more observation.
    let design = DMatrix::from_fn(cells + 1, 2, |row, column| match (account.get(row), column) {
        (Some(cell), 0) => cell.air_j_m2,
        (Some(cell), _) => cell.rolling_j,
        (None, column) => column as f64,
    });
    let energies = account.iter().map(|cell| cell.energy_j);
    let y = DVector::from_iterator(cells + 1, energies.chain([setup.crr.value]));
    let mut v = errors.clone().resize(cells + 1, cells + 1, 0.0);
    v[(cells, cells)] = setup.crr.standard_uncertainty.powi(2);
    let fit = gls(&design, &y, &v)?;
    Some(Both {
        crr,
        cda_per_crr_m2: per,
        alone: free(&account, &errors),
        together: FreeFit::of(&fit),
    })
}

impl FreeFit {
    /// The ellipse that holds both with this chance, errors taken as normal: pairs of rolling resistance and drag area.
    pub fn outline(&self, chance: f64) -> Vec<[f64; 2]> {
        // Chi-squared with two degrees of freedom has a closed quantile.
        let radius = (-2.0 * (1.0 - chance).ln()).sqrt();
        let across = (1.0 - self.correlation * self.correlation).max(0.0).sqrt();
        (0..OUTLINE)
            .map(|point| {
                let (sin, cos) = (TAU * point as f64 / OUTLINE as f64).sin_cos();
                [
                    self.crr + radius * self.crr_standard_uncertainty * cos,
                    self.cda_m2
                        + radius * self.cda_standard_uncertainty_m2 * (self.correlation * cos + across * sin),
                ]
            })
            .collect()
    }
}

#[cfg(test)]
#[path = "both_tests.rs"]
mod tests;
