//! The estimate of the day against its slow twin, where both are linear: posterior and evidence.

use super::contribution::Contribution;
use super::layout::{GUST_SQUARE, LOG_CDA, MEAN_WIND, Own};
use super::made_days::{CELL_M, Made, Plan, made};
use super::prior::Hyper;
use super::system::{Model, Point};
use super::twin::{About, Answer, Strengths, Twin};
use crate::estimate::cells::{BlockWind, Shift};
use crate::estimate::made::held;
use crate::test_day::{Differs, Measured, Shape};
use nalgebra::{DMatrix, DVector};

const STRENGTHS: Strengths = Strengths {
    wander_sd_m_s: 0.45,
    wander_memory_s: 800.0,
    gust_q_m2_s: 1.6,
    block_sd: 0.009,
    pass_sd: 0.005,
};

fn hyper() -> Hyper {
    let s = STRENGTHS;
    Hyper::from_array(
        [
            s.wander_sd_m_s,
            s.wander_memory_s,
            s.gust_q_m2_s,
            s.block_sd,
            s.pass_sd,
        ]
        .map(f64::ln),
    )
}

fn plan(shape: Shape, order: &[usize], passes_a_block: usize) -> Plan {
    Plan {
        shape,
        order: order.to_vec(),
        passes_a_block,
        cells: 8,
        differs: vec![Differs::Cda, Differs::Cda],
        profile_m: Some(0.4),
        wind_m_s: 2.0,
        windows: false,
        alike: false,
        seed: 1,
    }
}

fn about(made: &Made, wind_m_s: [f64; 2]) -> About {
    let count = made.setups.len();
    About {
        log_cda: -1.22,
        log_ratio: (0..count).map(|s| -0.055 * s as f64).collect(),
        log_rolling_ratio: (0..count).map(|s| 0.07 * s as f64).collect(),
        gust_square_m2_s2: 0.3,
        wind_m_s,
    }
}

fn point(model: &Model, about: &About) -> Point {
    let mut point = DVector::zeros(model.layout.all());
    point[LOG_CDA] = about.log_cda;
    point[GUST_SQUARE] = about.gust_square_m2_s2;
    for way in 0..2 {
        point[MEAN_WIND[way]] = about.wind_m_s[way];
    }
    for s in 0..about.log_ratio.len() {
        if let Some(place) = model.layout.drag[s] {
            point[place] = about.log_ratio[s];
        }
        if let Some(place) = model.layout.rolling[s] {
            point[place] = about.log_rolling_ratio[s];
        }
    }
    point
}

/// What the analysis says of the same quantities as `Answer`.
fn solved(made: &Made, about: &About) -> Answer {
    let setups = made.setups.len();
    let model = &super::model(&made.day(), made.profile.as_ref(), &held(), &Shift::default()).unwrap();
    let layout = &model.layout;
    let at = point(model, about);
    let pooled = model.pool(&at, hyper().gust_q).unwrap();
    let solved = model.solve(&at, &pooled, &hyper()).unwrap();
    let rows = |wanted: Vec<Vec<usize>>| {
        let mut columns = DMatrix::zeros(layout.all(), wanted.len());
        for (column, places) in wanted.iter().enumerate() {
            for place in places {
                columns[(*place, column)] = 1.0;
            }
        }
        (columns.tr_mul(&solved.point), solved.covariance(&columns))
    };
    let ratio = |s: usize| layout.drag[s].into_iter();
    let passes = 0..layout.passes;
    let wind = |way: usize, own: Own| {
        passes
            .clone()
            .map(move |pass| vec![MEAN_WIND[way], layout.own(own, pass)])
    };
    Answer {
        log_evidence: solved.log_evidence,
        setups: rows(
            (0..setups)
                .map(|s| [LOG_CDA].into_iter().chain(ratio(s)).collect())
                .collect(),
        ),
        passes: rows(
            passes
                .clone()
                .map(|pass| {
                    let own = [LOG_CDA, layout.own(Own::LogDrag, pass)];
                    own.into_iter()
                        .chain(ratio(model.contributions[pass].setup))
                        .collect()
                })
                .collect(),
        ),
        winds: rows(wind(0, Own::WindEast).chain(wind(1, Own::WindNorth)).collect()),
    }
}

/// Largest difference of two normals: of means in standard deviations, of covariances in their product.
fn apart(found: &(DVector<f64>, DMatrix<f64>), expected: &(DVector<f64>, DMatrix<f64>)) -> f64 {
    let sd = expected.1.diagonal().map(f64::sqrt);
    let mut most = 0.0f64;
    for i in 0..sd.len() {
        most = most.max((found.0[i] - expected.0[i]).abs() / sd[i]);
        for j in 0..sd.len() {
            most = most.max((found.1[(i, j)] - expected.1[(i, j)]).abs() / (sd[i] * sd[j]));
        }
    }
    most
}

/// How far the analysis is from `twin`, in standard deviations: set-ups, passes, winds; and in log evidence.
fn off(found: &Answer, twin: &Answer) -> [f64; 4] {
    [
        apart(&found.setups, &twin.setups),
        apart(&found.passes, &twin.passes),
        apart(&found.winds, &twin.winds),
        (found.log_evidence - twin.log_evidence).abs(),
    ]
}

/// Near the answer, in a wind so small that the fourth power of a crosswind does not show: there the analysis
/// and the twin are the same linear problem. The winds themselves are told apart a little further: the analysis
/// takes their slopes from differences over 0.5 m/s, which the fifth order of (v+w)V_a moves by
/// c⁴w/4v³, some 5e-7 of 2v at 8 m/s.
fn agrees(plan: &Plan) {
    agrees_on(made(plan), [0.001, -0.0008]);
}

fn agrees_on(made: Made, wind_m_s: [f64; 2]) {
    let day = made.day();
    let about = about(&made, wind_m_s);
    let found = solved(&made, &about);
    let twin = Twin::of(&day, made.profile.as_ref(), 0.0, &about).answer(&about, &STRENGTHS);
    let [setups, passes, winds, evidence] = off(&found, &twin);
    assert!(
        setups < 1e-6 && passes < 1e-6 && winds < 3e-6,
        "{setups:e} {passes:e} {winds:e}"
    );
    assert!(evidence < 1e-5, "{} {}", found.log_evidence, twin.log_evidence);
}

#[test]
fn a_one_way_day_agrees_with_the_dense_twin() {
    agrees(&plan(Shape::OneWay, &[0, 1, 1, 0, 0, 1], 1));
}

#[test]
fn an_out_and_back_day_agrees_with_the_dense_twin() {
    agrees(&plan(Shape::OutAndBack, &[0, 1, 1, 0], 2));
}

#[test]
fn a_day_of_laps_agrees_with_the_dense_twin() {
    agrees(&plan(Shape::Loop, &[0, 1, 1], 3));
}

#[test]
fn three_set_ups_that_roll_differently_agree_with_the_dense_twin() {
    agrees(&Plan {
        differs: vec![Differs::Cda, Differs::Both, Differs::Crr],
        ..plan(Shape::OutAndBack, &[0, 1, 2], 2)
    });
}

#[test]
fn passes_over_part_of_an_unknown_road_agree_with_the_dense_twin() {
    agrees(&Plan {
        windows: true,
        profile_m: None,
        ..plan(Shape::OneWay, &[0, 1, 1, 0], 2)
    });
}

/// An air-speed sensor whose factor is known to 2 %, with holes; winds read beside the road; bottles weighed and a
/// wheel rolled out before a block; the meter's zero noted on half of the day.
#[test]
fn a_day_with_notes_and_an_air_speed_sensor_agrees_with_the_dense_twin() {
    let mut made = made(&plan(Shape::OutAndBack, &[0, 1, 1, 0], 2));
    let weighed = made.setups[0].total_mass_kg;
    for ride in &mut made.rides {
        ride.air_speed_scale_standard_uncertainty = Some(0.02);
        for (number, step) in ride.cells.iter_mut().flat_map(|cell| &mut cell.steps).enumerate() {
            if number % 40 > 12 {
                let wobble = 0.3 * (number as f64 * 1.7).sin();
                step.air_speed_m_s =
                    0.98 * (0.5 * (step.start_speed_m_s + step.end_speed_m_s) + 0.4 + wobble);
            }
        }
        ride.power_zero_noted = ride.block < 2;
        if ride.block == 1 {
            ride.total_mass_kg = Some(Measured {
                value: 80.9,
                ..weighed
            });
            ride.wheel_radius_m = Some(0.334);
        } else {
            ride.wind_reading = Some(BlockWind {
                time_s: ride.middle_s,
                wind_east_m_s: 0.3 * ride.block as f64,
                wind_north_m_s: -0.2,
                wind_standard_uncertainty_m_s: 0.7,
            });
        }
    }
    let rows: usize = made
        .rides
        .iter()
        .map(|ride| {
            Contribution::of(ride, &made.setups[0], made.length_m, 0.0, &Shift::default())
                .air_speeds
                .len()
        })
        .sum();
    assert!(
        rows > 20 && rows < 64,
        "some cells have an air speed, and some have none: {rows}"
    );
    // The factor multiplies the wind as well, which the analysis leaves out: 1e-4 of it at 0.001 m/s.
    agrees_on(made, [0.0, 0.0]);
}

/// Tyres roll otherwise on the second half of the road, also where the test is about them.
#[test]
fn a_road_of_two_surfaces_agrees_with_the_dense_twin() {
    for differs in [Differs::Cda, Differs::Both] {
        let mut made = made(&Plan {
            differs: vec![Differs::Cda, differs],
            ..plan(Shape::OutAndBack, &[0, 1, 1, 0], 2)
        });
        for cell in made.rides.iter_mut().flat_map(|ride| &mut ride.cells) {
            if cell.from_m.min(cell.to_m) > 3.5 * CELL_M {
                cell.crr_factor = 1.6;
            }
        }
        agrees_on(made, [0.001, -0.0008]);
    }
}

/// A meter in one leg, on a day that warms while the first two blocks were ridden cold.
#[test]
fn a_day_with_a_meter_in_one_leg_that_feels_the_warmth_agrees_with_the_dense_twin() {
    let mut made = made(&plan(Shape::OutAndBack, &[0, 0, 1, 1], 2));
    for (number, ride) in made.rides.iter_mut().enumerate() {
        ride.in_day.warmer_k = number as f64 - 3.5;
        ride.in_day.power_scale_per_k_standard_uncertainty = 0.002;
        ride.in_day.one_leg_sd = 0.015;
    }
    agrees_on(made, [0.0, 0.0]);
}

/// In a wind that was not known the analysis takes (v+w)V_a as a quadratic, the twin as it is. They differ by
/// c⁴/8v² of the v² of a wind across: at 2.5 m/s and the slowest 8.3 m/s 0.10 % of drag.
#[test]
fn taking_the_air_as_a_quadratic_in_the_wind_costs_a_thousandth_of_drag_at_most() {
    for shape in [Shape::OutAndBack, Shape::Loop] {
        let made = made(&plan(shape, &[0, 1, 1, 0], 2));
        let day = made.day();
        let about = about(&made, [2.0, -1.5]);
        let found = solved(&made, &about);
        let twin = Twin::of(&day, made.profile.as_ref(), 0.0, &about).answer(&about, &STRENGTHS);
        let most = (&found.setups.0 - &twin.setups.0)
            .amax()
            .max((&found.passes.0 - &twin.passes.0).amax());
        assert!(most < 2.5f64.powi(4) / 8.0 / (CELL_M / 18.0).powi(4), "{most}");
        assert!(most > 1e-5, "the wind is there: {most}");
    }
}

/// docs/method.md, 4: a slow force adds the same newtons to every cell. The analysis shares it out as the drag of
/// the cells is, so that it is one more part of a pass's log drag area: the same at an even speed, nearly so else.
#[test]
fn a_drift_shared_out_like_drag_is_as_good_as_one_by_the_metre() {
    let made = made(&plan(Shape::OutAndBack, &[0, 0, 1, 1], 2));
    let day = made.day();
    let about = about(&made, [0.001, -0.0008]);
    let found = solved(&made, &about);
    let mut twin = Twin::of(&day, made.profile.as_ref(), 0.0, &about);
    twin.drift_by_metre = true;
    let setups = apart(&found.setups, &twin.answer(&about, &STRENGTHS).setups);
    assert!(setups > 1e-5, "speeds are uneven: {setups}");
    assert!(setups < 0.02, "{setups}");
}
