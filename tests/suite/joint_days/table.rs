//! A small copy of docs/accuracy.md.

use super::days::{
    Ridden, change_percent, count, each_day, held_by_chance, holds, log_off, root_mean_square,
};
use super::drawn::Course;
use statrs::distribution::{Binomial, DiscreteCDF};
use std::sync::LazyLock;
use stillair::verdict::Call;

const ROWS: [(Course, &str); 4] = [
    (Course::OneWay, "ABBAAB"),
    (Course::OneWay, "AAABBB"),
    (Course::OutAndBack, "ABBA"),
    (Course::Loop, "ABBA"),
];

/// The numbers of docs/accuracy.md begin at 0; these are other days.
const FIRST: u64 = 4800;
const DAYS: u64 = 24;

struct Day {
    row: usize,
    true_percent: f64,
    /// Of the ratio, as a logarithm.
    off: f64,
    average_off: f64,
    held: bool,
    baseline_held: bool,
    call: Call,
    passes: usize,
    odd: usize,
    /// Root mean square over the passes.
    studentised: f64,
    ended: &'static str,
}

static DAYS_ANSWERED: LazyLock<Vec<Day>> = LazyLock::new(|| {
    let rows = ROWS.iter().enumerate();
    rows.flat_map(|(row, &(course, order))| {
        each_day(FIRST..FIRST + DAYS, course, order, |_, drawn| {
            let true_percent = drawn.change_percent;
            let true_cda_m2 = drawn.plan.setups[0].cda_m2;
            let compared = Ridden::of(&drawn).answered();
            let finding = &compared.findings[0];
            let [low, high] = compared.setups[0].cda_m2.unwrap().2;
            let odd = |flag: &String| flag.starts_with("odd:");
            Day {
                row,
                true_percent,
                off: log_off(&change_percent(&compared), true_percent),
                average_off: log_off(&finding.pass_average_percent, true_percent),
                held: holds(&finding.cda_change_percent, true_percent),
                baseline_held: (low..=high).contains(&true_cda_m2),
                call: finding.call,
                passes: compared.passes.iter().filter(|pass| pass.kept).count(),
                odd: compared
                    .passes
                    .iter()
                    .filter(|pass| pass.flags.iter().any(odd))
                    .count(),
                studentised: root_mean_square(
                    compared
                        .passes
                        .iter()
                        .filter_map(|p| Some(p.judged.as_ref()?.studentised)),
                ),
                ended: compared.fit.ended,
            }
        })
    })
    .collect()
});

fn of_row(row: usize) -> Vec<&'static Day> {
    DAYS_ANSWERED.iter().filter(|day| day.row == row).collect()
}

/// Both drag area and ratio, on each course and on all; the bounds are those of chance.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    for (row, (course, order)) in ROWS.iter().enumerate() {
        let days = of_row(row);
        let held = [
            count(&days, |day| day.held),
            count(&days, |day| day.baseline_held),
        ];
        println!(
            "{} {order}: ratio and drag area held {held:?} of {}",
            course.name(),
            days.len()
        );
        let by_chance = held_by_chance(days.len());
        assert!(
            held.iter().all(|held| by_chance.contains(held)),
            "{held:?} {by_chance:?}"
        );
    }
    let days = &DAYS_ANSWERED;
    let held = [count(days, |day| day.held), count(days, |day| day.baseline_held)];
    println!("all: {held:?} of {}", days.len());
    let by_chance = held_by_chance(days.len());
    assert!(
        held.iter().all(|held| by_chance.contains(held)),
        "{held:?} {by_chance:?}"
    );
}

#[test]
fn the_error_is_not_above_that_of_the_average_of_passes() {
    for (row, (course, order)) in ROWS.iter().enumerate() {
        let days = of_row(row);
        let joint = root_mean_square(days.iter().map(|day| day.off));
        let average = root_mean_square(days.iter().map(|day| day.average_off));
        println!(
            "{} {order}: {joint:.4}, average of passes {average:.4}",
            course.name()
        );
        assert!(joint < 1.05 * average, "{joint} {average}");
    }
}

#[test]
fn verdicts_have_the_right_sign_and_few_are_false() {
    let said_other = |day: &Day| match day.call {
        Call::LowerDrag => day.true_percent > 0.0,
        Call::HigherDrag => day.true_percent < 0.0,
        Call::NotResolved => false,
    };
    let wrong: Vec<f64> = DAYS_ANSWERED
        .iter()
        .filter(|day| said_other(day))
        .map(|day| day.true_percent)
        .collect();
    let equal: Vec<&Day> = DAYS_ANSWERED
        .iter()
        .filter(|day| day.true_percent == 0.0)
        .collect();
    let called = count(&equal, |day| day.call != Call::NotResolved);
    println!("wrong sign {wrong:?}, false calls {called} of {}", equal.len());
    // Of a difference of 1 %, where a tenth of the calls go astray as they do without one, three are too many.
    assert!(
        wrong.iter().all(|percent| percent.abs() < 1.5) && wrong.len() < 3,
        "{wrong:?}"
    );
    let most = equal.len() - held_by_chance(equal.len()).start();
    assert!(called <= most, "{called} of {}", equal.len());
}

/// Three standard deviations are left by one pass in 370 if its errors are normal.
#[test]
fn ordinary_passes_are_seldom_called_odd() {
    for (row, (course, order)) in ROWS.iter().enumerate() {
        let days = of_row(row);
        let passes: usize = days.iter().map(|day| day.passes).sum();
        let odd: usize = days.iter().map(|day| day.odd).sum();
        let spread = root_mean_square(days.iter().map(|day| day.studentised));
        println!(
            "{} {order}: {odd} of {passes} odd, spread {spread:.2}",
            course.name()
        );
        // One in a hundred, and what chance adds to that once in a thousand times.
        let most = Binomial::new(0.01, passes as u64).unwrap().inverse_cdf(0.999);
        assert!(odd as u64 <= most, "{odd} of {passes}");
        assert!((0.5..1.3).contains(&spread), "{spread}");
    }
}

#[test]
fn every_fit_comes_to_rest() {
    let ended: Vec<&str> = DAYS_ANSWERED.iter().map(|day| day.ended).collect();
    assert!(ended.iter().all(|ended| *ended == "converged"), "{ended:?}");
}
