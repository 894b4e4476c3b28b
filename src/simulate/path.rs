//! The ribbon that the wheel follows over the whole day: course, turns, approaches, one after the other.

use super::balance::Ground;
use super::road::{Road, RoadPoint, moved};
use std::f64::consts::PI;

/// How far from the centre line the rider keeps to the right.
const LANE_M: f64 = 2.0;
const TURN_SPEED_M_S: f64 = 2.2;
const TOP_SPEED_M_S: f64 = 16.0;
/// Comfortable side acceleration in a bend of the service road.
const SIDE_M_S2: f64 = 3.0;
/// Braking that the rider plans with.
const BRAKING_M_S2: f64 = 1.5;

#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    /// Road length ridden since the start of the day.
    pub ridden_m: f64,
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    pub elevation_m: f64,
    pub ground: Ground,
    /// Metres from the start gate along the course; NaN off it.
    pub course_m: f64,
    limit_m_s: f64,
}

/// What the rider does on a piece of the ribbon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doing {
    /// To the course and home from it.
    Cruise,
    LeadIn,
    /// Pass `number` of the day, from 0.
    Pass {
        number: usize,
        forward: bool,
    },
    /// A first attempt at that pass, given up.
    Spoilt {
        number: usize,
    },
    RunOut,
    Turn,
    RollBack,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub from_m: f64,
    pub to_m: f64,
    pub doing: Doing,
    pub block: usize,
    /// The planned pass that this leads to, is, or follows.
    pub pass: usize,
    /// Standing at its end.
    pub stand_s: f64,
    /// The set-up is changed during that stand.
    pub remount: bool,
}

#[derive(Debug, Default)]
pub(super) struct Path {
    pub nodes: Vec<Node>,
    pub spans: Vec<Span>,
    /// Highest speed from which the rider can still brake for what comes, at each node.
    allowed_m_s: Vec<f64>,
}

impl Path {
    fn end_m(&self) -> f64 {
        self.nodes.last().map_or(0.0, |node| node.ridden_m)
    }

    /// The node at or before `x`, searched onward from `from`.
    pub fn index_at(&self, x: f64, from: usize) -> usize {
        let mut index = from.min(self.nodes.len().saturating_sub(2));
        while index > 0 && self.nodes[index].ridden_m > x {
            index -= 1;
        }
        while index + 2 < self.nodes.len() && self.nodes[index + 1].ridden_m <= x {
            index += 1;
        }
        index
    }

    fn between(&self, index: usize, x: f64) -> (&Node, &Node, f64) {
        let (a, b) = (&self.nodes[index], &self.nodes[index + 1]);
        let length = b.ridden_m - a.ridden_m;
        let part = if length > 0.0 {
            (x - a.ridden_m) / length
        } else {
            0.0
        };
        (a, b, part)
    }

    pub fn ground(&self, index: usize, x: f64) -> Ground {
        let index = self.index_at(x, index);
        let (a, b, part) = self.between(index, x);
        let mix = |a: f64, b: f64| a + part * (b - a);
        Ground {
            crr_factor: mix(a.ground.crr_factor, b.ground.crr_factor),
            sin_slope: mix(a.ground.sin_slope, b.ground.sin_slope),
            sin_bearing: mix(a.ground.sin_bearing, b.ground.sin_bearing),
            cos_bearing: mix(a.ground.cos_bearing, b.ground.cos_bearing),
            curve_per_m: mix(a.ground.curve_per_m, b.ground.curve_per_m),
        }
    }

    /// Latitude, longitude in degrees and elevation in metres.
    pub fn place(&self, index: usize, x: f64) -> [f64; 3] {
        let index = self.index_at(x, index);
        let (a, b, part) = self.between(index, x);
        let mix = |a: f64, b: f64| a + part * (b - a);
        [
            mix(a.latitude_deg, b.latitude_deg),
            mix(a.longitude_deg, b.longitude_deg),
            mix(a.elevation_m, b.elevation_m),
        ]
    }

    pub fn course_m(&self, index: usize, x: f64) -> f64 {
        let index = self.index_at(x, index);
        let (a, b, part) = self.between(index, x);
        a.course_m + part * (b.course_m - a.course_m)
    }

    /// Highest speed at `x` from which the rider can still brake for what comes.
    pub fn allowed_m_s(&self, index: usize, x: f64) -> f64 {
        let index = self.index_at(x, index);
        match (self.nodes.get(index + 1), self.allowed_m_s.get(index + 1)) {
            (Some(next), Some(&v)) => {
                let brake = (v * v + 2.0 * BRAKING_M_S2 * (next.ridden_m - x).max(0.0)).sqrt();
                brake.min(next.limit_m_s.max(v))
            }
            _ => 0.0,
        }
    }

    /// Ends the piece that began where the last one ended.
    pub fn close_span(&mut self, doing: Doing, block: usize, pass: usize) {
        let from_m = self.spans.last().map_or(0.0, |span| span.to_m);
        self.spans.push(Span {
            from_m,
            to_m: self.end_m(),
            doing,
            block,
            pass,
            stand_s: 0.0,
            remount: false,
        });
    }

    pub fn stand(&mut self, seconds: f64, remount: bool) {
        if let Some(span) = self.spans.last_mut() {
            span.stand_s = span.stand_s.max(seconds);
            span.remount |= remount;
        }
    }

    fn push(&mut self, place: [f64; 2], point: &RoadPoint, bearing: f64, sign: f64, ahead: Ahead) {
        let (sin_bearing, cos_bearing) = bearing.sin_cos();
        self.nodes.push(Node {
            ridden_m: self.end_m() + ahead.length_m,
            latitude_deg: place[0],
            longitude_deg: place[1],
            elevation_m: point.elevation_m,
            ground: Ground {
                crr_factor: point.crr_factor,
                sin_slope: sign * point.sin_slope,
                sin_bearing,
                cos_bearing,
                curve_per_m: point.curve_per_m,
            },
            course_m: ahead.course_m,
            limit_m_s: ahead.limit_m_s,
        });
    }

    /// Along the road from one place to another, in either direction; the ends are met exactly.
    pub fn along_road(&mut self, road: &Road, from_m: f64, to_m: f64) {
        self.along_other_line(road, from_m, to_m, |_| 1.0);
    }

    /// As `along_road`, where the line ridden is `stretch` times as long as the road at each of its metres.
    pub fn along_other_line(&mut self, road: &Road, from_m: f64, to_m: f64, stretch: impl Fn(f64) -> f64) {
        let sign = if to_m >= from_m { 1.0 } else { -1.0 };
        let steps = ((to_m - from_m).abs().ceil() as usize).max(1);
        let length_m = (to_m - from_m).abs() / steps as f64;
        let lane = if road.is_loop() { 0.0 } else { LANE_M };
        let first = usize::from(!self.nodes.is_empty());
        for k in first..=steps {
            let s = from_m + (to_m - from_m) * k as f64 / steps as f64;
            let longer = stretch(s);
            let on_road = road.at(s);
            let point = RoadPoint {
                sin_slope: on_road.sin_slope / longer,
                ..on_road
            };
            let bearing = point.bearing_rad + if sign < 0.0 { PI } else { 0.0 };
            let place = beside(&point, bearing, lane, 0.0);
            let ahead = Ahead {
                length_m: if k == 0 { 0.0 } else { length_m * longer },
                course_m: s,
                limit_m_s: road.limit_m_s(s).unwrap_or(TOP_SPEED_M_S),
            };
            self.push(place, &point, bearing, sign, ahead);
        }
    }

    /// A half circle to the left across the road, from the rider's lane into the other.
    pub fn u_turn(&mut self, road: &Road, at_m: f64, forward: bool) {
        let point = RoadPoint {
            sin_slope: 0.0,
            curve_per_m: 0.0,
            ..road.at(at_m)
        };
        let bearing = point.bearing_rad + if forward { 0.0 } else { PI };
        let steps = 24;
        for k in 1..=steps {
            let angle = PI * f64::from(k) / f64::from(steps);
            let place = beside(&point, bearing, LANE_M * angle.cos(), LANE_M * angle.sin());
            let ahead = Ahead {
                length_m: PI * LANE_M / f64::from(steps),
                course_m: f64::NAN,
                limit_m_s: TURN_SPEED_M_S,
            };
            self.push(place, &point, bearing - angle, 1.0, ahead);
        }
    }

    /// A smooth lane beside the course from one place and direction to another (cubic Hermite).
    pub fn lane(&mut self, from: &RoadPoint, to: &RoadPoint, reach_m: f64) {
        let origin = [from.latitude_deg, from.longitude_deg];
        let end = offset_to(from, to);
        let (d0, d1) = (direction(from.bearing_rad), direction(to.bearing_rad));
        let curve = |u: f64| {
            let (u2, u3) = (u * u, u * u * u);
            let (h1, h2, h3) = (u3 - 2.0 * u2 + u, 3.0 * u2 - 2.0 * u3, u3 - u2);
            [0, 1].map(|axis| reach_m * (h1 * d0[axis] + h3 * d1[axis]) + h2 * end[axis])
        };
        let steps = (1.5 * reach_m.max(end[0].hypot(end[1]))).ceil() as usize + 2;
        let mut last = [0.0, 0.0];
        let mut last_bearing = from.bearing_rad;
        let mut last_elevation = from.elevation_m;
        for k in 1..=steps {
            let u = k as f64 / steps as f64;
            let here = curve(u);
            let flat = (here[0] - last[0]).hypot(here[1] - last[1]);
            let bearing = (here[0] - last[0]).atan2(here[1] - last[1]);
            let turned = (bearing - last_bearing).sin().abs();
            let ease = u * u * (3.0 - 2.0 * u);
            let elevation = from.elevation_m + ease * (to.elevation_m - from.elevation_m);
            let length_m = flat.hypot(elevation - last_elevation);
            let place = moved(origin, here);
            let point = RoadPoint {
                latitude_deg: place[0],
                longitude_deg: place[1],
                bearing_rad: bearing,
                elevation_m: elevation,
                sin_slope: (elevation - last_elevation) / length_m.max(1e-9),
                crr_factor: 1.0,
                curve_per_m: 0.0,
            };
            let ahead = Ahead {
                length_m,
                course_m: f64::NAN,
                limit_m_s: (SIDE_M_S2 * flat / turned.max(1e-6)).sqrt().min(TOP_SPEED_M_S),
            };
            self.push(place, &point, bearing, 1.0, ahead);
            (last, last_bearing, last_elevation) = (here, bearing, elevation);
        }
    }

    /// Works out, from the end backward, how fast the rider may be where.
    pub fn settle(&mut self) {
        let mut stops: Vec<f64> = self
            .spans
            .iter()
            .filter(|span| span.stand_s > 0.0)
            .map(|span| span.to_m)
            .collect();
        stops.push(self.end_m());
        let mut allowed = vec![0.0; self.nodes.len()];
        let mut ahead: Option<(f64, f64)> = None;
        for (node, allowed) in self.nodes.iter().zip(&mut allowed).rev() {
            let mut v = node.limit_m_s;
            if let Some((x, v_ahead)) = ahead {
                v = v.min((v_ahead * v_ahead + 2.0 * BRAKING_M_S2 * (x - node.ridden_m)).sqrt());
            }
            while stops.last().is_some_and(|&stop| stop > node.ridden_m + 1e-6) {
                stops.pop();
            }
            if stops.last().is_some_and(|&stop| stop >= node.ridden_m - 1e-6) {
                v = 0.0;
            }
            *allowed = v;
            ahead = Some((node.ridden_m, v));
        }
        self.allowed_m_s = allowed;
    }
}

struct Ahead {
    length_m: f64,
    course_m: f64,
    limit_m_s: f64,
}

fn direction(bearing_rad: f64) -> [f64; 2] {
    let (sin, cos) = bearing_rad.sin_cos();
    [sin, cos]
}

/// To the right of and ahead of a point, seen in the direction of `bearing`.
fn beside(point: &RoadPoint, bearing: f64, right_m: f64, ahead_m: f64) -> [f64; 2] {
    let [sin, cos] = direction(bearing);
    moved(
        [point.latitude_deg, point.longitude_deg],
        [right_m * cos + ahead_m * sin, ahead_m * cos - right_m * sin],
    )
}

fn offset_to(from: &RoadPoint, to: &RoadPoint) -> [f64; 2] {
    super::road::offset_m(
        [from.latitude_deg, from.longitude_deg],
        [to.latitude_deg, to.longitude_deg],
    )
}

/// A place beside the road from which a lane can start: `right_m` off the centre line, at its height.
pub(super) fn place_beside(road: &Road, s: f64, right_m: f64, turned_rad: f64) -> RoadPoint {
    let point = road.at(s);
    let place = beside(&point, point.bearing_rad, right_m, 0.0);
    RoadPoint {
        latitude_deg: place[0],
        longitude_deg: place[1],
        bearing_rad: point.bearing_rad + turned_rad,
        sin_slope: 0.0,
        curve_per_m: 0.0,
        ..point
    }
}
