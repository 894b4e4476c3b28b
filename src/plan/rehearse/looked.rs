//! A rehearsed day looked at after every block, as it is while it is being ridden.

use super::Rehearsed;
use crate::error::Result;
use crate::simulate::TrueDay;
use crate::study::{compare_gathered, gather_recordings};
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
    /// Each set-up against the first, but for two names of the same thing.
    pub(super) fn looked(
        &self,
        ridden: &TrueDay,
        test_day: &TestDay,
        true_percent: impl Fn(usize) -> f64,
    ) -> Result<Vec<Stopped>> {
        let blocks = self.day.order.len();
        let mut found: Vec<Stopped> = Vec::new();
        let mut passes = self
            .day
            .order
            .first()
            .map_or(0, |block| block.idle_passes + block.passes);
        for (number, block) in self.day.order.iter().enumerate().skip(1) {
            passes += block.idle_passes + block.passes;
            let so_far = gather_recordings(test_day.clone(), ridden.recordings_after(passes))?;
            let compared = compare_gathered(so_far, &self.folder)?;
            let against_first = compared
                .findings
                .iter()
                .filter(|finding| finding.baseline == 0 && finding.null_test.is_none());
            for finding in against_first {
                let last = number + 1 == blocks;
                if found.iter().any(|one| one.setup == finding.setup)
                    || (finding.call == Call::NotResolved && !last)
                {
                    continue;
                }
                found.push(Stopped {
                    setup: finding.setup,
                    true_percent: true_percent(finding.setup),
                    call: finding.call,
                    blocks: number + 1,
                });
            }
        }
        Ok(found)
    }
}
