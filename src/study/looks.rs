//! Which planned blocks are ridden, where the day is looked at after each of them.

use super::PassResult;
use crate::test_day::{Extent, TestDay};
use crate::verdict::Schedule;

/// Set-up of each planned block in riding order, of which the first `ridden` are done.
pub(super) struct Order {
    setups: Vec<usize>,
    ridden: usize,
}

impl Order {
    /// `None` before the first look at this pair (set-up, baseline).
    pub(super) fn schedule(&self, pair: [usize; 2]) -> Option<Schedule> {
        Schedule::of(&self.setups, self.ridden, pair)
    }
}

/// `None` unless the plan is to look after every block. A block that was ridden and of which no pass is kept tells
/// nothing: it is taken as never planned.
pub(super) fn order(day: &TestDay, passes: &[PassResult]) -> Option<Order> {
    day.plan.as_ref().filter(|plan| plan.look_after_every_block)?;
    let (mut done, mut to_come) = (Vec::new(), Vec::new());
    for (number, block) in day.blocks.iter().enumerate() {
        let Some(setup) = block.setup else {
            continue;
        };
        let own = || passes.iter().filter(|pass| pass.block == Some(number + 1));
        let whole = match block.extent {
            Extent::Passes(count) => own().count() >= count,
            Extent::Times { .. } => own().count() > 0,
        };
        if !whole {
            to_come.push(setup);
        } else if own().any(|pass| pass.kept) {
            done.push(setup);
        }
    }
    let ridden = done.len();
    done.extend(to_come);
    Some(Order { setups: done, ridden })
}
