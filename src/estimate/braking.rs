//! The brakes' share of a cell, as far as it shows.

use super::cells::{PassRide, RiddenStep};
use crate::course::Direction;
use statrs::statistics::{Data, OrderStatistics};

/// Below this the rider coasts.
pub(crate) const COASTING_W: f64 = 15.0;
/// A rider who sits up: what air and tyres can take at most without the brakes (REFERENCES 1.4, 1.5).
const BRAKED_CDA_M2: f64 = 0.5;
const BRAKED_CRR: f64 = 0.008;
const BRAKED_MASS_KG: f64 = 80.0;
/// A loss smaller than these may be slope or wind: 25 N is 3 % of slope, 600 J the height of 0.75 m.
const BRAKED_LEAST_N: f64 = 25.0;
const BRAKED_LEAST_J: f64 = 600.0;
/// Who slows by so much more, 0.6 m/s² of a rider of 80 kg, has the hands at the brakes though the second began with
/// a turn of the cranks: braking for a bend may last no longer than two seconds.
const BRAKED_UNDER_POWER_N: f64 = 50.0;
/// What so many passes of a direction brake for is the road's. In the others it did not show: the threshold is high.
const SLOW_SHARE: f64 = 1.0 / 3.0;
const SLOW_FEWEST: usize = 2;
/// Cells of two passes whose ends are no farther apart are the same piece of road.
const SAME_CELL_M: f64 = 5.0;

/// A piece of the course for which the passes of a direction brake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlowPlace {
    pub direction: Direction,
    /// Along the course from its start, `from_m < to_m`.
    pub from_m: f64,
    pub to_m: f64,
    /// In how many of how many passes it showed.
    pub braked: usize,
    pub passes: usize,
    /// Of those in which it showed, the middle one's.
    pub braked_j: f64,
    /// Lowest speed in the cell, and speed at its start, of the middle pass.
    pub slowest_m_s: f64,
    pub before_m_s: f64,
}

/// Energy lost while coasting beyond what air and tyres can take: the brakes had it.
///
/// Judged over each run of coasting or hard braking as a whole, since a second's deceleration and slope are noisy.
/// A brake touched lightly under power stays unseen.
pub(super) fn braked_j(steps: &[RiddenStep], gravity_m_s2: f64, air_density_kg_m3: f64) -> f64 {
    let mut all_j = 0.0;
    let (mut lost_j, mut length_m) = (0.0, 0.0);
    let mut end_run = |lost_j: &mut f64, length_m: &mut f64| {
        if *lost_j > BRAKED_LEAST_J.max(BRAKED_LEAST_N * *length_m) {
            all_j += *lost_j;
        }
        (*lost_j, *length_m) = (0.0, 0.0);
    };
    for step in steps {
        let speed = 0.5 * (step.start_speed_m_s + step.end_speed_m_s);
        let distance_m = speed * step.duration_s;
        let weight_n = BRAKED_MASS_KG * gravity_m_s2;
        let taken_n = 0.5 * air_density_kg_m3 * BRAKED_CDA_M2 * speed * speed
            + weight_n * (BRAKED_CRR * step.cos_slope + step.sin_slope);
        let slowed_j = 0.5 * BRAKED_MASS_KG * (step.start_speed_m_s.powi(2) - step.end_speed_m_s.powi(2));
        let beyond_j = slowed_j - taken_n * distance_m;
        if step.power_w > COASTING_W && beyond_j < BRAKED_UNDER_POWER_N * distance_m {
            end_run(&mut lost_j, &mut length_m);
            continue;
        }
        lost_j += beyond_j;
        length_m += distance_m;
    }
    end_run(&mut lost_j, &mut length_m);
    all_j
}

/// The places for which a third of the passes of a direction brake; there the brakes are taken to have been used in
/// all of them, so that those in which it did not show do not read as if nothing had been lost.
pub fn share_slow_places(rides: &mut [PassRide]) -> Vec<SlowPlace> {
    let mut places = Vec::new();
    for direction in [Direction::Forward, Direction::Reverse] {
        let own: Vec<usize> = (0..rides.len())
            .filter(|&ride| rides[ride].direction == direction)
            .collect();
        let mut seen: Vec<[f64; 2]> = Vec::new();
        for &ride in &own {
            for cell in &rides[ride].cells {
                let ends = [cell.from_m.min(cell.to_m), cell.from_m.max(cell.to_m)];
                if cell.braked_j > 0.0 && !seen.iter().any(|other| same(ends, *other)) {
                    seen.push(ends);
                }
            }
        }
        for ends in seen {
            places.extend(shared(rides, &own, direction, ends));
        }
    }
    places.sort_by(|a, b| a.from_m.total_cmp(&b.from_m));
    places
}

fn same(one: [f64; 2], other: [f64; 2]) -> bool {
    (one[0] - other[0]).abs() < SAME_CELL_M && (one[1] - other[1]).abs() < SAME_CELL_M
}

fn shared(rides: &mut [PassRide], own: &[usize], direction: Direction, ends: [f64; 2]) -> Option<SlowPlace> {
    let mut here: Vec<(usize, usize)> = Vec::new();
    for &ride in own {
        let cells = rides[ride].cells.iter();
        let place = cells
            .enumerate()
            .find(|(_, cell)| same([cell.from_m.min(cell.to_m), cell.from_m.max(cell.to_m)], ends));
        here.extend(place.map(|(cell, _)| (ride, cell)));
    }
    let cells = || here.iter().map(|&(ride, cell)| &rides[ride].cells[cell]);
    let braked_j: Vec<f64> = cells().map(|cell| cell.braked_j).filter(|j| *j > 0.0).collect();
    let braked = braked_j.len();
    if braked < SLOW_FEWEST || (braked as f64) < SLOW_SHARE * here.len() as f64 {
        return None;
    }
    let slowest = cells().map(|cell| {
        let speeds = cell.steps.iter().map(|step| step.end_speed_m_s);
        speeds.fold(cell.start_speed_m_s, f64::min)
    });
    let place = SlowPlace {
        direction,
        from_m: ends[0],
        to_m: ends[1],
        braked,
        passes: here.len(),
        braked_j: Data::new(braked_j).median(),
        slowest_m_s: Data::new(slowest.collect::<Vec<_>>()).median(),
        before_m_s: Data::new(cells().map(|cell| cell.start_speed_m_s).collect::<Vec<_>>()).median(),
    };
    for &(ride, cell) in &here {
        let cell = &mut rides[ride].cells[cell];
        cell.braked_j = cell.braked_j.max(place.braked_j);
    }
    Some(place)
}

#[cfg(test)]
#[path = "braking_tests.rs"]
mod tests;
