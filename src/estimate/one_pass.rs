//! One pass: drag area, and rolling resistance where it can be told apart, from its energy account.
//!
//! What is left over of a virtual elevation is a random walk, since gusts integrate. So the increments over
//! cells are weighted, not the integrated curve: there an ordinary least-squares error is several times too small.

use super::cells::{Account, PassRide};
use super::least_squares::{Fit, gls};
use nalgebra::{DMatrix, DVector};

/// Standard uncertainty of a recorded speed at one instant: sensors' pulses and the unit's averaging.
/// Common practice, no published source.
pub const SPEED_STANDARD_UNCERTAINTY_M_S: f64 = 0.04;
/// The same where it is the slope of positions over 8 s (`streams/speed.rs`). Derived: a wander of 3 m over a minute
/// is a walk of q = 2 · 9/60 m²/s, and the slope of a walk over T seconds has the variance 6q/5T.
pub const SPEED_BY_POSITIONS_STANDARD_UNCERTAINTY_M_S: f64 = 0.21;
/// Where along the road a cell ends is known to this: positions wander, but only gates rest on them;
/// within a pass the wheel measures.
pub(crate) const EDGE_STANDARD_UNCERTAINTY_M: f64 = 3.0;
/// Relative standard uncertainty of one second's mean power: pedal strokes do not fit whole into a second.
/// Common practice, no published source.
pub(crate) const POWER_NOISE_SHARE: f64 = 0.04;

/// A cell in which the brakes took energy says next to nothing: its error is this many times what they took.
pub(crate) const BRAKED_DISTRUST: f64 = 10.0;

/// Gust work per cell ridden in T seconds has variance (ρ CdA (v+w) v)² q T. METHOD 4: q is about
/// 2 × e^±1.2 m²/s, twice the gusts' variance times their memory.
pub const GUST_Q_MEDIAN_M2_S: f64 = 2.0;
pub const GUST_Q_LOG_SD: f64 = 1.2;
/// Memory of gusts at rider height. Common practice, no published source.
pub const GUST_MEMORY_S: f64 = 5.0;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DragFit {
    pub cda_m2: f64,
    /// With the rolling resistance held: what differs between passes only.
    pub standard_uncertainty_m2: f64,
}

/// Both coefficients free, from this pass alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreeFit {
    pub cda_m2: f64,
    pub cda_standard_uncertainty_m2: f64,
    pub crr: f64,
    pub crr_standard_uncertainty: f64,
    /// Near −1: this pass cannot tell the two apart.
    pub correlation: f64,
}

/// Covariance of the energies of a pass's cells, in J². `cda_m2` is where gust work is taken.
pub fn covariance(
    ride: &PassRide,
    accounts: &[Account],
    effective_mass_kg: f64,
    cda_m2: f64,
    gust_q: f64,
) -> DMatrix<f64> {
    let count = accounts.len();
    let mut v = gusts_j2(accounts) * (gust_q * cda_m2 * cda_m2);
    for (index, account) in accounts.iter().enumerate() {
        let power_w = account.crank_j / account.duration_s;
        v[(index, index)] += (POWER_NOISE_SHARE * power_w).powi(2) * account.duration_s
            + ride.cells[index].unknown_power_j.powi(2)
            + (BRAKED_DISTRUST * ride.cells[index].braked_j).powi(2);
    }
    for (index, cell) in ride.cells.iter().enumerate().take(count) {
        let weight_n = accounts[index].weight_n;
        let variance = |speed: f64, gradient: f64| {
            (effective_mass_kg * speed * ride.speed_standard_uncertainty_m_s).powi(2)
                + (weight_n * gradient * EDGE_STANDARD_UNCERTAINTY_M).powi(2)
        };
        let at_start = variance(cell.start_speed_m_s, cell.start_gradient);
        v[(index, index)] += at_start + variance(cell.end_speed_m_s, cell.end_gradient);
        // The same error ends one cell and starts the next, with opposite sign.
        if ride.goes_on(index) {
            v[(index - 1, index)] -= at_start;
            v[(index, index - 1)] -= at_start;
        }
    }
    v
}

/// What gusts add to the covariance for each m²/s of their strength and each m⁴ of CdA².
pub fn gusts_j2(accounts: &[Account]) -> DMatrix<f64> {
    let integrals = gust_integrals_s(accounts);
    DMatrix::from_fn(accounts.len(), accounts.len(), |i, j| {
        gust_rate(&accounts[i]) * gust_rate(&accounts[j]) * integrals[(i, j)]
    })
}

/// Work per m² of drag area that a gust of 1 m/s adds in each second, J/m.
///
/// At steady speed the account is ½ρ(v+w)²vT, so ρ(v+w)v is twice it over (v+w)T; w is small beside v, which is
/// good enough for a variance.
pub fn gust_rate(account: &Account) -> f64 {
    2.0 * account.air_j_m2.abs() / account.distance_m
}

/// Covariance of the gusts' integrals over the cells for a strength of 1 m²/s, in s.
///
/// The integral of an Ornstein–Uhlenbeck process over a cell: white beyond its memory. What blows at the end of
/// one cell blows on into the next; taken as white, the gusts of cells of 15 s would look a third too weak.
pub fn gust_integrals_s(accounts: &[Account]) -> DMatrix<f64> {
    let count = accounts.len();
    let fade = |seconds: f64| 1.0 - (-seconds / GUST_MEMORY_S).exp();
    let mut v = DMatrix::zeros(count, count);
    for (i, a) in accounts.iter().enumerate() {
        v[(i, i)] = a.duration_s - GUST_MEMORY_S * fade(a.duration_s);
        let mut between_s = 0.0;
        for (j, b) in accounts.iter().enumerate().skip(i + 1) {
            let shared_s = 0.5
                * GUST_MEMORY_S
                * fade(a.duration_s)
                * fade(b.duration_s)
                * (-between_s / GUST_MEMORY_S).exp();
            v[(i, j)] = shared_s;
            v[(j, i)] = v[(i, j)];
            between_s += b.duration_s;
        }
    }
    v
}

/// Drag area with the rolling resistance held at `crr`.
pub fn drag(accounts: &[Account], covariance: &DMatrix<f64>, crr: f64) -> Option<DragFit> {
    let y = DVector::from_iterator(
        accounts.len(),
        accounts.iter().map(|a| a.energy_j - crr * a.rolling_j),
    );
    let design = DMatrix::from_iterator(accounts.len(), 1, accounts.iter().map(|a| a.air_j_m2));
    let fit = gls(&design, &y, covariance)?;
    Some(DragFit {
        cda_m2: fit.parameters[0],
        standard_uncertainty_m2: fit.covariance[(0, 0)].sqrt(),
    })
}

/// Both coefficients free. `None` where the speeds are too even to tell them apart at all.
pub fn free(accounts: &[Account], covariance: &DMatrix<f64>) -> Option<FreeFit> {
    let y = DVector::from_iterator(accounts.len(), accounts.iter().map(|a| a.energy_j));
    let design = DMatrix::from_fn(accounts.len(), 2, |row, column| match column {
        0 => accounts[row].air_j_m2,
        _ => accounts[row].rolling_j,
    });
    gls(&design, &y, covariance).map(|fit| FreeFit::of(&fit))
}

impl FreeFit {
    /// Of a fit whose two parameters are drag area and rolling resistance.
    pub(super) fn of(fit: &Fit) -> FreeFit {
        let [cda_sd, crr_sd] = [0, 1].map(|index| fit.covariance[(index, index)].sqrt());
        FreeFit {
            cda_m2: fit.parameters[0],
            cda_standard_uncertainty_m2: cda_sd,
            crr: fit.parameters[1],
            crr_standard_uncertainty: crr_sd,
            correlation: fit.covariance[(0, 1)] / (cda_sd * crr_sd),
        }
    }
}

/// The virtual elevation at the cell edges, metres above the first edge, in the order ridden.
///
/// `climbs_m`: what the shared profile climbs in each cell; what the account has left over is added to it.
pub fn virtual_elevation_m(accounts: &[Account], climbs_m: &[f64], cda_m2: f64, crr: f64) -> Vec<f64> {
    let mut elevation = vec![0.0];
    let mut height = 0.0;
    for (account, climb) in accounts.iter().zip(climbs_m) {
        height += climb + left_over_m(account, cda_m2, crr);
        elevation.push(height);
    }
    elevation
}

/// Energy that drag and rolling do not explain, as metres of elevation.
pub fn left_over_m(account: &Account, cda_m2: f64, crr: f64) -> f64 {
    (account.energy_j - cda_m2 * account.air_j_m2 - crr * account.rolling_j) / account.weight_n
}

#[cfg(test)]
#[path = "one_pass_tests.rs"]
mod tests;
