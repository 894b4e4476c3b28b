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

/// Blocks of set-ups, by their place among all blocks, in riding order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlocksRidden {
    pub ridden: Vec<usize>,
    pub to_come: Vec<usize>,
}

/// A block counts as ridden when all of its passes were found, left-out ones too.
pub fn blocks_ridden(day: &TestDay, passes: &[PassResult]) -> BlocksRidden {
    let is_ridden = |place: &usize| {
        let found = of_block(*place, passes).count();
        match day.blocks[*place].extent {
            Extent::Passes(count) => found >= count,
            Extent::Times { .. } => found > 0,
        }
    };
    let all = (0..day.blocks.len()).filter(|place| day.blocks[*place].setup.is_some());
    let (ridden, to_come) = all.partition(is_ridden);
    BlocksRidden { ridden, to_come }
}

fn of_block(place: usize, passes: &[PassResult]) -> impl Iterator<Item = &PassResult> {
    passes.iter().filter(move |pass| pass.block == Some(place + 1))
}

/// `None` unless the plan is to look after every block. A block that was ridden and of which no pass is kept tells
/// nothing: it is taken as never planned.
pub(super) fn order(day: &TestDay, passes: &[PassResult]) -> Option<Order> {
    day.plan.as_ref().filter(|plan| plan.look_after_every_block)?;
    let BlocksRidden { ridden, to_come } = blocks_ridden(day, passes);
    let tells = |place: &usize| of_block(*place, passes).any(|pass| pass.kept);
    let mut done: Vec<usize> = ridden.into_iter().filter(tells).collect();
    let ridden = done.len();
    done.extend(to_come);
    let setups = done.iter().filter_map(|place| day.blocks[*place].setup).collect();
    Some(Order { setups, ridden })
}
