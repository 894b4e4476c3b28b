//! The stretch of road that was ridden again and again.

use super::ground::{Plane, dot, length, minus};
use super::legs::{self, Leg, STEP_M};
use super::located::Located;
use super::refine;
use super::runs::{self, Run};
use super::track::Track;
use crate::error::{Fault, Result};
use crate::streams::Streams;
use crate::test_day::{CourseGiven, Shape};

/// A shorter stretch tells little: at 10 m/s, 3 m of wander at each gate is 1.7 % of it.
const SHORTEST_M: f64 = 250.0;
/// Beyond this length, more of it is worth less: riders test on one to three kilometres, and the
/// long road home that two rides share is not the course.
const LONG_M: f64 = 3000.0;
const WORTH_BEYOND: f64 = 0.25;
/// Number of passes against length. A second pass makes a comparison possible at all and each further one
/// is a repeat of the whole; 1.5 lets eight passes of 1.5 km beat two of the 10 km to get there.
const REPEATS_EXPONENT: f64 = 1.5;
/// A loop is worth more than a part of it: where riders join and leave it, part of it is ridden once more than
/// the whole, yet only whole laps go on without a turn and close the climb to zero.
const LOOP_BONUS: f64 = 1.5;
/// A lap ends within this of where it began.
const CLOSES_M: f64 = 60.0;

/// Steps `from..=to` of a leg, ridden `times` times altogether.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    pub leg: usize,
    pub from: usize,
    pub to: usize,
    pub times: usize,
    /// Where it is a loop: the step at which the second lap begins.
    pub lap_to: Option<usize>,
    score: f64,
}

impl Stretch {
    pub fn length_m(&self) -> f64 {
        (self.to - self.from) as f64 * STEP_M
    }
}

/// A lap found by positions is as long as it was measured to within this: wander on a lap of 250 m.
const LAPS_ALIKE: f64 = 0.15;

/// What kind of stretch is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sought {
    pub shape: Option<Shape>,
    /// Of a loop.
    pub lap_length_m: Option<f64>,
}

impl Sought {
    pub fn of(given: Option<&CourseGiven>) -> Sought {
        let lap_length_m = given.and_then(|given| given.lap).map(|lap| lap.length_m.value);
        Sought {
            shape: given
                .and_then(|given| given.shape)
                .or(lap_length_m.map(|_| Shape::Loop)),
            lap_length_m,
        }
    }

    /// Whether a stretch may be this long.
    fn allows(&self, length_m: f64) -> bool {
        match self.lap_length_m {
            Some(lap_m) => (length_m / lap_m - 1.0).abs() < LAPS_ALIKE,
            None => length_m >= SHORTEST_M,
        }
    }
}

/// # Errors
/// No stretch of road was ridden twice.
pub fn find(plane: &Plane, tracks: &[Track], streams: &[Streams], sought: &Sought) -> Result<Located> {
    let shape = sought.shape;
    let legs = legs::legs(tracks, streams);
    let runs = runs::runs(&legs);
    let best = (0..legs.len())
        .filter_map(|leg| best_of_leg(leg, &legs[leg], &runs[leg], sought))
        .max_by(|a, b| a.score.total_cmp(&b.score).then(b.leg.cmp(&a.leg)));
    best.and_then(|stretch| refine::refine(&stretch, &legs, plane, tracks, streams, shape))
        .ok_or_else(|| nothing_repeated(streams, shape).into())
}

fn nothing_repeated(streams: &[Streams], shape: Option<Shape>) -> Fault {
    let what = match shape {
        Some(Shape::Loop) => "no loop was ridden for two laps without a stop",
        Some(Shape::OneWay) => "no stretch of road of 250 m or more was ridden twice in the same direction",
        _ => "no stretch of road of 250 m or more was ridden twice",
    };
    let fault = Fault::new(
        what,
        "Ride one stretch several times without stopping on it, or put its gates into [course] of test.toml \
         (start and finish, each as [latitude, longitude]).",
    );
    match streams {
        [only] => fault.in_file(&only.file),
        _ => fault,
    }
}

/// The stretch of one leg that is worth most, with the times it was ridden anywhere.
fn best_of_leg(index: usize, leg: &Leg, runs: &[Run], sought: &Sought) -> Option<Stretch> {
    let shape = sought.shape;
    let limits = limits(index, leg, runs);
    let counted: Vec<&Run> = runs
        .iter()
        .filter(|run| run.same_way || shape != Some(Shape::OneWay))
        .collect();
    let mut starts: Vec<usize> = counted.iter().map(|run| run.from).collect();
    starts.extend((1..limits.len()).filter(|&i| limits[i] > limits[i - 1] + 3));
    starts.sort_unstable();
    starts.dedup();
    let mut best: Option<Stretch> = None;
    for from in starts {
        let last = limits[from] - 1;
        let mut ends: Vec<usize> = counted
            .iter()
            .filter(|run| run.from <= from && run.to > from)
            .map(|run| run.to.min(last))
            .collect();
        ends.sort_unstable_by(|a, b| b.cmp(a));
        for (others, &to) in ends.iter().enumerate() {
            let lap_to = lap_end(index, leg, runs, from, to);
            let fits = match shape {
                Some(Shape::Loop) => lap_to.is_some(),
                Some(_) => lap_to.is_none(),
                None => true,
            };
            // Of equal ends the last has them all.
            if !fits || ends.get(others + 1) == Some(&to) {
                continue;
            }
            let stretch = Stretch {
                leg: index,
                from,
                to,
                times: others + 2,
                lap_to,
                score: 0.0,
            };
            let length_m = stretch.length_m();
            if !sought.allows(length_m) {
                continue;
            }
            let worth = length_m.min(LONG_M) + WORTH_BEYOND * (length_m - LONG_M).max(0.0);
            let bonus = if lap_to.is_some() { LOOP_BONUS } else { 1.0 };
            let score = bonus * ((others + 1) as f64).powf(REPEATS_EXPONENT) * worth;
            if best.is_none_or(|known| score > known.score) {
                best = Some(Stretch { score, ..stretch });
            }
        }
    }
    best
}

/// The step of the same leg that lies beside step `index` by a run.
fn opposite_number(run: &Run, index: usize) -> usize {
    let share = (index - run.from) as f64 / (run.to - run.from).max(1) as f64;
    let other = run.other_from as f64 + share * (run.other_to as f64 - run.other_from as f64);
    other.round().max(0.0) as usize
}

/// For each step, the first step at which a stretch that begins there would meet its own road again:
/// a stretch must hold neither its own turn nor more than a lap.
fn limits(index: usize, leg: &Leg, runs: &[Run]) -> Vec<usize> {
    let mut limits = vec![leg.steps.len(); leg.steps.len()];
    for run in runs.iter().filter(|run| run.leg == index) {
        for (step, limit) in limits.iter_mut().enumerate().take(run.to + 1).skip(run.from) {
            let other = opposite_number(run, step);
            if other > step {
                *limit = (*limit).min(other);
            }
        }
    }
    for step in (0..limits.len().saturating_sub(1)).rev() {
        limits[step] = limits[step].min(limits[step + 1]);
    }
    limits
}

/// Where the next lap begins, when a stretch goes round to where it began and on along itself.
fn lap_end(index: usize, leg: &Leg, runs: &[Run], from: usize, to: usize) -> Option<usize> {
    let slack = (CLOSES_M / STEP_M) as usize;
    runs.iter()
        .filter(|run| run.leg == index && run.same_way && run.from <= from && run.to >= from)
        .map(|run| opposite_number(run, from))
        .filter(|&next| next > from && next <= to + slack && next < leg.steps.len())
        .filter(|&next| {
            let (first, again) = (&leg.steps[from], &leg.steps[next]);
            length(minus(again.at, first.at)) < CLOSES_M && dot(again.heading, first.heading) > 0.5
        })
        .min()
}
