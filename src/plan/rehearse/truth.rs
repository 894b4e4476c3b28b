//! The truth of one rehearsed day.

use super::Rehearsed;
use crate::estimate::joint::layout::differs;
use crate::physics::{RelativeWind, Rig, crank_power_w, steady_speed_m_s};
use crate::plan::entry::entry;
use crate::simulate::{
    BlockTruth, CourseTruth, DayPlan, RoadPiece, SetupTruth, Shape as TrueShape, Uncertain, draw_ordinary,
    loop_plan, normal, one_way_plan, out_and_back_plan,
};
use crate::test_day::{Differs, Extent, Setup, Shape, east_north_m_s};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;

/// Of an expected wind, each way: a share of its strength, and at least so much.
pub(super) const WIND_SPREAD: f64 = 0.3;
pub(super) const LEAST_WIND_SPREAD_M_S: f64 = 0.5;
/// From a turn to the gate.
const RUN_UP_M: [f64; 2] = [100.0, 500.0];

/// Whether the looked-for difference is there: not in the baseline, and not in what is the same as it.
pub(super) fn is_other(setups: &[Setup], setup: usize) -> bool {
    setups[setup].same_as.unwrap_or(setup) != 0
}

pub(super) fn truth(of: &Rehearsed, different: bool, seed: u64, rng: &mut ChaCha8Rng) -> DayPlan {
    let base = match of.day.shape {
        Shape::OneWay => one_way_plan(seed, "A", 0.0),
        Shape::OutAndBack => out_and_back_plan(seed, "A", 0.0),
        Shape::Loop => loop_plan(seed, "A", 0.0),
    };
    let setups: Vec<SetupTruth> = (0..of.test_day.setups.len())
        .map(|setup| as_believed(of, setup))
        .collect();
    let mut plan = DayPlan {
        title: of
            .test_day
            .title
            .clone()
            .unwrap_or_else(|| "A rehearsed day".to_string()),
        course: course(of, base.course),
        setups,
        order: order(of),
        ..base
    };
    plan.rider.power_w = of.plan.power_w;
    plan.rider.rest_s = of.plan.change_s;
    plan.rider.turn_round_s = of.plan.turn_round_s;
    let first = &of.test_day.setups[0];
    let uncertain = Uncertain {
        crr: first.crr.standard_uncertainty,
        total_mass_kg: first.total_mass_kg.standard_uncertainty,
        power_scale: of.test_day.power_scale.standard_uncertainty,
    };
    draw_ordinary(&mut plan, &uncertain, rng);
    wind(of, &mut plan, rng);
    if different {
        make_different(of, &mut plan);
    }
    let gradient = mean_gradient(of);
    speeds(of, &mut plan, gradient);
    plan
}

fn as_believed(of: &Rehearsed, setup: usize) -> SetupTruth {
    let written = &of.test_day.setups[setup];
    let first = &of.test_day.setups[0];
    SetupTruth {
        name: written.name.clone(),
        power_share: 1.0,
        cda_m2: of.plan.cda_m2,
        yaw_share_per_rad2: 0.0,
        crr: match differs(&of.test_day.setups, setup) {
            Differs::Cda => written.crr.value,
            Differs::Crr | Differs::Both => first.crr.value,
        },
        total_mass_kg: written.total_mass_kg.value,
        wheel_radius_m: written.wheel_radius_m.value,
        rollout_factor: 1.0,
        wheel_inertia_kg_m2: written.wheel_inertia_kg_m2.value,
        drivetrain_efficiency: written.drivetrain_efficiency.value,
    }
}

fn order(of: &Rehearsed) -> Vec<BlockTruth> {
    let blocks = of.test_day.blocks.iter();
    blocks
        .filter_map(|block| match block.extent {
            Extent::Passes(passes) => Some(BlockTruth {
                setup: block.setup,
                passes,
            }),
            Extent::Times { .. } => None,
        })
        .collect()
}

/// After the errors of what is believed, so that the ratio is exactly the one looked for.
fn make_different(of: &Rehearsed, plan: &mut DayPlan) {
    let factor = 1.0 + of.day.difference_percent / 100.0;
    for (index, setup) in plan.setups.iter_mut().enumerate() {
        if !is_other(&of.test_day.setups, index) {
            continue;
        }
        let differs = differs(&of.test_day.setups, index);
        if differs != Differs::Crr {
            setup.cda_m2 *= factor;
        }
        if differs != Differs::Cda {
            setup.crr *= factor;
        }
    }
}

fn course(of: &Rehearsed, base: CourseTruth) -> CourseTruth {
    let day = &of.day;
    let length_m = day.length_m();
    let shared = CourseTruth {
        shape: match day.shape {
            Shape::OneWay => TrueShape::OneWay,
            Shape::OutAndBack => TrueShape::OutAndBack,
            Shape::Loop => TrueShape::Loop,
        },
        length_m,
        bearing_deg: of.plan.bearing_deg,
        mean_gradient: sine(of.plan.gradient_percent / 100.0),
        ..base
    };
    let Some((place, first)) = of
        .place
        .as_ref()
        .and_then(|place| Some((place, place.points.first()?)))
    else {
        return shared;
    };
    let pieces = place.road.stretches.iter();
    CourseTruth {
        latitude_deg: first.latitude_deg,
        longitude_deg: first.longitude_deg,
        elevation_m: first.altitude_m.unwrap_or(shared.elevation_m),
        measured: pieces
            .map(|stretch| RoadPiece {
                length_m: stretch.length_m,
                gradient: stretch.gradient,
                bearing_rad: stretch.bearing_rad,
            })
            .collect(),
        ..shared
    }
}

fn sine(gradient: f64) -> f64 {
    gradient / gradient.hypot(1.0)
}

/// Expected with a spread, else that of any day, which the ready plans have drawn.
fn wind(of: &Rehearsed, plan: &mut DayPlan, rng: &mut ChaCha8Rng) {
    let Some(expected) = of.plan.wind else {
        return;
    };
    let anywhere = rng.random_range(0.0..TAU);
    let from_deg = expected.from_deg.unwrap_or(anywhere.to_degrees());
    let [east, north] = east_north_m_s(expected.speed_m_s, from_deg);
    let spread = (WIND_SPREAD * expected.speed_m_s).max(LEAST_WIND_SPREAD_M_S);
    plan.wind.mean_east_m_s = east + spread * normal(rng);
    plan.wind.mean_north_m_s = north + spread * normal(rng);
}

/// Over the way that is ridden under power.
fn mean_gradient(of: &Rehearsed) -> f64 {
    match of.day.shape {
        Shape::OneWay => {
            let rise_m: f64 = of.day.road.iter().map(|s| s.length_m * sine(s.gradient)).sum();
            rise_m / of.day.length_m()
        }
        Shape::OutAndBack | Shape::Loop => 0.0,
    }
}

/// Speed at the gate, the way to it, and the power that each set-up takes where the speed is held.
fn speeds(of: &Rehearsed, plan: &mut DayPlan, gradient: f64) {
    let around = of.day.around();
    let rig = |setup: &SetupTruth| Rig {
        cda_m2: setup.cda_m2,
        crr: setup.crr,
        total_mass_kg: setup.total_mass_kg,
        wheel_inertia_kg_m2: setup.wheel_inertia_kg_m2,
        wheel_radius_m: setup.wheel_radius_m,
        drivetrain_efficiency: setup.drivetrain_efficiency,
    };
    let first = rig(&plan.setups[0]);
    if of.plan.hold == crate::test_day::Hold::Speed
        && let Some(held) = steady_speed_m_s(
            &first,
            &around,
            of.plan.power_w,
            gradient,
            RelativeWind::default(),
        )
    {
        let needs = |rig: &Rig| crank_power_w(rig, &around, held, RelativeWind::default(), gradient, 0.0);
        let of_first = needs(&first);
        for setup in &mut plan.setups {
            let share = needs(&rig(setup)) / of_first;
            if share.is_finite() && share > 0.0 {
                setup.power_share = share;
            }
        }
    }
    if let Some(entered) = entry(&first, &around, &of.day.road, of.plan.power_w) {
        plan.rider.entry_speed_m_s = entered.speed_m_s;
        let most = RUN_UP_M[1].min(0.4 * plan.course.length_m);
        let run_up_m = entered.run_up_m.clamp(RUN_UP_M[0].min(most), most);
        plan.course.lead_in_m = run_up_m;
        plan.course.run_out_m = run_up_m;
    }
    if let Some(speed_m_s) = of.plan.entry_speed_m_s {
        plan.rider.entry_speed_m_s = speed_m_s;
    }
}
