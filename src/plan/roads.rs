//! Stretches of old rides, ranked by what an hour of testing on each is expected to tell.

use super::choose::passes_of;
use super::day::air;
use super::ground::too_fast_m_s;
use super::{PlannedBlock, PlannedDay, expect};
use crate::archive::for_roads;
use crate::course::roads::{Candidate, Seen, candidates};
use crate::error::{Fault, Result};
use crate::event::{EventRoad, road_of};
use crate::physics::gravity_m_s2;
use crate::recording::RoutePoint;
use crate::study::{Progress, ridden_roads};
use crate::test_day::planned::{CHANGE_S, TURN_ROUND_S};
use crate::test_day::{Hold, Shape, TestDay, without_file};
use crate::warning::Warning;
use rayon::prelude::*;
use std::path::Path;

/// The test that every road is ranked by: two set-ups, A B B A, in an hour, turns and changes included.
pub const HOUR_S: f64 = 3600.0;
const ORDER: [usize; 4] = [0, 1, 1, 0];
/// Sideways acceleration that a rider takes on in an aero position (common practice, no published source). [m/s²]
const SIDEWAYS_M_S2: f64 = 3.0;
/// Roads of a region that are rated, however many are shown: the guess that chooses them is a rule of thumb, and what
/// it ranks low may turn out best.
const RATED: usize = 300;
/// Among lengths of one road whose figures are within this of the best, the longest is shown, up to a length that an
/// hour still rides a few times a block. A gate that is placed or crossed some metres off matters less on a longer
/// one, and fewer turns are fewer chances of traffic in them; the figure knows of neither.
const AS_GOOD: f64 = 1.05;
const LONGER_UP_TO_M: f64 = 2000.0;
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
    /// Every length of a road that was rated, not one only.
    pub all_lengths: bool,
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
    let chosen = for_roads(folder, progress)?;
    let mut ridden = ridden_roads(&chosen.files, progress).map_err(|mut error| {
        error.faults.extend(chosen.faults.iter().cloned());
        error
    })?;
    ridden.faults.extend(chosen.faults);
    ridden.warnings.extend(chosen.warnings);
    let found = candidates(&ridden.trails, RATED);
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
    told.sort_by(by_figure);
    let mut roads = if asked.all_lengths { told } else { each_once(told) };
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

/// From the best on, of each road the length to ride.
fn each_once(ranked: Vec<TestRoad>) -> Vec<TestRoad> {
    let mut roads: Vec<TestRoad> = Vec::new();
    let mut taken: Vec<Candidate> = Vec::new();
    for best in &ranked {
        let is_known = |one: &TestRoad| taken.iter().any(|known| known.is_on_the_road_of(&one.candidate));
        if is_known(best) {
            continue;
        }
        let as_good_percent = AS_GOOD * best.standard_uncertainty_percent;
        let longest = ranked
            .iter()
            .filter(|one| {
                one.standard_uncertainty_percent <= as_good_percent
                    && (best.road.length_m..=LONGER_UP_TO_M).contains(&one.road.length_m)
                    && one.candidate.is_on_the_road_of(&best.candidate)
                    && !is_known(one)
            })
            .max_by(|a, b| a.road.length_m.total_cmp(&b.road.length_m))
            .unwrap_or(best)
            .clone();
        taken.push(best.candidate.clone());
        taken.push(longest.candidate.clone());
        roads.push(longest);
    }
    // The longer one may be a little less good than the next road.
    roads.sort_by(by_figure);
    roads
}

fn by_figure(a: &TestRoad, b: &TestRoad) -> std::cmp::Ordering {
    a.standard_uncertainty_percent
        .total_cmp(&b.standard_uncertainty_percent)
}

/// Share of the passes that stops and braking are expected to cost.
fn lost_share(seen: &Seen) -> f64 {
    let spoilt = (seen.passes_stopped + seen.passes_braked) as f64;
    (spoilt + UNSEEN_SPOILT) / (seen.passes() as f64 + UNSEEN_PASSES)
}

/// One way a road is ridden up.
fn uphill(candidate: Candidate) -> Candidate {
    let height_m = |end: Option<&RoutePoint>| end.and_then(|point| point.altitude_m);
    let ends = height_m(candidate.points.first()).zip(height_m(candidate.points.last()));
    match ends {
        Some((start_m, finish_m)) if finish_m < start_m && !candidate.closes => candidate.reversed(),
        _ => candidate,
    }
}

/// `None` where no test is proposed.
fn test_road(candidate: Candidate, day: &TestDay, asked: &Asked) -> Option<TestRoad> {
    let lost_share = lost_share(&candidate.seen);
    if lost_share > MOST_LOST {
        return None;
    }
    let candidate = uphill(candidate);
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

/// As many passes a block as `plan` would put into an hour; `None` where it would put none.
fn hour(
    road: &EventRoad,
    shape: Shape,
    candidate: &Candidate,
    day: &TestDay,
    asked: &Asked,
) -> Option<(PlannedDay, f64)> {
    let first = candidate.points.first()?;
    let air = air(
        Path::new("test.toml"),
        &[],
        0.0,
        first.latitude_deg,
        first.altitude_m,
    )
    .ok()?;
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
    // Down a road on which `plan` would not go down either.
    if too_fast_m_s(&planned, planned.power_w).is_some() {
        return None;
    }
    let mut duration_s = f64::INFINITY;
    for passes in passes_of(shape).iter().rev() {
        planned.order = order(*passes);
        duration_s = planned.schedule()?.duration_s;
        if duration_s <= HOUR_S {
            break;
        }
    }
    (duration_s <= HOUR_S).then_some((planned, duration_s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::roads::Place;
    use crate::test_day::planned::{CDA_M2, POWER_W};

    fn asked() -> Asked {
        Asked {
            count: 10,
            all_lengths: false,
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
        assert!(
            road.duration_s <= HOUR_S && road.duration_s > 0.6 * HOUR_S,
            "{road:?}"
        );
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
        let good = percent(1000.0, 0.0, seen(10, 0, STRAIGHT)).unwrap();
        let hilly = percent(1000.0, 0.07, seen(10, 0, STRAIGHT)).unwrap();
        let stops = percent(1000.0, 0.0, seen(10, 3, STRAIGHT)).unwrap();
        assert!(hilly > 1.1 * good, "{hilly} {good}");
        // (3 + 0.5) / (10 + 2) lost against 0.5 / 12.
        let expected = good * ((1.0 - 0.5 / 12.0_f64) / (1.0 - 3.5 / 12.0)).sqrt();
        assert!((stops / expected - 1.0).abs() < 1e-9, "{stops} {expected}");
        assert_eq!(percent(1000.0, 0.0, seen(10, 8, STRAIGHT)), None);
        assert_eq!(percent(1000.0, 0.0, seen(10, 0, 15.0)), None);
    }

    #[test]
    fn a_hill_found_downhill_is_listed_uphill() {
        let points = (0..=100).map(|k| RoutePoint {
            latitude_deg: 45.0 + 10.0 * f64::from(k) / 111_130.0,
            longitude_deg: 170.0,
            altitude_m: Some(100.0 - 0.7 * f64::from(k)),
        });
        let seen = Seen {
            forward: 5,
            reverse: 3,
            passes_stopped: 1,
            stops: vec![Place {
                along_m: 200.0,
                times: 1,
            }],
            tightest_radius_m: STRAIGHT,
            ..Seen::default()
        };
        let found = Candidate::made(points.collect(), seen);
        let road = test_road(found, &without_file(), &asked()).unwrap();
        // Down 7 % nobody is sent.
        assert_eq!(road.shape, Shape::OneWay);
        assert!((road.gradient.unwrap() - 0.07).abs() < 5e-4);
        assert!((road.bearing_deg.unwrap() - 180.0).abs() < 0.1);
        let seen = &road.candidate.seen;
        assert_eq!((seen.forward, seen.reverse, seen.stops[0].along_m), (3, 5, 800.0));
    }

    #[test]
    fn a_road_seen_once_is_trusted_less_than_one_seen_often() {
        assert!(lost_share(&seen(1, 0, STRAIGHT)) > lost_share(&seen(10, 0, STRAIGHT)));
        assert!(lost_share(&Seen::default()) < MOST_LOST);
    }
}
