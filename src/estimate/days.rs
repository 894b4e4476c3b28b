//! Several days in one answer: a day is one more level of the model (docs/method.md).
//!
//! The log ratio of two set-ups on a day is the lasting one plus what that day made of it, since rider, kit and road
//! were as they were that day. Each day comes as the mixture that its own estimate left behind; what it believed
//! beforehand of the ratios is taken out again, so that it counts once over all days.

use super::comparison::{Comparison, Spread};
use super::joint::prior::RATIO_LOG_SD;
use super::joint::{Believed, linear, lowest, together as over_pairs};
use nalgebra::{Cholesky, DMatrix, DVector};
use std::collections::BTreeMap;

/// Standard deviation of a set-up's log ratio from day to day: median, and standard deviation of its logarithm.
/// Judgement, no published source: what METHOD 4 gives for one mounting to the next.
pub const DAY_PRIOR: (f64, f64) = (0.007, 0.6);
/// Steps of the quadrature over it, in standard deviations of the logarithm: the evidence is smooth on this scale,
/// and beyond the ends nothing is left unless days differ by ten per cent and more.
const DAY_STEPS: std::ops::RangeInclusive<i32> = -6..=10;
const DAY_STEP: f64 = 0.5;
/// Ways in which the strengths of the days are met with each other: the ends of an interval stand to 1 % of its width.
const MEETINGS: usize = 256;
/// What weighs less changes no digit that is shown.
const NO_WEIGHT: f64 = 1e-7;

/// What one day says, for the answer over all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct DayDrags {
    /// Number, over all days, of each set-up that was ridden, in the order of the day. n.
    pub setups: Vec<usize>,
    /// Log drag areas of these: n, and n × n.
    pub drags: Vec<Believed>,
    /// The first of them is the set-up whose drag area the day's estimate is built on, the others being ratios to it.
    pub first_is_baseline: bool,
    pub common: Vec<CommonInput>,
}

/// An input that all passes of a day share, and what one standard uncertainty of it leaves in the ratios.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonInput {
    pub input: &'static str,
    /// Its error is another one on another day; if not, further days do not make it smaller.
    pub of_the_day: bool,
    /// On the log ratio of each set-up to the first of the day. n.
    pub effect: Vec<f64>,
}

/// What all days say together.
#[derive(Debug, Clone, PartialEq)]
pub struct OverDays {
    /// Log ratio of each set-up to the first over all days, whose own is 0. S, and S × S.
    pub ratios: Vec<Believed>,
    /// From day to day, of a log ratio: mean of its logarithm, as a standard deviation.
    pub day_sd: f64,
    /// Of the days' ratios under what was told, up to a constant.
    pub log_evidence: f64,
}

impl OverDays {
    /// The lasting log ratio of two set-ups. `blocks`: ridden on all days.
    pub fn compare(&self, setup: usize, baseline: usize, blocks: [usize; 2]) -> Option<Comparison> {
        let (log_ratio, spread) = linear(&self.ratios, &[(setup, 1.0), (baseline, -1.0)])?;
        let share = 1.0 / blocks[0] as f64 + 1.0 / blocks[1] as f64;
        Some(Comparison {
            setup,
            baseline,
            log_ratio,
            block_standard_deviation: Some(spread.standard_uncertainty() / share.sqrt()),
            spread: Some(spread),
            blocks,
        })
    }

    /// Chances of having the lowest drag area, in the order given, by draws with a fixed seed.
    pub fn chance_of_lowest(&self, setups: &[usize]) -> Vec<f64> {
        // A level common to all changes no order, and gives the first, whose own ratio is certain, a spread to draw.
        let lifted: Vec<Believed> = self
            .ratios
            .iter()
            .map(|b| Believed {
                covariance: b.covariance.add_scalar(1.0),
                ..b.clone()
            })
            .collect();
        lowest::chances(&lifted, setups)
    }

    /// The level at which the interval of each pair (set-up, baseline) must be given so that all of them hold together
    /// at `level`. `None` with a single pair.
    pub fn level_for_each(&self, pairs: &[[usize; 2]], level: f64) -> Option<f64> {
        let factors: Vec<[(usize, f64); 4]> = pairs
            .iter()
            .map(|[setup, baseline]| [(*setup, 1.0), (*baseline, -1.0), (0, 0.0), (0, 0.0)])
            .collect();
        (pairs.len() > 1)
            .then(|| over_pairs::level_for_each(&self.ratios, &factors, &[], level))
            .flatten()
    }
}

/// Which set-ups hang together: those with the same number were ridden on one day, or by way of others.
pub fn linked(days: &[Vec<usize>], setups: usize) -> Vec<usize> {
    let mut group: Vec<usize> = (0..setups).collect();
    for day in days {
        for pair in day.windows(2) {
            let (from, to) = (group[pair[1]], group[pair[0]]);
            group.iter_mut().filter(|g| **g == from).for_each(|g| *g = to);
        }
    }
    group
}

/// All days in one. `day_sd`: of a log ratio from day to day, where somebody knows it; else it is integrated over.
///
/// `None` where no day tells two set-ups apart, or a number fails.
pub fn combine(days: &[DayDrags], setups: usize, day_sd: Option<f64>) -> Option<OverDays> {
    let shared = shared_inputs(days);
    let days: Vec<Prepared> = days
        .iter()
        .filter(|day| day.setups.len() > 1)
        .map(|day| Prepared::of(day, setups, &shared))
        .collect::<Option<_>>()?;
    if days.is_empty() {
        return None;
    }
    let meetings = meetings(&days);
    let mut nodes = Vec::new();
    for (log_prior, day_sd) in day_sds(day_sd) {
        let widened: Vec<Vec<Widened>> = days.iter().map(|d| d.widened(day_sd)).collect::<Option<_>>()?;
        for (meeting, times) in &meetings {
            let met = widened.iter().zip(meeting).map(|(day, piece)| &day[*piece]);
            let (log_evidence, believed) = together(met, setups, shared.len())?;
            let log_weight = log_prior + (*times as f64 / MEETINGS as f64).ln() + log_evidence;
            nodes.push((log_weight, day_sd, believed));
        }
    }
    weighed(nodes)
}

fn weighed(nodes: Vec<(f64, f64, Believed)>) -> Option<OverDays> {
    let most = nodes
        .iter()
        .map(|(log, _, _)| *log)
        .fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = nodes.iter().map(|(log, _, _)| (log - most).exp()).sum();
    if !most.is_finite() || !sum.is_finite() {
        return None;
    }
    let mut log_day_sd = 0.0;
    let mut ratios = Vec::new();
    for (log, day_sd, mut believed) in nodes {
        believed.weight = (log - most).exp() / sum;
        log_day_sd += believed.weight * day_sd.max(f64::MIN_POSITIVE).ln();
        if believed.weight > NO_WEIGHT {
            ratios.push(believed);
        }
    }
    Some(OverDays {
        ratios,
        day_sd: log_day_sd.exp(),
        log_evidence: most + sum.ln(),
    })
}

/// Logarithm of the prior's share, and the standard deviation from day to day.
fn day_sds(told: Option<f64>) -> Vec<(f64, f64)> {
    if let Some(sd) = told {
        return vec![(0.0, sd)];
    }
    let (median, log_sd) = DAY_PRIOR;
    let density = |z: f64| -0.5 * z * z + (DAY_STEP / (2.0 * std::f64::consts::PI).sqrt()).ln();
    DAY_STEPS
        .map(|step| f64::from(step) * DAY_STEP)
        .map(|z| (density(z), median * (log_sd * z).exp()))
        .collect()
}

/// Names of the inputs whose error is the same on all days.
fn shared_inputs(days: &[DayDrags]) -> Vec<&'static str> {
    let mut names: Vec<&'static str> = Vec::new();
    for line in days.iter().flat_map(|day| &day.common) {
        if !line.of_the_day && !names.contains(&line.input) && line.effect.iter().any(|e| *e != 0.0) {
            names.push(line.input);
        }
    }
    names
}

/// One set of strengths of a day: the likelihood of its ratios φ is exp(log_weight − ½ φ'Pφ + φ'h).
struct Piece {
    log_weight: f64,
    /// P.
    information: DMatrix<f64>,
    /// h.
    pull: DVector<f64>,
}

/// The same for what lasts: the ratios over all days, then the shared inputs.
struct Widened {
    log_weight: f64,
    information: DMatrix<f64>,
    pull: DVector<f64>,
}

/// A day's ratios to its first set-up, ready to meet other days.
struct Prepared {
    /// From the surest to the least sure.
    pieces: Vec<Piece>,
    /// Weight of each piece and of those before it.
    cumulative: Vec<f64>,
    /// From the lasting ratios and the shared inputs, in standard uncertainties, to the day's ratios.
    onto: DMatrix<f64>,
    /// What a day effect of unit size makes of the ratios.
    scatter: DMatrix<f64>,
    /// What the day's own common inputs leave in them.
    own: DMatrix<f64>,
}

impl Prepared {
    fn of(day: &DayDrags, setups: usize, shared: &[&'static str]) -> Option<Prepared> {
        let ratios = day.setups.len() - 1;
        let together = DMatrix::from_element(ratios, ratios, 1.0);
        let apart = DMatrix::identity(ratios, ratios);
        let base = if day.first_is_baseline { 0.0 } else { 1.0 };
        let before = (&apart + &together * base) * RATIO_LOG_SD.powi(2);
        let mut pieces = day
            .drags
            .iter()
            .map(|b| Some((b.weight, Piece::of(b, &before)?)))
            .collect::<Option<Vec<_>>>()?;
        let doubt = |piece: &Piece| piece.information.trace();
        pieces.sort_by(|(_, a), (_, b)| doubt(b).total_cmp(&doubt(a)));
        let all: f64 = pieces.iter().map(|(weight, _)| weight).sum();
        let mut so_far = 0.0;
        let cumulative = pieces
            .iter()
            .map(|(weight, _)| {
                so_far += weight / all;
                so_far
            })
            .collect();
        let (onto, own) = day.design(setups, shared);
        Some(Prepared {
            pieces: pieces.into_iter().map(|(_, piece)| piece).collect(),
            cumulative,
            onto,
            // Each set-up has its own effect on a day; the ratio of two has twice its variance.
            scatter: (apart + together) * 0.5,
            own,
        })
    }

    fn widened(&self, day_sd: f64) -> Option<Vec<Widened>> {
        let noise = &self.scatter * day_sd.powi(2) + &self.own;
        self.pieces
            .iter()
            .map(|piece| piece.widened(&noise, &self.onto))
            .collect()
    }

    /// The piece below which a share of the day's weight lies.
    fn at(&self, share: f64) -> usize {
        let place = self.cumulative.partition_point(|c| *c < share);
        place.min(self.pieces.len() - 1)
    }
}

impl DayDrags {
    /// How lasting ratios and shared inputs reach the day's ratios, and the covariance that its own inputs leave.
    fn design(&self, setups: usize, shared: &[&'static str]) -> (DMatrix<f64>, DMatrix<f64>) {
        let ratios = self.setups.len() - 1;
        let first = self.setups[0];
        let mut onto = DMatrix::zeros(ratios, setups - 1 + shared.len());
        for (row, setup) in self.setups[1..].iter().enumerate() {
            for (number, sign) in [(*setup, 1.0), (first, -1.0)] {
                if number > 0 {
                    onto[(row, number - 1)] += sign;
                }
            }
        }
        let mut own = DMatrix::zeros(ratios, ratios);
        for line in &self.common {
            let effect = DVector::from_fn(ratios, |row, _| line.effect[row + 1]);
            match shared.iter().position(|name| *name == line.input) {
                Some(column) if !line.of_the_day => {
                    onto.column_mut(setups - 1 + column).copy_from(&effect);
                }
                _ => own += &effect * effect.transpose(),
            }
        }
        (onto, own)
    }
}

impl Piece {
    /// `before`: covariance of the ratios to the first set-up as the day's estimate believed them beforehand, about 0.
    fn of(believed: &Believed, before: &DMatrix<f64>) -> Option<Piece> {
        let ratios = believed.mean.len() - 1;
        let mean = DVector::from_fn(ratios, |i, _| believed.mean[i + 1] - believed.mean[0]);
        let c = &believed.covariance;
        let covariance = DMatrix::from_fn(ratios, ratios, |i, j| {
            c[(i + 1, j + 1)] - c[(i + 1, 0)] - c[(0, j + 1)] + c[(0, 0)]
        });
        let after = Cholesky::new(covariance)?;
        let pull = after.solve(&mean);
        let prior = Cholesky::new(before.clone())?.inverse();
        Some(Piece {
            log_weight: -0.5 * after.ln_determinant() - 0.5 * mean.dot(&pull),
            information: after.inverse() - prior,
            pull,
        })
    }

    /// Seen through a day's effect of covariance `noise` on its ratios: the effect is integrated out.
    fn widened(&self, noise: &DMatrix<f64>, onto: &DMatrix<f64>) -> Option<Widened> {
        let ratios = self.pull.len();
        let weakening = DMatrix::identity(ratios, ratios) + noise * &self.information;
        let lu = weakening.lu();
        let (determinant, inverse) = (lu.determinant(), lu.try_inverse()?);
        let information = &self.information * &inverse;
        let pull = inverse.tr_mul(&self.pull);
        let log_weight = self.log_weight - 0.5 * determinant.ln() + 0.5 * self.pull.dot(&(noise * &pull));
        let onto_all = onto.tr_mul(&(information * onto));
        log_weight.is_finite().then(|| Widened {
            log_weight,
            information: 0.5 * (&onto_all + onto_all.transpose()),
            pull: onto.tr_mul(&pull),
        })
    }
}

/// Which pieces of the days are met with each other, and how often of `MEETINGS`: points that fill the days' weights
/// evenly, multiples of the powers of the number g with g^(D+1) = g + 1 (M. Roberts, 'The unreasonable effectiveness
/// of quasirandom sequences', 2018, from memory, M).
fn meetings(days: &[Prepared]) -> BTreeMap<Vec<usize>, usize> {
    let power = 1.0 / (days.len() + 1) as f64;
    let g = (0..60).fold(1.5f64, |g, _| (1.0 + g).powf(power));
    let mut found = BTreeMap::new();
    for index in 0..MEETINGS {
        let share = |day: usize| (0.5 + (index + 1) as f64 * g.powi(-(day as i32 + 1))).fract();
        let meeting = days.iter().enumerate().map(|(d, day)| day.at(share(d))).collect();
        *found.entry(meeting).or_insert(0) += 1;
    }
    found
}

/// One piece of each day: what they say of the ratios, and how well they go together.
fn together<'a>(
    pieces: impl Iterator<Item = &'a Widened>,
    setups: usize,
    shared: usize,
) -> Option<(f64, Believed)> {
    let ratios = setups - 1;
    // Before any day: ratios as one day believes them, shared inputs in their standard uncertainties.
    let mut information = DMatrix::from_diagonal(&DVector::from_fn(ratios + shared, |k, _| {
        if k < ratios { RATIO_LOG_SD.powi(-2) } else { 1.0 }
    }));
    let mut pull = DVector::zeros(ratios + shared);
    let mut log_weight = ratios as f64 * -RATIO_LOG_SD.ln();
    for piece in pieces {
        information += &piece.information;
        pull += &piece.pull;
        log_weight += piece.log_weight;
    }
    let factor = Cholesky::new(information)?;
    let mean = factor.solve(&pull);
    let covariance = factor.inverse();
    log_weight += 0.5 * pull.dot(&mean) - 0.5 * factor.ln_determinant();
    let with_first = |k: usize| k.checked_sub(1);
    Some((
        log_weight,
        Believed {
            weight: 0.0,
            mean: DVector::from_fn(setups, |s, _| with_first(s).map_or(0.0, |k| mean[k])),
            covariance: DMatrix::from_fn(setups, setups, |s, t| match (with_first(s), with_first(t)) {
                (Some(j), Some(k)) => covariance[(j, k)],
                _ => 0.0,
            }),
        },
    ))
}

/// The plain reference beside it: the mean of the days' averages of passes, each day counting alike, with nothing for
/// what a day makes of a ratio. `days`: log ratio, standard uncertainty and degrees of freedom.
///
/// Degrees of freedom after Welch and Satterthwaite (JCGM 100, G.4). `None` without a day.
pub fn mean_of_days(days: &[Comparison]) -> Option<Comparison> {
    let first = days.first()?;
    let count = days.len() as f64;
    let log_ratio = days.iter().map(|c| c.log_ratio).sum::<f64>() / count;
    let spreads: Option<Vec<(f64, f64)>> = days
        .iter()
        .map(|c| c.spread.as_ref())
        .map(|s| s.map(|s| (s.standard_uncertainty() / count, s.degrees_of_freedom())))
        .collect();
    let spread = spreads.map(|all| {
        let variance: f64 = all.iter().map(|(u, _)| u * u).sum();
        let fourth: f64 = all.iter().map(|(u, freedom)| u.powi(4) / freedom).sum();
        Spread::student(variance.sqrt(), variance * variance / fourth)
    });
    Some(Comparison {
        log_ratio,
        spread,
        block_standard_deviation: None,
        blocks: days
            .iter()
            .fold([0, 0], |b, c| [b[0] + c.blocks[0], b[1] + c.blocks[1]]),
        ..first.clone()
    })
}

#[cfg(test)]
#[path = "days_tests.rs"]
mod tests;
