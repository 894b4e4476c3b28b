//! Stretches of a pass in which something else pushed or held than the road and the day's wind: a lorry's
//! following wind, a gust front, a touch of the brakes, power that the meter missed.
//!
//! The energy account is drawn up step by step, with drag and rolling as a first fit has them. What like passes
//! leave over at the same place (a bump that the profile lacks, a sheltered stretch) is taken off it. Gusts and
//! errors of speed are whitened (`whiten`), what is wrong by one amount over the whole pass is projected out, and
//! in the rest a push that rises and falls over some seconds, up to a minute, is looked for at every place (`search`): of all
//! linear measures that is the one in which it stands out most. How widely these measures spread on the day itself
//! says what is unusual, so that a gusty day raises no alarm.

mod search;
mod shared;
pub(super) mod trail;
pub(super) mod whiten;

use super::cells::PassRide;
use super::plain::Day;
use crate::course::Direction;
use rayon::prelude::*;
use search::{Found, Reading};
use statrs::statistics::{Data, OrderStatistics};
use trail::Trail;

/// So many standard deviations are unusual among all places and lengths of a pass. Chosen on two sets of 60
/// simulated days for each shape and gusts of 0.15, 0.4 and 0.8 m/s (regression): 0.8 false alarms in 100 passes one
/// way, 0.5 out and back, 0.3 on the loop; at worst, one way in weak gusts, 1.4. At 4.7 the second set had 1.6, 1.4
/// and 0.4. That was with pushes of up to 28 s; with those of up to 63 s 100 days each had 1.2, 0.4 and 0.4.
const UNUSUAL: f64 = 5.0;
/// With more of them a pass, as the mean of the day, it is the stretch or the riding that is uneven: on rides that were
/// no tests (coasting, braking, heights that lag) there were two to six a pass. A lorry in every pass of one of two
/// set-ups is half a one.
const MOST_A_PASS: f64 = 0.75;
/// What moves the drag area of its pass by less is not worth a word, however quiet the day.
const LEAST_SHARE: f64 = 0.005;
/// Rounds in which the strength of the gusts is found, and bounds for it: gusts of 0.05 to 2.2 m/s.
const ROUNDS: usize = 3;
const LEAST_GUST_Q_M2_S: f64 = 0.025;
const MOST_GUST_Q_M2_S: f64 = 50.0;
/// No day is believed to be much quieter than the sensors are known to be.
const LEAST_SCALE: f64 = 0.5;
/// Below this the rider coasts, or the meter says so.
const NO_POWER_W: f64 = super::braking::COASTING_W;
/// 1.4826 × the median absolute deviation is the standard deviation of a normal distribution.
const MAD_TO_SD: f64 = 1.4826;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likely {
    /// Less work was needed: towed by a vehicle, or a gust from behind.
    TowOrFollowingWind,
    /// More work was needed: brakes touched, a gust from the front, a swerve.
    BrakesOrHeadGust,
    /// Less work was seen: the meter read nothing for most of it.
    PowerMissed,
}

impl Likely {
    pub fn as_text(self) -> &'static str {
        match self {
            Likely::TowOrFollowingWind => "a tow, by a vehicle or behind somebody, or a following wind",
            Likely::BrakesOrHeadGust => "the brakes, sitting up or a gust from the front",
            Likely::PowerMissed => "power that was not measured",
        }
    }
}

/// One stretch of one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Disturbance {
    /// Along the course from its start, in the order ridden: `from_m > to_m` in the reverse direction.
    pub from_m: f64,
    pub to_m: f64,
    /// Since the start of the pass, or of the part of it that is fitted.
    pub after_start_s: f64,
    pub duration_s: f64,
    /// Left over: work done less work explained. Negative: less work was needed than the balance says.
    pub energy_j: f64,
    /// Of `energy_j`: gusts, which are there all the time, and sensors.
    pub standard_uncertainty_j: f64,
    /// In standard deviations of what is usual on the day.
    pub standardised: f64,
    /// In the order ridden.
    pub cells: Vec<TouchedCell>,
    pub likely: Likely,
}

/// The part of a disturbance that lies in one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TouchedCell {
    /// Index into the cells of the ride.
    pub cell: usize,
    pub duration_s: f64,
    /// Part of `energy_j`: what to take off the cell's energy to leave the stretch out. The cell then holds what
    /// the stretch would have taken on the pass's own wind.
    pub excess_j: f64,
}

/// The disturbed stretches of each ride of a day, the most unusual first; most rides have none.
///
/// A pass with fewer than three others of its direction is not searched: what the road does, and what a barometer
/// that lags makes of its hills, would be taken for disturbances (nine in each of fifteen real rides of two passes).
/// Nor does a day have any on which they are everywhere.
/// What is in half of the passes of a direction at one and the same place cannot be told from the road.
///
/// * `cda_m2`: drag area of a first fit, one for each ride. It need not be good: what is wrong with it over the
///   whole pass is taken out.
/// * `crr_shift`: added to the Crr of every set-up.
/// * `gust_q_m2_s`: strength of the gusts in the first fit; the search for the day's own begins there.
pub fn disturbances(day: &Day, cda_m2: &[f64], crr_shift: f64, gust_q_m2_s: f64) -> Vec<Vec<Disturbance>> {
    let enough = |direction: Direction| {
        day.rides
            .iter()
            .filter(|ride| ride.direction == direction)
            .count()
            > shared::FEWEST_OTHERS
    };
    if !day.rides.iter().any(|ride| enough(ride.direction)) {
        return vec![Vec::new(); day.rides.len()];
    }
    let (readings, scales) = calibrated(day, cda_m2, crr_shift, gust_q_m2_s);
    let found: Vec<Vec<Disturbance>> = readings
        .par_iter()
        .zip(day.rides)
        .zip(cda_m2)
        .map(|((reading, ride), cda_m2)| {
            if !enough(ride.direction) {
                return Vec::new();
            }
            let worth_j = LEAST_SHARE * drag_work_j(ride, *cda_m2);
            let mut told: Vec<Disturbance> = reading
                .unusual(&scales, UNUSUAL)
                .iter()
                .map(|found| told(&reading.trail, ride.direction, found))
                .filter(|one| one.energy_j.abs() > worth_j)
                .collect();
            told.sort_by(|a, b| b.standardised.abs().total_cmp(&a.standardised.abs()));
            told
        })
        .collect();
    if found.iter().map(Vec::len).sum::<usize>() as f64 > MOST_A_PASS * found.len() as f64 {
        return vec![Vec::new(); found.len()];
    }
    found
}

/// Of a whole pass in still air, J.
fn drag_work_j(ride: &PassRide, cda_m2: f64) -> f64 {
    0.5 * ride.air.density_kg_m3 * cda_m2 * ride.mean_speed_m_s().powi(2) * ride.distance_m()
}

/// The gusts are as strong as the day's own long pushes say: with the wrong strength those of the wrong length
/// stand out.
fn calibrated(
    day: &Day,
    cda_m2: &[f64],
    crr_shift: f64,
    gust_q_m2_s: f64,
) -> (Vec<Reading>, [f64; search::LENGTHS]) {
    let trails: Vec<Trail> = day
        .rides
        .par_iter()
        .zip(cda_m2)
        .map(|(ride, cda)| {
            let setup = &day.setups[ride.setup];
            Trail::new(ride, setup, *cda, setup.crr.value + crr_shift)
        })
        .collect();
    let mut gust_q = gust_q_m2_s;
    for _ in 0..ROUNDS {
        let long = 4;
        let long = scales(&readings(day, &trails, gust_q, &[long]))[long];
        gust_q = (gust_q * long * long).clamp(LEAST_GUST_Q_M2_S, MOST_GUST_Q_M2_S);
    }
    let all: [usize; search::LENGTHS] = std::array::from_fn(|length| length);
    let readings = readings(day, &trails, gust_q, &all);
    let scales = scales(&readings);
    (readings, scales)
}

fn readings(day: &Day, trails: &[Trail], gust_q_m2_s: f64, lengths: &[usize]) -> Vec<Reading> {
    let mut readings: Vec<Reading> = trails
        .par_iter()
        .map(|trail| Reading::new(trail.clone(), gust_q_m2_s, lengths))
        .collect();
    let directions: Vec<Direction> = day.rides.iter().map(|ride| ride.direction).collect();
    let shared = shared::shared_j(&readings, &directions);
    let own = readings.par_iter_mut().zip(shared);
    own.for_each(|(reading, shared)| reading.take_off(&shared));
    readings
}

/// The day's spread over the expected one, for each length of window.
fn scales(readings: &[Reading]) -> [f64; search::LENGTHS] {
    let all: Vec<_> = readings.par_iter().map(Reading::standardised).collect();
    std::array::from_fn(|length| {
        let of_length: Vec<f64> = all.iter().flat_map(|seen| seen[length].iter().copied()).collect();
        if of_length.is_empty() {
            1.0
        } else {
            spread(of_length).max(LEAST_SCALE)
        }
    })
}

fn told(trail: &Trail, direction: Direction, found: &Found) -> Disturbance {
    let mut cells: Vec<TouchedCell> = Vec::new();
    for (step, excess_j) in (found.from..found.to).zip(&found.excess_j) {
        let duration_s = trail.time_s[step + 1] - trail.time_s[step];
        match cells.last_mut() {
            Some(last) if last.cell == trail.cell[step] => {
                last.duration_s += duration_s;
                last.excess_j += excess_j;
            }
            _ => cells.push(TouchedCell {
                cell: trail.cell[step],
                duration_s,
                excess_j: *excess_j,
            }),
        }
    }
    let sign = match direction {
        Direction::Forward => 1.0,
        Direction::Reverse => -1.0,
    };
    let energy_j: f64 = found.excess_j.iter().sum();
    let silent = trail.power_w[found.from..found.to]
        .iter()
        .filter(|w| **w <= NO_POWER_W)
        .count();
    let likely = if energy_j > 0.0 {
        Likely::BrakesOrHeadGust
    } else if 2 * silent > found.to - found.from {
        Likely::PowerMissed
    } else {
        Likely::TowOrFollowingWind
    };
    Disturbance {
        from_m: sign * trail.at_m[found.from],
        to_m: sign * trail.at_m[found.to],
        after_start_s: trail.time_s[found.from],
        duration_s: trail.time_s[found.to] - trail.time_s[found.from],
        energy_j,
        standard_uncertainty_j: found.standard_uncertainty_j,
        standardised: found.standardised,
        cells,
        likely,
    }
}

/// Half of the values lie within 0.6745 of these about zero, if they are normal.
fn spread(values: Vec<f64>) -> f64 {
    MAD_TO_SD * median(values.into_iter().map(f64::abs).collect())
}

/// NaN for no values.
fn median(values: Vec<f64>) -> f64 {
    Data::new(values).median()
}

#[cfg(test)]
#[path = "disturbed_tests.rs"]
mod tests;
