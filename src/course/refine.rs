//! From a stretch that repeats to a course: the middle of the road, its shape, its gates.

use super::find::Stretch;
use super::gate;
use super::ground::Plane;
use super::legs::{Leg, STEP_M};
use super::line::Line;
use super::located::Located;
use super::passes::{self, Cut};
use super::track::Track;
use super::{Direction, Pass, middle, trim, why_not};
use crate::streams::Streams;
use crate::test_day::Shape;

/// Gates stand this far inside the shared stretch, so that every rider crosses them before he turns.
const INSET: usize = (20.0 / STEP_M) as usize;
/// Nodes of a line are two steps apart.
const NODE_STEPS: usize = 2;
/// A gate on a loop counts laps between crossings this long, as a share of the lap.
const LAPS: std::ops::RangeInclusive<f64> = 0.9..=1.15;

pub fn refine(
    stretch: &Stretch,
    legs: &[Leg],
    plane: &Plane,
    tracks: &[Track],
    streams: &[Streams],
    shape: Option<Shape>,
) -> Option<Located> {
    match stretch.lap_to {
        Some(lap_to) => lap(stretch, lap_to, legs, plane, tracks, streams),
        None => open_road(stretch, legs, plane, tracks, streams, shape),
    }
}

fn places(leg: &Leg, from: usize, to: usize) -> Vec<[f64; 2]> {
    let mut nodes: Vec<[f64; 2]> = (from..to).step_by(NODE_STEPS).map(|i| leg.steps[i].at).collect();
    // The last node closes the stretch; a neighbour nearer than a step would make its bearing wild.
    if !(to - from).is_multiple_of(NODE_STEPS) && nodes.len() > 2 {
        nodes.pop();
    }
    nodes.push(leg.steps[to].at);
    nodes
}

fn open_road(
    stretch: &Stretch,
    legs: &[Leg],
    plane: &Plane,
    tracks: &[Track],
    streams: &[Streams],
    shape: Option<Shape>,
) -> Option<Located> {
    let nodes = places(&legs[stretch.leg], stretch.from + INSET, stretch.to - INSET);
    let first = Located {
        shape: Shape::OutAndBack,
        found: true,
        line: Line::through(plane, nodes),
    };
    let cut = passes::cut(&first, tracks, streams);
    let line = middle::of(&first.line, &cut.passes, tracks, plane, false);
    let shape = shape.unwrap_or_else(|| shape_of(&cut.passes));
    let main = match shape {
        Shape::OneWay => stronger_direction(&cut.passes),
        _ => cut
            .passes
            .first()
            .map_or(Direction::Forward, |pass| pass.direction),
    };
    let counted: Vec<Pass> = cut
        .passes
        .into_iter()
        .filter(|pass| shape != Shape::OneWay || pass.direction == main)
        .collect();
    let line = trim::steady(&line, &counted, streams, plane);
    let line = if main == Direction::Forward {
        line
    } else {
        line.reversed(plane)
    };
    Some(Located {
        shape,
        found: true,
        line,
    })
}

/// Out and back when both directions were worked for.
pub fn shape_of(passes: &[Pass]) -> Shape {
    let power = [Direction::Forward, Direction::Reverse].map(|direction| {
        let mut watts: Vec<f64> = passes
            .iter()
            .filter(|pass| pass.direction == direction)
            // Without power both ways count as ridden.
            .map(|pass| {
                if pass.mean_power_w.is_finite() {
                    pass.mean_power_w
                } else {
                    f64::INFINITY
                }
            })
            .collect();
        watts.sort_by(f64::total_cmp);
        watts.get(watts.len() / 2).copied()
    });
    match power {
        [Some(forward), Some(reverse)] if forward.min(reverse) >= why_not::ROLLING * forward.max(reverse) => {
            Shape::OutAndBack
        }
        [Some(forward), Some(reverse)] if forward.is_infinite() && reverse.is_infinite() => Shape::OutAndBack,
        _ => Shape::OneWay,
    }
}

/// The direction of a one-way course: the one with more work in it.
pub fn stronger_direction(passes: &[Pass]) -> Direction {
    let work = |direction: Direction| -> f64 {
        let there = passes.iter().filter(|pass| pass.direction == direction);
        there
            .map(|pass| {
                if pass.mean_power_w.is_finite() {
                    pass.mean_power_w
                } else {
                    1.0
                }
            })
            .sum()
    };
    let (forward, reverse) = (work(Direction::Forward), work(Direction::Reverse));
    if reverse > forward {
        Direction::Reverse
    } else {
        Direction::Forward
    }
}

fn lap(
    stretch: &Stretch,
    lap_to: usize,
    legs: &[Leg],
    plane: &Plane,
    tracks: &[Track],
    streams: &[Streams],
) -> Option<Located> {
    let mut nodes = places(&legs[stretch.leg], stretch.from, lap_to);
    nodes.pop();
    let best = best_gate(&nodes, plane, legs, tracks, streams);
    nodes.rotate_left(best);
    nodes.push(nodes[0]);
    let first = Located {
        shape: Shape::Loop,
        found: true,
        line: Line::through(plane, nodes),
    };
    let Cut { passes, .. } = passes::cut(&first, tracks, streams);
    let line = middle::of(&first.line, &passes, tracks, plane, true);
    let forward = passes
        .first()
        .is_none_or(|pass| pass.direction == Direction::Forward);
    let line = if forward { line } else { line.reversed(plane) };
    Some(Located { line, ..first })
}

/// The node at which a gate sees the most laps, in the middle of the longest row of such nodes: riders
/// join and leave a loop somewhere, and a gate there would lose a lap of each block. Laps that begin where positions
/// were taken out, as under a bridge, do not count.
fn best_gate(
    nodes: &[[f64; 2]],
    plane: &Plane,
    legs: &[Leg],
    tracks: &[Track],
    streams: &[Streams],
) -> usize {
    let count = nodes.len();
    let laps: Vec<usize> = (0..count)
        .map(|node| {
            let mut turned = nodes.to_vec();
            turned.rotate_left(node);
            turned.push(nodes[node]);
            laps_through(&Line::through(plane, turned), legs, tracks, streams)
        })
        .collect();
    let most = laps.iter().copied().max().unwrap_or(0);
    let Some(off) = laps.iter().position(|&n| n < most) else {
        return 0;
    };
    let (mut best, mut run) = ((0, 0), 0);
    for step in 0..count {
        let node = (off + 1 + step) % count;
        run = if laps[node] == most { run + 1 } else { 0 };
        if run > best.0 {
            best = (run, node);
        }
    }
    (best.1 + count - best.0 / 2) % count
}

fn laps_through(line: &Line, legs: &[Leg], tracks: &[Track], streams: &[Streams]) -> usize {
    let [gate, _] = gate::of(line, Shape::Loop);
    let length_m = line.length_m();
    let mut laps = 0;
    for leg in legs {
        let track = &tracks[leg.track];
        let (Some(start), Some(end)) = (leg.steps.first(), leg.steps.last()) else {
            continue;
        };
        let first = track.time_s.partition_point(|&t| t < start.time_s).max(1);
        let last = track.time_s.partition_point(|&t| t <= end.time_s);
        let crossings: Vec<_> = (first..last)
            .filter_map(|index| gate.crossing(track, index))
            .collect();
        laps += crossings
            .windows(2)
            .filter(|pair| pair[0].onward == pair[1].onward)
            .filter(|pair| {
                let s = streams.get(track.recording);
                s.is_none_or(|s| s.is_placed_at(pair[0].time_s))
            })
            .filter(|pair| LAPS.contains(&(track.path_m(pair[0].time_s, pair[1].time_s) / length_m)))
            .count();
    }
    laps
}
