use super::*;
use crate::course::Direction;
use crate::estimate::made::{Truth, length_m, level, pass, setup};
use crate::simulate::{DayPlan, demo_plan, loop_plan, one_way_plan, out_and_back_plan, ride_day};

/// Passes at ever other speeds, deliberately uneven, in still air.
fn exact(crr: f64) -> Option<Rolling> {
    let setups = [setup("a")];
    let rides: Vec<PassRide> = (0..4)
        .map(|number| {
            let base = 6.0 + 1.5 * f64::from(number);
            let speed = move |t: f64| base + 1.5 * (t / 25.0).sin();
            let mut truth = Truth {
                crr,
                block: number as usize,
                direction: Direction::Forward,
                ..level(0.3, &speed)
            };
            pass(&mut truth, &setups[0])
        })
        .collect();
    rolling(&rides, &setups, length_m(&level(0.3, &|_| 9.0)), 0.05)
}

/// set-up says 0.004 ± 0.0007.
#[test]
fn uneven_rides_without_noise_give_rolling_resistance_back() {
    for crr in [0.003, 0.004, 0.0062] {
        let found = exact(crr).unwrap();
        let (shift, uncertainty) = found.rides_alone.unwrap();
        assert!((shift - (crr - 0.004)).abs() < 1e-6, "{found:?}");
        assert!(uncertainty > 0.0 && uncertainty < 0.01, "{uncertainty}");
        // The prior is weighed in: between it and what the rides say.
        assert!(found.standard_uncertainty <= 0.0007);
        let between = (crr - 0.004).abs();
        assert!(found.shift.abs() <= between + 1e-9 && found.shift * (crr - 0.004) >= 0.0);
        assert_eq!(
            found.held,
            found.shift == 0.0 && found.standard_uncertainty == 0.0007
        );
    }
}

#[test]
fn rides_at_one_speed_leave_rolling_resistance_at_what_was_known() {
    let setups = [setup("a")];
    let rides = [
        pass(&mut level(0.3, &|_| 10.0), &setups[0]),
        pass(&mut level(0.3, &|_| 10.0), &setups[0]),
    ];
    let found = rolling(&rides, &setups, length_m(&level(0.3, &|_| 10.0)), 0.05).unwrap();
    assert!(found.held && found.shift == 0.0);
    assert_eq!(found.standard_uncertainty, 0.0007);
    if let Some((_, uncertainty)) = found.rides_alone {
        assert!(uncertainty > 0.0007, "{found:?}");
    }
    assert!(rolling(&[], &setups, 1500.0, 0.05).is_none());
}

/// What the rides of a simulated day say alone, against its truth: (error, standard uncertainty).
fn alone(plan: &DayPlan) -> (f64, f64) {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    ride_day(plan).write_folder(&folder, false).unwrap();
    let found = crate::study::compare(&folder, &|_, _| ()).unwrap();
    let (shift, uncertainty) = found.rolling.rides_alone.unwrap();
    let prior = found.surveyed.test_day.setups[0].crr.value;
    (prior + shift - plan.setups[0].crr, uncertainty)
}

/// Gusts slow the rider who meets them, and steady winds do so in one direction: regressed on the speeds as
/// ridden, ordinary days gave Crr 0.009 (demonstration) to 0.028 (loop) too high, stated to 0.002 to 0.003.
///
/// Of 32 honest days 90 % intervals hold 28.8 on average and fewer than 24 once in 200 (binomial).
#[test]
fn what_the_rides_alone_say_of_rolling_resistance_is_honest_on_ordinary_days() {
    let days: Vec<DayPlan> = (1..=8)
        .flat_map(|seed| {
            [
                DayPlan { seed, ..demo_plan() },
                out_and_back_plan(seed, "ABBA", -6.0),
                one_way_plan(seed, "ABBAAB", -6.0),
                loop_plan(seed, "ABBA", -6.0),
            ]
        })
        .collect();
    let (mut inside, mut sum) = (0, 0.0);
    for plan in &days {
        let (error, uncertainty) = alone(plan);
        inside += usize::from(error.abs() < 1.645 * uncertainty);
        sum += error / uncertainty;
    }
    assert!(inside >= 24, "{inside} of {}", days.len());
    // Nor does it lean to one side: the mean of 32 standard errors spreads by 0.18.
    let lean = sum / days.len() as f64;
    assert!(lean.abs() < 3.0 * 0.18, "{lean}");
}
