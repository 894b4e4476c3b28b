//! Where one leg lies on the road of another, or on its own: runs of steps side by side.

use super::ground::{dot, length, minus};
use super::legs::{Leg, STEP_M};
use std::collections::HashMap;

/// Two passes of one road are nearer than this: the width of a road and the wander of two receivers.
const BESIDE_M: f64 = 20.0;
/// Cosines of the angles within which two headings are the same (40°) or opposite (140°) way.
const SAME: f64 = 0.766;
const OPPOSITE: f64 = -0.766;
/// Steps without a neighbour that a run survives: a bridge, a few bad positions.
const MISSES: usize = 3;
/// On its own leg a road is only met again after this many steps: before, it is the same step.
const OWN_SAME: usize = 6;
const OWN_OPPOSITE: usize = 2;
/// Shorter runs are crossings and hairpins.
pub const LEAST_RUN: usize = (100.0 / STEP_M) as usize;

/// Steps `from..=to` of a leg lie beside steps `other_from` to `other_to` of `leg`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    pub from: usize,
    pub to: usize,
    pub leg: usize,
    pub same_way: bool,
    pub other_from: usize,
    /// Less than `other_from` where the road was ridden the other way.
    pub other_to: usize,
}

/// The runs of every leg, in the order of the legs.
pub fn runs(legs: &[Leg]) -> Vec<Vec<Run>> {
    let grid = Grid::over(legs);
    legs.iter()
        .enumerate()
        .map(|(index, leg)| runs_of(index, leg, legs, &grid))
        .collect()
}

struct Grid {
    cells: HashMap<[i64; 2], Vec<(u32, u32)>>,
}

fn cell(at: [f64; 2]) -> [i64; 2] {
    [
        (at[0] / BESIDE_M).floor() as i64,
        (at[1] / BESIDE_M).floor() as i64,
    ]
}

impl Grid {
    fn over(legs: &[Leg]) -> Grid {
        let mut cells: HashMap<[i64; 2], Vec<(u32, u32)>> = HashMap::new();
        for (leg, steps) in legs.iter().map(|leg| &leg.steps).enumerate() {
            for (index, step) in steps.iter().enumerate() {
                cells
                    .entry(cell(step.at))
                    .or_default()
                    .push((leg as u32, index as u32));
            }
        }
        Grid { cells }
    }

    /// Steps in the nine cells around a place, sorted by leg and step.
    fn around(&self, at: [f64; 2], found: &mut Vec<(u32, u32)>) {
        found.clear();
        let [x, y] = cell(at);
        for dx in -1..=1 {
            for dy in -1..=1 {
                if let Some(steps) = self.cells.get(&[x + dx, y + dy]) {
                    found.extend_from_slice(steps);
                }
            }
        }
        found.sort_unstable();
    }
}

/// One time that another leg came past a step: its nearest step there.
#[derive(Clone, Copy)]
struct Visit {
    leg: usize,
    step: usize,
    same_way: bool,
    off_m: f64,
    /// The last step of the other leg that is part of this visit.
    last: usize,
}

fn visits(own: usize, index: usize, legs: &[Leg], around: &[(u32, u32)], found: &mut Vec<Visit>) {
    found.clear();
    let here = &legs[own].steps[index];
    for &(leg, step) in around {
        let (leg, step) = (leg as usize, step as usize);
        let there = &legs[leg].steps[step];
        let off_m = length(minus(there.at, here.at));
        let turn = dot(here.heading, there.heading);
        let same_way = turn > SAME;
        if off_m > BESIDE_M || !(same_way || turn < OPPOSITE) {
            continue;
        }
        let apart = step.abs_diff(index);
        if leg == own && apart < (if same_way { OWN_SAME } else { OWN_OPPOSITE }) {
            continue;
        }
        // Steps of one leg come in order, so a visit is a row of steps without a long gap.
        let known = found
            .iter_mut()
            .rev()
            .take_while(|v| v.leg == leg)
            .find(|v| v.same_way == same_way);
        match known {
            Some(visit) if step - visit.last <= MISSES => {
                visit.last = step;
                if off_m < visit.off_m {
                    (visit.step, visit.off_m) = (step, off_m);
                }
            }
            _ => found.push(Visit {
                leg,
                step,
                same_way,
                off_m,
                last: step,
            }),
        }
    }
}

fn runs_of(own: usize, leg: &Leg, legs: &[Leg], grid: &Grid) -> Vec<Run> {
    let mut open: HashMap<(usize, bool), Vec<Run>> = HashMap::new();
    let mut done: Vec<Run> = Vec::new();
    let (mut around, mut met) = (Vec::new(), Vec::new());
    for (index, step) in leg.steps.iter().enumerate() {
        grid.around(step.at, &mut around);
        visits(own, index, legs, &around, &mut met);
        for visit in &met {
            let runs = open.entry((visit.leg, visit.same_way)).or_default();
            runs.retain(|run| {
                let alive = index - run.to <= MISSES + 1;
                if !alive && run.to - run.from >= LEAST_RUN {
                    done.push(*run);
                }
                alive
            });
            let continued = runs
                .iter_mut()
                .filter(|run| run.to < index)
                .min_by_key(|run| strain(run, index, visit));
            match continued.filter(|run| strain(run, index, visit) <= index - run.to + MISSES) {
                Some(run) => (run.to, run.other_to) = (index, visit.step),
                None => runs.push(Run {
                    from: index,
                    to: index,
                    leg: visit.leg,
                    same_way: visit.same_way,
                    other_from: visit.step,
                    other_to: visit.step,
                }),
            }
        }
    }
    done.extend(
        open.into_values()
            .flatten()
            .filter(|run| run.to - run.from >= LEAST_RUN),
    );
    done.sort_by_key(|run| (run.from, run.to, run.leg, run.other_from));
    done
}

/// By how many steps a visit is off from where the run would have the other leg by now.
fn strain(run: &Run, index: usize, visit: &Visit) -> usize {
    let ahead = index - run.to;
    let expected = if run.same_way {
        run.other_to + ahead
    } else {
        run.other_to.saturating_sub(ahead)
    };
    expected.abs_diff(visit.step)
}

#[cfg(test)]
mod tests {
    use super::super::legs::Step;
    use super::*;

    fn leg(places: &[[f64; 2]]) -> Leg {
        let steps = places
            .windows(2)
            .enumerate()
            .map(|(index, pair)| {
                let step = minus(pair[1], pair[0]);
                let size = length(step);
                Step {
                    at: pair[0],
                    heading: [step[0] / size, step[1] / size],
                    time_s: index as f64,
                }
            })
            .collect();
        Leg { track: 0, steps }
    }

    #[test]
    fn a_road_ridden_out_and_home_runs_beside_itself() {
        let out = (0..60).map(|i| [0.0, 10.0 * f64::from(i)]);
        let home = (0..60).rev().map(|i| [4.0, 10.0 * f64::from(i)]);
        let places: Vec<[f64; 2]> = out.chain(home).collect();
        let found = runs(&[leg(&places)]);
        // One run, over the turn: the way home is the way out backward, and the other way about.
        assert_eq!(found[0].len(), 1, "{:?}", found[0]);
        let run = found[0][0];
        assert!(!run.same_way && run.from == 0 && run.to >= 115, "{run:?}");
        assert!(run.other_from.abs_diff(118) <= 1 && run.other_to <= 4, "{run:?}");
    }

    #[test]
    fn two_legs_on_one_road_for_part_of_the_way_share_just_that_part() {
        let straight: Vec<[f64; 2]> = (0..100).map(|i| [0.0, 10.0 * f64::from(i)]).collect();
        let joins = (0..30).map(|i| [-300.0 + 10.0 * f64::from(i), 205.0]);
        let along = (0..40).map(|i| [5.0, 215.0 + 10.0 * f64::from(i)]);
        let leaves = (0..30).map(|i| [20.0 + 10.0 * f64::from(i), 615.0]);
        let other: Vec<[f64; 2]> = joins.chain(along).chain(leaves).collect();
        let found = runs(&[leg(&straight), leg(&other)]);
        assert_eq!(found[0].len(), 1, "{:?}", found[0]);
        let run = found[0][0];
        assert!(
            run.from.abs_diff(21) <= 2 && run.to.abs_diff(60) <= 2 && run.leg == 1,
            "{run:?}"
        );
    }
}
