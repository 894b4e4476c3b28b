//! What a whole day says of rolling resistance and of gustiness: all passes in one dense account.

use super::cells::{Account, PassRide, Shift, accounts, rig, surroundings};
use super::least_squares::gls;
use super::one_pass::{GUST_Q_LOG_SD, GUST_Q_MEDIAN_M2_S, covariance};
use crate::physics::{Piece, RelativeWind, Rig, ride_road};
use crate::test_day::Setup;
use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentOpt;
use nalgebra::{Cholesky, DMatrix, DVector};

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
    cda_m2: f64,
    /// Of a node's height in the shared profile, common to every pass.
    profile_sd_m: f64,
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
    let pool = Pool {
        rides,
        cda_m2: rough_cda_m2(rides, &all, setups)?,
        accounts: all,
        effective_mass_kg: rides
            .iter()
            .map(|r| rig(&setups[r.setup], &neutral).effective_mass_kg())
            .collect(),
        profile_sd_m,
    };
    let (gust_q_m2_s, ended) = search_gust_q(&pool, setups);
    let alone = pool.alone(setups, gust_q_m2_s);
    let prior_sd = prior.standard_uncertainty;
    // What is known before and what the rides say, each by its precision.
    let (shift, standard_uncertainty) = match alone {
        Some(Alone {
            shift,
            standard_uncertainty: own,
            ..
        }) if prior_sd > 0.0 => {
            let (before, seen) = (prior_sd.powi(-2), own.powi(-2));
            (shift * seen / (before + seen), (before + seen).sqrt().recip())
        }
        _ => (0.0, prior_sd),
    };
    let held = standard_uncertainty > CLEARLY_TOLD_APART * prior_sd || prior_sd == 0.0;
    Some(Rolling {
        shift: if held { 0.0 } else { shift },
        standard_uncertainty: if held { prior_sd } else { standard_uncertainty },
        held,
        rides_alone: alone.map(|a| (a.shift, a.standard_uncertainty)),
        correlation: alone.map(|a| a.correlation),
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

/// Rolling resistance from the rides alone.
#[derive(Debug, Clone, Copy)]
struct Alone {
    shift: f64,
    standard_uncertainty: f64,
    correlation: f64,
}

impl Pool<'_> {
    fn rows(&self) -> usize {
        self.accounts.iter().map(Vec::len).sum()
    }

    /// Left sides with Crr at its prior, and one column of air for each set-up that was ridden.
    fn system(&self, setups: &[Setup], accounts: &[Vec<Account>]) -> (DMatrix<f64>, DVector<f64>) {
        let ridden: Vec<usize> = (0..setups.len())
            .filter(|s| self.rides.iter().any(|r| r.setup == *s))
            .collect();
        let mut design = DMatrix::zeros(self.rows(), ridden.len() + 1);
        let mut y = DVector::zeros(self.rows());
        let mut row = 0;
        for (ride, accounts) in self.rides.iter().zip(accounts) {
            let column = ridden.iter().position(|s| *s == ride.setup).unwrap_or(0);
            for account in accounts {
                design[(row, column)] = account.air_j_m2;
                design[(row, ridden.len())] = account.rolling_j;
                y[row] = account.energy_j - setups[ride.setup].crr.value * account.rolling_j;
                row += 1;
            }
        }
        (design, y)
    }

    /// Of the gusts' strength, with Crr at its prior.
    fn log_likelihood(&self, setups: &[Setup], gust_q: f64) -> Option<f64> {
        let (design, y) = self.system(setups, &self.accounts);
        let drag = design.columns(0, design.ncols() - 1).into_owned();
        Some(gls(&drag, &y, &self.noise(gust_q))?.log_likelihood)
    }

    /// CdA of each set-up and the shift of Crr, by instrumental variables.
    ///
    /// A head wind slows the rider and raises the drag at once, so slow cells have more drag than their speed
    /// says: least squares then sees rolling resistance, four times too much on an ordinary day. The
    /// instruments are the accounts at the speed that power and slope alone would give, which no wind moves.
    fn alone(&self, setups: &[Setup], gust_q: f64) -> Option<Alone> {
        let (design, y) = self.system(setups, &self.accounts);
        let expected: Vec<Vec<Account>> = self
            .rides
            .iter()
            .zip(&self.accounts)
            .map(|(r, a)| self.expected(r, a, setups))
            .collect();
        let (instruments, _) = self.system(setups, &expected);
        let lower = Cholesky::new(self.noise(gust_q))?.l();
        let white_design = lower.solve_lower_triangular(&design)?;
        let white_instruments = lower.solve_lower_triangular(&instruments)?;
        let white_y = lower.solve_lower_triangular(&y)?;
        // Columns of length one: air and rolling differ by orders of magnitude.
        let scale: Vec<f64> = white_design.column_iter().map(|c| c.norm()).collect();
        let scaled = |mut m: DMatrix<f64>| {
            m.column_iter_mut()
                .zip(&scale)
                .for_each(|(mut column, s)| column /= *s);
            m
        };
        let (x, z) = (scaled(white_design), scaled(white_instruments));
        let inverse = (z.transpose() * &x).try_inverse()?;
        let parameters = &inverse * z.transpose() * white_y;
        let covariance = &inverse * (z.transpose() * &z) * inverse.transpose();
        let last = scale.len() - 1;
        let sd = |i: usize| covariance[(i, i)].sqrt();
        let found = Alone {
            shift: parameters[last] / scale[last],
            standard_uncertainty: sd(last) / scale[last],
            correlation: covariance[(0, last)] / (sd(0) * sd(last)),
        };
        (found.shift.is_finite() && found.standard_uncertainty > 0.0 && found.correlation.is_finite())
            .then_some(found)
    }

    /// The accounts of a pass as they would be without wind: each cell ridden at the power it was ridden with.
    fn expected(&self, ride: &PassRide, accounts: &[Account], setups: &[Setup]) -> Vec<Account> {
        let shift = Shift::default();
        let rig = Rig {
            cda_m2: self.cda_m2,
            ..rig(&setups[ride.setup], &shift)
        };
        let around = surroundings(ride, &shift);
        let mut speed = ride.cells.first().map_or(0.0, |cell| cell.start_speed_m_s);
        let mut expected = Vec::with_capacity(accounts.len());
        for (cell, account) in ride.cells.iter().zip(accounts) {
            let piece = Piece {
                length_m: account.distance_m,
                gradient: cell.climb_m / account.distance_m,
                wind: RelativeWind::default(),
            };
            let power_w = account.crank_j / account.duration_s;
            let Some(ridden) = ride_road(&rig, &around, &[piece], power_w, speed) else {
                expected.push(*account);
                speed = cell.end_speed_m_s;
                continue;
            };
            let mean = account.distance_m / ridden.time_s;
            let air_j_m2 = 0.5 * around.air_density_kg_m3 * mean * mean * account.distance_m;
            expected.push(Account { air_j_m2, ..*account });
            speed = ridden.exit_speed_m_s;
        }
        expected
    }

    /// Noise within passes, the wind's wander from pass to pass, and the shared profile's errors.
    fn noise(&self, gust_q: f64) -> DMatrix<f64> {
        let rows = self.rows();
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
struct GustCost<'a>(&'a Pool<'a>, &'a [Setup]);

impl CostFunction for GustCost<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, log_q: &f64) -> Result<f64, argmin::core::Error> {
        let off = (log_q - GUST_Q_MEDIAN_M2_S.ln()) / GUST_Q_LOG_SD;
        let likelihood = self.0.log_likelihood(self.1, log_q.exp()).unwrap_or(f64::MIN);
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
            let ended = if log_q - low < 0.05 || high - log_q < 0.05 {
                Ended::AtBound
            } else {
                Ended::Converged
            };
            (log_q.exp(), ended)
        }
        _ => (GUST_Q_MEDIAN_M2_S, Ended::PriorOnly),
    }
}
