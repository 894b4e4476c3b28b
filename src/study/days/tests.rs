use super::*;
use crate::simulate::{DayPlan, out_and_back_plan, ride_day};
use crate::study::{compare_gathered, gather_recordings};
use crate::test_day::parse;
use crate::verdict::Call;
use rayon::prelude::*;
use std::sync::OnceLock;

const A_DAY_S: f64 = 86_400.0;

/// A day of the plan, answered from memory; `number`: days after the first.
fn answered(mut plan: DayPlan, number: u32) -> Compared {
    plan.start_s += A_DAY_S * f64::from(number);
    let ridden = ride_day(&plan);
    let folder = format!("day-{}", number + 1);
    let folder = Path::new(&folder);
    let test_day = parse(&folder.join("test.toml"), &ridden.test_toml(false)).unwrap();
    let gathered = gather_recordings(test_day, ridden.recordings).unwrap();
    compare_gathered(gathered, folder).unwrap()
}

fn ordinary(seed: u64, change_percent: f64) -> DayPlan {
    out_and_back_plan(seed, "ABBAABBA", change_percent)
}

/// Two days of the same truth, −6 %.
fn two_days() -> &'static [Compared] {
    static DAYS: OnceLock<Vec<Compared>> = OnceLock::new();
    DAYS.get_or_init(|| vec![answered(ordinary(31, -6.0), 0), answered(ordinary(32, -6.0), 1)])
}

fn width(percent: &Estimated) -> f64 {
    let [low, high] = percent.interval_90.unwrap();
    high - low
}

fn kinds(together: &Together) -> Vec<&str> {
    together.warnings.iter().map(|w| w.kind.as_str()).collect()
}

#[test]
fn two_days_of_one_truth_agree_and_are_surer_than_each() {
    let days = two_days();
    let both = together(days);
    let [pair] = both.pairs.as_slice() else {
        panic!("one pair: {:?}", both.pairs);
    };
    assert_eq!((pair.finding.setup, pair.finding.baseline), (1, 0));
    assert!(both.ridden.iter().all(|r| r.days == [0, 1] && r.blocks == 8));
    for (of, day) in pair.days.iter().zip(days) {
        let alone = &day.findings[0].cda_change_percent;
        assert_eq!(of.cda_change_percent, *alone);
        assert!(width(&pair.finding.cda_change_percent) < width(alone));
    }
    let [low, high] = pair.finding.cda_change_percent.interval_90.unwrap();
    assert!(low < -6.0 && -6.0 < high, "{low} {high}");
    assert_eq!(pair.finding.call, Call::LowerDrag);
    assert!(pair.agreement.unwrap().holds());
    assert_eq!(both.warnings, []);
    // Within what is taken beforehand, 0.7 % × e^±0.6.
    assert!((0.4..2.5).contains(&both.day_to_day_percent.unwrap()));
}

#[test]
fn a_day_named_twice_counts_once() {
    let day = &two_days()[0];
    let once = together(std::slice::from_ref(day));
    let twice = together(&[day.clone(), day.clone()]);
    assert_eq!(twice.pairs, once.pairs);
    assert_eq!(twice.pairs[0].days.len(), 1);
    assert_eq!(
        (twice.ridden[0].days.as_slice(), twice.ridden[0].blocks),
        ([0].as_slice(), 4)
    );
    assert_eq!(kinds(&twice), ["same rides"]);
    // One day alone does not know what the day made of it: wider than the day's own interval.
    let [over, alone] = [&once.pairs[0].finding, &day.findings[0]].map(|f| width(&f.cda_change_percent));
    assert!(over > alone, "{over} {alone}");
}

#[test]
fn set_ups_are_matched_by_name_whatever_their_order() {
    let days = two_days();
    let mut turned = ordinary(32, -6.0);
    turned.setups.reverse();
    turned.setups[0].name = "Set-Up  b".to_string();
    for block in &mut turned.order {
        block.setup = block.setup.map(|s| 1 - s);
    }
    let turned = answered(turned, 1);
    assert_eq!(turned.surveyed.test_day.setups[0].name, "Set-Up  b");
    let both = together(&[days[0].clone(), turned]);
    let names: Vec<&str> = both.setups.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["set-up A", "set-up B"]);
    let [found, straight] = [&both, &together(days)].map(|t| t.pairs[0].finding.cda_change_percent);
    // The same rides: only the points of the quadrature differ, a fraction of the interval.
    assert!(
        (found.value - straight.value).abs() < 0.1 * width(&straight),
        "{found:?} {straight:?}"
    );
}

/// A and B on one day, B and C on another whose test.toml lists all three: C against A goes by way of B.
#[test]
fn set_ups_of_different_days_meet_by_way_of_the_one_in_common() {
    let mut other = ordinary(33, -6.0);
    let mut third = other.setups[1].clone();
    third.name = "set-up C".to_string();
    third.cda_m2 *= 0.95;
    other.setups.push(third);
    for block in &mut other.order {
        block.setup = block.setup.map(|s| s + 1);
    }
    let other = answered(other, 1);
    // The day itself: its first set-up was not ridden, and the others are compared all the same.
    let alone = &other.findings[0];
    assert_eq!((alone.setup, alone.baseline), (2, 1));
    assert!(width(&alone.cda_change_percent).is_finite());

    let both = together(&[two_days()[0].clone(), other]);
    let pairs: Vec<(usize, usize, usize)> = both
        .pairs
        .iter()
        .map(|p| (p.finding.setup, p.finding.baseline, p.days.len()))
        .collect();
    assert_eq!(pairs, [(1, 0, 1), (2, 0, 0), (2, 1, 1)]);
    let by_way = &both.pairs[1].finding.cda_change_percent;
    let [first, second] = [0, 2].map(|p| both.pairs[p].finding.cda_change_percent);
    let ratio = |e: &Estimated| 1.0 + e.value / 100.0;
    assert!((ratio(by_way) / (ratio(&first) * ratio(&second)) - 1.0).abs() < 1e-9);
    assert!(width(by_way) > width(&first).max(width(&second)));
    assert_eq!(both.pairs[1].agreement, None);
    assert!(both.pairs[1].finding.pass_average_percent.value.is_nan());
    assert_eq!(kinds(&both), ["never on one day"]);
    let chances: Vec<f64> = both.ridden.iter().filter_map(|r| r.chance_lowest).collect();
    assert!((chances.iter().sum::<f64>() - 1.0).abs() < 1e-9);
    assert!(chances.len() == 3 && chances[2] > 0.8, "{chances:?}");
}

#[test]
fn days_without_a_set_up_in_common_are_not_compared() {
    let mut other = ordinary(32, -6.0);
    other.setups[0].name = "blue suit".to_string();
    other.setups[1].name = "red suit".to_string();
    let both = together(&[two_days()[0].clone(), answered(other, 1)]);
    let pairs: Vec<(usize, usize)> = both
        .pairs
        .iter()
        .map(|p| (p.finding.setup, p.finding.baseline))
        .collect();
    assert_eq!(pairs, [(1, 0), (3, 2)]);
    assert_eq!(kinds(&both), ["no set-up in common"]);
    let said = &both.warnings[0].message;
    assert!(
        said.ends_with("'set-up A' with 'set-up B'; 'blue suit' with 'red suit'"),
        "{said}"
    );
}

#[test]
fn a_day_about_rolling_resistance_says_nothing_of_drag() {
    let crr_day =
        |toml: String| toml.replace("name = \"set-up B\"", "name = \"set-up B\"\ndiffers = [\"crr\"]");
    let ridden = ride_day(&DayPlan {
        start_s: ordinary(32, -6.0).start_s + A_DAY_S,
        ..ordinary(32, -6.0)
    });
    let test_day = parse(Path::new("day-2/test.toml"), &crr_day(ridden.test_toml(false))).unwrap();
    let gathered = gather_recordings(test_day, ridden.recordings).unwrap();
    let other = compare_gathered(gathered, Path::new("day-2")).unwrap();
    let both = together(&[two_days()[0].clone(), other]);
    assert_eq!(both.pairs[0].days.len(), 1);
    assert_eq!(kinds(&both), ["rolling resistance"]);
}

/// The null pair is known as one, whichever of its names a day gives first.
#[test]
fn two_names_for_the_same_are_known_over_the_days() {
    let mut days = two_days().to_vec();
    days[1].surveyed.test_day.setups.reverse();
    days[1].surveyed.test_day.setups[1].same_as = Some(0);
    let matched = Matched::of(&days);
    assert_eq!(matched.numbers, [[0, 1], [1, 0]]);
    let same_as: Vec<_> = matched.setups.iter().map(|s| s.same_as).collect();
    assert_eq!(same_as, [None, Some(0)]);

    let mut days = two_days().to_vec();
    days[0].surveyed.test_day.setups[1].same_as = Some(0);
    let both = together(&days);
    let finding = &both.pairs[0].finding;
    // 6 % apart by themselves: the days cannot be believed, and there is no call.
    assert_eq!(finding.null_test.unwrap().agrees(), Some(false));
    assert_eq!(finding.call, Call::NotResolved);
    assert_eq!(kinds(&both), ["null test"]);
}

/// The days are of set-ups that differ: what they say of a pair called the same is a warning and no verdict.
#[test]
fn a_null_test_that_fails_over_the_days_is_a_warning() {
    let mut days = two_days().to_vec();
    days[0].surveyed.test_day.setups[1].same_as = Some(0);
    let all = together(&days);
    let finding = &all.pairs[0].finding;
    assert_eq!(finding.call, Call::NotResolved);
    assert_eq!(finding.null_test.unwrap().agrees(), Some(false));
    assert!(kinds(&all).contains(&"null test"), "{:?}", kinds(&all));
}

#[test]
fn a_day_of_another_truth_is_pointed_out_and_widens() {
    let days = two_days();
    let odd = answered(ordinary(34, 9.0), 2);
    let all = together(&[days[0].clone(), days[1].clone(), odd]);
    let pair = &all.pairs[0];
    let agreement = pair.agreement.unwrap();
    assert!(
        !agreement.holds() && agreement.odd_one == Some(2),
        "{agreement:?}"
    );
    assert!(
        width(&pair.finding.cda_change_percent) > width(&together(days).pairs[0].finding.cda_change_percent)
    );
    assert_eq!(kinds(&all), ["days disagree"]);
    let said = &all.warnings[0].message;
    assert!(said.contains("day-3 stands farthest"), "{said}");
}

/// Twice forty simulated days of the same truth: the intervals over both hold it, and are narrower than those of each.
#[test]
fn intervals_over_two_simulated_days_hold_the_truth() {
    let found: Vec<(bool, f64)> = (0..40u32)
        .into_par_iter()
        .map(|number| {
            let change = [0.0, -5.0, 1.0, 10.0][(number % 4) as usize];
            let days = [0, 1].map(|day| answered(quick(2 * number + day, change), day));
            let both = together(&days).pairs[0].finding.cda_change_percent;
            let [low, high] = both.interval_90.unwrap();
            let mean = days
                .iter()
                .map(|d| width(&d.findings[0].cda_change_percent))
                .sum::<f64>()
                / 2.0;
            ((low..=high).contains(&change), width(&both) / mean)
        })
        .collect();
    let held = found.iter().filter(|(held, _)| *held).count();
    let narrower = found.iter().map(|(_, share)| share).sum::<f64>() / 40.0;
    println!("{held} of 40 held, width {narrower:.3} of a day's");
    // Binomial: 36 ± 1.9, so that three standard deviations below are 30.
    assert!(held >= 31, "{held}");
    // 1/√2 without a day effect; nothing gained: 1.
    assert!((0.70..0.90).contains(&narrower), "{narrower}");
}

/// Four blocks, and as much from day to day as is taken beforehand.
fn quick(seed: u32, change_percent: f64) -> DayPlan {
    use rand::{Rng, SeedableRng};
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(u64::from(seed));
    let mut plan = out_and_back_plan(7000 + u64::from(seed), "ABBA", change_percent);
    let day: f64 = rng.sample(rand_distr::StandardNormal);
    plan.setups[1].cda_m2 *= (0.01 * day).exp();
    plan
}
