//! Taking off the ends where riders still brake, turn or get up to speed.

use super::ground::Plane;
use super::line::Line;
use super::middle::median;
use super::{Direction, Pass, measure};
use crate::streams::Streams;

/// Cells of road that are judged one by one.
const CELL_M: f64 = 10.0;
/// What is not steady riding: well below the pass's own usual speed while it changes, next to no power,
/// or a speed that changes by more than a hill does (4 % of slope is 0.4 m/s² only without work).
const SLOW: f64 = 0.85;
const WEAK: f64 = 0.4;
const CHANGING_M_S2: f64 = 0.2;
/// Time over which a change of speed is judged, to each side.
const AROUND_S: f64 = 2.0;
/// A few steady metres in the middle of a turn do not end it.
const BRIDGE_CELLS: usize = 3;
/// No more than this share of the length goes from either end.
const MOST: f64 = 0.25;

/// The line without the ends at which half the passes of a direction or more are not yet steady.
pub fn steady(line: &Line, passes: &[Pass], streams: &[Streams], plane: &Plane) -> Line {
    let cells = (line.length_m() / CELL_M).floor() as usize;
    let mut unsteady = vec![false; cells];
    for direction in [Direction::Forward, Direction::Reverse] {
        let of_direction: Vec<Vec<bool>> = passes
            .iter()
            .filter(|pass| pass.direction == direction)
            .filter_map(|pass| Some(unsteady_cells(pass, cells, streams.get(pass.recording)?)))
            .collect();
        for (cell, flag) in unsteady.iter_mut().enumerate() {
            let bad = of_direction.iter().filter(|pass| pass[cell]).count();
            *flag |= bad > 0 && 2 * bad >= of_direction.len();
        }
    }
    let most = (MOST * cells as f64) as usize;
    let from = lead(unsteady.iter().copied()).min(most);
    let to = lead(unsteady.iter().rev().copied()).min(most);
    let width_m = line.length_m() / cells.max(1) as f64;
    line.between(
        from as f64 * width_m,
        line.length_m() - to as f64 * width_m,
        plane,
    )
}

/// Cells at the beginning that are not steady, with short steady ones between them.
fn lead(unsteady: impl Iterator<Item = bool>) -> usize {
    let (mut end, mut steady) = (0, 0);
    for (cell, flag) in unsteady.enumerate() {
        if flag {
            (end, steady) = (cell + 1, 0);
        } else {
            steady += 1;
            if steady > BRIDGE_CELLS {
                break;
            }
        }
    }
    end
}

fn unsteady_cells(pass: &Pass, cells: usize, s: &Streams) -> Vec<bool> {
    let Some(edges_s) = measure::times_at_shares(s, pass.start_s, pass.end_s, cells) else {
        return vec![false; cells];
    };
    let speed = |time: f64| s.speed_at(time).unwrap_or(f64::NAN);
    let mut speeds: Vec<f64> = edges_s
        .iter()
        .map(|&t| speed(t))
        .filter(|v| v.is_finite())
        .collect();
    let usual = median(&mut speeds).unwrap_or(f64::NAN);
    let mut flags: Vec<bool> = edges_s
        .windows(2)
        .map(|edge| {
            let middle = 0.5 * (edge[0] + edge[1]);
            let change = (speed(middle + AROUND_S) - speed(middle - AROUND_S)) / (2.0 * AROUND_S);
            let power = measure::power(s, middle - AROUND_S, middle + AROUND_S).mean_w;
            speed(middle) < SLOW * usual || change.abs() > CHANGING_M_S2 || power < WEAK * pass.mean_power_w
        })
        .collect();
    if pass.direction == Direction::Reverse {
        flags.reverse();
    }
    flags
}
