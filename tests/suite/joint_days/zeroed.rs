//! A power meter that drifts over a day whose set-ups were ridden one after the other.

use super::days::{
    Ridden, change_percent, count, each_day, half_width, held_by_chance, holds, log_off, mean,
    root_mean_square,
};
use super::drawn::Course;

const FIRST: u64 = 7200;
const DAYS: u64 = 24;

/// Error and mean half width of the ratio, and how often the interval held it.
fn answered(zeroed: bool, noted: bool) -> (f64, f64, usize) {
    let days = each_day(FIRST..FIRST + DAYS, Course::Loop, "AAABBB", |_, mut drawn| {
        // 3 W/h, one standard deviation.
        drawn.plan.sensors.power_drift_w_per_h *= 2.0;
        drawn.plan.sensors.power_zeroed = zeroed;
        let mut ridden = Ridden::of(&drawn);
        if !noted {
            for block in &mut ridden.test_day.blocks {
                block.notes.power_zero_nm = None;
            }
        }
        let change = change_percent(&ridden.answered());
        let off = log_off(&change, drawn.change_percent);
        (off, half_width(&change), holds(&change, drawn.change_percent))
    });
    let (error, width) = (
        root_mean_square(days.iter().map(|day| day.0)),
        mean(days.iter().map(|day| day.1)),
    );
    let held = count(&days, |day| day.2);
    println!(
        "zeroed {zeroed}, noted {noted}: error {error:.4}, half width {width:.4}, held {held} of {}",
        days.len()
    );
    (error, width, held)
}

#[test]
fn zeros_that_are_noted_narrow_the_interval_and_the_error() {
    let never = answered(false, false);
    let unsaid = answered(true, false);
    let noted = answered(true, true);
    assert!(noted.0 < 0.9 * never.0, "{noted:?} {never:?}");
    for other in [never, unsaid] {
        assert!(noted.1 < 0.97 * other.1, "{noted:?} {other:?}");
    }
    let by_chance = held_by_chance(DAYS as usize);
    assert!(by_chance.contains(&noted.2), "{noted:?}");
}
