//! The whole day in one estimate (docs/method.md): all passes share the unknown climb, set-ups are log ratios,
//! the wind wanders from pass to pass, and what is known beforehand counts as much as it is sure.

mod answer;
pub mod contribution;
mod day_model;
mod draws;
mod expected;
pub mod explore;
pub mod layout;
pub(super) mod lowest;
pub mod prior;
mod settle;
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
use super::cells::{PassRide, Shift};
use super::comparison::{Comparison, Spread};
use super::disturbed::{Disturbance, disturbances};
use super::one_pass::SPEED_STANDARD_UNCERTAINTY_M_S;
use super::plain::Day;
use super::rolling::Rolling;
use crate::course::Profile;
use answer::answer;
#[cfg(test)]
use day_model::UNKNOWN_CLIMB_M;
pub use day_model::{BAROMETER_DRIFT_M_S, model};
pub use expected::{Truth, expected, expected_moved};
use explore::{Ended, Told, explore};
use nalgebra::{DMatrix, DVector};
use prior::Hyper;
pub use settle::{Settled, settle};
use system::{LeftOut, Model, Point};

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
    /// The same of the wind across it.
    pub crosswind_standard_uncertainty_m_s: f64,
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
    let disturbed = if told.undisturbed || !speeds_are_fine(day) {
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

/// Errors of a speed worked out from positions last for seconds, as disturbances do: of eight passes one would have a
/// false one (100 simulated days).
fn speeds_are_fine(day: &Day) -> bool {
    let coarse = |ride: &PassRide| ride.speed_standard_uncertainty_m_s > 2.0 * SPEED_STANDARD_UNCERTAINTY_M_S;
    !day.rides.iter().any(coarse)
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
        moved_about(day, &model, self.centre.point.clone(), &self.centre.hyper)
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

    /// `count` draws of the quantities in `drags`, 2 S each, by a fixed seed; `None` where there is no distribution.
    pub fn draws(&self, count: usize) -> Option<Vec<Vec<f64>>> {
        const SEED: u64 = 3;
        let all: Vec<usize> = (0..self.drags.first()?.mean.len()).collect();
        draws::draws(&self.drags, &all, count, SEED)
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

/// What `drags` says of a model that was shifted a little, from a point near it.
fn moved_about(day: &Day, model: &Model, mut point: Point, hyper: &Hyper) -> Option<Said> {
    // Steps of Gauss and Newton halve the digits that are missing: two are plenty for a small shift.
    for _ in 0..2 {
        let pooled = model.pool(&point, hyper.gust_q)?;
        point = model.solve(&point, &pooled, hyper)?.point;
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
