//! Passes that do not fit the others.

use crate::course::Direction;
use crate::estimate::plain::{Averages, Day};
use statrs::statistics::{Data, OrderStatistics};

/// Iglewicz and Hoaglin's cut for the modified z score (REFERENCES 5.7, M+).
const MODIFIED_Z: f64 = 3.5;
/// 1.4826 × the median absolute deviation is the standard deviation of a normal distribution.
const MAD_TO_SD: f64 = 1.4826;
/// Nothing closer than this to the others is worth a remark.
const LEAST_SHARE: f64 = 0.04;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OddPass {
    /// Index into the day's rides.
    pub ride: usize,
    /// Drag area above (or below) what the other passes of its set-up and direction give.
    pub off_percent: f64,
}

/// Each pass against the median of the other passes of its set-up and direction; the spread is that of all.
pub fn odd_passes(day: &Day, averages: &Averages) -> Vec<OddPass> {
    let key = |ride: usize| -> (usize, Direction) { (day.rides[ride].setup, day.rides[ride].direction) };
    let off: Vec<(usize, f64)> = averages
        .passes
        .iter()
        .filter_map(|pass| {
            let others: Vec<f64> = averages
                .passes
                .iter()
                .filter(|p| p.ride != pass.ride && key(p.ride) == key(pass.ride))
                .map(|p| p.cda_m2)
                .collect();
            // With one other pass nobody knows which of the two is the odd one.
            let median = (others.len() >= 2).then(|| median(others)).flatten()?;
            (median > 0.0).then(|| (pass.ride, pass.cda_m2 / median - 1.0))
        })
        .collect();
    let Some(spread) = median(off.iter().map(|(_, o)| o.abs()).collect()) else {
        return Vec::new();
    };
    let cut = (MODIFIED_Z * MAD_TO_SD * spread).max(LEAST_SHARE);
    off.into_iter()
        .filter(|(_, o)| o.abs() > cut)
        .map(|(ride, o)| OddPass {
            ride,
            off_percent: 100.0 * o,
        })
        .collect()
}

/// `None` for no values.
fn median(values: Vec<f64>) -> Option<f64> {
    let middle = Data::new(values).median();
    middle.is_finite().then_some(middle)
}
