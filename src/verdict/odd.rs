//! Passes that do not fit the others.

use crate::course::Direction;
use crate::estimate::plain::{Averages, Day, PassDrag};
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
///
/// With three passes one odd one spoils the median of the others for the two good ones: a pass must lie off
/// the median that holds it too.
pub fn odd_passes(day: &Day, averages: &Averages) -> Vec<OddPass> {
    let key = |ride: usize| -> (usize, Direction) { (day.rides[ride].setup, day.rides[ride].direction) };
    let areas = |of: &PassDrag, with_itself: bool| -> Vec<f64> {
        let alike = |p: &&PassDrag| key(p.ride) == key(of.ride) && (with_itself || p.ride != of.ride);
        averages.passes.iter().filter(alike).map(|p| p.cda_m2).collect()
    };
    let off: Vec<(&PassDrag, f64)> = averages
        .passes
        .iter()
        .filter_map(|pass| {
            let others = areas(pass, false);
            // With one other pass nobody knows which of the two is the odd one.
            let median = (others.len() >= 2).then(|| median(others)).flatten()?;
            (median > 0.0).then(|| (pass, pass.cda_m2 / median - 1.0))
        })
        .collect();
    let Some(spread) = median(off.iter().map(|(_, o)| o.abs()).collect()) else {
        return Vec::new();
    };
    let cut = (MODIFIED_Z * MAD_TO_SD * spread).max(LEAST_SHARE);
    let off_all = |pass: &PassDrag| median(areas(pass, true)).map_or(0.0, |m| (pass.cda_m2 / m - 1.0).abs());
    off.into_iter()
        .filter(|(pass, o)| o.abs() > cut && off_all(pass) > cut)
        .map(|(pass, o)| OddPass {
            ride: pass.ride,
            off_percent: 100.0 * o,
        })
        .collect()
}

/// `None` for no values.
fn median(values: Vec<f64>) -> Option<f64> {
    let middle = Data::new(values).median();
    middle.is_finite().then_some(middle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::cells::PassRide;
    use crate::estimate::made::{level_pass, setup};

    fn odd(areas: &[f64]) -> Vec<OddPass> {
        odd_of(&areas.iter().map(|cda| (*cda, 0)).collect::<Vec<_>>())
    }

    /// Drag area and set-up of each pass.
    fn odd_of(ridden: &[(f64, usize)]) -> Vec<OddPass> {
        let rides: Vec<PassRide> = ridden
            .iter()
            .map(|(_, setup)| level_pass(0.3, Direction::Forward, *setup, 0))
            .collect();
        let passes = ridden
            .iter()
            .enumerate()
            .map(|(ride, (cda_m2, _))| PassDrag {
                ride,
                cda_m2: *cda_m2,
                standard_uncertainty_m2: 0.003,
            })
            .collect();
        let averages = Averages {
            passes,
            blocks: Vec::new(),
            setups: Vec::new(),
            forward_over_reverse: None,
        };
        let setups = [setup("a"), setup("b")];
        odd_passes(
            &Day {
                rides: &rides,
                setups: &setups,
                course_length_m: 1500.0,
                shape: crate::test_day::Shape::OneWay,
            },
            &averages,
        )
    }

    #[test]
    fn a_pass_far_from_the_others_is_flagged_with_its_distance() {
        let found = odd(&[0.300, 0.302, 0.299, 0.330, 0.301, 0.298]);
        assert_eq!(found.iter().map(|o| o.ride).collect::<Vec<_>>(), [3]);
        assert!((found[0].off_percent - 10.0).abs() < 0.01, "{found:?}");
    }

    #[test]
    fn passes_that_scatter_alike_and_small_differences_are_not_flagged() {
        assert_eq!(odd(&[0.28, 0.33, 0.30, 0.26, 0.32, 0.29]), []);
        // 3 % off is far outside a spread of 0.1 %, yet nothing to talk about.
        assert_eq!(odd(&[0.3000, 0.3003, 0.2997, 0.3002, 0.3090]), []);
    }

    /// Of two passes nobody knows which is the odd one.
    #[test]
    fn two_passes_do_not_accuse_each_other() {
        assert_eq!(odd(&[0.3, 0.4]), []);
        assert_eq!(odd(&[0.3]), []);
        assert_eq!(odd(&[]), []);
        // Not even beside another set-up whose passes agree well.
        let others = [0.300, 0.301, 0.299, 0.300, 0.302, 0.298].map(|cda| (cda, 0));
        assert_eq!(odd_of(&[&others[..], &[(0.25, 1), (0.31, 1)]].concat()), []);
        // Of three, the one that is off, and not the two that agree with each other.
        let three = [(0.25, 1), (0.31, 1), (0.251, 1)];
        let found = odd_of(&[&others[..], &three].concat());
        assert_eq!(found.iter().map(|o| o.ride).collect::<Vec<_>>(), [7]);
    }

    /// Tietjen and Moore's uranium data (REFERENCES 5.7, L): 245.57 is the one that does not belong.
    #[test]
    fn the_outlier_of_the_handbook_is_found() {
        let found = odd(&[199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]);
        assert_eq!(found.iter().map(|o| o.ride).collect::<Vec<_>>(), [7]);
    }
}
