//! What a whole day says of rolling resistance and of gustiness: all passes in one dense account.
//!
//! Speeds are not chosen freely: gusts and the errors of the profile move speed and work together. So what the
//! rides say of rolling resistance rests on the unevenness that the rider's power made (see `still_ride`).

use super::cells::{Account, PassRide, Shift, accounts, ride_rig};
use super::least_squares::gls;
use super::one_pass::{GUST_Q_LOG_SD, GUST_Q_MEDIAN_M2_S, covariance};
use super::still_ride::{drag_work_j_m2, speeds_m_s};
use crate::test_day::{Measured, Setup};
use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentOpt;
use nalgebra::{DMatrix, DVector};

/// METHOD 4: wind wanders over the day by about 0.4 m/s; along the road it moves a pass's CdA by 2w/v.
pub const WIND_WANDER_M_S: f64 = 0.4;
/// The day must pin Crr down to this share of what was known beforehand, or it is held there.
const CLEARLY_TOLD_APART: f64 = 0.7;

/// Rolling resistance as the day leaves it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rolling {
    /// Added to every set-up's own Crr. 0 when held.
    pub shift: f64,
    /// Of the shift: what is known before and from the day together, or before only when held.
    pub standard_uncertainty: f64,
    pub held: bool,
    /// What the rides alone say of the shift, with its standard uncertainty; `None` when nothing.
    pub rides_alone: Option<(f64, f64)>,
    /// Between CdA and Crr as the rides alone give them; near −1: not told apart.
    pub correlation: Option<f64>,
    /// Gust strength that the left-over energy shows, m²/s.
    pub gust_q_m2_s: f64,
}

/// A day's passes with their accounts, as the pooled fit needs them.
struct Pool<'a> {
    rides: &'a [PassRide],
    accounts: Vec<Vec<Account>>,
    effective_mass_kg: Vec<f64>,
    setups: &'a [Setup],
    cda_m2: f64,
    /// Of a node's height in the shared profile, common to every pass.
    profile_sd_m: f64,
    prior: Measured,
}

/// `None` without a single usable pass.
pub fn rolling(
    rides: &[PassRide],
    setups: &[Setup],
    course_length_m: f64,
    profile_sd_m: f64,
) -> Option<Rolling> {
    let neutral = Shift::default();
    let all: Vec<Vec<Account>> = rides
        .iter()
        .map(|r| accounts(r, &setups[r.setup], course_length_m, &neutral))
        .collect();
    let prior = setups.first()?.crr;
    let cda_m2 = rough_cda_m2(rides, &all, setups)?;
    let pool = Pool {
        rides,
        cda_m2,
        accounts: all,
        effective_mass_kg: rides
            .iter()
            .map(|r| ride_rig(r, &setups[r.setup], &neutral).effective_mass_kg())
            .collect(),
        setups,
        profile_sd_m,
        prior,
    };
    let gust_q_m2_s = search_gust_q(&pool);
    let alone = pool.rides_alone(gust_q_m2_s);
    let prior_variance = prior.standard_uncertainty.powi(2);
    // Both together, each by its weight.
    let (shift, variance) = alone.map_or((0.0, prior_variance), |a| {
        let share = prior_variance / (prior_variance + a.standard_uncertainty.powi(2));
        (share * a.shift, (1.0 - share) * prior_variance)
    });
    let held = variance.sqrt() > CLEARLY_TOLD_APART * prior.standard_uncertainty;
    Some(Rolling {
        shift: if held { 0.0 } else { shift },
        standard_uncertainty: if held {
            prior.standard_uncertainty
        } else {
            variance.sqrt()
        },
        held,
        rides_alone: alone.map(|a| (a.shift, a.standard_uncertainty)),
        correlation: alone.map(|a| a.correlation),
        gust_q_m2_s,
    })
}

/// From the whole of each pass with Crr at its prior: where gust work is taken.
fn rough_cda_m2(rides: &[PassRide], all: &[Vec<Account>], setups: &[Setup]) -> Option<f64> {
    let (mut energy, mut air) = (0.0, 0.0);
    for (ride, accounts) in rides.iter().zip(all) {
        for account in accounts {
            energy += account.energy_j - setups[ride.setup].crr.value * account.rolling_j;
            air += account.air_j_m2;
        }
    }
    // METHOD 4: CdA is about 0.30 m² × e^±0.35; three of those each way bound the place of linearisation.
    (air > 0.0).then(|| (energy / air).clamp(0.1, 0.9))
}

/// What the rides alone say.
#[derive(Clone, Copy)]
struct Alone {
    shift: f64,
    standard_uncertainty: f64,
    correlation: f64,
}

impl Pool<'_> {
    fn cells(&self) -> usize {
        self.accounts.iter().map(Vec::len).sum()
    }

    /// Energy with rolling at its prior taken off, J.
    fn energies(&self) -> DVector<f64> {
        let all = self
            .rides
            .iter()
            .zip(&self.accounts)
            .flat_map(|(ride, accounts)| {
                let crr = self.setups[ride.setup].crr.value;
                accounts
                    .iter()
                    .map(move |account| account.energy_j - crr * account.rolling_j)
            });
        DVector::from_vec(all.collect())
    }

    /// One column for each set-up that was ridden, holding `air`, and one of rolling work.
    fn design(&self, air: &[Vec<f64>]) -> DMatrix<f64> {
        let mut ridden: Vec<usize> = self.rides.iter().map(|ride| ride.setup).collect();
        ridden.sort_unstable();
        ridden.dedup();
        let mut design = DMatrix::zeros(self.cells(), ridden.len() + 1);
        let mut row = 0;
        for ((ride, accounts), air) in self.rides.iter().zip(&self.accounts).zip(air) {
            let column = ridden.iter().position(|setup| *setup == ride.setup).unwrap_or(0);
            for (account, air) in accounts.iter().zip(air) {
                design[(row, column)] = *air;
                design[(row, ridden.len())] = account.rolling_j;
                row += 1;
            }
        }
        design
    }

    fn air_as_ridden(&self) -> Vec<Vec<f64>> {
        self.accounts
            .iter()
            .map(|pass| pass.iter().map(|account| account.air_j_m2).collect())
            .collect()
    }

    /// Likelihood of the left-over energies at a gust strength, rolling resistance near its prior.
    fn log_likelihood(&self, gust_q: f64) -> Option<f64> {
        let cells = self.cells();
        let air = self.air_as_ridden();
        let mut design = self.design(&air).insert_row(cells, 0.0);
        let last = design.ncols() - 1;
        design[(cells, last)] = 1.0;
        let y = self.energies().insert_row(cells, 0.0);
        let mut v = self.noise(gust_q, &air).resize(cells + 1, cells + 1, 0.0);
        v[(cells, cells)] = self.prior.standard_uncertainty.powi(2);
        Some(gls(&design, &y, &v)?.log_likelihood)
    }

    /// Two-stage least squares: the work regressed on the part of the speeds ridden that the power explains.
    ///
    /// What the wind may do is weighed at the predicted speeds too: weighed at those ridden, which are slow
    /// where a gust came from the front, it would bring the gusts back (on one-way days 0.014 in Crr).
    fn rides_alone(&self, gust_q: f64) -> Option<Alone> {
        let speeds = self.predicted_speeds();
        let predicted = self.predicted_air(&speeds, |_| [0.0; 2]);
        let instruments = self.design(&predicted);
        let ridden = self.design(&self.air_as_ridden());
        let mut v = self.noise(gust_q, &predicted);
        for wind in self.mean_wind(&speeds) {
            v.ger(1.0, &wind, &wind, 1.0);
        }
        let mut explained = ridden.clone();
        for column in 0..ridden.ncols() {
            let first = gls(&instruments, &ridden.column(column).into_owned(), &v)?;
            explained.set_column(column, &(&instruments * first.parameters));
        }
        let fit = gls(&explained, &self.energies(), &v)?;
        let last = ridden.ncols() - 1;
        let sd = fit.covariance[(last, last)].sqrt();
        Some(Alone {
            shift: fit.parameters[last],
            standard_uncertainty: sd,
            correlation: fit.covariance[(0, last)] / (fit.covariance[(0, 0)].sqrt() * sd),
        })
    }

    fn predicted_speeds(&self) -> Vec<Vec<Vec<f64>>> {
        let entry = |ride: &PassRide| ride.cells.first().map_or(0.0, |cell| cell.start_speed_m_s);
        let entry_speed_m_s = self.rides.iter().map(entry).sum::<f64>() / self.rides.len() as f64;
        let speeds =
            |ride: &PassRide| speeds_m_s(ride, &self.setups[ride.setup], self.cda_m2, entry_speed_m_s);
        self.rides.iter().map(speeds).collect()
    }

    fn predicted_air(
        &self,
        speeds: &[Vec<Vec<f64>>],
        more_wind: impl Fn(&PassRide) -> [f64; 2],
    ) -> Vec<Vec<f64>> {
        self.rides
            .iter()
            .zip(speeds)
            .map(|(ride, own)| drag_work_j_m2(ride, own, more_wind(ride)))
            .collect()
    }

    /// What an unknown mean wind would do to the energies, J: first order for each way the air may move,
    /// and what is left of second order, which has one sign.
    fn mean_wind(&self, speeds: &[Vec<Vec<f64>>]) -> [DVector<f64>; 3] {
        let work = |east: f64, north: f64| {
            let more =
                |ride: &PassRide| [east, north].map(|way| way * ride.air.wind_standard_uncertainty_m_s);
            self.cda_m2 * DVector::from_vec(self.predicted_air(speeds, more).concat())
        };
        let (east, west, north, south) = (work(1.0, 0.0), work(-1.0, 0.0), work(0.0, 1.0), work(0.0, -1.0));
        let second = 0.5 * (&east + &west + &north + &south) - 2.0 * work(0.0, 0.0);
        [0.5 * (east - west), 0.5 * (north - south), second]
    }

    /// Noise within passes, the wind's wander from pass to pass, and the shared profile's errors.
    fn noise(&self, gust_q: f64, air_j_m2: &[Vec<f64>]) -> DMatrix<f64> {
        let mut v = DMatrix::zeros(self.cells(), self.cells());
        let mut starts = Vec::with_capacity(self.rides.len());
        let mut at = 0;
        for (index, ride) in self.rides.iter().enumerate() {
            let accounts = &self.accounts[index];
            let count = accounts.len();
            let own = covariance(ride, accounts, self.effective_mass_kg[index], self.cda_m2, gust_q);
            v.view_mut((at, at), (count, count)).copy_from(&own);
            let wander = 2.0 * WIND_WANDER_M_S / ride.mean_speed_m_s() * self.cda_m2;
            for a in 0..count {
                for b in 0..count {
                    v[(at + a, at + b)] += wander.powi(2) * air_j_m2[index][a] * air_j_m2[index][b];
                }
            }
            starts.push(at);
            at += count;
        }
        for (i, first) in self.rides.iter().enumerate() {
            for (j, second) in self.rides.iter().enumerate() {
                self.shared_profile(&mut v, (i, starts[i], first), (j, starts[j], second));
            }
        }
        v
    }

    /// A node of the profile that is too high makes one cell climb more and the next less, in every pass.
    fn shared_profile(
        &self,
        v: &mut DMatrix<f64>,
        a: (usize, usize, &PassRide),
        b: (usize, usize, &PassRide),
    ) {
        let node_j2 =
            self.profile_sd_m.powi(2) * self.accounts[a.0][0].weight_n * self.accounts[b.0][0].weight_n;
        let same = |x: f64, y: f64| (x - y).abs() < 0.5;
        for (p, cell) in a.2.cells.iter().enumerate() {
            for (q, other) in b.2.cells.iter().enumerate() {
                let mut sign = 0.0;
                sign += f64::from(same(cell.to_m, other.to_m)) + f64::from(same(cell.from_m, other.from_m));
                sign -= f64::from(same(cell.to_m, other.from_m)) + f64::from(same(cell.from_m, other.to_m));
                v[(a.1 + p, b.1 + q)] += sign * node_j2;
            }
        }
    }
}

/// Minus log posterior of ln q: the pooled likelihood and METHOD's prior.
struct GustCost<'a>(&'a Pool<'a>);

impl CostFunction for GustCost<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, log_q: &f64) -> Result<f64, argmin::core::Error> {
        let off = (log_q - GUST_Q_MEDIAN_M2_S.ln()) / GUST_Q_LOG_SD;
        let likelihood = self.0.log_likelihood(log_q.exp()).unwrap_or(f64::MIN);
        Ok(0.5 * off * off - likelihood)
    }
}

/// The prior's median where the search fails.
fn search_gust_q(pool: &Pool) -> f64 {
    // Three prior spreads each way.
    let middle = GUST_Q_MEDIAN_M2_S.ln();
    let (low, high) = (middle - 3.0 * GUST_Q_LOG_SD, middle + 3.0 * GUST_Q_LOG_SD);
    let solver = BrentOpt::new(low, high).set_tolerance(1e-3, 1e-3);
    Executor::new(GustCost(pool), solver)
        .configure(|state| state.param(middle).max_iters(40))
        .run()
        .ok()
        .and_then(|result| result.state.best_param)
        .filter(|log_q| log_q.is_finite())
        .map_or(GUST_Q_MEDIAN_M2_S, f64::exp)
}

#[cfg(test)]
#[path = "rolling_tests.rs"]
mod tests;
