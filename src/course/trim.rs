//! Taking off the ends where riders still brake, turn or get up to speed.

use super::ground::Plane;
use super::line::Line;
use super::middle::median;
use super::{Direction, Pass, measure};
use crate::streams::Streams;

/// Cells of road that are judged one by one.
const CELL_M: f64 = 10.0;
/// What is not steady riding: far below the pass's usual speed (a turn, not a hill), power well below the
/// pass's mean (easing off after the finish), or a speed that changes faster than hills make it (0.2 m/s²
/// is all the power of 200 W at 12 m/s and 83 kg).
const SLOW: f64 = 0.7;
const WEAK: f64 = 0.7;
const CHANGING_M_S2: f64 = 0.2;
/// Time over which a change of speed is judged, to each side.
const AROUND_S: f64 = 2.0;
/// Samples farther apart than this blur where a turn ends.
const SPARSE_S: f64 = 1.5;
/// A few steady metres in the middle of a turn do not end it.
const BRIDGE_CELLS: usize = 3;
/// On a one-way course each ride starts anew from a turn or a stand, and power and position take some seconds
/// to settle: this share of the length is left for it, and no more than this far. Out and back there is less
/// room, and what one direction would gain the other loses.
const SETTLE: f64 = 0.02;
const SETTLE_M: f64 = 45.0;
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
    let width_m = line.length_m() / cells.max(1) as f64;
    let blur_m = blur_m(passes, streams);
    let entered = |by: Direction| passes.iter().any(|pass| pass.direction == by);
    let one_way = !(entered(Direction::Forward) && entered(Direction::Reverse));
    let off = |lead: usize, entered_by: Direction| {
        let settles = one_way && entered(entered_by);
        let settle_m = if settles {
            (SETTLE * line.length_m()).min(SETTLE_M)
        } else {
            0.0
        };
        (lead.min(most) as f64 * width_m - blur_m).max(0.0) + settle_m
    };
    let from_m = off(lead(unsteady.iter().copied()), Direction::Forward);
    let to_m = off(lead(unsteady.iter().rev().copied()), Direction::Reverse);
    line.between(from_m, line.length_m() - to_m, plane)
}

/// How much longer a turn looks because the samples are far apart: half of what is ridden between two.
fn blur_m(passes: &[Pass], streams: &[Streams]) -> f64 {
    let mut blurs: Vec<f64> = passes
        .iter()
        .filter_map(|pass| {
            let s = streams.get(pass.recording)?;
            let samples = s.index_at_or_after(pass.end_s) - s.index_at_or_after(pass.start_s);
            let between_s = pass.duration_s() / samples.max(1) as f64;
            (between_s > SPARSE_S)
                .then(|| 0.5 * pass.ridden_m / samples.max(1) as f64)
                .or(Some(0.0))
        })
        .collect();
    median(&mut blurs).unwrap_or(0.0)
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
    // Under a bridge or trees: no place for a gate.
    let hidden = |from_s: f64, to_s: f64| {
        let mut within = s.index_at_or_after(from_s)..s.index_at_or_after(to_s);
        s.has_positions() && within.any(|index| s.latitude_deg.get(index).is_some_and(|lat| lat.is_nan()))
    };
    let mut flags: Vec<bool> = edges_s
        .windows(2)
        .map(|edge| {
            let middle = 0.5 * (edge[0] + edge[1]);
            let change = (speed(middle + AROUND_S) - speed(middle - AROUND_S)) / (2.0 * AROUND_S);
            let power = measure::power(s, middle - AROUND_S, middle + AROUND_S).mean_w;
            hidden(edge[0], edge[1])
                || speed(middle) < SLOW * usual
                || change.abs() > CHANGING_M_S2
                || power < WEAK * pass.mean_power_w
        })
        .collect();
    if pass.direction == Direction::Reverse {
        flags.reverse();
    }
    flags
}
