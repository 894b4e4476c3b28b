use crate::simulate::{Covered, DayPlan, UnderCover, loop_plan, one_way_plan, out_and_back_plan, ride_day};
use crate::study::{compare_gathered, gather_recordings};
use crate::test_day::parse;
use std::path::Path;

fn warnings(mut plan: DayPlan, from_m: f64, to_m: f64, barometer_m: f64) -> Vec<String> {
    plan.course.covered = Some(Covered {
        from_m,
        to_m,
        positions: UnderCover::Jump { off_m: 0.0 },
        barometer_m,
    });
    let day = ride_day(&plan);
    let test_day = parse(Path::new("test.toml"), &day.test_toml(true)).unwrap();
    let gathered = gather_recordings(test_day, day.recordings.clone()).unwrap();
    let compared = compare_gathered(gathered, Path::new("day")).unwrap();
    let of_kind = compared
        .warnings
        .iter()
        .filter(|w| w.kind == "heights under cover");
    of_kind
        .map(|w| format!("{} {}", w.message, w.next_step))
        .collect()
}

/// The two metres at which a sentence "between A and B m" puts the bump.
fn place(sentence: &str) -> [f64; 2] {
    let words: Vec<&str> = sentence.split(' ').collect();
    [words[1], words[3]].map(|word| word.parse().unwrap())
}

#[test]
fn a_bump_of_the_barometer_is_found_where_it_is_on_every_shape_of_course() {
    for (name, plan) in [
        ("out and back", out_and_back_plan(41, "ABBA", -3.0)),
        ("loop", loop_plan(42, "ABBA", -3.0)),
        ("one way", one_way_plan(43, "ABBAAB", -3.0)),
    ] {
        for height_m in [2.0, -2.5] {
            let said = warnings(plan.clone(), 700.0, 800.0, height_m);
            assert_eq!(said.len(), 1, "{name} {height_m}: {said:?}");
            let [from_m, to_m] = place(&said[0]);
            assert!(
                (from_m - 700.0).abs() < 45.0 && (to_m - 800.0).abs() < 45.0,
                "{name}: {}",
                said[0]
            );
            assert!(
                said[0].contains(if height_m > 0.0 { "above" } else { "below" }),
                "{}",
                said[0]
            );
        }
    }
}

#[test]
fn sound_days_have_none() {
    for seed in 50..56 {
        for plan in [
            out_and_back_plan(seed, "ABBAABBA", -3.0),
            loop_plan(seed, "ABBA", 3.0),
            one_way_plan(seed, "ABBAAB", 0.0),
        ] {
            let said = warnings(plan, 700.0, 760.0, 0.0);
            assert!(said.is_empty(), "{seed}: {said:?}");
        }
    }
}

#[test]
fn at_the_finish_it_is_said_and_a_window_is_advised() {
    let plan = one_way_plan(44, "ABBAAB", -3.0);
    let said = warnings(plan, 1910.0, 2060.0, 2.5);
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].contains("at an end of the course"), "{}", said[0]);
    let advised = said[0].rsplit("to_m = ").next().unwrap().trim_end_matches('.');
    let advised: f64 = advised.parse().unwrap();
    assert!((1820.0..1905.0).contains(&advised), "{advised}");
}
