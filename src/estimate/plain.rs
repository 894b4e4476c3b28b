//! The average of passes: directions within a block first, then Welch over the blocks.
//!
//! The plain reference that every finer estimate has to beat. A block is one mounting of a set-up: laps
//! within it do not repeat the mounting, so the block is what counts as one experiment.

use super::budget::Said;
use super::cells::{Account, PassRide, Shift, accounts, ride_rig};
use super::comparison::{Comparison, Spread};
use super::one_pass::{DragFit, covariance, drag};
use super::rolling::{Rolling, WIND_WANDER_M_S};
use super::welch::welch;
use crate::course::Direction;
use crate::test_day::{Setup, Shape};
use nalgebra::{DMatrix, DVector};

/// From one mounting of a set-up to the next: a rider gets back into position to 0.3 to 1.5 % of CdA. Judgement, no
/// published source (METHOD 4 has 1 %; see `joint::prior`).
pub const REMOUNTING_SHARE: f64 = 0.007;
/// How many passes the expected spread between passes is worth beside the seen one.
/// Judgement: three passes tell a standard deviation to about half of itself.
const SPREAD_PRIOR_PASSES: f64 = 3.0;

/// A day ready to be averaged.
#[derive(Debug, Clone, Copy)]
pub struct Day<'a> {
    pub rides: &'a [PassRide],
    pub setups: &'a [Setup],
    pub course_length_m: f64,
    pub shape: Shape,
}

impl Day<'_> {
    fn out_and_back(&self) -> bool {
        self.shape == Shape::OutAndBack
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassDrag {
    /// Index into the day's rides.
    pub ride: usize,
    pub cda_m2: f64,
    /// What differs between passes only: gusts, noise, and the wind's wander from pass to pass.
    pub standard_uncertainty_m2: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockDrag {
    pub block: usize,
    pub setup: usize,
    pub cda_m2: f64,
    /// From its passes' spread, without the remounting.
    pub standard_uncertainty_m2: f64,
    /// False where only one direction of an out-and-back course was ridden.
    pub balanced: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct SetupDrag {
    pub cda_m2: f64,
    pub blocks: usize,
    /// Between blocks; with one block, its passes' spread and the prior of remounting.
    pub spread: Spread,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Averages {
    pub passes: Vec<PassDrag>,
    /// The spread of passes as it is taken, over what their noise and the wind let expect.
    pub spread_ratio: f64,
    pub blocks: Vec<BlockDrag>,
    /// One for each set-up; `None` where it has no usable pass.
    pub setups: Vec<Option<SetupDrag>>,
    /// Forward over reverse, as a log ratio of drag areas with its standard uncertainty: wind, or a wrong climb.
    pub forward_over_reverse: Option<(f64, f64)>,
}

impl Averages {
    /// As the uncertainty budget takes it.
    pub fn said(&self) -> Said {
        let log_cda = |s: &Option<SetupDrag>| s.as_ref().map_or(f64::NAN, |s| s.cda_m2.ln());
        Said {
            log_cda: self.setups.iter().map(log_cda).collect(),
            log_crr: vec![0.0; self.setups.len()],
        }
    }
}

/// The averages of a day at the given shift of its inputs. `None` without a usable pass.
pub fn averages(day: &Day, rolling: &Rolling, shift: &Shift) -> Option<Averages> {
    let mut passes = Vec::with_capacity(day.rides.len());
    // Work against the air in each ride, for each m² of drag area.
    let mut air_j_m2: Vec<f64> = Vec::with_capacity(day.rides.len());
    for (index, ride) in day.rides.iter().enumerate() {
        let setup = &day.setups[ride.setup];
        let account = accounts(ride, setup, day.course_length_m, shift);
        let mass = ride_rig(ride, setup, shift).effective_mass_kg();
        let crr = setup.crr.value + rolling.shift + shift.crr;
        let fit = pass_drag(ride, &account, mass, rolling.gust_q_m2_s, crr)?;
        air_j_m2.push(account.iter().map(|a| a.air_j_m2).sum());
        passes.push(PassDrag {
            ride: index,
            cda_m2: fit.cda_m2,
            standard_uncertainty_m2: fit.standard_uncertainty_m2,
        });
    }
    if passes.is_empty() {
        return None;
    }
    let spread_ratio = temper(day, &mut passes);
    let forward_over_reverse = if day.out_and_back() {
        direction_effect(day, &passes, &air_j_m2)
    } else {
        None
    };
    let blocks = blocks(day, &passes, &air_j_m2);
    let setups = (0..day.setups.len()).map(|s| setup(s, &blocks)).collect();
    Some(Averages {
        passes,
        spread_ratio,
        blocks,
        setups,
        forward_over_reverse,
    })
}

/// Drag area of one pass with the rolling resistance held at `crr`: gusts, noise and the wind's wander from pass to
/// pass in its uncertainty. `None` where it cannot be fitted.
pub fn pass_drag(
    ride: &PassRide,
    account: &[Account],
    effective_mass_kg: f64,
    gust_q: f64,
    crr: f64,
) -> Option<DragFit> {
    let (within, at) = within_pass(ride, account, effective_mass_kg, gust_q, crr)?;
    let fit = drag(account, &within, crr)?;
    Some(DragFit {
        standard_uncertainty_m2: fit.standard_uncertainty_m2.hypot(wander_m2(ride, at)),
        ..fit
    })
}

/// Of the energies of a pass's cells, in J², the wind's wander included. Errors as [`pass_drag`].
pub fn pass_covariance(
    ride: &PassRide,
    account: &[Account],
    effective_mass_kg: f64,
    gust_q: f64,
    crr: f64,
) -> Option<DMatrix<f64>> {
    let (mut v, at) = within_pass(ride, account, effective_mass_kg, gust_q, crr)?;
    let air = DVector::from_iterator(account.len(), account.iter().map(|a| a.air_j_m2));
    v.ger(wander_m2(ride, at).powi(2), &air, &air, 1.0);
    Some(v)
}

/// Gusts and noise within the pass, and the drag area at which they are taken.
fn within_pass(
    ride: &PassRide,
    account: &[Account],
    effective_mass_kg: f64,
    gust_q: f64,
    crr: f64,
) -> Option<(DMatrix<f64>, f64)> {
    let start = 0.30; // METHOD 4: the prior median; gust work is taken anew at the first answer.
    let at_start = covariance(ride, account, effective_mass_kg, start, gust_q);
    let at = drag(account, &at_start, crr)?.cda_m2.clamp(0.1, 0.9);
    Some((covariance(ride, account, effective_mass_kg, at, gust_q), at))
}

fn wander_m2(ride: &PassRide, cda_m2: f64) -> f64 {
    2.0 * WIND_WANDER_M_S / ride.mean_speed_m_s() * cda_m2
}

/// Moves the expected spread between passes toward the one seen among like passes of one block.
fn temper(day: &Day, passes: &mut [PassDrag]) -> f64 {
    let (mut squares, mut freedom, mut expected) = (0.0, 0.0, 0.0);
    for (_, group) in groups(day, passes) {
        let mean = mean(group.iter().map(|p| p.cda_m2));
        squares += group.iter().map(|p| (p.cda_m2 - mean).powi(2)).sum::<f64>();
        freedom += group.len() as f64 - 1.0;
    }
    for pass in passes.iter() {
        expected += pass.standard_uncertainty_m2.powi(2) / passes.len() as f64;
    }
    if expected <= 0.0 {
        return 1.0;
    }
    let seen = (SPREAD_PRIOR_PASSES * expected + squares) / (SPREAD_PRIOR_PASSES + freedom);
    let spread_ratio = (seen / expected).sqrt();
    for pass in passes {
        pass.standard_uncertainty_m2 *= spread_ratio;
    }
    spread_ratio
}

type Key = (usize, Direction);

/// Passes of one block and one direction, in order of blocks.
fn groups(day: &Day, passes: &[PassDrag]) -> Vec<(Key, Vec<PassDrag>)> {
    let mut groups: Vec<(Key, Vec<PassDrag>)> = Vec::new();
    for pass in passes {
        let key = (day.rides[pass.ride].block, day.rides[pass.ride].direction);
        match groups.iter_mut().find(|(k, _)| *k == key) {
            Some((_, group)) => group.push(*pass),
            None => groups.push((key, vec![*pass])),
        }
    }
    groups.sort_by_key(|((block, direction), _)| (*block, *direction == Direction::Reverse));
    groups
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        sum += value;
        count += 1.0;
    }
    sum / count
}

/// One block's forward passes, its reverse passes, and both together.
struct BothWays<'a> {
    forward: &'a [PassDrag],
    reverse: &'a [PassDrag],
    together_m2: f64,
}

fn both_ways<'a>(groups: &'a [(Key, Vec<PassDrag>)], air_j_m2: &[f64]) -> Vec<BothWays<'a>> {
    let of = |block: usize, direction: Direction| {
        groups
            .iter()
            .find(|(key, _)| *key == (block, direction))
            .map(|(_, group)| group.as_slice())
    };
    groups
        .iter()
        .filter(|((_, direction), _)| *direction == Direction::Forward)
        .filter_map(|((block, _), forward)| {
            let reverse = of(*block, Direction::Reverse)?;
            let together_m2 = together([forward.as_slice(), reverse].into_iter(), air_j_m2);
            Some(BothWays {
                forward,
                reverse,
                together_m2,
            })
        })
        .collect()
}

/// The mean of directions, each weighted by the air's work in it.
///
/// So the energies of both ways are added, and not their quotients. A wrong climb then cancels exactly, and of
/// a steady wind w along the road that nobody wrote down next to nothing is left: at equal power a rider is
/// faster with the wind, and the plain mean of both drag areas reads 2.3 w²/v² too much, this one 0.25 w²/v²
/// too little (D; 2.4 and −0.25 % at 1 m/s and 9.8 m/s). At equal speed the weights are equal.
fn together<'a>(directions: impl Iterator<Item = &'a [PassDrag]>, air_j_m2: &[f64]) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for group in directions {
        let weight = mean(group.iter().map(|p| air_j_m2[p.ride]));
        sum += weight * mean_m2(group);
        weights += weight;
    }
    sum / weights
}

fn mean_m2(group: &[PassDrag]) -> f64 {
    mean(group.iter().map(|p| p.cda_m2))
}

/// From the blocks in which both directions were ridden.
fn direction_effect(day: &Day, passes: &[PassDrag], air_j_m2: &[f64]) -> Option<(f64, f64)> {
    let groups = groups(day, passes);
    let effects: Vec<(f64, f64)> = both_ways(&groups, air_j_m2)
        .iter()
        .map(|both| {
            let (f, r) = (mean_m2(both.forward), mean_m2(both.reverse));
            let (uf, ur) = (group_uncertainty(both.forward), group_uncertainty(both.reverse));
            ((f - r) / both.together_m2, uf.hypot(ur) / both.together_m2)
        })
        .collect();
    if effects.is_empty() {
        return None;
    }
    let count = effects.len() as f64;
    let value = mean(effects.iter().map(|e| e.0));
    let own = (effects.iter().map(|e| e.1 * e.1).sum::<f64>()).sqrt() / count;
    Some((value, own))
}

fn group_uncertainty(group: &[PassDrag]) -> f64 {
    (group
        .iter()
        .map(|p| p.standard_uncertainty_m2.powi(2))
        .sum::<f64>())
    .sqrt()
        / group.len() as f64
}

fn blocks(day: &Day, passes: &[PassDrag], air_j_m2: &[f64]) -> Vec<BlockDrag> {
    let groups = groups(day, passes);
    let both = if day.out_and_back() {
        both_ways(&groups, air_j_m2)
    } else {
        Vec::new()
    };
    let mut blocks: Vec<BlockDrag> = Vec::new();
    let mut numbers: Vec<usize> = groups.iter().map(|((block, _), _)| *block).collect();
    numbers.dedup();
    for block in numbers {
        let own: Vec<_> = groups.iter().filter(|((b, _), _)| *b == block).collect();
        let count = own.len() as f64;
        let mut cda_m2 = together(own.iter().map(|(_, group)| group.as_slice()), air_j_m2);
        let uncertainty = own
            .iter()
            .map(|(_, g)| group_uncertainty(g).powi(2))
            .sum::<f64>()
            .sqrt()
            / count;
        let balanced = !day.out_and_back() || own.len() == 2;
        if let (false, false, Some(((_, direction), _))) = (balanced, both.is_empty(), own.first()) {
            // The day's other blocks say by how much one direction reads high.
            cda_m2 /= mean(both.iter().map(|both| {
                let one = match direction {
                    Direction::Forward => both.forward,
                    Direction::Reverse => both.reverse,
                };
                mean_m2(one) / both.together_m2
            }));
        }
        let setup = own
            .first()
            .and_then(|(_, g)| g.first())
            .map_or(0, |p| day.rides[p.ride].setup);
        blocks.push(BlockDrag {
            block,
            setup,
            cda_m2,
            standard_uncertainty_m2: uncertainty,
            balanced,
        });
    }
    blocks
}

fn setup(setup: usize, blocks: &[BlockDrag]) -> Option<SetupDrag> {
    let own: Vec<&BlockDrag> = blocks.iter().filter(|b| b.setup == setup).collect();
    let count = own.len() as f64;
    let cda_m2 = mean(own.iter().map(|b| b.cda_m2));
    let spread = match own.as_slice() {
        [] => return None,
        [only] => Spread::student(
            only.standard_uncertainty_m2.hypot(REMOUNTING_SHARE * cda_m2),
            SPREAD_PRIOR_PASSES,
        ),
        _ => {
            let squares: f64 = own.iter().map(|b| (b.cda_m2 - cda_m2).powi(2)).sum();
            Spread::student((squares / (count - 1.0) / count).sqrt(), count - 1.0)
        }
    };
    Some(SetupDrag {
        cda_m2,
        blocks: own.len(),
        spread,
    })
}

/// Welch over the blocks' log drag areas. `common` is what the shared inputs leave in the log ratio.
///
/// `None` where a set-up has no block, or a drag area that is not positive.
pub fn compare(averages: &Averages, setup: usize, baseline: usize, common: f64) -> Option<Comparison> {
    let logs = |s: usize| -> Option<Vec<f64>> {
        let own: Vec<f64> = averages
            .blocks
            .iter()
            .filter(|b| b.setup == s)
            .map(|b| b.cda_m2)
            .collect();
        (!own.is_empty() && own.iter().all(|cda| *cda > 0.0))
            .then(|| own.iter().map(|cda| cda.ln()).collect())
    };
    let (of, base) = (logs(setup)?, logs(baseline)?);
    let log_ratio = mean(of.iter().copied()) - mean(base.iter().copied());
    let welch = welch(&of, &base);
    let block_standard_deviation = welch.map(|w| {
        let share = 1.0 / of.len() as f64 + 1.0 / base.len() as f64;
        w.standard_uncertainty / share.sqrt()
    });
    Some(Comparison {
        setup,
        baseline,
        log_ratio,
        spread: welch.map(|w| Spread::student(w.standard_uncertainty, w.degrees_of_freedom).with(common)),
        block_standard_deviation,
        blocks: [of.len(), base.len()],
    })
}

#[cfg(test)]
#[path = "plain_tests.rs"]
mod tests;
