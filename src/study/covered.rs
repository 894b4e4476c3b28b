//! Heights that power and speed contradict in every pass at the same place, as under a bridge, where the barometer
//! feels the pressure of the cutting.

mod ends;
mod words;

use super::Surveyed;
use super::assign::Assigned;
use crate::air::Air;
use crate::course::{Course, Direction};
use crate::estimate::cells::{Ground, Shift, accounts, cut};
use crate::estimate::one_pass::left_over_m;
use crate::physics::gravity_m_s2;
use crate::streams::Streams;
use crate::test_day::Shape;
use crate::treatment::Treatment;
use crate::warning::Warning;
use ends::at_ends;
use words::{at_end, mended};

/// Nodes are so far apart: as the heights of the profile.
const SPACING_M: f64 = 20.0;
/// A longer stretch than this is no bridge, and gusts add up over it.
const LONGEST: usize = 15;
/// In one direction only, a wind that a bend turns leaves a slope on either side: shorter stretches, higher bumps.
const LONGEST_ONE_WAY: usize = 6;
const LEAST_ONE_WAY_M: f64 = 0.9;
/// The road's own shape between heights 20 m apart (two readings to 0.2 m).
const SHAPE_M: f64 = 0.08;
/// The widest stretch that stands off by this share of the surest one is the whole of the bump.
const WHOLE: f64 = 0.6;
/// Nodes of the road on either side that the stretch is held against, and the node between that may be half inside.
const BESIDE: usize = 3;
const GAP: usize = 1;
/// Less is not worth mending: in the middle of a course it hardly moves anything (judgement).
const LEAST_M: f64 = 0.6;
/// Standard uncertainties that make a bump sure: about a thousand stretches are looked at, and hills that a barometer
/// follows late look alike in every pass too.
const SURE: f64 = 6.0;
const FEWEST_PASSES: usize = 4;
/// Both directions see it, each at least this share of the other.
const BOTH_WAYS: f64 = 0.3;
/// The heights come back behind a bump; a brake leaves a step down of twice the apparent height in the riding
/// direction. In one direction only, a wind is part of the step.
const STEP_OVER_BUMP: f64 = 0.7;
const STEP_OVER_BUMP_ONE_WAY: f64 = 1.4;
const MOST_BUMPS: usize = 3;
/// What power and speed climbed, less the shared profile, at each node from start to finish.
struct Contradiction {
    direction: Direction,
    off_m: Vec<f64>,
    /// Sums up to each node.
    sums: Vec<f64>,
}

/// Nodes from `from` to `to`, both inside, and how far the altitudes stand off there.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bump {
    from: usize,
    to: usize,
    /// Altitude less what power and speed climbed.
    height_m: f64,
    standard_uncertainty_m: f64,
}

impl Bump {
    fn sure(&self) -> f64 {
        self.height_m.abs() / self.standard_uncertainty_m
    }
}

/// What the heights are held against.
pub(super) struct Day<'a> {
    pub surveyed: &'a Surveyed,
    pub assigned: &'a Assigned,
    pub airs: &'a [Air],
    /// The recordings as they were set right.
    pub streams: &'a [Streams],
    /// One for each set-up.
    pub speed_scales: &'a [f64],
}

#[derive(Debug, Default)]
pub(super) struct Found {
    /// What to add to the heights at even places from start to finish; empty: nothing.
    shift_m: Vec<f64>,
    pub warnings: Vec<Warning>,
}

/// Such stretches, with a remark for each. At an end of the course the heights stay, with advice, because there
/// nothing tells a bump from a road that climbs.
pub(super) fn find(day: &Day) -> Found {
    let surveyed = day.surveyed;
    let mut found = Found::default();
    if surveyed.ridden.course.profile.is_none()
        || surveyed.test_day.as_recorded.leaves(Treatment::CoveredHeights)
        // Round a track the lean lowers and slows the centre of mass in each bend, which looks like half a metre of
        // climb in every lap.
        || surveyed.test_day.on_a_track()
    {
        return found;
    }
    let length_m = surveyed.ridden.course.length_m();
    let nodes = (length_m / SPACING_M).round().max(1.0) as usize;
    let mut all = contradictions(day, nodes);
    if all.len() < FEWEST_PASSES {
        return found;
    }
    let step_m = length_m / nodes as f64;
    for _ in 0..MOST_BUMPS {
        let Some(bump) = surest(&all) else { break };
        let shift_m = shifts_m(&all, &bump);
        for pass in &mut all {
            for (off, shift) in pass.off_m.iter_mut().zip(&shift_m) {
                *off -= shift;
            }
            pass.sums = sums(&pass.off_m);
        }
        found.shift_m.resize(shift_m.len(), 0.0);
        for (sum, shift) in found.shift_m.iter_mut().zip(&shift_m) {
            *sum += shift;
        }
        found.warnings.push(mended(&bump, step_m));
    }
    if surveyed.ridden.course.shape != Shape::Loop {
        found
            .warnings
            .extend(at_ends(&all).iter().map(|bump| at_end(bump, step_m)));
    }
    found
}

impl Found {
    pub(super) fn mends(&self) -> bool {
        !self.shift_m.is_empty()
    }

    /// Takes the climb of the stretches from power and speed.
    pub(super) fn mend(&self, course: &mut Course) {
        let (Some(profile), Some(last)) = (&mut course.profile, self.shift_m.len().checked_sub(1)) else {
            return;
        };
        let whole_m = profile.distance_m.last().copied().unwrap_or(1.0);
        for (height, distance_m) in profile.elevation_m.iter_mut().zip(&profile.distance_m) {
            let place = distance_m / whole_m * last as f64;
            let node = (place as usize).min(last.saturating_sub(1));
            let share = place - node as f64;
            *height += self.shift_m[node] + share * (self.shift_m[node + 1] - self.shift_m[node]);
        }
    }
}

fn contradictions(day: &Day, nodes: usize) -> Vec<Contradiction> {
    let (surveyed, airs) = (day.surveyed, day.airs);
    let course = &surveyed.ridden.course;
    let length_m = course.length_m();
    let mut all = Vec::new();
    for (index, (pass, place)) in surveyed
        .ridden
        .passes
        .iter()
        .zip(&day.assigned.passes)
        .enumerate()
    {
        let (Some(setup), Some(block), None) = (place.setup, place.block, &place.left_out) else {
            continue;
        };
        let middle_s = 0.5 * (pass.start_s + pass.end_s);
        let streams = &day.streams[pass.recording];
        let ground = Ground {
            streams,
            course,
            air: airs[pass.recording].at(middle_s),
            gravity_m_s2: gravity_m_s2(
                course.line.start_deg()[0],
                streams.altitude_at(middle_s).unwrap_or(0.0),
            ),
            cells: nodes,
            surfaces: surveyed.test_day.surfaces_that_count(),
            speed_scale: day.speed_scales[setup],
            bends: None,
            speed_as_by_wheel: false,
            parts_m: &[(0.0, length_m)],
        };
        let Ok(ride) = cut(&ground, pass, index, setup, block) else {
            continue;
        };
        let setup = &surveyed.test_day.setups[setup];
        let accounts = accounts(&ride, setup, length_m, &Shift::default());
        // The drag area that leaves nothing over from gate to gate.
        let sum =
            |value: fn(&crate::estimate::cells::Account) -> f64| accounts.iter().map(value).sum::<f64>();
        let crr = setup.crr.value;
        let cda_m2 = (sum(|a| a.energy_j) - crr * sum(|a| a.rolling_j)) / sum(|a| a.air_j_m2);
        let mut off_m = vec![0.0];
        for account in &accounts {
            off_m.push(off_m[off_m.len() - 1] + left_over_m(account, cda_m2, crr));
        }
        if pass.direction == Direction::Reverse {
            off_m.reverse();
        }
        if off_m.iter().all(|off| off.is_finite()) {
            all.push(Contradiction {
                direction: pass.direction,
                sums: sums(&off_m),
                off_m,
            });
        }
    }
    all
}

fn sums(values: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0];
    for value in values {
        sums.push(sums[sums.len() - 1] + value);
    }
    sums
}

impl Contradiction {
    /// Mean over nodes `from..to`.
    fn mean(&self, from: usize, to: usize) -> f64 {
        (self.sums[to] - self.sums[from]) / (to - from) as f64
    }

    /// Nodes `from..=to` against the road on both sides.
    fn inside_off(&self, from: usize, to: usize) -> f64 {
        let before = self.mean(from - GAP - BESIDE, from - GAP);
        let after = self.mean(to + GAP + 1, to + GAP + 1 + BESIDE);
        self.mean(from, to + 1) - 0.5 * (before + after)
    }
}

/// Mean over the passes of each direction, mean of the directions, and what a single pass spreads about the former,
/// squared. `None` where the directions do not agree.
fn agreed(all: &[Contradiction], of: impl Fn(&Contradiction) -> f64) -> (Option<f64>, f64) {
    let mut means = Vec::new();
    let (mut squares, mut freedom) = (0.0, 0.0);
    for direction in [Direction::Forward, Direction::Reverse] {
        let values: Vec<f64> = all.iter().filter(|p| p.direction == direction).map(&of).collect();
        if values.is_empty() {
            continue;
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        squares += values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        freedom += values.len() as f64 - 1.0;
        means.push(mean);
    }
    let alike = match means.as_slice() {
        [one, other] => {
            one * other > 0.0 && one.abs().min(other.abs()) > BOTH_WAYS * one.abs().max(other.abs())
        }
        means => !means.is_empty(),
    };
    let mean = means.iter().sum::<f64>() / means.len().max(1) as f64;
    (alike.then_some(mean), squares / f64::max(freedom, 1.0))
}

/// Of the mean of the directions, with a spread of single passes. [as the spread]
fn standard_uncertainty(all: &[Contradiction], variance: f64) -> f64 {
    let reverse = all
        .iter()
        .filter(|pass| pass.direction == Direction::Reverse)
        .count();
    let counts = [all.len() - reverse, reverse];
    let ridden: Vec<f64> = counts.iter().filter(|n| **n > 0).map(|n| *n as f64).collect();
    let ways = ridden.len() as f64;
    (ridden.iter().map(|n| variance / n).sum::<f64>()).sqrt() / ways
}

/// The stretch inside the course that is surest to stand off, to its ends.
fn surest(all: &[Contradiction]) -> Option<Bump> {
    let bumps = bumps(all);
    let surest = bumps.iter().max_by(|a, b| a.sure().total_cmp(&b.sure()))?;
    let whole = bumps.iter().filter(|bump| {
        let holds = bump.from <= surest.from && surest.to <= bump.to;
        holds && bump.height_m / surest.height_m >= WHOLE
    });
    whole.max_by_key(|bump| bump.to - bump.from).copied()
}

/// All stretches that stand off; the spread of single passes is that of all stretches of its length at least.
fn bumps(all: &[Contradiction]) -> Vec<Bump> {
    let Some(nodes) = all.first().map(|pass| pass.off_m.len()) else {
        return Vec::new();
    };
    let both = all.iter().any(|p| p.direction != all[0].direction);
    let (longest, least_m) = if both {
        (LONGEST, LEAST_M)
    } else {
        (LONGEST_ONE_WAY, LEAST_ONE_WAY_M)
    };
    let mut bumps = Vec::new();
    for inside in 1..=longest {
        let first = GAP + BESIDE;
        let Some(end) = nodes
            .checked_sub(inside + GAP + BESIDE)
            .filter(|end| *end > first)
        else {
            break;
        };
        let seen: Vec<(usize, (Option<f64>, f64))> = (first..end)
            .map(|from| (from, agreed(all, |pass| pass.inside_off(from, from + inside - 1))))
            .collect();
        let mut variances: Vec<f64> = seen.iter().map(|(_, (_, variance))| *variance).collect();
        variances.sort_by(f64::total_cmp);
        let usual = variances[variances.len() / 2];
        bumps.extend(seen.into_iter().filter_map(|(from, (off, variance))| {
            let bump = Bump {
                from,
                to: from + inside - 1,
                height_m: -off?,
                standard_uncertainty_m: standard_uncertainty(all, usual.max(variance)).hypot(SHAPE_M),
            };
            let counts = bump.height_m.abs() >= least_m && bump.sure() >= SURE && !is_braked(all, &bump);
            counts.then_some(bump)
        }));
    }
    bumps
}

/// Whether energy was lost for good: riders who brake before a junction from either side leave a step in each
/// direction, and both together look like a bump between the places where they brake (so one did on real rides).
fn is_braked(all: &[Contradiction], bump: &Bump) -> bool {
    let step = |pass: &Contradiction| {
        let before = pass.mean(bump.from - GAP - BESIDE, bump.from - GAP);
        let after = pass.mean(bump.to + GAP + 1, bump.to + GAP + 1 + BESIDE);
        if pass.direction == Direction::Forward {
            after - before
        } else {
            before - after
        }
    };
    let mean = |direction| {
        let steps: Vec<f64> = all
            .iter()
            .filter(|p| p.direction == direction)
            .map(step)
            .collect();
        (!steps.is_empty()).then(|| steps.iter().sum::<f64>() / steps.len() as f64)
    };
    let steps: Vec<f64> = [Direction::Forward, Direction::Reverse]
        .into_iter()
        .filter_map(mean)
        .collect();
    let mean = steps.iter().sum::<f64>() / steps.len().max(1) as f64;
    let most = if steps.len() > 1 {
        STEP_OVER_BUMP
    } else {
        STEP_OVER_BUMP_ONE_WAY
    };
    -mean > most * bump.height_m.abs()
}

/// What to add to the heights at each node: inside the stretch what power and speed say, nothing outside.
fn shifts_m(all: &[Contradiction], bump: &Bump) -> Vec<f64> {
    let nodes = all.first().map_or(0, |pass| pass.off_m.len());
    let at = |node: usize| {
        let mut ways = Vec::new();
        for direction in [Direction::Forward, Direction::Reverse] {
            let values: Vec<f64> = all
                .iter()
                .filter(|p| p.direction == direction)
                .map(|p| p.off_m[node])
                .collect();
            if !values.is_empty() {
                ways.push(values.iter().sum::<f64>() / values.len() as f64);
            }
        }
        ways.iter().sum::<f64>() / ways.len().max(1) as f64
    };
    let (before, after) = (bump.from - GAP - 1, bump.to + GAP + 1);
    let (low, high) = (at(before), at(after));
    (0..nodes)
        .map(|node| {
            if node <= before || node >= after {
                return 0.0;
            }
            let share = (node - before) as f64 / (after - before) as f64;
            at(node) - (low + share * (high - low))
        })
        .collect()
}

#[cfg(test)]
#[path = "covered_tests.rs"]
mod tests;
