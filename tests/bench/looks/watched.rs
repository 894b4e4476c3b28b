//! One day of known truth, looked at after every block as it is ridden: the recordings end where the block does.

use super::drawn::{Course, Drawn};
use std::path::Path;
use stillair::simulate::TrueDay;
use stillair::study::{Compared, compare_gathered, gather_recordings};
use stillair::test_day::TestDay;
use stillair::verdict::Call;

/// What stopping at the first verdict gave: the verdict, and how many blocks were ridden.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stopped {
    pub call: Call,
    pub blocks: usize,
}

pub struct Watched {
    /// By the rule for looking after every block.
    pub by_rule: Stopped,
    /// By the plain 90 % interval at each look.
    pub by_plain: Stopped,
    /// By the plain interval of the whole day alone, looked at once.
    pub at_end: Stopped,
}

/// Day `number` of those of docs/accuracy.md, with this change instead of its own.
pub fn watched(course: Course, order: &str, number: u64, change_percent: f64) -> Result<Watched, String> {
    let mut drawn = Drawn::new(course, order, number);
    drawn.change_percent = change_percent;
    if let [base, other] = drawn.plan.setups.as_mut_slice() {
        other.cda_m2 = base.cda_m2 * (1.0 + change_percent / 100.0);
    }
    let mut truth = drawn.ride();
    let toml = Path::new("day").join("test.toml");
    let mut test_day = drawn.test_day(&mut truth, &toml)?;
    let plan = stillair::test_day::parse(&toml, "[plan]\nlook_after_every_block = true\n");
    test_day.plan = plan.map_err(|error| error.to_string())?.plan;
    let blocks = order.len();
    let (mut rule, mut plain) = (None, None);
    let mut at_end = Call::NotResolved;
    for ridden in 2..=blocks {
        let compared = looked_at(&truth, &test_day, truth.passes.len() * ridden / blocks)?;
        let Some(finding) = compared.findings.first() else {
            continue;
        };
        if ridden == blocks && finding.looks.is_none_or(|looks| looks.done != looks.planned) {
            return Err("the last look is not the last".to_string());
        }
        let now = |call: Call| (call != Call::NotResolved).then_some(Stopped { call, blocks: ridden });
        let [low, high] = finding.tested_percent().interval_90.ok_or("no interval")?;
        at_end = match (low > 0.0, high < 0.0) {
            (true, _) => Call::HigherDrag,
            (_, true) => Call::LowerDrag,
            _ => Call::NotResolved,
        };
        plain = plain.or(now(at_end));
        rule = rule.or(now(finding.call));
    }
    let never = Stopped {
        call: Call::NotResolved,
        blocks,
    };
    Ok(Watched {
        by_rule: rule.unwrap_or(never),
        by_plain: plain.unwrap_or(never),
        at_end: Stopped { call: at_end, blocks },
    })
}

/// The day as it lies in the folder when so many passes are ridden and the rider stands beside the road.
fn looked_at(truth: &TrueDay, test_day: &TestDay, passes: usize) -> Result<Compared, String> {
    let text = |error: stillair::error::Error| error.to_string();
    let gathered = gather_recordings(test_day.clone(), truth.recordings_after(passes)).map_err(text)?;
    compare_gathered(gathered, Path::new("day")).map_err(text)
}
