//! A rehearsed day looked at after every block, as it is while it is being ridden.

use super::Rehearsed;
use super::outcome::judged;
use crate::error::Result;
use crate::simulate::TrueDay;
use crate::study::{Compared, compare_gathered, gather_recordings};
use crate::test_day::TestDay;
use crate::verdict::Call;

/// Stopping at the first verdict of one comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stopped {
    pub setup: usize,
    pub true_percent: f64,
    pub call: Call,
    /// Ridden until the verdict; all of the plan where there was none.
    pub blocks: usize,
}

impl Rehearsed {
    /// Each set-up against the first, but for two names of the same thing. `whole`: the answer of the whole day, which is
    /// the last look.
    pub(super) fn looked(
        &self,
        ridden: &TrueDay,
        test_day: &TestDay,
        whole: &Compared,
        true_percent: impl Fn(usize) -> f64,
    ) -> Result<Vec<Stopped>> {
        let order = &self.day.order;
        let mut found: Vec<Stopped> = Vec::new();
        let mut passes = 0;
        for (number, block) in order.iter().enumerate() {
            passes += block.idle_passes + block.passes;
            let (first, last) = (number == 0, number + 1 == order.len());
            if last {
                stop(&mut found, whole, order.len(), true, &true_percent);
            } else if !first {
                let so_far = gather_recordings(test_day.clone(), ridden.recordings_after(passes))?;
                let compared = compare_gathered(so_far, &self.folder)?;
                stop(&mut found, &compared, number + 1, false, &true_percent);
            }
        }
        Ok(found)
    }
}

/// Comparisons that are not stopped yet are now, where there is a verdict or nothing more to ride.
fn stop(
    found: &mut Vec<Stopped>,
    compared: &Compared,
    blocks: usize,
    last: bool,
    true_percent: impl Fn(usize) -> f64,
) {
    for judged in judged(compared, true_percent) {
        let stopped = found.iter().any(|one| one.setup == judged.setup);
        if !stopped && (last || judged.call != Call::NotResolved) {
            found.push(Stopped {
                setup: judged.setup,
                true_percent: judged.true_percent,
                call: judged.call,
                blocks,
            });
        }
    }
}
