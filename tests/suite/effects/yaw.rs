//! The yaw that set-ups were ridden at, and drag that depends on it.

use super::paired::{compared, mean, nothing_written};
use crate::joint_days::days::Ridden;
use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use stillair::simulate::{DayPlan, TrueDay};
use stillair::study::Compared;

/// Gusts of 0.4 m/s each way about a wind that holds.
fn steady(plan: &mut DayPlan, east_m_s: f64, north_m_s: f64) {
    let wind = &mut plan.wind;
    (wind.mean_east_m_s, wind.mean_north_m_s) = (east_m_s, north_m_s);
    (wind.wander_sd_m_s, wind.turn_deg_per_h, wind.trend_m_s_per_h) = (0.0, 0.0, [0.0; 2]);
    (wind.gust_along_sd_m_s, wind.gust_across_sd_m_s, wind.shelter) = (0.4, 0.4, None);
}

/// Root mean square in degrees over all passes of the first set-up, from the truth alone.
fn true_rms_deg(truth: &TrueDay) -> f64 {
    let wind = &truth.plan.wind;
    let (mut squares, mut seconds) = (0.0, 0.0);
    for pass in truth.passes.iter().filter(|pass| pass.setup == Some(0)) {
        let points = pass.times_s.iter().zip(&pass.distance_m).collect::<Vec<_>>();
        for pair in points.windows(20).step_by(19) {
            let ((t0, d0), (t1, d1)) = (pair[0], pair[19]);
            let (duration_s, speed) = (t1 - t0, ((d1 - d0) / (t1 - t0)).abs());
            // The line has a point each 5 m or so.
            let at = d0 / truth.plan.course.length_m * (truth.line.len() - 1) as f64;
            let index = (at as usize).min(truth.line.len() - 2);
            let (a, b) = (truth.line[index], truth.line[index + 1]);
            let east = (b[1] - a[1]) * a[0].to_radians().cos();
            let north = b[0] - a[0];
            let bearing = east.atan2(north) + if pass.forward { 0.0 } else { std::f64::consts::PI };
            let (sin, cos) = bearing.sin_cos();
            let along = wind.mean_east_m_s * sin + wind.mean_north_m_s * cos;
            let across = wind.mean_east_m_s * cos - wind.mean_north_m_s * sin;
            let gusts = wind.gust_across_sd_m_s / speed;
            squares += (across.atan2(speed - along).powi(2) + gusts * gusts) * duration_s;
            seconds += duration_s;
        }
    }
    (squares / seconds).sqrt().to_degrees()
}

/// Nobody wrote the wind down: round a loop the joint estimate has it.
#[test]
fn the_yaw_of_a_loop_is_told_by_the_wind_of_the_joint_estimate() {
    let shares: Vec<f64> = (9500..9512)
        .into_par_iter()
        .map(|number| {
            let mut drawn = Drawn::new(Course::Loop, "ABBA", number);
            steady(&mut drawn.plan, 1.8, -1.2);
            let ridden = Ridden::of(&drawn);
            let truth = true_rms_deg(&ridden.truth);
            let day = ridden.answered();
            let yaw = day.setups[0].yaw.expect("known on a loop");
            assert!(yaw.range_deg[0] < -5.0 && yaw.range_deg[1] > 5.0, "{yaw:?}");
            assert!(yaw.unknown_deg < 0.5 * yaw.rms_deg, "{yaw:?}");
            yaw.rms_deg / truth
        })
        .collect();
    println!("yaw told over true: {shares:.2?}");
    let middle = mean(shares.iter().copied());
    assert!((0.9..1.1).contains(&middle), "{middle}");
    assert!(
        shares.iter().all(|share| (0.75..1.25).contains(share)),
        "{shares:?}"
    );
}

#[test]
fn across_a_straight_road_the_yaw_is_not_known_unless_the_wind_is_written() {
    let mut drawn = Drawn::new(Course::OutAndBack, "ABBA", 9520);
    drawn.plan.course.bends.clear();
    let unknown = compared(drawn, |_| (), nothing_written);
    assert!(unknown.setups.iter().all(|setup| setup.yaw.is_none()));
    let said = unknown
        .assumptions
        .iter()
        .find(|a| a.contains("Yaw as ridden"))
        .unwrap();
    assert!(said.contains("not known"), "{said}");
    let drawn = Drawn::new(Course::OutAndBack, "ABBA", 9520);
    let written = compared(
        drawn,
        |plan| plan.course.bends.clear(),
        |day, truth| {
            let wind = &truth.plan.wind;
            let (east, north) = (wind.mean_east_m_s, wind.mean_north_m_s);
            for reading in &mut day.air {
                reading.wind = Some(stillair::test_day::WindReading {
                    speed_m_s: east.hypot(north),
                    from_deg: (-east).atan2(-north).to_degrees().rem_euclid(360.0),
                    standard_uncertainty_m_s: 0.4,
                });
            }
        },
    );
    assert!(written.setups.iter().all(|setup| setup.yaw.is_some()));
}

/// A wheel whose drag grows by 3 for each rad² of yaw: 9 % at 10°.
fn wheels(plan: &mut DayPlan) {
    plan.setups[1].yaw_share_per_rad2 = 3.0;
}

fn named(day: &mut stillair::test_day::TestDay, _: &TrueDay) {
    day.setups[1].name = "deep wheels".to_string();
}

/// The same wheel on a calm day and on a windy one is two different answers; the remark says at which yaw each is true.
#[test]
fn wheels_are_told_to_be_known_at_the_yaw_of_the_day_only() {
    let change = |east_m_s: f64| -> Vec<(f64, f64, Compared)> {
        (9540..9556)
            .into_par_iter()
            .map(|number| {
                let drawn = Drawn::new(Course::Loop, "ABBA", number);
                let day = compared(
                    drawn,
                    |plan| {
                        wheels(plan);
                        steady(plan, east_m_s, 0.0);
                    },
                    named,
                );
                let change = day.findings[0].cda_change_percent;
                let log = (change.value / 100.0).ln_1p();
                (log, change.standard_uncertainty.unwrap() / 100.0, day)
            })
            .collect()
    };
    let (calm, windy) = (change(0.3), change(3.0));
    let apart = mean(calm.iter().zip(&windy).map(|(calm, windy)| windy.0 - calm.0));
    let uncertainty = mean(windy.iter().map(|day| day.1));
    println!(
        "wheels at yaw: {:.2} % more drag in 3 m/s of wind, beside ± {:.2} %",
        100.0 * apart,
        100.0 * uncertainty
    );
    assert!(apart > uncertainty / 3.0, "{apart} {uncertainty}");
    for (_, _, day) in calm.iter().chain(&windy) {
        let remark = day
            .warnings
            .iter()
            .find(|warning| warning.kind == "wheels")
            .unwrap();
        let yaw = day.setups[1].yaw.expect("known on a loop");
        let words = format!("'deep wheels' {:.0}°", yaw.rms_deg);
        assert!(remark.message.contains(&words), "{}", remark.message);
    }
}
