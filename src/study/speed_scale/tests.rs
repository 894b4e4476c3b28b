use super::*;
use crate::simulate::{DayPlan, loop_plan, out_and_back_plan, ride_day};
use crate::study::{Compared, compare_surveyed, gather_recordings, passes_gathered};
use crate::test_day::parse;
use crate::treatment::AsRecorded;
use std::path::Path;

/// The day in memory through the engine, with `change` made to its test.toml.
fn compared(plan: &DayPlan, change: impl FnOnce(String) -> String) -> Compared {
    compared_leaving(plan, change, &[])
}

fn compared_leaving(plan: &DayPlan, change: impl FnOnce(String) -> String, left: &[Treatment]) -> Compared {
    let ridden = ride_day(plan);
    let mut day = parse(Path::new("test.toml"), &change(ridden.test_toml(true))).unwrap();
    day.as_recorded = AsRecorded::new(left);
    let gathered = gather_recordings(day, ridden.recordings).unwrap();
    compare_surveyed(passes_gathered(gathered, Path::new("day")).unwrap()).unwrap()
}

fn as_it_is(text: String) -> String {
    text
}

fn warning<'a>(of: &'a Compared, kind: &str) -> Option<&'a str> {
    let found = of.warnings.iter().find(|w| w.kind == kind);
    found.map(|w| w.message.as_str())
}

fn log_cda(of: &Compared) -> f64 {
    of.setups[0].cda_m2.unwrap().0.ln()
}

/// Calm, so that the speed scale is what moves CdA.
fn still_day(error: f64) -> DayPlan {
    let mut plan = out_and_back_plan(6, "ABBA", -6.0).calm();
    plan.sensors.speed_scale_error = error;
    plan
}

#[test]
fn a_wheel_two_percent_off_is_found_and_set_right() {
    let right = compared(&still_day(0.0), as_it_is);
    assert_eq!(
        right.speed_scales.common,
        Common::Stands,
        "{:?}",
        right.speed_scales
    );
    for error in [0.02, -0.02] {
        let plan = still_day(error);
        let found = compared(&plan, as_it_is);
        let scales = &found.speed_scales;
        assert_eq!(scales.common, Common::SetRight, "{scales:?}");
        let off = scales.factors[0] * (1.0 + error) - 1.0;
        assert!(off.abs() < 2.5 * scales.common_standard_uncertainty, "{scales:?}");
        assert!(scales.common_standard_uncertainty < 0.004, "{scales:?}");
        assert!(warning(&found, "speed scale").unwrap().contains("is taken out"));
        // +1 % of speed is −3.2 % of CdA, so what is left of the scale is what is left of CdA.
        let moved = log_cda(&found) - log_cda(&right);
        assert!((moved + 3.2 * off).abs() < 0.003, "{moved} for {off}");
        let left = compared_leaving(&plan, as_it_is, &[Treatment::SpeedScale]);
        assert!(
            warning(&left, "speed scale")
                .unwrap()
                .contains("stands as recorded")
        );
        let moved = log_cda(&left) - log_cda(&right);
        assert!((moved + 3.2 * error).abs() < 0.015, "{moved}");
    }
}

#[test]
fn what_the_user_gives_stands() {
    let given = "\n[sensors]\nspeed_scale = 0.980392\nspeed_scale_standard_uncertainty = 0.001\n";
    let found = compared(&still_day(0.02), |text| text + given);
    assert_eq!(found.speed_scales.common, Common::Given);
    assert_eq!(found.speed_scales.factors, [0.980392, 0.980392]);
    assert!((found.speed_scales.common_standard_uncertainty - 0.00102).abs() < 1e-6);
    assert_eq!(warning(&found, "speed scale"), None);
    let wrong = compared(&still_day(0.0), |text| text + given);
    assert!(
        warning(&wrong, "speed scale").unwrap().contains("0.9804, but"),
        "{:?}",
        wrong.warnings
    );
    // Of one set-up alone.
    let one = compared(&still_day(0.0), |text| {
        text.replacen(
            "name = \"set-up B\"\n",
            "name = \"set-up B\"\nspeed_scale = 1.007\n",
            1,
        )
    });
    assert_eq!(one.speed_scales.factors, [1.0, 1.007]);
    assert_eq!(one.speed_scales.own_standard_uncertainty[1], 0.002 / 1.007);
}

/// Set-up B rolls 0.8 % farther with each turn, and nobody says so.
fn other_tyres(mut plan: DayPlan) -> DayPlan {
    plan.setups[1].rollout_factor = 1.008;
    plan
}

#[test]
fn a_tyre_that_nobody_told_of_is_found_by_the_passes() {
    for (plan, right) in [(still_day(0.0), compared(&still_day(0.0), as_it_is)), {
        let calm = loop_plan(7, "ABBA", -6.0).calm();
        (calm.clone(), compared(&calm, as_it_is))
    }] {
        let change = |of: &Compared| of.findings[0].cda_change_percent.value;
        assert_eq!(right.speed_scales.own, Own::Same);
        let plan = other_tyres(plan);
        let found = compared(&plan, as_it_is);
        let scales = &found.speed_scales;
        assert_eq!(scales.own, Own::Found, "{scales:?}");
        let u = scales.own_standard_uncertainty[0].hypot(scales.own_standard_uncertainty[1]);
        let off = (scales.factors[1] / scales.factors[0]).ln() - 1.008f64.ln();
        assert!(off.abs() < 2.5 * u && u < 0.003, "{off} {u}");
        // Counted with too small a circumference the speed is low, and CdA too high by three times as much.
        let left = compared_leaving(&plan, as_it_is, &[Treatment::SpeedScaleOfSetups]);
        let (bent, mended) = (change(&left) - change(&right), change(&found) - change(&right));
        assert!((1.8..3.0).contains(&bent), "{bent}");
        assert!(mended.abs() < 310.0 * 2.5 * u, "{mended}");
        assert!(found.budget.iter().filter(|line| line.of_setup.is_some()).count() == 2);
        assert!(
            warning(&found, "speed scale of set-ups")
                .unwrap()
                .contains("than with 'set-up A'"),
            "{:?}",
            found.warnings
        );
    }
}

/// Writes a rollout into each [[block]].
fn rolled(text: String, rollouts_m: [f64; 4]) -> String {
    let mut parts = text.split("[[block]]\n");
    let mut out = parts.next().unwrap().to_string();
    for (part, rollout_m) in parts.zip(rollouts_m) {
        out += &format!("[[block]]\nrollout_m = {rollout_m}\n{part}");
    }
    out
}

#[test]
fn rollouts_noted_tell_the_ratio_and_the_passes_may_deny_it() {
    let noted = |text: String| rolled(text, [2.100, 2.1168, 2.1168, 2.100]);
    let found = compared(&other_tyres(still_day(0.0)), noted);
    let scales = &found.speed_scales;
    assert_eq!(scales.own, Own::Told { rollouts: true }, "{scales:?}");
    let ratio = scales.factors[1] / scales.factors[0];
    assert!((ratio - 1.008).abs() < 0.0015, "{ratio}");
    let u = scales.own_standard_uncertainty[0].hypot(scales.own_standard_uncertainty[1]);
    assert!(u < 0.0015, "{u}");
    // The unit was set anew for each block, so its speeds are right already.
    let set_anew = compared(&still_day(0.0), |text| rolled(text, [2.1, 2.13, 2.13, 2.1]));
    assert!(
        matches!(set_anew.speed_scales.own, Own::Contradicted { setup: 1, .. }),
        "{:?}",
        set_anew.speed_scales
    );
    let said = warning(&set_anew, "rollout").unwrap();
    assert!(
        said.contains("+1.42 % longer than with 'set-up A' by the rollouts"),
        "{said}"
    );
    let ratio = set_anew.speed_scales.factors[1] / set_anew.speed_scales.factors[0];
    assert!((ratio - 1.0).abs() < 0.004, "{ratio}");
}

#[test]
fn set_ups_that_differ_in_tyres_have_a_scale_each() {
    let tyres = |text: String| {
        text.replacen(
            "name = \"set-up B\"\n",
            "name = \"set-up B\"\ndiffers = [\"cda\", \"crr\"]\n",
            1,
        )
    };
    let found = compared(&still_day(0.0), tyres);
    assert_eq!(found.speed_scales.own, Own::Told { rollouts: false });
    let same = compared(&still_day(0.0), as_it_is);
    assert_eq!(same.speed_scales.own_standard_uncertainty, [SAME_WHEEL; 2]);
    assert!(found.speed_scales.own_standard_uncertainty[0] > SAME_WHEEL);
}

#[test]
fn speed_from_positions_has_no_scale_of_its_own() {
    let mut plan = still_day(0.0);
    plan.sensors.speed_source = crate::simulate::SpeedTruth::None;
    let found = compared(&plan, as_it_is);
    assert_eq!(found.speed_scales.common, Common::OfPositions);
    let [a, b] = found.speed_scales.factors[..] else {
        panic!()
    };
    assert!(a == b && (a - 1.0).abs() < 0.002, "{a} {b}");
}
