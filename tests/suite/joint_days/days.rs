//! Days ridden and answered in memory, and bounds for what a few of them can show.

use super::drawn::{Course, Drawn};
use rayon::prelude::*;
use statrs::distribution::{Binomial, DiscreteCDF};
use std::ops::RangeInclusive;
use std::path::Path;
use stillair::estimate::joint::explore::Told;
use stillair::simulate::TrueDay;
use stillair::study::{Compared, Surveyed, compare_told, gather_recordings, passes_gathered};
use stillair::test_day::TestDay;
use stillair::verdict::Estimated;

/// A day whose recordings or notes can still be changed.
pub struct Ridden {
    pub truth: TrueDay,
    pub test_day: TestDay,
}

impl Ridden {
    /// What happened to the rider stands in no note.
    pub fn of(drawn: &Drawn) -> Ridden {
        let mut truth = drawn.ride();
        truth.plan.incidents.clear();
        let test_day = drawn.test_day(&mut truth, &Path::new("day").join("test.toml"));
        Ridden {
            test_day: test_day.unwrap(),
            truth,
        }
    }

    pub fn surveyed(self) -> Surveyed {
        let gathered = gather_recordings(self.test_day, self.truth.recordings).unwrap();
        passes_gathered(gathered, Path::new("day")).unwrap()
    }

    pub fn answered(self) -> Compared {
        answered(self.surveyed())
    }
}

pub fn answered(surveyed: Surveyed) -> Compared {
    compare_told(surveyed, &Told::default()).unwrap()
}

pub fn change_percent(compared: &Compared) -> Estimated {
    compared.findings[0].cda_change_percent
}

pub fn holds(estimated: &Estimated, truth: f64) -> bool {
    let [low, high] = estimated.interval_90.unwrap();
    (low..=high).contains(&truth)
}

/// Of the ratio, as a logarithm: how far the estimate is off.
pub fn log_off(estimated: &Estimated, true_percent: f64) -> f64 {
    (estimated.value / 100.0).ln_1p() - (true_percent / 100.0).ln_1p()
}

/// Half of the interval, as a logarithm.
pub fn half_width(estimated: &Estimated) -> f64 {
    let [low, high] = estimated.interval_90.unwrap();
    0.5 * ((high / 100.0).ln_1p() - (low / 100.0).ln_1p())
}

/// The days of these numbers, side by side.
pub fn each_day<T: Send>(
    numbers: impl IntoIterator<Item = u64>,
    course: Course,
    order: &str,
    told: impl Fn(u64, Drawn) -> T + Sync,
) -> Vec<T> {
    let numbers: Vec<u64> = numbers.into_iter().collect();
    numbers
        .into_par_iter()
        .map(|number| told(number, Drawn::new(course, order, number)))
        .collect()
}

pub fn root_mean_square(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut squares, mut count) = (0.0, 0.0);
    for value in values {
        squares += value * value;
        count += 1.0;
    }
    f64::sqrt(squares / count)
}

pub fn mean(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        sum += value;
        count += 1.0;
    }
    sum / count
}

pub fn count<T>(days: &[T], is: impl Fn(&T) -> bool) -> usize {
    days.iter().filter(|day| is(day)).count()
}

/// How many of so many intervals hold the truth when each does with a chance of 0.9: fewer, or more, happens once
/// in a thousand times each.
pub fn held_by_chance(intervals: usize) -> RangeInclusive<usize> {
    let held = Binomial::new(0.9, intervals as u64).unwrap();
    held.inverse_cdf(0.001) as usize..=held.inverse_cdf(0.999) as usize
}
