//! Stretches of old rides, ranked by what an hour of testing on each is expected to tell.

use super::{PlannedBlock, PlannedDay, expect};
use crate::air::{RideSite, settle};
use crate::course::roads::{Candidate, Seen, candidates};
use crate::error::{Fault, Result};
use crate::event::{EventRoad, road_of};
use crate::physics::gravity_m_s2;
use crate::study::{Progress, ridden_roads};
use crate::test_day::{Hold, Shape, TestDay, without_file};
use crate::warning::Warning;
use rayon::prelude::*;
use std::path::Path;

/// The test that every road is ranked by: two set-ups, A B B A, in an hour, turns and changes included.
pub const HOUR_S: f64 = 3600.0;
const ORDER: [usize; 4] = [0, 1, 1, 0];
/// Unless said otherwise: what `[plan]` of test.toml takes where it is silent.
pub const POWER_W: f64 = 220.0;
pub const CDA_M2: f64 = 0.32;
/// The turn that `[plan]` takes, and the way beyond the gate and back on which one slows down and gets up to speed: 100 m
/// each at 7 m/s (judgement, no published source). Without it forty turns an hour would look as good as twenty.
const TURN_ROUND_S: f64 = 20.0 + 2.0 * 100.0 / 7.0;
/// Sideways acceleration that a rider takes on in an aero position (common practice, no published source). [m/s²]
const SIDEWAYS_M_S2: f64 = 3.0;
const CHANGE_S: f64 = 300.0;
/// Roads looked at closely for each one shown.
const LOOKED_AT: usize = 3;
/// How far a road is trusted that was ridden rarely: as if two more passes had been seen, half of one spoilt. Judgement,
/// no published source.
const UNSEEN_PASSES: f64 = 2.0;
const UNSEEN_SPOILT: f64 = 0.5;
/// Where more passes than this are lost no test is proposed.
const MOST_LOST: f64 = 0.5;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    pub count: usize,
    pub power_w: f64,
    pub cda_m2: f64,
    /// `None`: by the rider's mass in the recordings, else the default of test.toml.
    pub total_mass_kg: Option<f64>,
}

/// One road as a test course.
#[derive(Debug, Clone, PartialEq)]
pub struct TestRoad {
    pub candidate: Candidate,
    pub road: EventRoad,
    /// How it is best ridden.
    pub shape: Shape,
    pub passes_per_block: usize,
    pub duration_s: f64,
    /// Of the ratio of two set-ups, for the hour, if no pass is lost.
    pub undisturbed_standard_uncertainty_percent: f64,
    /// Expected share of passes lost to stops and braking.
    pub lost_share: f64,
    /// Of the ratio of two set-ups, for the hour, with that share lost.
    pub standard_uncertainty_percent: f64,
    /// Mean slope from start to finish, positive uphill; `None` where heights are unknown.
    pub gradient: Option<f64>,
    /// Root mean square of the slope about its mean.
    pub slope_spread: Option<f64>,
    /// Way from start to finish, clockwise from true north; `None` for a loop.
    pub bearing_deg: Option<f64>,
    /// Of a steady wind along the bearing, the mean share met along the road: one on a straight road, zero on a loop.
    pub along_share: f64,
}

/// The roads of a folder, the best first.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    pub roads: Vec<TestRoad>,
    pub recordings: usize,
    /// Lengths of roads looked at that are no course: lost passes, bends too tight for the speed, or no test in an hour.
    pub refused: usize,
    pub total_mass_kg: f64,
    pub asked: Asked,
    pub faults: Vec<Fault>,
    pub warnings: Vec<Warning>,
}

/// # Errors
/// The folder cannot be listed; it holds no recording; none of them has positions; no stretch of 500 m was ridden in it
/// without a stop.
pub fn roads(folder: &Path, asked: &Asked, progress: Progress) -> Result<Ranking> {
    let ridden = ridden_roads(folder, progress)?;
    let found = candidates(&ridden.trails, LOOKED_AT * asked.count.max(1));
    if found.is_empty() {
        return Err(Fault::new(
            "no stretch of road of 500 m was ridden without a stop in these rides",
            "Put longer rides on open roads into the folder.",
        )
        .in_file(folder)
        .into());
    }
    let mut day = without_file();
    if let Some(kg) = ridden.rider_mass_kg {
        day = day.with_rider_mass(kg);
    }
    if let Some(kg) = asked.total_mass_kg {
        for setup in &mut day.setups {
            setup.total_mass_kg.value = kg;
        }
    }
    let total_mass_kg = day.setups[0].total_mass_kg.value;
    let all = found.len();
    let mut told: Vec<TestRoad> = found
        .into_par_iter()
        .filter_map(|candidate| test_road(candidate, &day, asked))
        .collect();
    let refused = all - told.len();
    told.sort_by(|a, b| {
        a.standard_uncertainty_percent
            .total_cmp(&b.standard_uncertainty_percent)
    });
    let mut roads: Vec<TestRoad> = Vec::new();
    for one in told {
        let mut better = roads.iter();
        let known = better.any(|better| better.candidate.is_on_the_road_of(&one.candidate));
        if !known {
            roads.push(one);
        }
    }
    roads.truncate(asked.count);
    Ok(Ranking {
        roads,
        recordings: ridden.recordings,
        refused,
        total_mass_kg,
        asked: *asked,
        faults: ridden.faults,
        warnings: ridden.warnings,
    })
}

/// Share of the passes that stops and braking are expected to cost.
fn lost_share(seen: &Seen) -> f64 {
    let spoilt = (seen.passes_stopped + seen.passes_braked) as f64;
    (spoilt + UNSEEN_SPOILT) / (seen.passes() as f64 + UNSEEN_PASSES)
}

/// `None` where no test is proposed.
fn test_road(candidate: Candidate, day: &TestDay, asked: &Asked) -> Option<TestRoad> {
    let lost_share = lost_share(&candidate.seen);
    if lost_share > MOST_LOST {
        return None;
    }
    let road = road_of(&candidate.points)?;
    let shapes: &[Shape] = if candidate.closes {
        &[Shape::Loop]
    } else {
        &[Shape::OutAndBack, Shape::OneWay]
    };
    let best = shapes
        .iter()
        .filter_map(|shape| {
            let (planned, duration_s) = hour(&road, *shape, &candidate, day, asked)?;
            let percent = expect(&planned)?.standard_uncertainty_percent()?;
            let fastest_m_s = fastest_m_s(&planned)?;
            if candidate.seen.tightest_radius_m < fastest_m_s.powi(2) / SIDEWAYS_M_S2 {
                return None;
            }
            Some((*shape, planned.order[0].passes, duration_s, percent))
        })
        .min_by(|a, b| a.3.total_cmp(&b.3));
    let (shape, passes_per_block, duration_s, percent) = best?;
    let mean = road.stretches.iter().map(|s| s.gradient).sum::<f64>() / road.stretches.len() as f64;
    let square = road
        .stretches
        .iter()
        .map(|s| (s.gradient - mean).powi(2))
        .sum::<f64>();
    let spread = (square / road.stretches.len() as f64).sqrt();
    let towards = road.stretches.iter().fold([0.0, 0.0], |sum, s| {
        let (sin, cos) = s.bearing_rad.sin_cos();
        [sum[0] + s.length_m * sin, sum[1] + s.length_m * cos]
    });
    let bearing_deg = towards[0].atan2(towards[1]).to_degrees().rem_euclid(360.0);
    Some(TestRoad {
        shape,
        passes_per_block,
        duration_s,
        undisturbed_standard_uncertainty_percent: percent,
        lost_share,
        standard_uncertainty_percent: percent / (1.0 - lost_share).sqrt(),
        gradient: road.has_heights.then_some(mean),
        slope_spread: road.has_heights.then_some(spread),
        bearing_deg: (!candidate.closes).then_some(bearing_deg),
        along_share: towards[0].hypot(towards[1]) / road.length_m,
        candidate,
        road,
    })
}

/// Of the mean speeds of the passes.
fn fastest_m_s(planned: &PlannedDay) -> Option<f64> {
    let schedule = planned.schedule()?;
    schedule
        .passes
        .iter()
        .map(|pass| pass.mean_speed_m_s)
        .reduce(f64::max)
}

/// The test that fills an hour; `None` where not one pass a block does.
fn hour(
    road: &EventRoad,
    shape: Shape,
    candidate: &Candidate,
    day: &TestDay,
    asked: &Asked,
) -> Option<(PlannedDay, f64)> {
    let first = candidate.points.first()?;
    let site = RideSite {
        start_s: 0.0,
        end_s: 0.0,
        latitude_deg: first.latitude_deg,
        height_m: first.altitude_m,
        unit_temperature_c: None,
        unit_pressure_pa: None,
        unit_warming: None,
    };
    let (air, _) = settle(Path::new("test.toml"), &[], &site).ok()?;
    let setup = day.setups.first()?;
    let order = |passes: usize| ORDER.map(|setup| PlannedBlock::of(setup, passes)).to_vec();
    let mut planned = PlannedDay {
        shape,
        road: road.stretches.clone(),
        has_heights: road.has_heights,
        setups: vec![setup.clone(), setup.clone()],
        cda_m2: vec![asked.cda_m2; 2],
        order: order(1),
        hold: Hold::Power,
        power_w: asked.power_w,
        entry_speed_m_s: None,
        turn_round_s: TURN_ROUND_S,
        change_s: CHANGE_S,
        wind: None,
        air: air.at(0.0),
        warming_standard_uncertainty_k_per_h: air.warming.standard_uncertainty_k_per_h,
        gravity_m_s2: gravity_m_s2(first.latitude_deg, first.altitude_m.unwrap_or(0.0)),
        power_scale: day.power_scale,
        slow: day.slow,
        difference_percent: -day.smallest_difference_percent,
    };
    let one_s = planned.schedule()?.duration_s;
    planned.order = order(3);
    let each_s = (planned.schedule()?.duration_s - one_s) / 2.0;
    let passes = 1.0 + ((HOUR_S - one_s) / each_s).floor();
    if passes < 1.0 {
        return None;
    }
    planned.order = order(passes as usize);
    let duration_s = planned.schedule()?.duration_s;
    Some((planned, duration_s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::RoutePoint;

    fn asked() -> Asked {
        Asked {
            count: 10,
            power_w: POWER_W,
            cda_m2: CDA_M2,
            total_mass_kg: None,
        }
    }

    fn percent(length_m: f64, gradient: f64, seen: Seen) -> Option<f64> {
        let points = (0..=(length_m / 10.0) as usize).map(|k| RoutePoint {
            latitude_deg: 45.0 + 10.0 * k as f64 / 111_130.0,
            longitude_deg: 170.0,
            altitude_m: Some(100.0 + 10.0 * k as f64 * gradient),
        });
        let candidate = Candidate::made(points.collect(), seen);
        let road = test_road(candidate, &without_file(), &asked())?;
        assert!((road.road.length_m / length_m - 1.0).abs() < 0.01);
        assert!((road.gradient.unwrap() - gradient).abs() < 5e-4, "{road:?}");
        assert!(road.duration_s <= HOUR_S + 1.0 && road.duration_s > 0.7 * HOUR_S);
        Some(road.standard_uncertainty_percent)
    }

    fn seen(passes: usize, passes_stopped: usize, tightest_radius_m: f64) -> Seen {
        Seen {
            forward: passes,
            passes_stopped,
            tightest_radius_m,
            ..Seen::default()
        }
    }

    const STRAIGHT: f64 = f64::INFINITY;

    #[test]
    fn hills_stops_and_bends_count_against_a_road() {
        let good = percent(1500.0, 0.0, seen(10, 0, STRAIGHT)).unwrap();
        let hilly = percent(1500.0, 0.05, seen(10, 0, STRAIGHT)).unwrap();
        let stops = percent(1500.0, 0.0, seen(10, 3, STRAIGHT)).unwrap();
        assert!(hilly > 1.1 * good, "{hilly} {good}");
        // (3 + 0.5) / (10 + 2) lost against 0.5 / 12.
        let expected = good * ((1.0 - 0.5 / 12.0_f64) / (1.0 - 3.5 / 12.0)).sqrt();
        assert!((stops / expected - 1.0).abs() < 1e-9, "{stops} {expected}");
        assert_eq!(percent(1500.0, 0.0, seen(10, 8, STRAIGHT)), None);
        assert_eq!(percent(1500.0, 0.0, seen(10, 0, 15.0)), None);
    }

    #[test]
    fn a_road_seen_once_is_trusted_less_than_one_seen_often() {
        assert!(lost_share(&seen(1, 0, STRAIGHT)) > lost_share(&seen(10, 0, STRAIGHT)));
        assert!(lost_share(&Seen::default()) < MOST_LOST);
    }
}
