//! Laps of a track, whole days.
use super::*;
use crate::simulate::{DayPlan, ride_day, track_plan};
use crate::test_day::parse;
use crate::treatment::{AsRecorded, Treatment};

fn surveyed(plan: &DayPlan, change: impl FnOnce(String) -> String, left: &[Treatment]) -> Result<Surveyed> {
    let ridden = ride_day(plan);
    let mut day = parse(Path::new("test.toml"), &change(ridden.test_toml(true))).unwrap();
    day.as_recorded = AsRecorded::new(left);
    let gathered = gather_recordings(day, ridden.recordings).unwrap();
    passes_gathered(gathered, Path::new("day"))
}

fn without_gate(text: String) -> String {
    let lines = text.lines().filter(|line| !line.starts_with("start ="));
    lines.collect::<Vec<_>>().join("\n")
}

/// Four to twenty laps a block, and positions that wander by 2.5 m on a lap of 250 m: every lap is found, from the
/// gate and without one, and counts as a pass of the length that was measured.
#[test]
fn laps_are_found_from_a_gate_and_without() {
    for (seed, laps) in [(1, 4), (2, 8), (3, 20)] {
        let plan = track_plan(seed, "AB", -3.0).with_order("AB", laps);
        for change in [|text| text, without_gate] {
            let found = surveyed(&plan, change, &[]).unwrap().ridden;
            assert_eq!(found.passes.len(), 2 * laps, "{seed}: {:?}", found.near_passes);
            assert_eq!(found.course.length_m(), 250.0);
            // The line is that of the positions, a few metres off.
            assert!((found.course.line.length_m() / 250.0 - 1.0).abs() < 0.03);
        }
    }
}

/// The lap gives the scale of the speed: as well as the lap is known, and better than positions do on 250 m.
#[test]
fn a_lap_that_was_measured_gives_the_scale_of_the_speed() {
    let mut plan = track_plan(5, "ABBA", -3.0);
    plan.sensors.speed_scale_error = 0.015;
    let found = compare_surveyed(surveyed(&plan, |text| text, &[]).unwrap()).unwrap();
    let scales = &found.speed_scales;
    assert_eq!(scales.common, Common::SetRight, "{scales:?}");
    assert!((scales.factors[0] * 1.015 - 1.0).abs() < 0.003, "{scales:?}");
    // 1 m of 250 m by default, and the gates.
    assert!(
        (0.004..0.005).contains(&scales.common_standard_uncertainty),
        "{scales:?}"
    );
    let said = |words: &str| found.assumptions.iter().any(|a| a.contains(words));
    assert!(
        said("In the bends (radius 23.0 m) the rider leans"),
        "{:#?}",
        found.assumptions
    );
    assert!(said(
        "Height of the centre of mass 1 ± 0.1 m, a default (centre_of_mass_height_m)."
    ));
    assert!(found.budget.iter().any(|line| line.input == "lean in the bends"));
}
