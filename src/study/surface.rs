//! A part of the course on which tyres roll heavier, as it shows where a road was ridden both ways; and a difference
//! between set-ups that is there in a part of the course only.
//!
//! A climb changes its sign with the direction, and so does what the heights are wrong by; rolling does not. One way
//! or round a loop the two look alike, and nothing is said of the surface.

use super::excess::{Judged, Usual, furthest, means, whole_passes};
use crate::course::Direction;
use crate::estimate::joint::Joint;
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;

/// So many standard deviations, among some fifty stretches of a course that are looked at.
const CLEAR: f64 = 5.0;
/// The spread between passes is the measure, and a difference between set-ups cannot be the road's.
const CLEAR_DIFFERENCE: f64 = 4.0;
/// ... and is looked for in a third of the course at most: over a half of it the wind of a pass wanders.
const LONGEST_PART: usize = 3;
/// Less is not worth a word: it is 2 % of CdA where it holds over half of the road (D; a judgement).
const LEAST_CRR: f64 = 0.0008;
/// With fewer passes of a direction their spread says nothing.
const FEWEST: usize = 2;
/// How well the spread of the passes tells a variance.
const FEWEST_FREEDOM: f64 = 8.0;

/// Against the rest of the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Heavier {
    /// Along the course from its start.
    pub from_m: f64,
    pub to_m: f64,
    /// What Crr is more there.
    pub crr: f64,
    pub standard_uncertainty: f64,
}

/// One set-up against another, on a stretch against the rest of the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Uneven {
    pub setup: usize,
    pub baseline: usize,
    pub direction: Direction,
    pub from_m: f64,
    pub to_m: f64,
    /// More drag, as a share.
    pub more: f64,
    pub standard_uncertainty: f64,
}

/// The stretch that stands out most; `None` where none is clear.
pub(super) fn heavier(day: &Day, joint: &Joint, rolling: &Rolling) -> Option<Heavier> {
    let (passes, edges_m) = whole_passes(day, joint, rolling);
    let (mut sums, mut weight) = (vec![0.0; edges_m.len().saturating_sub(1)], 0.0);
    let (mut square, mut freedom) = (0.0, 0.0);
    for direction in [Direction::Forward, Direction::Reverse] {
        let own: Vec<Vec<f64>> = passes
            .iter()
            .filter(|pass| pass.ride.direction == direction)
            .map(|pass| pass.cells.iter().map(|c| c.excess_j / c.rolled_j).collect())
            .collect();
        if own.len() < FEWEST {
            return None;
        }
        let found = means(&own);
        for (sum, mean) in sums.iter_mut().zip(&found.means) {
            *sum += 0.5 * mean;
        }
        square += found.square;
        freedom += found.freedom;
        weight += 0.25 / own.len() as f64;
    }
    if freedom < FEWEST_FREEDOM {
        return None;
    }
    let usual = Usual {
        variance: square / freedom * weight,
        freedom,
    };
    let run = furthest(&sums, usual, CLEAR, sums.len())?;
    (run.more > LEAST_CRR).then(|| Heavier {
        from_m: edges_m[run.first],
        to_m: edges_m[run.last + 1],
        crr: run.more,
        standard_uncertainty: run.standard_uncertainty,
    })
}

/// For each set-up after the first that was ridden the stretch that stands out most against it, if clearly.
pub(super) fn uneven(day: &Day, joint: &Joint, rolling: &Rolling) -> Vec<Uneven> {
    let (passes, edges_m) = whole_passes(day, joint, rolling);
    let Some(baseline) = passes.iter().map(|pass| pass.ride.setup).min() else {
        return Vec::new();
    };
    let pair = |setup: usize| {
        let both = [Direction::Forward, Direction::Reverse].into_iter();
        both.filter_map(|direction| against(&passes, &edges_m, [setup, baseline], direction))
            .max_by(|a, b| {
                let height = |one: &Uneven| one.more.abs() / one.standard_uncertainty;
                height(a).total_cmp(&height(b))
            })
    };
    (baseline + 1..day.setups.len()).filter_map(pair).collect()
}

fn against(
    passes: &[Judged],
    edges_m: &[f64],
    [setup, baseline]: [usize; 2],
    direction: Direction,
) -> Option<Uneven> {
    let own = |setup: usize| -> Vec<Vec<f64>> {
        passes
            .iter()
            .filter(|pass| pass.ride.setup == setup && pass.ride.direction == direction)
            .map(|pass| pass.cells.iter().map(|c| c.excess_j / c.air_j).collect())
            .collect()
    };
    let (ours, theirs) = (own(setup), own(baseline));
    if ours.len().min(theirs.len()) < FEWEST {
        return None;
    }
    let (a, b) = (means(&ours), means(&theirs));
    let freedom = a.freedom + b.freedom;
    if freedom < FEWEST_FREEDOM {
        return None;
    }
    let apart: Vec<f64> = a.means.iter().zip(&b.means).map(|(a, b)| a - b).collect();
    let less: Vec<f64> = apart.iter().map(|value| -value).collect();
    let share = 1.0 / ours.len() as f64 + 1.0 / theirs.len() as f64;
    let usual = Usual {
        variance: (a.square + b.square) / freedom * share,
        freedom,
    };
    let longest = (apart.len() / LONGEST_PART).max(1);
    let run_of = |values: &[f64]| furthest(values, usual, CLEAR_DIFFERENCE, longest);
    let up = run_of(&apart).map(|run| (run, 1.0));
    let down = run_of(&less).map(|run| (run, -1.0));
    let (run, sign) = up.into_iter().chain(down).max_by(|(a, _), (b, _)| {
        (a.more / a.standard_uncertainty).total_cmp(&(b.more / b.standard_uncertainty))
    })?;
    Some(Uneven {
        setup,
        baseline,
        direction,
        from_m: edges_m[run.first],
        to_m: edges_m[run.last + 1],
        more: sign * run.more,
        standard_uncertainty: run.standard_uncertainty,
    })
}
