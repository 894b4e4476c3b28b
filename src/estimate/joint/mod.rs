//! The whole day in one estimate (docs/method.md): all passes share the unknown climb, set-ups are log ratios,
//! the wind wanders from pass to pass, and what is known beforehand counts as much as it is sure.

pub mod contribution;
pub mod explore;
pub mod layout;
mod lowest;
pub mod prior;
pub mod system;

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

use super::cells::Shift;
use super::comparison::{Comparison, Spread};
use super::plain::Day;
use super::rolling::Rolling;
use crate::course::Profile;
use crate::test_day::Shape;
use contribution::Contribution;
use explore::{Ended, Node, Told, explore, likeliest_gusts};
use layout::{LOG_CDA, Layout};
use nalgebra::{DMatrix, DVector};
use prior::Hyper;
use system::{Model, Point};

/// Steps of Gauss and Newton at most; four are usual.
const MOST_STEPS: usize = 12;
/// Converged when no log drag area and no ratio moves by more.
const STILL: f64 = 1e-6;
/// Without a profile a road may climb by this over a cell.
const UNKNOWN_CLIMB_M: f64 = 3.0;
/// Weather moves a barometer by about 0.35 m in 2.5 min at 1 hPa/h (METHOD 3), and it walks besides.
const BAROMETER_DRIFT_M_S: f64 = 0.35 / 150.0;

/// What the day says, as a mixture over the strengths that it allows.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// Log drag area of each set-up: weight, mean and covariance, S and S × S. NaN for one that was not ridden.
    pub drags: Vec<Believed>,
    /// Weighted means of the strengths.
    pub strengths: Strengths,
    /// Wind of each pass in all, east and north, with its standard uncertainty each way, m/s.
    pub wind: Vec<[(f64, f64); 2]>,
    /// Each pass's own log drag area as the day leaves it, with its standard uncertainty.
    pub log_cda: Vec<(f64, f64)>,
    pub ended: Ended,
    pub steps: usize,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Believed {
    pub weight: f64,
    pub mean: DVector<f64>,
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

/// `None` without a usable pass, or where the numbers have no factor at all.
pub fn joint(
    day: &Day,
    profile: Option<&Profile>,
    rolling: &Rolling,
    shift: &Shift,
    told: &Told,
) -> Option<Joint> {
    let model = model(day, profile, rolling, shift)?;
    let (point, log_gust_q, ended, steps) = settle(&model, told)?;
    let nodes = explore(&model, &point, log_gust_q, told);
    answer(&model, day.setups.len(), &nodes, ended, steps)
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
        drift_share: 1.0,
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

/// Gauss–Newton to the likeliest point, with the gusts' strength found on the way.
pub fn settle(model: &Model, told: &Told) -> Option<(Point, f64, Ended, usize)> {
    let mut hyper = Hyper::medians();
    if let Some(sd) = told.wander_sd_m_s {
        hyper.wander = sd.ln();
    }
    if let Some(memory) = told.wander_memory_s {
        hyper.memory = memory.ln();
    }
    let mut point = model.prior_mean(hyper.gust_q);
    point[LOG_CDA] = rough_log_cda(model);
    let mut ended = Ended::NotConverged;
    let mut steps = 0;
    let mut searched = false;
    while steps < MOST_STEPS {
        steps += 1;
        let pooled = model.pool(&point, hyper.gust_q)?;
        let next = model.solve(&point, &pooled, &hyper)?.point;
        let moved = movement(model, &point, &next);
        point = next;
        if !moved.is_finite() {
            return None;
        }
        if !searched && moved < 0.02 {
            (hyper.gust_q, ended) = likeliest_gusts(model, &point, hyper, told);
            searched = true;
        } else if searched && moved < STILL {
            return Some((point, hyper.gust_q, ended, steps));
        }
    }
    if !searched {
        (hyper.gust_q, _) = likeliest_gusts(model, &point, hyper, told);
    }
    Some((point, hyper.gust_q, Ended::NotConverged, steps))
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

fn answer(model: &Model, setups: usize, nodes: &[Node], ended: Ended, steps: usize) -> Option<Joint> {
    if nodes.is_empty() {
        return None;
    }
    let layout = &model.layout;
    let mut functions = DMatrix::zeros(layout.all(), setups);
    for s in 0..setups {
        functions[(LOG_CDA, s)] = 1.0;
        if let Some(place) = layout.drag[s] {
            functions[(place, s)] = 1.0;
        }
    }
    let drags = nodes
        .iter()
        .map(|node| Believed {
            weight: node.weight,
            mean: functions.tr_mul(&node.solved.point),
            covariance: node.solved.covariance(&functions),
        })
        .collect();
    let mean = |value: fn(&Hyper) -> f64| {
        nodes
            .iter()
            .map(|n| n.weight * value(&n.hyper))
            .sum::<f64>()
            .exp()
    };
    Some(Joint {
        drags,
        strengths: Strengths {
            wander_sd_m_s: mean(|h| h.wander),
            wander_memory_s: mean(|h| h.memory),
            gust_q_m2_s: mean(|h| h.gust_q),
            block_sd: mean(|h| h.block),
            pass_sd: mean(|h| h.pass),
        },
        wind: Vec::new(),
        log_cda: Vec::new(),
        ended,
        steps,
    })
}

impl Joint {
    /// Logarithm of a set-up's drag area; `None` where the numbers failed.
    pub fn log_cda(&self, setup: usize) -> Option<(f64, Spread)> {
        self.linear(&[(setup, 1.0)])
    }

    /// A sum of log drag areas, each with its factor.
    fn linear(&self, factors: &[(usize, f64)]) -> Option<(f64, Spread)> {
        let normals: Vec<(f64, f64, f64)> = self
            .drags
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

    /// The log ratio of two set-ups. `common`: standard uncertainty that shared inputs leave in it.
    pub fn compare(
        &self,
        setup: usize,
        baseline: usize,
        common: f64,
        blocks: [usize; 2],
    ) -> Option<Comparison> {
        let (log_ratio, spread) = self.linear(&[(setup, 1.0), (baseline, -1.0)])?;
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

    /// Chances of being the lowest, in the order given, by draws from the mixture with a fixed seed.
    pub fn chance_of_lowest(&self, setups: &[usize]) -> Vec<f64> {
        lowest::chances(&self.drags, setups)
    }
}
