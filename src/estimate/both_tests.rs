use super::*;
use crate::estimate::plain::averages;
use crate::simulate::{demo_plan, out_and_back_plan, ride_day};
use crate::study::{Prepared, gather_recordings, passes_gathered, prepared};
use crate::test_day;
use std::path::Path;

fn day() -> Prepared {
    let plan = out_and_back_plan(5, "AA", 0.0);
    let recordings = ride_day(&plan).recordings;
    let gathered = gather_recordings(test_day::without_file(), recordings).unwrap();
    prepared(passes_gathered(gathered, Path::new(".")).unwrap()).unwrap()
}

fn of(prepared: &Prepared, pass: usize) -> (Both, f64, f64) {
    let day = prepared.day();
    let averages = averages(&day, &prepared.rolling, &Shift::default()).unwrap();
    let ride = &day.rides[pass];
    let both = both(
        ride,
        &day.setups[ride.setup],
        day.course_length_m,
        &prepared.rolling,
        averages.spread_ratio,
    );
    let own = &averages.passes[pass];
    (both.unwrap(), own.cda_m2, own.standard_uncertainty_m2)
}

/// Cut along the line of one rolling resistance, the cloud of both is the pass's own drag area: the conditional
/// mean and spread of a normal pair, in closed form.
#[test]
fn at_the_days_rolling_resistance_it_is_the_drag_area_of_the_pass() {
    let prepared = day();
    for pass in 0..prepared.rides.len() {
        let (both, cda_m2, u) = of(&prepared, pass);
        for fit in [both.alone.unwrap(), both.together] {
            let slope = fit.correlation * fit.cda_standard_uncertainty_m2 / fit.crr_standard_uncertainty;
            let at = fit.cda_m2 + slope * (both.crr - fit.crr);
            let spread = fit.cda_standard_uncertainty_m2 * (1.0 - fit.correlation.powi(2)).sqrt();
            assert!((at - cda_m2).abs() < 1e-6, "{at} {cda_m2}");
            assert!((spread / u - 1.0).abs() < 1e-4, "{spread} {u}");
            assert!((slope / both.cda_per_crr_m2 - 1.0).abs() < 1e-4, "{slope}");
        }
        assert!(both.together.crr_standard_uncertainty < both.alone.unwrap().crr_standard_uncertainty);
    }
}

/// Two normal errors of equal spread and no correlation are further off than r with chance exp(−r²/2).
#[test]
fn an_outline_stands_at_one_distance_of_mahalanobis() {
    let fit = FreeFit {
        cda_m2: 0.3,
        cda_standard_uncertainty_m2: 0.02,
        crr: 0.004,
        crr_standard_uncertainty: 0.001,
        correlation: -0.8,
    };
    let outline = fit.outline(0.9);
    for [crr, cda] in outline {
        let (x, y) = ((crr - 0.004) / 0.001, (cda - 0.3) / 0.02);
        let squared = (x * x + 1.6 * x * y + y * y) / (1.0 - 0.64);
        assert!(((-0.5 * squared).exp() - 0.1).abs() < 1e-9, "{squared}");
    }
}

#[test]
fn a_faster_pass_trades_less_drag_for_the_same_rolling() {
    let mut plan = demo_plan();
    let slow = {
        plan.rider.power_w *= 0.5;
        plan
    };
    let line = |plan| {
        let gathered = gather_recordings(test_day::without_file(), ride_day(plan).recordings).unwrap();
        let prepared = prepared(passes_gathered(gathered, Path::new(".")).unwrap()).unwrap();
        of(&prepared, 0).0.cda_per_crr_m2
    };
    let (fast, slow) = (line(&demo_plan()), line(&slow));
    assert!(fast < 0.0 && slow < 1.2 * fast, "{fast} {slow}");
}
