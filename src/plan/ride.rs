//! A planned pass, ridden by the balance and cut into cells as a recorded one is.

use super::PlannedDay;
use super::entry::first_gradient;
use crate::course::Direction;
use crate::estimate::cells::{Cell, RiddenStep};
use crate::physics::{Lean, Piece, RelativeWind, Step, cos_slope, ride_road, steady_speed_m_s, step_work};
use crate::test_day::{Hold, Shape};
use crate::verdict::Stretch;

/// Steps of a pass are no longer: some two seconds.
const STEP_M: f64 = 20.0;

/// One way of riding the road; passes alike in it are alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Manner {
    pub setup: usize,
    pub direction: Direction,
    /// At the meter; in speed held, of the first set-up.
    pub power_w: f64,
}

/// A pass by the balance.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pass {
    pub cells: Vec<Cell>,
    pub duration_s: f64,
    pub entry_speed_m_s: f64,
}

impl Pass {
    pub fn mean_power_w(&self) -> f64 {
        let steps = self.cells.iter().flat_map(|cell| &cell.steps);
        steps.map(|step| step.power_w * step.duration_s).sum::<f64>() / self.duration_s
    }
}

/// A part of the road between two places at which something changes.
#[derive(Debug, Clone, Copy)]
struct Part {
    cell: usize,
    stretch: Stretch,
}

/// `wind_m_s`: where the air moves to, east and north. `None` where the rider would stall.
pub(super) fn ride(day: &PlannedDay, manner: Manner, cells: usize, wind_m_s: [f64; 2]) -> Option<Pass> {
    let road = day.road_in(manner.direction);
    let parts = parts(&road, cells);
    let mut entry_m_s = entry_m_s(day, &road, manner, wind_m_s)?;
    let mut speeds_m_s = speeds_m_s(day, &parts, manner, wind_m_s, entry_m_s)?;
    if day.shape == Shape::Loop {
        // Flying laps: one begins as the last one ended.
        entry_m_s = *speeds_m_s.last()?;
        speeds_m_s = self::speeds_m_s(day, &parts, manner, wind_m_s, entry_m_s)?;
    }
    let cells = cut(day, manner, &parts, &speeds_m_s, cells, wind_m_s);
    let steps = cells.iter().flat_map(|cell| &cell.steps);
    Some(Pass {
        duration_s: steps.map(|step| step.duration_s).sum(),
        cells,
        entry_speed_m_s: entry_m_s,
    })
}

fn parts(road: &[Stretch], cells: usize) -> Vec<Part> {
    let length_m: f64 = road.iter().map(|stretch| stretch.length_m).sum();
    let cell_m = length_m / cells as f64;
    let mut parts = Vec::new();
    let mut along_m = 0.0;
    for stretch in road {
        let mut left_m = stretch.length_m;
        while left_m > 1e-6 {
            // A hair's breadth before an edge is beyond it.
            let cell = (((along_m + 1e-6) / cell_m) as usize).min(cells - 1);
            let to_edge_m = if cell + 1 == cells {
                f64::INFINITY
            } else {
                (cell + 1) as f64 * cell_m - along_m
            };
            let length_m = left_m.min(to_edge_m).min(STEP_M);
            parts.push(Part {
                cell,
                stretch: Stretch { length_m, ..*stretch },
            });
            along_m += length_m;
            left_m -= length_m;
        }
    }
    parts
}

/// Whose speed it is: in speed held, the first set-up's.
fn leader(day: &PlannedDay, manner: Manner) -> usize {
    match day.hold {
        Hold::Power => manner.setup,
        Hold::Speed => 0,
    }
}

fn entry_m_s(day: &PlannedDay, road: &[Stretch], manner: Manner, [east, north]: [f64; 2]) -> Option<f64> {
    if let Some(speed_m_s) = day.entry_speed_m_s {
        return Some(speed_m_s);
    }
    let wind = RelativeWind::from_air_velocity(east, north, road.first()?.bearing_rad);
    let rig = day.rig(leader(day, manner));
    steady_speed_m_s(&rig, &day.around(), manner.power_w, first_gradient(road)?, wind)
}

/// At the edges of the parts.
fn speeds_m_s(
    day: &PlannedDay,
    parts: &[Part],
    manner: Manner,
    wind_m_s: [f64; 2],
    entry_m_s: f64,
) -> Option<Vec<f64>> {
    let (rig, around) = (day.rig(leader(day, manner)), day.around());
    let mut speeds = vec![entry_m_s];
    let mut now_m_s = entry_m_s;
    for part in parts {
        let piece: Piece = part.stretch.in_wind(wind_m_s);
        now_m_s = ride_road(&rig, &around, &[piece], manner.power_w, now_m_s)?.exit_speed_m_s;
        speeds.push(now_m_s);
    }
    Some(speeds)
}

/// Steps of linear speed, each with the power that closes its balance.
fn cut(
    day: &PlannedDay,
    manner: Manner,
    parts: &[Part],
    speeds_m_s: &[f64],
    cells: usize,
    wind_m_s: [f64; 2],
) -> Vec<Cell> {
    let length_m = day.length_m();
    let edge_m = |edge: usize| {
        let along_m = edge as f64 * length_m / cells as f64;
        match manner.direction {
            Direction::Forward => along_m,
            Direction::Reverse => length_m - along_m,
        }
    };
    let mut all: Vec<Cell> = (0..cells)
        .map(|cell| Cell {
            from_m: edge_m(cell),
            to_m: edge_m(cell + 1),
            steps: Vec::new(),
            climb_m: 0.0,
            start_speed_m_s: 0.0,
            end_speed_m_s: 0.0,
            start_gradient: 0.0,
            end_gradient: 0.0,
            start_power_w: 0.0,
            end_power_w: 0.0,
            unknown_power_j: 0.0,
            braked_j: 0.0,
            crr_factor: 1.0,
            surface_share: 0.0,
        })
        .collect();
    for (part, speeds) in parts.iter().zip(speeds_m_s.windows(2)) {
        let (step, climb_m) = step(day, manner, &part.stretch, [speeds[0], speeds[1]], wind_m_s);
        let cell = &mut all[part.cell];
        if cell.steps.is_empty() {
            cell.start_speed_m_s = step.start_speed_m_s;
            cell.start_gradient = part.stretch.gradient;
            cell.start_power_w = step.power_w;
        }
        cell.end_speed_m_s = step.end_speed_m_s;
        cell.end_gradient = part.stretch.gradient;
        cell.end_power_w = step.power_w;
        cell.climb_m += climb_m;
        cell.steps.push(step);
    }
    all
}

/// And the climb in it.
fn step(
    day: &PlannedDay,
    manner: Manner,
    stretch: &Stretch,
    [start_speed_m_s, end_speed_m_s]: [f64; 2],
    [east, north]: [f64; 2],
) -> (RiddenStep, f64) {
    let (rig, around) = (day.rig(manner.setup), day.around());
    let cos_slope = cos_slope(stretch.gradient);
    let mut step = Step {
        duration_s: stretch.length_m / (0.5 * (start_speed_m_s + end_speed_m_s)),
        power_w: 0.0,
        start_speed_m_s,
        end_speed_m_s,
        wind: RelativeWind::from_air_velocity(east, north, stretch.bearing_rad),
        cos_slope,
        lean: Lean::UPRIGHT,
    };
    let work = step_work(&step);
    let weight_n = rig.total_mass_kg * around.gravity_m_s2;
    let climb_m = stretch.length_m * stretch.gradient * cos_slope;
    let needed_j = rig.effective_mass_kg() * work.kinetic_m2_s2
        + work.bearing_j
        + rig.crr * weight_n * work.level_distance_m
        + 0.5 * around.air_density_kg_m3 * rig.cda_m2 * work.air_m3_s2
        + weight_n * climb_m;
    step.power_w = needed_j / (rig.drivetrain_efficiency * step.duration_s);
    let ridden = RiddenStep {
        duration_s: step.duration_s,
        power_w: step.power_w,
        start_speed_m_s,
        end_speed_m_s,
        bearing_rad: stretch.bearing_rad,
        cos_slope,
        sin_slope: stretch.gradient * cos_slope,
        air_speed_m_s: f64::NAN,
        lean: Lean::UPRIGHT,
    };
    (ridden, climb_m)
}
