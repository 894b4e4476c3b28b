//! Stretches of road in many rides that may do as test courses.
//!
//! Every ride becomes steps of road with what was seen there; the steps of all rides become one net of roads. A step is
//! looked up in its cell of a grid, so the work grows as the length ridden, not as its square.

mod choose;
mod net;
mod seen;
#[cfg(test)]
mod tests;
mod trail;
mod windows;

pub use seen::{Place, Seen};
pub use trail::{Step, Trail, trails};

use super::ground::geodesic_m;
use crate::recording::RoutePoint;
use net::Net;

/// A stretch of road that may do as a test course.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Candidates of the same number are lengths of one road.
    pub road: usize,
    /// It ends where it begins, ridden on in the same direction.
    pub closes: bool,
    /// From gate to gate, 10 m apart; of a loop one lap.
    pub points: Vec<RoutePoint>,
    /// What all rides show of it.
    pub seen: Seen,
    /// Nodes of the net, to see what it shares with others.
    nodes: Vec<u32>,
    /// Rides that are far from each other have nets of their own.
    region: usize,
}

impl Candidate {
    /// A road that nobody found.
    #[cfg(test)]
    pub(crate) fn made(points: Vec<RoutePoint>, seen: Seen) -> Candidate {
        Candidate {
            road: 0,
            closes: false,
            points,
            seen,
            nodes: Vec::new(),
            region: 0,
        }
    }

    /// The same road from its other end.
    pub fn reversed(mut self) -> Candidate {
        let length_m = super::legs::STEP_M * self.points.len().saturating_sub(1) as f64;
        self.points.reverse();
        self.nodes.reverse();
        let seen = &mut self.seen;
        std::mem::swap(&mut seen.forward, &mut seen.reverse);
        for places in [&mut seen.stops, &mut seen.braking] {
            places.reverse();
            for place in places {
                place.along_m = length_m - place.along_m;
            }
        }
        self
    }

    /// Whether so much of the shorter of the two is the same road that they are one course.
    pub fn is_on_the_road_of(&self, other: &Candidate) -> bool {
        if self.region != other.region {
            return false;
        }
        let (short, long) = if self.nodes.len() <= other.nodes.len() {
            (self, other)
        } else {
            (other, self)
        };
        let known: std::collections::HashSet<u32> = long.nodes.iter().copied().collect();
        let shared = short.nodes.iter().filter(|node| known.contains(node)).count();
        shared as f64 > choose::SAME_ROAD * short.nodes.len() as f64
    }
}

/// The roads that promise most, at most `roads` of them, some in several lengths; not yet in any order of worth.
pub fn candidates(trails: &[Trail], roads: usize) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (region, own) in regions(trails).into_iter().enumerate() {
        let net = Net::over(&own);
        let windows = windows::best(&own, &net);
        let chosen = choose::choose(windows, &net, roads);
        let seen = seen::seen(&chosen, &own, &net);
        for (window, seen) in chosen.iter().zip(seen) {
            let way = &net.ways[window.trail];
            let steps = window.from..=window.to;
            let points = seen::points(own[window.trail], window, &seen);
            found.push(Candidate {
                road: window.road,
                closes: window.closes,
                points,
                seen: seen.seen,
                nodes: way[steps].iter().map(|place| place.node).collect(),
                region,
            });
        }
    }
    found
}

/// Rides that begin farther apart than this share no plane: over it, east and west are some 4 % off at its edge.
const REGION_M: f64 = 200_000.0;

fn regions(trails: &[Trail]) -> Vec<Vec<&Trail>> {
    let mut regions: Vec<([f64; 2], Vec<&Trail>)> = Vec::new();
    for trail in trails {
        let first = &trail.steps[0];
        let at = [first.latitude_deg, first.longitude_deg];
        let near = regions
            .iter_mut()
            .find(|(centre, _)| geodesic_m(*centre, at) < REGION_M);
        match near {
            Some((_, own)) => own.push(trail),
            None => regions.push((at, vec![trail])),
        }
    }
    regions.into_iter().map(|(_, own)| own).collect()
}
