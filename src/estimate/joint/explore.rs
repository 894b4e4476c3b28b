//! Which strengths the day allows: points spread over them, each weighted by its evidence.

use super::prior::{HYPER_PRIOR, Hyper};
use super::system::{Model, Point, Pooled, Solved};
use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentOpt;
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, Normal};
use std::sync::Arc;

/// What is told from outside: strengths, instead of being integrated over, and that nothing was disturbed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Told {
    pub wander_sd_m_s: Option<f64>,
    pub wander_memory_s: Option<f64>,
    pub gust_q_m2_s: Option<f64>,
    pub block_sd: Option<f64>,
    pub pass_sd: Option<f64>,
    /// No disturbed stretch is looked for: for seeing what looking is worth.
    pub undisturbed: bool,
}

impl Told {
    /// Logarithms in the order of `Hyper`.
    pub(super) fn logs(&self) -> [Option<f64>; 5] {
        [
            self.wander_sd_m_s.map(f64::ln),
            self.wander_memory_s.map(f64::ln),
            self.gust_q_m2_s.map(f64::ln),
            self.block_sd.map(f64::ln),
            self.pass_sd.map(f64::ln),
        ]
    }
}

/// Gust strengths are taken at so many steps each way, spread like the rest: each costs summing up the day anew.
const GUST_STEPS: f64 = 6.0;
/// ... of this many of the proposal's standard deviations.
const GUST_STEP: f64 = 0.6;
/// Points in each of the two rounds.
const POINTS: usize = 48;

/// One set of strengths with what the day says under it.
pub struct Node {
    pub weight: f64,
    pub hyper: Hyper,
    pub solved: Solved,
    pub pooled: Arc<Pooled>,
}

/// How the search for the gusts' strength ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    Converged,
    AtBound,
    NotConverged,
}

/// How far the first points are spread about the likeliest gust strength: a variance is told by n values to √(2/n)
/// of itself, and they reach half as far again.
fn gust_spread(model: &Model) -> f64 {
    let cells: usize = model.contributions.iter().map(|c| c.cells()).sum();
    (1.5 * (2.0 / cells as f64).sqrt()).clamp(0.12, 0.8)
}

fn log_prior(hyper: &[f64; 5], told: &[Option<f64>; 5]) -> f64 {
    (0..5)
        .filter(|k| told[*k].is_none())
        .map(|k| {
            let (median, sd) = HYPER_PRIOR[k];
            normal_log(hyper[k], median.ln(), sd)
        })
        .sum()
}

fn normal_log(x: f64, mean: f64, sd: f64) -> f64 {
    -0.5 * ((x - mean) / sd).powi(2) - sd.ln()
}

/// Minus log posterior of the gusts' strength with the others at `at`.
struct GustCost<'a> {
    model: &'a Model,
    point: &'a Point,
    at: Hyper,
}

impl CostFunction for GustCost<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, log_q: &f64) -> Result<f64, argmin::core::Error> {
        let hyper = Hyper {
            gust_q: *log_q,
            ..self.at
        };
        let evidence = self
            .model
            .pool(self.point, *log_q)
            .and_then(|pooled| self.model.solve(self.point, &pooled, &hyper))
            .map_or(f64::MIN, |solved| solved.log_evidence);
        let (median, sd) = HYPER_PRIOR[2];
        Ok(-evidence - normal_log(*log_q, median.ln(), sd))
    }
}

/// The likeliest gust strength about a point.
pub fn likeliest_gusts(model: &Model, point: &Point, at: Hyper, told: &Told) -> (f64, Ended) {
    if let Some(q) = told.gust_q_m2_s {
        return (q.ln(), Ended::Converged);
    }
    let (median, sd) = HYPER_PRIOR[2];
    let (low, high) = (median.ln() - 3.5 * sd, median.ln() + 3.5 * sd);
    let cost = GustCost { model, point, at };
    let solver = BrentOpt::new(low, high).set_tolerance(1e-2, 1e-2);
    let found = Executor::new(cost, solver)
        .configure(|state| state.param(at.gust_q).max_iters(20))
        .run()
        .ok()
        .and_then(|result| result.state.best_param)
        .filter(|q| q.is_finite());
    match found {
        Some(q) if q - low < 0.05 || high - q < 0.05 => (q, Ended::AtBound),
        Some(q) => (q, Ended::Converged),
        None => (median.ln(), Ended::NotConverged),
    }
}

/// Normal proposal, independent in each logarithm.
#[derive(Clone, Copy)]
struct Proposal {
    mean: [f64; 5],
    sd: [f64; 5],
}

impl Proposal {
    fn log_density(&self, x: &[f64; 5], told: &[Option<f64>; 5]) -> f64 {
        (0..5)
            .filter(|k| told[*k].is_none())
            .map(|k| normal_log(x[k], self.mean[k], self.sd[k]))
            .sum()
    }
}

/// Points that fill five dimensions evenly: multiples of the powers of the number g with g⁶ = g + 1.
/// M. Roberts, 'The unreasonable effectiveness of quasirandom sequences', 2018 (from memory, M).
pub(super) fn even_point(index: usize, normal: &Normal) -> [f64; 5] {
    const G: f64 = 1.134_724_138_401_519_5;
    std::array::from_fn(|k| {
        let share = (0.5 + (index + 1) as f64 * G.powi(-(k as i32 + 1))).fract();
        normal.inverse_cdf(share.clamp(1e-6, 1.0 - 1e-6))
    })
}

/// Solves the day at points spread over the strengths. Two rounds: over what is known beforehand, then where
/// the first found the evidence; weights by the density of both together, so that neither round's luck counts.
pub fn explore(model: &Model, point: &Point, log_gust_q: f64, told: &Told) -> Vec<Node> {
    let logs = told.logs();
    let mut prior = Proposal {
        mean: HYPER_PRIOR.map(|(median, _)| median.ln()),
        sd: HYPER_PRIOR.map(|(_, sd)| sd),
    };
    (prior.mean[2], prior.sd[2]) = (log_gust_q, gust_spread(model));
    let mut pools: Vec<(i32, Option<Arc<Pooled>>)> = Vec::new();
    let mut first = round(model, point, &prior, &logs, &mut pools, log_gust_q, 0);
    weigh(&mut first, &logs, &[prior]);
    let second = narrowed(&first, &prior);
    let mut all = first;
    all.extend(round(
        model, point, &second, &logs, &mut pools, log_gust_q, POINTS,
    ));
    weigh(&mut all, &logs, &[prior, second]);
    // What weighs next to nothing only costs time further on.
    all.retain(|node| node.weight > 1e-6);
    all
}

fn round(
    model: &Model,
    point: &Point,
    proposal: &Proposal,
    told: &[Option<f64>; 5],
    pools: &mut Vec<(i32, Option<Arc<Pooled>>)>,
    log_gust_q: f64,
    from: usize,
) -> Vec<Node> {
    let normal = Normal::standard();
    let step = GUST_STEP * gust_spread(model);
    let points: Vec<(i32, Hyper)> = (from..from + POINTS)
        .map(|index| {
            let z = even_point(index, &normal);
            let mut x: [f64; 5] =
                std::array::from_fn(|k| told[k].unwrap_or(proposal.mean[k] + proposal.sd[k] * z[k]));
            let level = ((x[2] - log_gust_q) / step)
                .round()
                .clamp(-GUST_STEPS, GUST_STEPS);
            x[2] = log_gust_q + step * level;
            (level as i32, Hyper::from_array(x))
        })
        .collect();
    for (level, hyper) in &points {
        if !pools.iter().any(|(known, _)| known == level) {
            pools.push((*level, model.pool(point, hyper.gust_q).map(Arc::new)));
        }
    }
    let pools = &*pools;
    points
        .into_par_iter()
        .filter_map(|(level, hyper)| {
            let (_, pooled) = pools.iter().find(|(known, _)| *known == level)?;
            let pooled = pooled.clone()?;
            let solved = model.solve(point, &pooled, &hyper)?;
            Some(Node {
                weight: 0.0,
                hyper,
                solved,
                pooled,
            })
        })
        .collect()
}

/// Posterior over proposal, normalised.
fn weigh(nodes: &mut [Node], told: &[Option<f64>; 5], proposals: &[Proposal]) {
    let logs: Vec<f64> = nodes
        .iter()
        .map(|node| {
            let x = node.hyper.to_array();
            let densities: Vec<f64> = proposals.iter().map(|p| p.log_density(&x, told)).collect();
            let most = densities.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let mixed = most
                + (densities.iter().map(|d| (d - most).exp()).sum::<f64>() / proposals.len() as f64).ln();
            node.solved.log_evidence + log_prior(&x, told) - mixed
        })
        .collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|l| (l - most).exp()).sum();
    for (node, log) in nodes.iter_mut().zip(&logs) {
        node.weight = (log - most).exp() / sum;
    }
}

/// Mean and spread of the weighted points, a little wider; no narrower than a third of the prior's.
fn narrowed(nodes: &[Node], prior: &Proposal) -> Proposal {
    let mut found = *prior;
    for k in 0..5 {
        let mean: f64 = nodes.iter().map(|n| n.weight * n.hyper.to_array()[k]).sum();
        let variance: f64 = nodes
            .iter()
            .map(|n| n.weight * (n.hyper.to_array()[k] - mean).powi(2))
            .sum();
        if mean.is_finite() && variance.is_finite() {
            found.mean[k] = mean;
            found.sd[k] = (1.2 * variance.sqrt()).clamp(prior.sd[k] / 3.0, prior.sd[k]);
        }
    }
    found
}
