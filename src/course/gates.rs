//! The gates of `test.toml`, snapped to the road that was ridden, and the road between them.

use super::ground::{Plane, dot, geodesic_m, length, minus, unit};
use super::legs::Leg;
use super::line::Line;
use super::located::Located;
use super::track::Track;
use super::{Direction, GATE_HALF_WIDTH_M, SNAP_M, legs, middle, passes, refine, runs};
use crate::error::{Error, Fault, Result};
use crate::streams::Streams;
use crate::test_day::{CourseGiven, Shape};
use std::path::Path;

/// A finish this close to the start is the same gate (the promise of the interface).
const SAME_GATE_M: f64 = 5.0;
/// A rider has left a gate when he is this far from it.
const GONE_M: f64 = 2.0 * GATE_HALF_WIDTH_M;
/// A loop shorter than this is a turn, and a road between gates shorter than this is no course.
const SHORTEST_LAP_M: f64 = 150.0;
const SHORTEST_ROAD_M: f64 = 50.0;
/// Rides whose lengths agree within this took the same road.
const ALIKE: f64 = 0.05;
/// Across a pause the road is only known when the ride went on this close to where it stopped.
const RESUMED_M: f64 = 60.0;

/// One time that a rider came by a gate.
#[derive(Debug, Clone, Copy)]
struct Visit {
    finish: bool,
    /// When he was nearest, on arriving and on leaving (a turn behind the gate lies between).
    arrived_s: f64,
    left_s: f64,
    heading: [f64; 2],
}

/// A ride from one visit to the next.
#[derive(Debug, Clone, Copy)]
struct Ride {
    track: usize,
    from_s: f64,
    to_s: f64,
    /// From start to finish, as opposed to back.
    onward: bool,
    path_m: f64,
}

/// # Errors
/// Every gate that lies off the road, a finish that is missing, no ride from gate to gate: each with
/// `test_toml` and the line of `[course]`.
pub fn from_test_toml(
    given: &CourseGiven,
    plane: &Plane,
    tracks: &[Track],
    streams: &[Streams],
    test_toml: &Path,
) -> Result<Located> {
    let fault = |key: &str, what: String, next: &str| {
        Fault::new(what, next)
            .in_file(test_toml)
            .at(format!("line {}, course.{key}", given.line))
    };
    let (start_deg, finish_deg) = gates_meant(given, &fault)?;
    let is_loop = finish_deg.is_none();
    let start = plane.project(start_deg[0], start_deg[1]);
    let finish = finish_deg.map(|deg| plane.project(deg[0], deg[1]));
    let faults: Vec<Fault> = [("start", Some(start)), ("finish", finish)]
        .into_iter()
        .filter_map(|(key, gate)| Some((key, off_road_m(gate?, tracks))))
        .filter(|&(_, off_m)| off_m > SNAP_M)
        .map(|(key, off_m)| {
            let what = format!("the gate lies {off_m:.0} m off the road that was ridden ({SNAP_M:.0} m at most)");
            let next = "Move it onto the road: latitude first, then longitude, in degrees; west and south are negative.";
            fault(key, what, next)
        })
        .collect();
    if !faults.is_empty() {
        return Err(Error { faults });
    }
    let rides: Vec<Ride> = (0..tracks.len())
        .flat_map(|track| rides(track, &tracks[track], start, finish))
        .collect();
    let Some(ride) = most_common(&rides, tracks) else {
        let what = if is_loop {
            "no ride goes round from this gate to itself"
        } else {
            "no ride goes from start to finish or back"
        };
        let next = "Check that both gates lie on the road of the test, at least 50 m apart along it, and that the \
                    recordings of that day are in the folder.";
        return Err(fault("start", what.to_string(), next).into());
    };
    let line = road(&ride, &tracks[ride.track], plane, is_loop);
    Ok(settle(
        given,
        line,
        [start, finish.unwrap_or(start)],
        is_loop,
        plane,
        tracks,
        streams,
    ))
}

type MakeFault<'a> = dyn Fn(&str, String, &str) -> Fault + 'a;

/// Start and finish as meant by shape and gates; without a finish it is a loop.
fn gates_meant(given: &CourseGiven, fault: &MakeFault<'_>) -> Result<([f64; 2], Option<[f64; 2]>)> {
    let Some(start_deg) = given.start_deg else {
        return Err(fault(
            "start",
            "there is no start".into(),
            "Write start = [latitude, longitude].",
        )
        .into());
    };
    let finish = given
        .finish_deg
        .filter(|&finish| geodesic_m(start_deg, finish) > SAME_GATE_M);
    match (given.shape, finish) {
        (Some(Shape::Loop), Some(_)) => {
            let what = format!("a loop must finish where it starts, within {SAME_GATE_M:.0} m");
            Err(fault(
                "finish",
                what,
                "Leave the finish out, or give the shape that is meant.",
            )
            .into())
        }
        (Some(Shape::OneWay | Shape::OutAndBack), None) => {
            let what = "this shape needs a finish that is not the start".to_string();
            Err(fault(
                "finish",
                what,
                "Write finish = [latitude, longitude], or shape = \"loop\".",
            )
            .into())
        }
        _ => Ok((start_deg, finish)),
    }
}

/// From the road of one ride to the middle of all, with its shape and its gates.
fn settle(
    given: &CourseGiven,
    line: Line,
    gates: [[f64; 2]; 2],
    is_loop: bool,
    plane: &Plane,
    tracks: &[Track],
    streams: &[Streams],
) -> Located {
    let both_ways = if is_loop { Shape::Loop } else { Shape::OutAndBack };
    let first = Located {
        shape: both_ways,
        found: false,
        line: moved_to(&line, gates, is_loop, plane),
    };
    let cut = passes::cut(&first, tracks, streams);
    let line = middle::of(&first.line, &cut.passes, tracks, plane, is_loop);
    let line = moved_to(&line, gates, is_loop, plane);
    if is_loop {
        let forward = cut
            .passes
            .first()
            .is_none_or(|pass| pass.direction == Direction::Forward);
        let line = if forward { line } else { line.reversed(plane) };
        return Located { line, ..first };
    }
    let shape = given
        .shape
        .unwrap_or_else(|| match refine::shape_of(&cut.passes) {
            // Ridden one way only, but against the gates as written: both ways is what they say.
            Shape::OneWay if refine::stronger_direction(&cut.passes) == Direction::Reverse => {
                Shape::OutAndBack
            }
            shape => shape,
        });
    Located {
        shape,
        found: false,
        line,
    }
}

/// Distance from a gate to the nearest ridden road.
fn off_road_m(gate: [f64; 2], tracks: &[Track]) -> f64 {
    let mut least = f64::INFINITY;
    for track in tracks {
        for index in 1..track.at.len() {
            if !track.broken[index] {
                least = least.min(nearest_share(gate, track.at[index - 1], track.at[index]).1);
            }
        }
    }
    least
}

/// Where on a piece of path a point is nearest: (share of the piece, distance).
fn nearest_share(point: [f64; 2], from: [f64; 2], to: [f64; 2]) -> (f64, f64) {
    let (along, offset) = (minus(to, from), minus(point, from));
    let size = dot(along, along);
    let share = if size > 0.0 {
        (dot(offset, along) / size).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (share, length(minus(offset, [share * along[0], share * along[1]])))
}

fn visits(track: &Track, gate: [f64; 2], finish: bool) -> Vec<Visit> {
    let mut found: Vec<Visit> = Vec::new();
    // Distance to the gate at each piece of path while the rider is near: (time, distance, heading).
    let mut near: Vec<(f64, f64, [f64; 2])> = Vec::new();
    let mut close = |near: &mut Vec<(f64, f64, [f64; 2])>| {
        let lowest = |i: &usize| {
            let d = near[*i].1;
            d <= GATE_HALF_WIDTH_M
                && (*i == 0 || near[*i - 1].1 >= d)
                && near.get(*i + 1).is_none_or(|next| next.1 >= d)
        };
        let (first, last) = ((0..near.len()).find(lowest), (0..near.len()).rev().find(lowest));
        if let (Some(first), Some(last)) = (first, last) {
            found.push(Visit {
                finish,
                arrived_s: near[first].0,
                left_s: near[last].0,
                heading: near[last].2,
            });
        }
        near.clear();
    };
    for index in 1..track.at.len() {
        let (from, to) = (track.at[index - 1], track.at[index]);
        let (share, off_m) = nearest_share(gate, from, to);
        if track.broken[index] || off_m > GONE_M {
            close(&mut near);
        } else if let Some(heading) = unit(minus(to, from)) {
            let time = track.time_s[index - 1] + share * (track.time_s[index] - track.time_s[index - 1]);
            near.push((time, off_m, heading));
        }
    }
    close(&mut near);
    found
}

/// Rides from one gate to the other, or round to the same, that meet no gate between.
fn rides(track_index: usize, track: &Track, start: [f64; 2], finish: Option<[f64; 2]>) -> Vec<Ride> {
    let mut visits_here = visits(track, start, false);
    if let Some(finish) = finish {
        visits_here.extend(visits(track, finish, true));
    }
    visits_here.sort_by(|a, b| a.arrived_s.total_cmp(&b.arrived_s));
    let shortest_m = if finish.is_some() {
        SHORTEST_ROAD_M
    } else {
        SHORTEST_LAP_M
    };
    let ends = visits_here.iter().enumerate().filter_map(|(index, from)| {
        let later = visits_here.get(index + 1..)?;
        let to = if finish.is_some() {
            later.first()
        } else {
            next_lap(from, later)
        };
        Some((from, to?))
    });
    ends.filter(|(from, to)| finish.is_none() || from.finish != to.finish)
        .filter(|(from, to)| resumed(track, from.left_s, to.arrived_s))
        .map(|(from, to)| Ride {
            track: track_index,
            from_s: from.left_s,
            to_s: to.arrived_s,
            onward: !from.finish,
            path_m: track.path_m(from.left_s, to.arrived_s),
        })
        .filter(|ride| ride.path_m > shortest_m)
        .collect()
}

/// The next visit in the same direction, unless the rider came by the other way before. A visit across (the
/// gate stands where the loop crosses itself) does not end a lap.
fn next_lap<'v>(from: &Visit, later: &'v [Visit]) -> Option<&'v Visit> {
    let next = later
        .iter()
        .find(|visit| dot(visit.heading, from.heading).abs() > 0.5);
    next.filter(|visit| dot(visit.heading, from.heading) > 0.0)
}

/// Whether every break of the recording between two moments was resumed where it began.
fn resumed(track: &Track, from_s: f64, to_s: f64) -> bool {
    let first = track.time_s.partition_point(|&t| t <= from_s).max(1);
    let last = track.time_s.partition_point(|&t| t < to_s);
    (first..last).all(|i| !track.broken[i] || length(minus(track.at[i], track.at[i - 1])) < RESUMED_M)
}

/// The ride whose length most others share; of several the shortest. Rides from start to finish go before
/// rides back, which may take another road; one with a turn on the way shows the road to nobody.
fn most_common(rides: &[Ride], tracks: &[Track]) -> Option<Ride> {
    let best_of = |onward: bool, straight: bool| {
        let candidates: Vec<&Ride> = rides
            .iter()
            .filter(|ride| ride.onward == onward && !(straight && doubles_back(ride, &tracks[ride.track])))
            .collect();
        let alike = |ride: &Ride| {
            candidates
                .iter()
                .filter(|r| (r.path_m / ride.path_m - 1.0).abs() < ALIKE)
                .count()
        };
        candidates
            .iter()
            .max_by(|a, b| alike(a).cmp(&alike(b)).then(b.path_m.total_cmp(&a.path_m)))
            .map(|ride| **ride)
    };
    [(true, true), (false, true), (true, false), (false, false)]
        .into_iter()
        .find_map(|(onward, straight)| best_of(onward, straight))
}

/// Whether a ride went over part of its own road the other way.
fn doubles_back(ride: &Ride, track: &Track) -> bool {
    let (times, places) = path(ride, track);
    let leg = Leg {
        track: ride.track,
        steps: legs::steps(&times, &places),
    };
    runs::runs(&[leg]).iter().flatten().any(|run| !run.same_way)
}

/// Times and places from gate to gate.
fn path(ride: &Ride, track: &Track) -> (Vec<f64>, Vec<[f64; 2]>) {
    let first = track.time_s.partition_point(|&t| t <= ride.from_s);
    let last = track.time_s.partition_point(|&t| t < ride.to_s);
    let mut times = vec![ride.from_s];
    times.extend_from_slice(&track.time_s[first..last]);
    times.push(ride.to_s);
    let mut places = vec![track.at_time(ride.from_s)];
    places.extend_from_slice(&track.at[first..last]);
    places.push(track.at_time(ride.to_s));
    (times, places)
}

fn road(ride: &Ride, track: &Track, plane: &Plane, is_loop: bool) -> Line {
    let (times, places) = path(ride, track);
    let mut nodes: Vec<[f64; 2]> = legs::steps(&times, &places)
        .iter()
        .map(|step| step.at)
        .step_by(2)
        .collect();
    let end = places[places.len() - 1];
    while nodes.len() > 1 && length(minus(nodes[nodes.len() - 1], end)) < legs::STEP_M {
        nodes.pop();
    }
    nodes.push(end);
    if is_loop {
        let middle = [0.5 * (nodes[0][0] + end[0]), 0.5 * (nodes[0][1] + end[1])];
        let last = nodes.len() - 1;
        (nodes[0], nodes[last]) = (middle, middle);
    } else if !ride.onward {
        nodes.reverse();
    }
    Line::through(plane, nodes)
}

/// The line with its ends moved along the road to stand square to the gates as given.
fn moved_to(line: &Line, gates: [[f64; 2]; 2], is_loop: bool, plane: &Plane) -> Line {
    let mut nodes = line.nodes.clone();
    let last = nodes.len() - 1;
    let ends = super::gate::of(line, if is_loop { Shape::Loop } else { Shape::OneWay });
    for (node, (gate, end)) in [0, last].into_iter().zip(gates.into_iter().zip(ends)) {
        let ahead_m = dot(minus(gate, nodes[node]), end.along);
        nodes[node] = [
            nodes[node][0] + ahead_m * end.along[0],
            nodes[node][1] + ahead_m * end.along[1],
        ];
    }
    Line::through(plane, nodes)
}
