//! What a whole day says of rolling resistance and of gustiness: all passes in one dense account.

use super::cells::{Account, PassRide, Shift, accounts, rig};
use super::least_squares::gls;
use super::one_pass::{GUST_Q_LOG_SD, GUST_Q_MEDIAN_M2_S, covariance};
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
    /// Between CdA and Crr in the day's account without the prior; near −1: not told apart.
    pub correlation: Option<f64>,
    /// Gust strength that the left-over energy shows, m²/s.
    pub gust_q_m2_s: f64,
    /// How the search for it ended.
    pub ended: Ended,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    Converged,
    AtBound,
    /// The search failed; the prior's median stands.
    PriorOnly,
}

/// A day's passes with their accounts, as the pooled fit needs them.
struct Pool<'a> {
    rides: &'a [PassRide],
    accounts: Vec<Vec<Account>>,
    effective_mass_kg: Vec<f64>,
    setups: usize,
    cda_m2: f64,
    /// Of a node's height in the shared profile, common to every pass.
    profile_sd_m: f64,
    prior: Measured,
}

/// `None` without a single usable pass.
pub fn rolling(rides: &[PassRide], setups: &[Setup], course_length_m: f64, profile_sd_m: f64) -> Option<Rolling> {
    let neutral = Shift::default();
    let all: Vec<Vec<Account>> =
        rides.iter().map(|r| accounts(r, &setups[r.setup], course_length_m, &neutral)).collect();
    let prior = setups.first()?.crr;
    let pool = Pool {
        rides,
        cda_m2: rough_cda_m2(rides, &all, setups)?,
        accounts: all,
        effective_mass_kg: rides.iter().map(|r| rig(&setups[r.setup], &neutral).effective_mass_kg()).collect(),
        setups: setups.len(),
        profile_sd_m,
        prior,
    };
    let (gust_q_m2_s, ended) = search_gust_q(&pool, setups);
    let free = pool.fit(setups, gust_q_m2_s, false);
    let with_prior = pool.fit(setups, gust_q_m2_s, true)?;
    let rides_alone = free.as_ref().map(|f| (f.shift, f.standard_uncertainty));
    let prior_sd = prior.standard_uncertainty;
    let held = with_prior.standard_uncertainty > CLEARLY_TOLD_APART * prior_sd;
    Some(Rolling {
        shift: if held { 0.0 } else { with_prior.shift },
        standard_uncertainty: if held { prior_sd } else { with_prior.standard_uncertainty },
        held,
        rides_alone,
        correlation: free.map(|f| f.correlation),
        gust_q_m2_s,
        ended,
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

struct PooledFit {
    shift: f64,
    standard_uncertainty: f64,
    correlation: f64,
    log_likelihood: f64,
}

impl Pool<'_> {
    /// Unknowns: one CdA for each set-up that was ridden, and the shift of Crr.
    fn fit(&self, setups: &[Setup], gust_q: f64, with_prior: bool) -> Option<PooledFit> {
        let cells: usize = self.accounts.iter().map(Vec::len).sum();
        let rows = cells + usize::from(with_prior);
        let ridden: Vec<usize> = (0..self.setups).filter(|s| self.rides.iter().any(|r| r.setup == *s)).collect();
        let mut design = DMatrix::zeros(rows, ridden.len() + 1);
        let mut y = DVector::zeros(rows);
        let mut row = 0;
        for (ride, accounts) in self.rides.iter().zip(&self.accounts) {
            let column = ridden.iter().position(|s| *s == ride.setup)?;
            for account in accounts {
                design[(row, column)] = account.air_j_m2;
                design[(row, ridden.len())] = account.rolling_j;
                y[row] = account.energy_j - setups[ride.setup].crr.value * account.rolling_j;
                row += 1;
            }
        }
        let mut v = self.noise(rows, gust_q);
        if with_prior {
            design[(cells, ridden.len())] = 1.0;
            v[(cells, cells)] = self.prior.standard_uncertainty.powi(2);
        }
        let fit = gls(&design, &y, &v)?;
        let last = ridden.len();
        let sd = fit.covariance[(last, last)].sqrt();
        Some(PooledFit {
            shift: fit.parameters[last],
            standard_uncertainty: sd,
            correlation: fit.covariance[(0, last)] / (fit.covariance[(0, 0)].sqrt() * sd),
            log_likelihood: fit.log_likelihood,
        })
    }

    /// Noise within passes, the wind's wander from pass to pass, and the shared profile's errors.
    fn noise(&self, rows: usize, gust_q: f64) -> DMatrix<f64> {
        let mut v = DMatrix::zeros(rows, rows);
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
                    v[(at + a, at + b)] += wander.powi(2) * accounts[a].air_j_m2 * accounts[b].air_j_m2;
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
    fn shared_profile(&self, v: &mut DMatrix<f64>, a: (usize, usize, &PassRide), b: (usize, usize, &PassRide)) {
        let node_j2 = self.profile_sd_m.powi(2) * self.accounts[a.0][0].weight_n * self.accounts[b.0][0].weight_n;
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
struct GustCost<'a>(&'a Pool<'a>, &'a [Setup]);

impl CostFunction for GustCost<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, log_q: &f64) -> Result<f64, argmin::core::Error> {
        let off = (log_q - GUST_Q_MEDIAN_M2_S.ln()) / GUST_Q_LOG_SD;
        let likelihood = self.0.fit(self.1, log_q.exp(), true).map_or(f64::MIN, |f| f.log_likelihood);
        Ok(0.5 * off * off - likelihood)
    }
}

fn search_gust_q(pool: &Pool, setups: &[Setup]) -> (f64, Ended) {
    // Three prior spreads each way.
    let middle = GUST_Q_MEDIAN_M2_S.ln();
    let (low, high) = (middle - 3.0 * GUST_Q_LOG_SD, middle + 3.0 * GUST_Q_LOG_SD);
    let solver = BrentOpt::new(low, high).set_tolerance(1e-3, 1e-3);
    let found = Executor::new(GustCost(pool, setups), solver)
        .configure(|state| state.param(middle).max_iters(40))
        .run()
        .ok()
        .and_then(|result| result.state.best_param);
    match found {
        Some(log_q) if log_q.is_finite() => {
            let ended = if log_q - low < 0.05 || high - log_q < 0.05 { Ended::AtBound } else { Ended::Converged };
            (log_q.exp(), ended)
        }
        _ => (GUST_Q_MEDIAN_M2_S, Ended::PriorOnly),
    }
}
