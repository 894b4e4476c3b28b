use super::*;
use crate::simulate::{DayPlan, one_way_plan, out_and_back_plan, ride_day};
use crate::study::{Compared, compare};
use crate::verdict::Call;

fn compared(plan: &DayPlan, change: impl FnOnce(String) -> String) -> Compared {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    ride_day(plan).write_folder(&folder, false).unwrap();
    let toml = folder.join("test.toml");
    let text = std::fs::read_to_string(&toml).unwrap();
    std::fs::write(&toml, change(text)).unwrap();
    compare(&folder, &|_, _| ()).unwrap()
}

fn said<'a>(of: &'a Compared, kind: &str) -> Vec<&'a str> {
    of.warnings
        .iter()
        .filter(|w| w.kind == kind)
        .map(|w| w.message.as_str())
        .collect()
}

fn same(name: &'static str) -> impl FnOnce(String) -> String {
    let with = format!("name = \"{name}\"\nsame_as = \"set-up A\"");
    move |text| text.replace(&format!("name = \"{name}\""), &with)
}

/// A third set-up, with the drag area of the first changed by so many percent.
fn with_third(mut plan: DayPlan, change_percent: f64) -> DayPlan {
    let mut third = plan.setups[0].clone();
    third.name = "set-up C".to_string();
    third.cda_m2 *= 1.0 + change_percent / 100.0;
    plan.setups.push(third);
    plan
}

/// 15 s faster over 2 km of 1.8 % at 250 W and 82 kg: common practice, no published source, has it that this is
/// too good to be true. It takes some 25.5 % of drag area (`verdict::doubt`); ridden so, the times show it.
#[test]
fn fifteen_seconds_over_two_kilometres_are_reported_with_a_doubt() {
    let mut plan = one_way_plan(3, "ABBA", -25.5).ideal();
    for setup in &mut plan.setups {
        setup.total_mass_kg = 82.0;
    }
    (plan.rider.power_w, plan.rider.fade_per_h) = (250.0, 0.0);
    let found = compared(&plan, |text| text);
    let account = found.stopwatches[0].as_ref().unwrap();
    assert!(
        (-17.0..-13.0).contains(&account.account.raw_time_change_s),
        "{}",
        account.account.raw_time_change_s
    );
    assert_eq!(found.findings[0].call, Call::LowerDrag);
    let [said] = said(&found, "too good to be true")[..] else {
        panic!("{:?}", found.warnings)
    };
    for words in [
        "less drag area with 'set-up B' than with 'set-up A'",
        "6 to 15 %",
        "the order of riding, wind, a power meter that drifted",
        "On this day nobody wrote the wind down",
    ] {
        assert!(said.contains(words), "{said}");
    }
    assert!(!said.contains("before the first of the other"), "{said}");
}

#[test]
fn an_order_that_looks_like_a_difference_is_named_and_a_common_difference_is_not_doubted() {
    let sorted = compared(&out_and_back_plan(6, "AABB", -24.0).calm(), |text| text);
    let [message] = said(&sorted, "too good to be true")[..] else {
        panic!("{:?}", sorted.warnings)
    };
    assert!(
        message.contains("all passes of one were ridden before the first"),
        "{message}"
    );
    let common = compared(&out_and_back_plan(6, "ABBA", -8.0).calm(), |text| text);
    assert!(said(&common, "too good to be true").is_empty());
    assert_eq!(common.findings[0].call, Call::LowerDrag);
}

#[test]
fn a_null_test_that_agrees_is_no_warning_and_one_that_does_not_is() {
    let sound = compared(&out_and_back_plan(6, "ABBA", 0.0).calm(), same("set-up B"));
    let test = sound.findings[0].null_test.unwrap();
    assert_eq!(test.agrees(), Some(true), "{test:?}");
    assert!(said(&sound, "null test").is_empty());
    let spoilt = compared(&out_and_back_plan(6, "ABBA", 9.0).calm(), same("set-up B"));
    let test = spoilt.findings[0].null_test.unwrap();
    assert_eq!(test.agrees(), Some(false), "{test:?}");
    assert_eq!(spoilt.findings[0].call, Call::NotResolved);
    let [message] = said(&spoilt, "null test")[..] else {
        panic!("{:?}", spoilt.warnings)
    };
    assert!(
        message.contains("which chance alone gives ") && message.contains("do not believe"),
        "{message}"
    );
}

/// The pair that is nothing beside pairs that are something: only the one is a null test, and both names count.
#[test]
fn a_null_pair_shares_its_blocks_with_other_pairs() {
    let plan = with_third(out_and_back_plan(6, "", -9.0).calm(), 0.0).with_order("ABCCBA", 2);
    let found = compared(&plan, same("set-up C"));
    let tests: Vec<_> = found.findings.iter().map(|f| f.null_test.is_some()).collect();
    // A to B, A to C, B to C.
    assert_eq!(tests, [false, true, false]);
    let calls: Vec<_> = found.findings.iter().map(|f| f.call).collect();
    assert_eq!(calls, [Call::LowerDrag, Call::NotResolved, Call::HigherDrag]);
    assert_eq!(found.setups.len(), 3);
}

#[test]
fn names_of_one_thing_are_found_by_way_of_a_third() {
    let day = compared(
        &with_third(out_and_back_plan(6, "", 0.0).calm(), 0.0).with_order("ABC", 2),
        |text| same("set-up C")(same("set-up B")(text)),
    );
    let setups = &day.surveyed.test_day.setups;
    assert!(same_thing(setups, 0, 1) && same_thing(setups, 1, 2) && same_thing(setups, 2, 0));
    assert!(day.findings.iter().all(|f| f.null_test.is_some()));
}

/// Wider than those of the pairs, and not as wide as if the pairs had nothing in common (Šidák, 0.9^(1/3) each).
#[test]
fn intervals_over_all_pairs_come_from_the_day_itself() {
    let plan = with_third(out_and_back_plan(8, "", -3.0).calm(), -6.0).with_order("ABCCBAABC", 2);
    let found = compared(&plan, |text| text);
    // Normal quantiles: 1.6449 alone, 2.1141 by Šidák (L, Python statistics). A mixture has longer tails.
    for finding in &found.findings {
        let width = |[low, high]: [f64; 2]| high - low;
        let ratio = width(finding.interval_90_all_pairs_percent.unwrap())
            / width(finding.cda_change_percent.interval_90.unwrap());
        assert!((1.1..1.4).contains(&ratio), "{ratio}");
    }
}

#[test]
fn a_baseline_that_was_not_ridden_leaves_the_others_their_interval() {
    let plan = with_third(out_and_back_plan(8, "", -3.0).calm(), -8.0).with_order("BCCB", 2);
    let found = compared(&plan, |text| text);
    let [finding] = found.findings.as_slice() else {
        panic!("{:?}", found.findings)
    };
    assert_eq!((finding.baseline, finding.setup), (1, 2));
    let [low, high] = finding.cda_change_percent.interval_90.unwrap();
    // 0.92 / 0.97.
    assert!(low < -5.15 && -5.15 < high, "{low} {high}");
}

#[test]
fn one_mounting_is_said_to_rest_on_what_is_assumed() {
    let assumed = format!(
        "what is assumed beforehand, {:.2} % of CdA from one mounting to the next",
        100.0 * HYPER_PRIOR[3].0
    );
    for (order, words) in [
        (
            "AB",
            "one block only of 'set-up A', 'set-up B': nothing was put on twice",
        ),
        ("ABA", "one block only of 'set-up B': how much putting it on anew"),
        ("A", "all passes of 'set-up A' are of one mounting"),
    ] {
        let day = compared(&out_and_back_plan(6, order, -6.0).calm(), |text| text);
        let [message] = said(&day, "one block")[..] else {
            panic!("{order}: {:?}", day.warnings)
        };
        assert!(message.contains(words) && message.contains(&assumed), "{message}");
        for finding in &day.findings {
            assert!(finding.cda_change_percent.interval_90.is_some());
            assert_eq!(finding.pass_average_percent.interval_90, None);
        }
    }
}
