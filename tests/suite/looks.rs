//! Looking after every block keeps the chance of a false verdict: the boundaries against another library, and days
//! without a difference through the whole program, ridden block by block and stopped at the first verdict.

use crate::joint_days::drawn;
use crate::outside::{ask, number};
use rayon::prelude::*;
use serde_json::json;
use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Normal};
use stillair::verdict::{Call, LEVEL, Schedule};
use watched::{Watched, watched};

#[path = "../bench/looks/watched.rs"]
mod watched;

/// The lattices of scipy stand to some 1e-6 in as many dimensions as a plan has looks.
#[test]
fn boundaries_spend_what_they_may_by_another_library() {
    let orders: [&[usize]; 4] = [
        &[0, 1, 1, 0],
        &[0, 1, 1, 0, 1, 0, 0, 1],
        &[0, 0, 0, 1, 1, 1],
        &[0, 1, 2, 2, 1, 0, 1, 0, 2],
    ];
    let normal = Normal::standard();
    let allowed = |t: f64| 2.0 * normal.sf(normal.inverse_cdf(0.5 + 0.5 * LEVEL) / t.sqrt());
    let (mut asked, mut wanted) = (Vec::new(), Vec::new());
    for order in orders {
        let schedule = Schedule::of(order, order.len(), [1, 0]).unwrap();
        let looks = schedule.looks();
        for so_far in 1..=looks.len() {
            let t: Vec<f64> = looks[..so_far].iter().map(|look| look.information).collect();
            let z: Vec<f64> = (looks[..so_far].iter())
                .map(|look| normal.inverse_cdf(0.5 + 0.5 * look.level))
                .collect();
            wanted.push(1.0 - allowed(t[so_far - 1]));
            asked.push(json!([t, z]));
        }
    }
    for (answer, wanted) in ask("within", &asked).iter().zip(wanted) {
        assert!((number(answer) - wanted).abs() < 1e-5, "{answer} {wanted}");
    }
}

/// Few enough for a minute; docs/limits.md has a thousand of them (`--example looks`).
const DAYS: std::ops::Range<u64> = 0..30;

/// Of false verdicts with a chance of 10 %, more than the bound come once in a thousand times. Looking with the plain
/// interval must do worse on the same days, or nothing is shown.
#[test]
fn days_without_a_difference_get_a_false_verdict_no_more_often_than_one_look_may() {
    let days: Vec<Watched> = DAYS
        .into_par_iter()
        .map(|number| watched(drawn::Course::OutAndBack, "ABBABAAB", number, 0.0).unwrap())
        .collect();
    let falsely = |call: fn(&Watched) -> Call| days.iter().filter(|d| call(d) != Call::NotResolved).count();
    let by_rule = falsely(|day| day.by_rule.call);
    let by_plain = falsely(|day| day.by_plain.call);
    let most = Binomial::new(0.1, days.len() as u64).unwrap().inverse_cdf(0.999) as usize;
    assert!(by_rule <= most, "{by_rule} of {}", days.len());
    let at_end = falsely(|day| day.at_end.call);
    assert!(at_end <= most, "{at_end} of {}", days.len());
    assert!(by_plain > by_rule, "{by_plain} {by_rule}");
}
