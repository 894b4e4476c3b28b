//! A pass with something wrong over its whole length does not fit the others, and is told so.

use super::days::{Ridden, count, each_day, mean};
use super::drawn::{Course, Drawn};
use std::path::Path;
use stillair::simulate::{BlockTruth, Incident};
use stillair::study::Compared;

const FIRST: u64 = 5600;
const DAYS: u64 = 10;

#[derive(Debug, Clone, Copy)]
enum Wrong {
    /// The meter reads a tenth too much.
    Power,
    /// A fifth more drag area.
    SatUp,
    /// A wind against the rider that rises to 3 m/s and falls again.
    Wind,
}

/// The day with the first pass of its third block gone wrong, and the place of that pass.
fn gone_wrong(mut drawn: Drawn, wrong: Wrong) -> (Ridden, usize) {
    let pass: usize = drawn.plan.order.iter().take(2).map(|block| block.passes).sum();
    let ridden = match wrong {
        Wrong::Power => {
            let mut ridden = Ridden::of(&drawn);
            let (from_s, to_s) = (ridden.truth.passes[pass].start_s, ridden.truth.passes[pass].end_s);
            let recordings = ridden.truth.recordings.iter_mut();
            for sample in recordings.flat_map(|recording| &mut recording.samples) {
                // Power is the mean over the second that ends at its stamp.
                if from_s < sample.time_s && sample.time_s < to_s + 1.0 {
                    sample.power_w = sample.power_w.map(|power| (1.1 * power).round());
                }
            }
            ridden
        }
        Wrong::SatUp => sat_up(drawn),
        Wrong::Wind => {
            drawn.plan.incidents = vec![Incident::Lorry {
                pass: pass + 1,
                at_m: 0.0,
                gust_m_s: -3.0,
                duration_s: 180.0,
            }];
            Ridden::of(&drawn)
        }
    };
    (ridden, pass)
}

/// The third block begins with one pass in a set-up that the rider does not write of.
fn sat_up(mut drawn: Drawn) -> Ridden {
    let plan = &mut drawn.plan;
    let block = plan.order[2];
    let mut sat_up = plan.setups[block.setup.unwrap()].clone();
    sat_up.cda_m2 *= 1.2;
    let upright = BlockTruth {
        setup: Some(plan.setups.len()),
        passes: 1,
    };
    plan.setups.push(sat_up);
    plan.order[2] = upright;
    if block.passes > 1 {
        let passes = block.passes - 1;
        plan.order.insert(3, BlockTruth { passes, ..block });
    }
    let mut truth = drawn.ride();
    truth.plan.order[2].setup = block.setup;
    let test_day = drawn
        .test_day(&mut truth, &Path::new("day").join("test.toml"))
        .unwrap();
    Ridden { truth, test_day }
}

fn is_odd(compared: &Compared, pass: usize) -> bool {
    compared.passes[pass]
        .flags
        .iter()
        .any(|flag| flag.starts_with("odd: "))
}

#[derive(Debug)]
struct Seen {
    /// Days on which that pass is called odd, and other passes that are.
    odd: usize,
    others: usize,
    /// Of that pass, in the mean of the days.
    studentised: f64,
}

/// Open courses on calm days.
fn passes_gone_wrong(course: Course, order: &str, wrong: Wrong) -> Seen {
    let days = each_day(FIRST..FIRST + DAYS, course, order, |_, mut drawn| {
        if course != Course::Loop {
            drawn.plan = drawn.plan.calm();
        }
        let (ridden, pass) = gone_wrong(drawn, wrong);
        let compared = ridden.answered();
        let odd = is_odd(&compared, pass);
        if odd {
            is_told_with_advice(&compared, pass);
        }
        let others = (0..compared.passes.len()).filter(|other| *other != pass && is_odd(&compared, *other));
        let judged = compared.passes[pass].judged.as_ref().unwrap();
        (odd, others.count(), judged.studentised)
    });
    let seen = Seen {
        odd: count(&days, |day| day.0),
        others: days.iter().map(|day| day.1).sum(),
        studentised: mean(days.iter().map(|day| day.2)),
    };
    println!(
        "{} {order}, {wrong:?}: {seen:?} on {} days",
        course.name(),
        days.len()
    );
    seen
}

/// By how much it is off, in percent and in standard deviations; and what to do.
fn is_told_with_advice(compared: &Compared, pass: usize) {
    let result = &compared.passes[pass];
    let judged = result.judged.as_ref().unwrap();
    let flag = result
        .flags
        .iter()
        .find(|flag| flag.starts_with("odd: "))
        .unwrap();
    let off = format!(
        "its drag area is {:.0} % above what the other passes make it, {:.1} standard deviations",
        100.0 * judged.off.exp_m1(),
        judged.studentised
    );
    assert!(judged.studentised > 3.0 && flag.contains(&off), "{flag}");
    let number = compared.surveyed.ridden.passes[result.pass].number;
    let warning = compared
        .warnings
        .iter()
        .find(|warning| {
            warning
                .message
                .starts_with(&format!("pass {number} does not fit the others; it is kept"))
        })
        .unwrap();
    assert_eq!(warning.kind, "odd pass");
    for words in ["[[exclude]]", "ride it again"] {
        assert!(warning.next_step.contains(words), "{}", warning.next_step);
    }
    assert!(result.kept);
}

/// On a loop the passes share the wind's every direction, so that nothing but the pass itself can be wrong.
#[test]
fn a_lap_gone_wrong_is_called_odd() {
    for wrong in [Wrong::Power, Wrong::SatUp, Wrong::Wind] {
        let seen = passes_gone_wrong(Course::Loop, "ABBA", wrong);
        assert!(seen.odd + 2 >= DAYS as usize && seen.others <= 2, "{seen:?}");
    }
}

/// On an open course a wind that has changed looks the same, and six or eight passes do not tell that the day was
/// calm: the pass stands out, mostly by less than the three standard deviations that make it odd.
#[test]
fn on_open_courses_a_pass_gone_wrong_stands_out() {
    for (course, order) in [(Course::OneWay, "ABBAAB"), (Course::OutAndBack, "ABBA")] {
        let seen = passes_gone_wrong(course, order, Wrong::Power);
        assert!(seen.studentised > 1.5 && seen.others <= 1, "{seen:?}");
    }
}
