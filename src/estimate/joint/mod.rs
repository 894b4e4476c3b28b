//! The whole day in one estimate (docs/method.md): all passes share the unknown climb, set-ups are log ratios,
//! the wind wanders from pass to pass, and what is known beforehand counts as much as it is sure.

mod answer;
pub mod contribution;
pub mod explore;
pub mod layout;
pub(super) mod lowest;
pub mod prior;
pub mod system;
pub(super) mod together;

#[cfg(test)]
mod any_day_tests;
#[cfg(test)]
mod made_days;
#[cfg(test)]
mod slopes_tests;
#[cfg(test)]
mod twin;
#[cfg(test)]
mod twin_tests;
#[cfg(test)]
mod variance_tests;

use super::budget::Said;
use super::cells::Shift;
use super::comparison::{Comparison, Spread};
use super::disturbed::{Disturbance, disturbances};
use super::plain::Day;
use super::rolling::Rolling;
use crate::course::Profile;
use crate::test_day::Shape;
use answer::answer;
use contribution::Contribution;
use explore::{Ended, Told, explore, likeliest_gusts};
use layout::{LOG_CDA, Layout};
use nalgebra::{DMatrix, DVector};
use prior::Hyper;
use system::{LeftOut, Model, Point};

/// Steps of Gauss and Newton at most; four to eight are usual. One way, where the mean wind and the drag area pull at
/// each other, a step takes off three quarters of what is missing: up to 20 steps were seen (regression).
const MOST_STEPS: usize = 40;
/// Converged when no log drag area and no ratio moves by more.
const STILL: f64 = 1e-6;
/// The gusts' strength is searched once the steps are smaller than this.
const SETTLED_ENOUGH: f64 = 0.02;
/// Without a profile a road may climb by this over a cell.
const UNKNOWN_CLIMB_M: f64 = 3.0;
/// Weather moves a barometer by about 0.35 m in 2.5 min at 1 hPa/h (METHOD 3), and it walks besides.
pub const BAROMETER_DRIFT_M_S: f64 = 0.35 / 150.0;

/// What the day says, as a mixture over the strengths that it allows.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// Under each set of strengths: log drag area of each set-up (one that was not ridden stands at the
    /// baseline's), and after them its log rolling resistance over what was assumed, zero unless it differs in that.
    pub drags: Vec<Believed>,
    /// Weighted means of their logarithms.
    pub strengths: Strengths,
    /// In the order of the day's rides.
    pub passes: Vec<PassJudged>,
    /// What of the answer's variance each unknown makes.
    pub inside: Vec<InsideLine>,
    /// Of the mean square that gusts and an unseen crosswind add, m²/s².
    pub gust_square_standard_uncertainty_m2_s2: f64,
    pub ended: Ended,
    /// Steps of Gauss and Newton.
    pub steps: usize,
    centre: Centre,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Believed {
    pub weight: f64,
    /// 2 S.
    pub mean: DVector<f64>,
    /// 2 S × 2 S.
    pub covariance: DMatrix<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strengths {
    pub wander_sd_m_s: f64,
    pub wander_memory_s: f64,
    pub gust_q_m2_s: f64,
    pub block_sd: f64,
    pub pass_sd: f64,
}

/// One pass as all of them together see it.
#[derive(Debug, Clone, PartialEq)]
pub struct PassJudged {
    /// Mean wind during the pass, what was known included: east and north, each with its standard uncertainty, m/s.
    pub wind_m_s: [(f64, f64); 2],
    /// Of the wind along the road, root mean square over the pass.
    pub headwind_standard_uncertainty_m_s: f64,
    /// Its log drag area less what the other passes make it, and that over its standard deviation.
    pub left_out: LeftOut,
    /// What leaving it out adds to the log drag area of each set-up.
    pub without: Vec<f64>,
    pub disturbances: Vec<Disturbance>,
}

/// Drag area and rolling resistance with the share that each has in what is compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighed {
    pub drag: f64,
    pub rolling: f64,
}

/// Standard deviation that one kind of unknown makes of the answer: of each set-up's log drag area, and of its log
/// ratio to the first.
#[derive(Debug, Clone, PartialEq)]
pub struct InsideLine {
    pub input: &'static str,
    /// S and S.
    pub log_cda: Vec<f64>,
    pub log_ratio: Vec<f64>,
}

/// Where the day was linearised, and the strengths in the middle of those that it allows.
#[derive(Debug, Clone, PartialEq)]
struct Centre {
    point: Point,
    hyper: Hyper,
}

/// `None` without a usable pass, or where the numbers have no factor at all.
pub fn joint(day: &Day, profile: Option<&Profile>, rolling: &Rolling, told: &Told) -> Option<Joint> {
    let mut model = model(day, profile, rolling, &Shift::default())?;
    let mut settled = settle(&model, told, None)?;
    let disturbed = if told.undisturbed {
        vec![Vec::new(); day.rides.len()]
    } else {
        disturbed(day, rolling, &model, &settled)
    };
    if disturbed.iter().any(|pass| !pass.is_empty()) {
        leave_out(&mut model, &disturbed);
        settled = settle(&model, told, Some(&settled))?;
    }
    let nodes = explore(&model, &settled.point, settled.log_gust_q, told);
    answer(day, &model, &settled, &nodes, disturbed)
}

fn disturbed(day: &Day, rolling: &Rolling, model: &Model, settled: &Settled) -> Vec<Vec<Disturbance>> {
    let cda_m2: Vec<f64> = (0..day.rides.len())
        .map(|pass| model.log_cda(&settled.point, pass).exp())
        .collect();
    disturbances(day, &cda_m2, rolling.shift, settled.log_gust_q.exp())
}

fn leave_out(model: &mut Model, disturbed: &[Vec<Disturbance>]) {
    for (contribution, all) in model.contributions.iter_mut().zip(disturbed) {
        for one in all {
            contribution.leave_out(one);
        }
    }
}

/// `None` without a usable pass, or where the shared heights have no factor.
pub fn model(day: &Day, profile: Option<&Profile>, rolling: &Rolling, shift: &Shift) -> Option<Model> {
    if day.rides.is_empty() {
        return None;
    }
    let contributions: Vec<Contribution> = day
        .rides
        .iter()
        .map(|ride| {
            Contribution::of(
                ride,
                &day.setups[ride.setup],
                day.course_length_m,
                rolling.shift,
                shift,
            )
        })
        .collect();
    let count = contributions.len() as f64;
    let layout = Layout::of(
        &contributions,
        day.setups,
        (day.shape == Shape::Loop).then_some(day.course_length_m),
    );
    let wind = contributions
        .iter()
        .map(|c| c.wind_standard_uncertainty_m_s)
        .sum::<f64>()
        / count;
    Some(Model {
        profile_precision: profile_precision(&layout, &contributions, profile)?,
        wind_standard_uncertainty_m_s: wind,
        cross_square_m2_s2: 0.5 * unseen_cross_share(&contributions) * wind * wind,
        contributions,
        layout,
    })
}

/// How much of the wind's two directions the passes never meet head on: 1 on a straight road, 0 on a round one.
fn unseen_cross_share(contributions: &[Contribution]) -> f64 {
    let mut m = nalgebra::Matrix2::zeros();
    for c in contributions {
        for air in &c.air {
            let way = nalgebra::Vector2::new(air.slope[0], air.slope[1]);
            m += way * way.transpose();
        }
    }
    let eigen = m.symmetric_eigenvalues();
    let (small, large) = (eigen[0].min(eigen[1]), eigen[0].max(eigen[1]));
    // A tenth of the pull along the road tells the wind across it well enough.
    if large > 0.0 {
        (1.0 - 10.0 * small / large).clamp(0.0, 1.0)
    } else {
        1.0
    }
}

/// Of the errors of the shared profile at its free knots.
fn profile_precision(
    layout: &Layout,
    contributions: &[Contribution],
    profile: Option<&Profile>,
) -> Option<DMatrix<f64>> {
    let free = layout.free_knots();
    let count = contributions.len() as f64;
    let seconds = contributions.iter().map(|c| c.when.duration_s).sum::<f64>() / count;
    let (node_m2, walk_m2) = match profile {
        Some(p) => (
            0.5 * p.standard_uncertainty_m.powi(2),
            (BAROMETER_DRIFT_M_S * seconds).powi(2) / count / (layout.knots_m.len() - 1) as f64,
        ),
        None => (0.0, UNKNOWN_CLIMB_M.powi(2)),
    };
    // Error at a knot less that at the first: its own noise, that of the first, and what has walked up to it.
    let mut covariance = DMatrix::from_fn(free, free, |i, j| {
        let own = if i == j { node_m2 } else { 0.0 };
        own + node_m2 + walk_m2 * (i.min(j) + 1) as f64
    });
    if layout.closed {
        // Given that the walk comes back to where it began.
        let last = walk_m2 * (free + 1) as f64;
        for i in 0..free {
            for j in 0..free {
                covariance[(i, j)] -=
                    walk_m2 * walk_m2 * ((i + 1) * (j + 1)) as f64 / last.max(f64::MIN_POSITIVE);
            }
        }
    }
    if free == 0 {
        return Some(DMatrix::zeros(0, 0));
    }
    Some(nalgebra::Cholesky::new(covariance)?.inverse())
}

/// The likeliest point.
pub struct Settled {
    pub point: Point,
    pub log_gust_q: f64,
    pub ended: Ended,
    pub steps: usize,
}

/// Gauss–Newton to the likeliest point, with the gusts' strength found on the way. `from`: a point near it.
pub fn settle(model: &Model, told: &Told, from: Option<&Settled>) -> Option<Settled> {
    let mut hyper = Hyper::medians();
    if let Some(sd) = told.wander_sd_m_s {
        hyper.wander = sd.ln();
    }
    if let Some(memory) = told.wander_memory_s {
        hyper.memory = memory.ln();
    }
    let mut point = match from {
        Some(near) => {
            hyper.gust_q = near.log_gust_q;
            near.point.clone()
        }
        None => {
            let mut point = model.prior_mean(hyper.gust_q);
            point[LOG_CDA] = rough_log_cda(model);
            point
        }
    };
    let mut found = None;
    for steps in 1..=MOST_STEPS {
        let pooled = model.pool(&point, hyper.gust_q)?;
        let next = model.solve(&point, &pooled, &hyper)?.point;
        let moved = movement(model, &point, &next);
        point = next;
        if !moved.is_finite() {
            return None;
        }
        match found {
            None if moved < SETTLED_ENOUGH || steps == MOST_STEPS => {
                let (log_gust_q, ended) = likeliest_gusts(model, &point, hyper, told);
                hyper.gust_q = log_gust_q;
                found = Some(ended);
            }
            Some(ended) if moved < STILL => {
                return Some(Settled {
                    point,
                    log_gust_q: hyper.gust_q,
                    ended,
                    steps,
                });
            }
            _ => {}
        }
    }
    Some(Settled {
        point,
        log_gust_q: hyper.gust_q,
        ended: Ended::NotConverged,
        steps: MOST_STEPS,
    })
}

/// From the whole of every pass, in the wind as it is known.
fn rough_log_cda(model: &Model) -> f64 {
    let (mut energy, mut air) = (0.0, 0.0);
    for c in &model.contributions {
        energy += c.energy_j.iter().sum::<f64>();
        air += c.air.iter().map(|a| a.still).sum::<f64>();
    }
    // Three spreads of the prior each way.
    (energy / air).clamp(0.1, 0.9).ln()
}

fn movement(model: &Model, from: &Point, to: &Point) -> f64 {
    (0..model.contributions.len())
        .map(|pass| (model.log_cda(to, pass) - model.log_cda(from, pass)).abs())
        .fold(0.0, f64::max)
}

impl Joint {
    /// Logarithm of a set-up's drag area; `None` where the numbers failed.
    pub fn log_cda(&self, setup: usize) -> Option<(f64, Spread)> {
        self.linear(&[(setup, 1.0)])
    }

    /// Log rolling resistance of a set-up over what was assumed; certain, and 0, unless it differs in that.
    pub fn log_crr(&self, setup: usize) -> Option<(f64, Spread)> {
        let setups = self.drags.first()?.mean.len() / 2;
        self.linear(&[(setups + setup, 1.0)])
    }

    /// A sum of the quantities in `drags`, each with its factor.
    fn linear(&self, factors: &[(usize, f64)]) -> Option<(f64, Spread)> {
        linear(&self.drags, factors)
    }

    /// The log ratio of two set-ups in what `of` weighs. `common`: standard uncertainty that shared inputs leave in it.
    pub fn compare(
        &self,
        [setup, baseline]: [usize; 2],
        of: Weighed,
        common: f64,
        blocks: [usize; 2],
    ) -> Option<Comparison> {
        let (log_ratio, spread) = self.linear(&self.ratio([setup, baseline], of)?)?;
        let share = 1.0 / blocks[0] as f64 + 1.0 / blocks[1] as f64;
        Some(Comparison {
            setup,
            baseline,
            log_ratio,
            block_standard_deviation: Some(spread.standard_uncertainty() / share.sqrt()),
            spread: Some(spread.with(common)),
            blocks,
        })
    }

    /// What `drags` says with the inputs that all passes share shifted, at the strengths in the middle.
    pub fn moved(
        &self,
        day: &Day,
        profile: Option<&Profile>,
        rolling: &Rolling,
        shift: &Shift,
    ) -> Option<Said> {
        let mut model = model(day, profile, rolling, shift)?;
        for (contribution, pass) in model.contributions.iter_mut().zip(&self.passes) {
            for one in &pass.disturbances {
                contribution.leave_out(one);
            }
        }
        let mut point = self.centre.point.clone();
        // Steps of Gauss and Newton halve the digits that are missing: two are plenty for a small shift.
        for _ in 0..2 {
            let pooled = model.pool(&point, self.centre.hyper.gust_q)?;
            point = model.solve(&point, &pooled, &self.centre.hyper)?.point;
        }
        let setups = day.setups.len();
        let told = answer::told_of_setups(&model.layout, setups).tr_mul(&point);
        let ridden = |s: usize| day.rides.iter().any(|ride| ride.setup == s);
        Some(Said {
            log_cda: (0..setups)
                .map(|s| if ridden(s) { told[s] } else { f64::NAN })
                .collect(),
            log_crr: (0..setups).map(|s| told[setups + s]).collect(),
        })
    }

    /// Correlation between a set-up's log ratios of drag area and of rolling resistance; `None` unless both are asked.
    pub fn separation(&self, setup: usize) -> Option<f64> {
        let setups = self.drags.first()?.mean.len() / 2;
        let ratio = |places: [(usize, f64); 2]| self.linear(&places).map(|(_, s)| s.standard_uncertainty());
        let drag = ratio([(setup, 1.0), (0, -1.0)])?;
        let rolling = ratio([(setups + setup, 1.0), (setups, -1.0)])?;
        let sum = self
            .linear(&[(setup, 1.0), (0, -1.0), (setups + setup, 1.0), (setups, -1.0)])?
            .1;
        let shared = 0.5 * (sum.standard_uncertainty().powi(2) - drag * drag - rolling * rolling);
        (drag > 1e-9 && rolling > 1e-9).then(|| shared / (drag * rolling))
    }

    /// Chances of being the lowest, in the order given, by draws from the mixture with a fixed seed.
    pub fn chance_of_lowest(&self, setups: &[usize]) -> Vec<f64> {
        lowest::chances(&self.drags, setups)
    }

    /// The level at which the interval of each pair must be given so that all of them hold together at `level`.
    /// `pairs`: set-up, baseline, and what is compared. `shared`: what one standard uncertainty of each common
    /// input does to the quantities of `drags`, 2 S each. `None` where there is no distribution.
    pub fn level_for_each(
        &self,
        pairs: &[([usize; 2], Weighed)],
        shared: &[Vec<f64>],
        level: f64,
    ) -> Option<f64> {
        let factors: Option<Vec<_>> = pairs.iter().map(|(pair, of)| self.ratio(*pair, *of)).collect();
        together::level_for_each(&self.drags, &factors?, shared, level)
    }

    /// The log ratio of two set-ups in what `of` weighs, as factors of the quantities in `drags`.
    fn ratio(&self, [setup, baseline]: [usize; 2], of: Weighed) -> Option<[(usize, f64); 4]> {
        let setups = self.drags.first()?.mean.len() / 2;
        Some([
            (setup, of.drag),
            (baseline, -of.drag),
            (setups + setup, of.rolling),
            (setups + baseline, -of.rolling),
        ])
    }
}

/// A sum of what is believed, each with its factor.
pub(super) fn linear(all: &[Believed], factors: &[(usize, f64)]) -> Option<(f64, Spread)> {
    let normals: Vec<(f64, f64, f64)> = all
        .iter()
        .map(|b| {
            let mean = factors.iter().map(|(s, f)| f * b.mean[*s]).sum();
            let variance: f64 = factors
                .iter()
                .flat_map(|(i, f)| factors.iter().map(move |(j, g)| f * g * b.covariance[(*i, *j)]))
                .sum();
            (b.weight, mean, variance.max(0.0))
        })
        .collect();
    Spread::mixture(&normals)
}
