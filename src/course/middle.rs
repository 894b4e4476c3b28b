//! The middle of the road, from all passes together.

use super::ground::{Plane, minus, unit};
use super::line::Line;
use super::track::Track;
use super::{Direction, Pass};

/// Farther beside the line than this, a position is a mistake or another road.
const BESIDE_M: f64 = 30.0;

/// The line moved to the middle of all passes: at each node the median offset of each direction, then
/// the mean of both, since riders keep to their own side of the road. One pass wanders by some metres;
/// a gate on the mean of many is less off, and so is the length.
pub fn of(line: &Line, passes: &[Pass], tracks: &[Track], plane: &Plane, closed: bool) -> Line {
    let mut offsets: [Vec<Vec<f64>>; 2] = [vec![vec![]; line.nodes.len()], vec![vec![]; line.nodes.len()]];
    for pass in passes {
        let side = usize::from(pass.direction == Direction::Reverse);
        let Some(track) = tracks.iter().find(|track| track.recording == pass.recording) else {
            continue;
        };
        for (node, left_m) in offsets_of(line, pass, track) {
            offsets[side][node].push(left_m);
        }
    }
    let mut shifts: Vec<f64> = (0..line.nodes.len())
        .map(|node| {
            let sides: Vec<f64> = offsets
                .iter_mut()
                .filter_map(|side| median(&mut side[node]))
                .collect();
            if sides.is_empty() {
                0.0
            } else {
                sides.iter().sum::<f64>() / sides.len() as f64
            }
        })
        .collect();
    if closed && let (Some(&first), Some(&last)) = (shifts.first(), shifts.last()) {
        let both = 0.5 * (first + last);
        let end = shifts.len() - 1;
        (shifts[0], shifts[end]) = (both, both);
    }
    let mut nodes: Vec<[f64; 2]> = (0..line.nodes.len())
        .map(|node| {
            let left = left_of(line, node, closed);
            [
                line.nodes[node][0] + shifts[node] * left[0],
                line.nodes[node][1] + shifts[node] * left[1],
            ]
        })
        .collect();
    if closed {
        let end = nodes.len() - 1;
        nodes[end] = nodes[0];
    }
    Line::through(plane, nodes)
}

/// Unit vector to the left of the road at a node.
fn left_of(line: &Line, node: usize, closed: bool) -> [f64; 2] {
    let end = line.nodes.len() - 1;
    let (before, after) = if closed && (node == 0 || node == end) {
        (end - 1, 1)
    } else {
        (node.saturating_sub(1), (node + 1).min(end))
    };
    let along = unit(minus(line.nodes[after], line.nodes[before])).unwrap_or([0.0, 1.0]);
    [-along[1], along[0]]
}

/// How far to the left of the line a pass went, at each node it went by.
fn offsets_of(line: &Line, pass: &Pass, track: &Track) -> Vec<(usize, f64)> {
    let first = track
        .time_s
        .partition_point(|&t| t < pass.start_s)
        .saturating_sub(1);
    let last = (track.time_s.partition_point(|&t| t <= pass.end_s) + 1).min(track.time_s.len());
    let mut along_m = if pass.direction == Direction::Forward {
        0.0
    } else {
        line.length_m()
    };
    let mut found = Vec::new();
    let mut before: Option<(f64, f64)> = None;
    for index in first..last {
        let moved = if index > first {
            super::ground::length(minus(track.at[index], track.at[index - 1]))
        } else {
            30.0
        };
        let reach = 1.5 * moved + 20.0;
        let Some(place) = line.nearest(track.at[index], Some((along_m - reach, along_m + reach))) else {
            continue;
        };
        along_m = place.distance_m;
        if place.left_m.abs() > BESIDE_M {
            before = None;
            continue;
        }
        if let Some((last_m, last_left)) = before {
            let (low, high) = (last_m.min(along_m), last_m.max(along_m));
            let from = line.distance_m.partition_point(|&d| d < low);
            for node in from..line.distance_m.partition_point(|&d| d <= high) {
                let share = if high > low {
                    (line.distance_m[node] - last_m) / (along_m - last_m)
                } else {
                    0.0
                };
                found.push((node, last_left + share * (place.left_m - last_left)));
            }
        }
        before = Some((along_m, place.left_m));
    }
    found
}

pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[middle]),
        _ => Some(0.5 * (values[middle - 1] + values[middle])),
    }
}
