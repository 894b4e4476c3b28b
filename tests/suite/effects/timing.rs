//! Power and speed out of step; heights that are late, set anew, or no barometer's.

use super::paired::{Bends, Effect, Said, compared_each, mean, nothing_written, said, shifts, shifts_seen};
use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use stillair::simulate::{DayPlan, Incident, PositionAltitude, TrueDay, Wave};
use stillair::study::Compared;
use stillair::test_day::TestDay;
use stillair::treatment::Treatment;

fn warns(compared: &Compared, kind: &str) -> bool {
    compared.warnings.iter().any(|warning| warning.kind == kind)
}

fn count(seen: &[bool]) -> usize {
    seen.iter().filter(|seen| **seen).count()
}

/// The unit shows the mean of three seconds, and the meter lags by two more: 3 s in all (common practice, no published
/// source: units average over 1, 3 or 10 s, meters send a second late).
fn late_power(plan: &mut DayPlan) {
    plan.sensors.power_averaged_s = 3.0;
    plan.sensors.power_delay_s = 2.0;
}

/// One way from a run-up: the harder power before the gate comes into the pass, and at its end as much is missing.
#[test]
fn power_that_is_averaged_and_late_is_put_back() {
    let effect = Effect {
        course: Course::OneWay,
        order: "ABBAAB",
        happens: &late_power,
        written: &nothing_written,
        untreated: &[Treatment::PowerDelay],
    };
    let (shifts, said) = shifts_seen(&effect, Bends::Cda, |day| warns(day, "power delay"));
    shifts.hurts_and_is_mended("power 3 s late, one way", true);
    assert_eq!(count(&said), said.len(), "each day is told of it");
}

fn explore_shift(
    name: &str,
    course: Course,
    order: &str,
    happens: &(dyn Fn(&mut DayPlan) + Sync),
    without: &(dyn Fn(&mut DayPlan) + Sync),
    untreated: &[Treatment],
) {
    let days: Vec<_> = (9000..9030u64)
        .into_par_iter()
        .map(|number| {
            let written = |day: &mut TestDay, _: &TrueDay| {
                let _ = day;
            };
            let none = compared_each(Drawn::new(course, order, number), without, &written, &[&[]]).remove(0);
            let both = compared_each(
                Drawn::new(course, order, number),
                |p: &mut DayPlan| {
                    without(p);
                    happens(p)
                },
                &written,
                &[untreated, &[]],
            );
            let s = |c: &Compared| [said(c, Bends::Cda), said(c, Bends::Ratio)];
            let lag = both[1].surveyed.ridden.course.profile.as_ref().unwrap().lag;
            let w = both[1].surveyed.ridden.course.profile.as_ref().unwrap().wanders;
            (s(&none), s(&both[0]), s(&both[1]), lag, w)
        })
        .collect();
    for b in 0..2 {
        let m = |f: &dyn Fn(
            &(
                [Said; 2],
                [Said; 2],
                [Said; 2],
                Option<stillair::course::HeightLag>,
                bool,
            ),
        ) -> f64| mean(days.iter().map(f));
        println!(
            "{name} {b}: untreated {:+.4} (rms {:.4}) u {:.4}; treated {:+.4} (rms {:.4}) u {:.4}; without u {:.4}; wanders {}",
            m(&|d| d.1[b].log - d.0[b].log),
            m(&|d| (d.1[b].log - d.0[b].log).powi(2)).sqrt(),
            m(&|d| d.1[b].standard_uncertainty),
            m(&|d| d.2[b].log - d.0[b].log),
            m(&|d| (d.2[b].log - d.0[b].log).powi(2)).sqrt(),
            m(&|d| d.2[b].standard_uncertainty),
            m(&|d| d.0[b].standard_uncertainty),
            days.iter().filter(|d| d.4).count()
        );
    }
    println!(
        "   lags {}",
        days.iter()
            .take(10)
            .map(|d| d.3.map_or("-".into(), |l| format!(
                "{:.2}±{:.2}({:.1})",
                l.lag_s, l.standard_uncertainty_s, l.applied_s
            )))
            .collect::<Vec<_>>()
            .join(" ")
    );
}

/// From a flat foot up a ramp that steepens: 0 % at the start, 5 % at the finish.
fn ramp(plan: &mut DayPlan) {
    plan.course.mean_gradient = 0.025;
    plan.course.hills.push(Wave {
        amplitude: 0.02,
        length_m: 4000.0,
        phase_rad: -std::f64::consts::FRAC_PI_2,
    });
}

#[test]
fn explore() {
    explore_shift(
        "one way lag 5",
        Course::OneWay,
        "ABBAAB",
        &|p| p.sensors.altitude_lag_s = 5.0,
        &ramp,
        &[Treatment::AltitudeLag],
    );
    explore_shift(
        "out and back lag 5",
        Course::OutAndBack,
        "ABBA",
        &|p| p.sensors.altitude_lag_s = 5.0,
        &|_| (),
        &[Treatment::AltitudeLag],
    );
    let jump = |p: &mut DayPlan| {
        p.incidents.push(Incident::AltitudeJump {
            pass: 2,
            at_m: 1000.0,
            jump_m: 20.0,
        })
    };
    explore_shift(
        "one way jump 20",
        Course::OneWay,
        "ABA",
        &jump,
        &|_| (),
        &[Treatment::AltitudeStep],
    );
    explore_shift(
        "one way jump 20",
        Course::OneWay,
        "AB",
        &jump,
        &|_| (),
        &[Treatment::AltitudeStep],
    );
    let gps = |p: &mut DayPlan| {
        p.sensors.altitude_from_positions = Some(PositionAltitude {
            sd_m: 4.0,
            memory_s: 60.0,
            resolution_m: 0.2,
        })
    };
    explore_shift(
        "one way gps",
        Course::OneWay,
        "ABBAAB",
        &gps,
        &|_| (),
        &[Treatment::AltitudeFromPositions],
    );
    explore_shift(
        "one way gps",
        Course::OneWay,
        "AB",
        &gps,
        &|_| (),
        &[Treatment::AltitudeFromPositions],
    );
}
