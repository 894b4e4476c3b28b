//! Every derivative of the estimate against differences of what it predicts, at random points.

use super::contribution::Contribution;
use super::layout::{GUST_SQUARE, LOG_CDA, MEAN_WIND, Own};
use super::made_days::{Plan, made};
use super::system::{Model, Point};
use crate::estimate::cells::{Shift, accounts};
use crate::estimate::made::{held, setup};
use crate::test_day::{Differs, Shape};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn plan(shape: Shape, seed: u64) -> Plan {
    Plan {
        shape,
        order: vec![0, 1, 2],
        passes_a_block: 2,
        cells: 5,
        differs: vec![Differs::Cda, Differs::Both, Differs::Crr],
        profile_m: Some(0.5),
        wind_m_s: 1.5,
        windows: shape == Shape::OneWay,
        alike: false,
        seed,
    }
}

fn shape() -> impl Strategy<Value = Shape> {
    prop_oneof![Just(Shape::OneWay), Just(Shape::OutAndBack), Just(Shape::Loop)]
}

/// Sizes that each unknown may have on a day, times a number from −1 to 1 that is different for each.
fn random_point(model: &Model, draws: &[f64]) -> Point {
    let layout = &model.layout;
    let mut point = DVector::from_fn(layout.all(), |place, _| draws[place % draws.len()]);
    point[LOG_CDA] = -1.2 + 0.5 * point[LOG_CDA];
    point[GUST_SQUARE] = 0.5 + 0.5 * point[GUST_SQUARE];
    for place in MEAN_WIND {
        point[place] *= 3.0;
    }
    for pass in 0..layout.passes {
        point[layout.own(Own::LogDrag, pass)] *= 0.1;
    }
    point
}

/// How one pass's predicted energies change with one unknown. All columns are smooth and nearly of second order,
/// so a central difference over 1e-4 is good to 1e-8 of the energies or better.
fn difference(model: &Model, point: &Point, pass: usize, place: usize) -> DVector<f64> {
    let step = 1e-4;
    let side = |sign: f64| {
        let mut moved = point.clone();
        moved[place] += sign * step;
        model.predicted(&moved, pass).0
    };
    (side(1.0) - side(-1.0)) / (2.0 * step)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 12,
        rng_seed: RngSeed::Fixed(1),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Columns that stand in several places at once stand for each of them; no other unknown touches the pass.
    #[test]
    fn every_column_of_the_design_is_the_slope_of_what_is_predicted(
        shape in shape(),
        seed in 0u64..1000,
        draws in proptest::collection::vec(-1.0f64..1.0, 37),
    ) {
        let mut made = made(&plan(shape, seed));
        for step in made.rides.iter_mut().flat_map(|r| r.cells.iter_mut().step_by(2)).flat_map(|c| &mut c.steps) {
            step.air_speed_m_s = 1.1 * step.start_speed_m_s;
        }
        for (number, ride) in made.rides.iter_mut().enumerate() {
            ride.in_day.warmer_k = number as f64 - 2.5;
        }
        let day = made.day();
        let model = super::model(&day, made.profile.as_ref(), &held(), &Shift::default()).unwrap();
        let point = random_point(&model, &draws);
        for pass in 0..model.layout.passes {
            let (energy, design, places) = model.predicted(&point, pass);
            let mut whole = DMatrix::zeros(energy.len(), model.layout.all());
            for (column, at) in places.iter().enumerate() {
                for place in at {
                    let sum = whole.column(*place) + design.column(column);
                    whole.set_column(*place, &sum);
                }
            }
            let size = energy.amax().max(1.0);
            for place in 0..model.layout.all() {
                let expected = difference(&model, &point, pass, place);
                let off = (whole.column(place) - &expected).amax();
                prop_assert!(off < 1e-6 * size, "pass {pass}, unknown {place}: {off} of {size}");
            }
        }
    }

    /// The quadratic is exact in a wind along the road; across, (v+w)V_a differs from it by c⁴/8(v+w)².
    #[test]
    fn air_work_at_a_wind_is_that_of_the_accounts(
        shape in shape(),
        seed in 0u64..1000,
        known in [-1.0f64..1.0, -1.0f64..1.0],
        more in [-1.0f64..1.0, -1.0f64..1.0],
    ) {
        let made = made(&plan(shape, seed));
        let mut ride = made.rides[1].clone();
        ride.air.wind_east_m_s = known[0];
        ride.air.wind_north_m_s = known[1];
        let of = setup("any");
        let contribution = Contribution::of(&ride, &of, made.length_m, 0.0, &Shift::default());
        let moved = Shift { wind_east_m_s: more[0], wind_north_m_s: more[1], ..Shift::default() };
        let step = 1e-3;
        for (cell, account) in accounts(&ride, &of, made.length_m, &moved).iter().enumerate() {
            let air = &contribution.air[cell];
            // 2.83 m/s of wind at most, and air of 4.7 m/s at least: the whole fourth order, 0.36 m²/s² of 22 or
            // more. The curvature alone moves (v+w)V_a by up to 2 m²/s², the slope by 40.
            let most = 2.83f64.powi(4) / 8.0 / 4.7f64.powi(2) * 0.5 * ride.air.density_kg_m3 * account.distance_m;
            let off = (air.at(more, 0.0) - account.air_j_m2).abs();
            prop_assert!(off < most, "{off} of {}, at most {most}", account.air_j_m2);
            let gusts = air.at(more, 0.7) - air.at(more, 0.0);
            prop_assert!((gusts - 0.7 * 0.5 * ride.air.density_kg_m3 * account.distance_m).abs() < 1e-9 * gusts);
            let slope = air.slope_at(more);
            for way in 0..2 {
                let side = |sign: f64| {
                    let mut there = more;
                    there[way] += sign * step;
                    air.at(there, 0.0)
                };
                let expected = (side(1.0) - side(-1.0)) / (2.0 * step);
                prop_assert!((slope[way] - expected).abs() < 1e-6 * account.air_j_m2.abs().max(1.0));
            }
        }
    }
}

/// Straight north and in a wind from north or south there is no crosswind, and the quadratic is exact.
#[test]
fn air_work_in_a_wind_along_a_straight_road_is_exact() {
    let made = made(&plan(Shape::OneWay, 5));
    let mut ride = made.rides[0].clone();
    for step in ride.cells.iter_mut().flat_map(|cell| &mut cell.steps) {
        step.bearing_rad = 0.0;
    }
    let of = setup("any");
    ride.air.wind_north_m_s = -1.3;
    let contribution = Contribution::of(&ride, &of, made.length_m, 0.0, &Shift::default());
    for more in [-4.0, -0.3, 2.0, 5.0] {
        let moved = Shift {
            wind_north_m_s: more,
            ..Shift::default()
        };
        let expected = accounts(&ride, &of, made.length_m, &moved);
        for (air, account) in contribution.air.iter().zip(&expected) {
            let relative = air.at([0.0, more], 0.0) / account.air_j_m2 - 1.0;
            assert!(relative.abs() < 1e-11, "{more}: {relative:e}");
        }
    }
}
