//! One day told in two ways is one day.

use super::days::{Ridden, change_percent};
use super::drawn::{Course, Drawn};
use stillair::simulate::Files;
use stillair::study::Compared;

const DAYS: [(Course, &str, u64); 4] = [
    (Course::OneWay, "ABBAAB", 7001),
    (Course::OutAndBack, "ABBA", 7002),
    (Course::OutAndBack, "AABB", 7003),
    (Course::Loop, "ABBA", 7004),
];

fn ridden(course: Course, order: &str, number: u64) -> Ridden {
    let mut drawn = Drawn::new(course, order, number);
    drawn.plan.files = Files::PerBlock;
    Ridden::of(&drawn)
}

/// All that is said but the names of files.
fn same(a: &Compared, b: &Compared) {
    assert_eq!(a.findings, b.findings);
    assert_eq!(a.setups, b.setups);
    assert_eq!(a.passes, b.passes);
    assert_eq!(a.budget, b.budget);
    assert_eq!(a.basis.joint.strengths, b.basis.joint.strengths);
    assert_eq!(a.fit, b.fit);
    assert_eq!(a.assumptions, b.assumptions);
}

#[test]
fn order_and_names_of_files_change_no_number() {
    for (course, order, number) in DAYS {
        let as_ridden = ridden(course, order, number).answered();
        let mut reversed = ridden(course, order, number);
        let recordings = &mut reversed.truth.recordings;
        assert!(recordings.len() > 1);
        recordings.reverse();
        for (k, recording) in recordings.iter_mut().enumerate() {
            recording.file = format!("morning {}.fit", k * 7 % 5).into();
        }
        same(&as_ridden, &reversed.answered());
    }
}

#[test]
fn the_other_baseline_turns_the_ratio_round() {
    for (course, order, number) in DAYS {
        let as_ridden = ridden(course, order, number).answered();
        let mut turned = ridden(course, order, number);
        turned.test_day.setups.swap(0, 1);
        for block in &mut turned.test_day.blocks {
            block.setup = block.setup.map(|setup| 1 - setup);
        }
        let turned = turned.answered();
        let (ratio, inverse) = (change_percent(&as_ridden), change_percent(&turned));
        let log = |percent: f64| (percent / 100.0).ln_1p();
        let uncertainty = ratio.standard_uncertainty.unwrap() / (100.0 + ratio.value);
        let apart = log(ratio.value) + log(inverse.value);
        assert!(apart.abs() < 0.1 * uncertainty, "{apart} {uncertainty}");
        let [low, high] = ratio.interval_90.unwrap().map(log);
        let [other_low, other_high] = inverse.interval_90.unwrap().map(log);
        for apart in [low + other_high, high + other_low] {
            assert!(apart.abs() < 0.1 * uncertainty, "{apart} {uncertainty}");
        }
    }
}
