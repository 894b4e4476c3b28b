//! A planned day ridden many times by the simulator and analysed by the engine: what it would show.

mod looked;
mod outcome;
mod summary;
mod written;

mod truth;

pub use looked::Stopped;
pub use outcome::{Judged, RehearsedDay};
pub use summary::{Looked, Rehearsal, Share, Verdicts};

use super::day::PlannedDay;
use super::place::Place;
use crate::error::{Fault, Result};
use crate::simulate::ride_day;
use crate::study::{Progress, compare_gathered, gather_recordings};
use crate::test_day::{self, Extent, Planned, TestDay};
use rand::{RngCore, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Rehearses the day that `[plan]` in the folder's `test.toml` describes, days in parallel; one in two is ridden without a
/// difference. The same for any number of threads. `seed`: that of `[plan]` unless given.
///
/// # Errors
/// No plan, or one that does not say what is ridden where; no day could be analysed.
pub fn rehearse(folder: &Path, days: usize, seed: Option<u64>, progress: Progress) -> Result<Rehearsal> {
    let plan = Rehearsed::read(folder, seed)?;
    let done = AtomicUsize::new(0);
    let ridden: Vec<RehearsedDay> = (1..=days)
        .into_par_iter()
        .map(|number| {
            let day = plan.analysed(number);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, days);
            day
        })
        .collect();
    summary::summary(&plan, &ridden)
}

/// Writes the recordings and the `test.toml` of one of those days, for `compare` and every other command. Nothing that
/// exists is written over; all or none.
///
/// # Errors
/// As [`rehearse`]; a file of that name exists; the folder cannot be written.
pub fn write_rehearsed_day(
    folder: &Path,
    number: usize,
    seed: Option<u64>,
    into: &Path,
) -> Result<Vec<PathBuf>> {
    let plan = Rehearsed::read(folder, seed)?;
    let ridden = ride_day(&plan.truth(number));
    let text = plan.test_toml(&ridden)?;
    ridden.write_with(into, &text)
}

/// What is rehearsed: the plan, and the file it stands in.
struct Rehearsed {
    folder: PathBuf,
    /// `test.toml` as it was typed.
    text: String,
    test_day: TestDay,
    plan: Planned,
    day: PlannedDay,
    /// `None`: only a length and a slope are known.
    place: Option<Place>,
    seed: u64,
}

impl Rehearsed {
    fn read(folder: &Path, seed: Option<u64>) -> Result<Rehearsed> {
        let test_toml = folder.join("test.toml");
        let fault = |line: usize, what: &str, next: &str| {
            Fault::new(what, next)
                .in_file(&test_toml)
                .at(format!("line {line}"))
        };
        let test_day = test_day::read(folder)?;
        let day = PlannedDay::of(&test_day, folder)?;
        let Some(plan) = test_day.plan.clone() else {
            return Err(
                Fault::new("there is no [plan] in it", "Let `stillair plan` write one.")
                    .in_file(&test_toml)
                    .into(),
            );
        };
        if test_day.setups.len() < 2 {
            let next = "Write a second [[setup]] with its name.";
            return Err(fault(
                plan.line,
                "there is one set-up only, and nothing to compare it with",
                next,
            )
            .into());
        }
        if let Some(block) = test_day
            .blocks
            .iter()
            .find(|block| !matches!(block.extent, Extent::Passes(_)))
        {
            let what =
                "this block has times, so the day was ridden already; what is rehearsed is a day to come";
            return Err(fault(
                block.line,
                what,
                "Write passes = 4 (or how many are planned) instead.",
            )
            .into());
        }
        let text = std::fs::read_to_string(&test_toml).map_err(|cause| {
            Fault::new(format!("cannot be read ({cause})"), "Check the right to read it.").in_file(&test_toml)
        })?;
        let place = match &plan.road {
            Some(road) => Some(Place::of_file(&folder.join(road))?),
            None => None,
        };
        Ok(Rehearsed {
            folder: folder.to_path_buf(),
            seed: seed.unwrap_or(plan.seed),
            text,
            plan,
            day,
            place,
            test_day,
        })
    }

    /// Days are drawn each from its own stream, so that day 7 is the same among 10 and among 1000.
    fn random(&self, number: usize) -> ChaCha8Rng {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(number as u64);
        rng
    }

    /// One day in two has the difference: the odd ones, so that the first has it.
    fn has_difference(&self, number: usize) -> bool {
        number % 2 == 1
    }

    fn truth(&self, number: usize) -> crate::simulate::DayPlan {
        let mut rng = self.random(number);
        let seed = rng.next_u64();
        truth::truth(self, self.has_difference(number), seed, &mut rng)
    }

    fn analysed(&self, number: usize) -> RehearsedDay {
        let ridden = ride_day(&self.truth(number));
        let different = self.has_difference(number);
        let true_percent = |setup: usize| self.true_percent(setup, different);
        let told = self.test_toml(&ridden).and_then(|text| {
            let test_day = test_day::parse(&self.folder.join("test.toml"), &text)?;
            let gathered = gather_recordings(test_day.clone(), ridden.recordings.clone())?;
            let whole = compare_gathered(gathered, &self.folder)?;
            let looked = match self.plan.look_after_every_block {
                true => Some(self.looked(&ridden, &test_day, &whole, true_percent)?),
                false => None,
            };
            Ok((whole, looked))
        });
        let (outcome, looked) = match told {
            Ok((compared, looked)) => (Ok(outcome::judged(&compared, true_percent)), looked),
            Err(error) => (Err(error.to_string()), None),
        };
        RehearsedDay {
            number,
            different,
            outcome,
            looked,
        }
    }

    /// Of what the test is about, to the first set-up.
    fn true_percent(&self, setup: usize, different: bool) -> f64 {
        if different && truth::is_other(&self.test_day.setups, setup) {
            self.day.difference_percent
        } else {
            0.0
        }
    }
}
