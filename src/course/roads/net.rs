//! All rides of a region → one net of roads: a node for each ten metres of road, whoever rode it.

use super::super::ground::{Plane, cross, dot, minus, unit};
use super::super::legs::STEP_M;
use super::trail::Trail;
use std::collections::HashMap;

/// Two passes of one road are nearer than this: the width of a road and the wander of two receivers.
const BESIDE_M: f64 = 20.0;
/// Along the road a node stands for half a step to each side, and a little more so that none falls between.
const ALONG_M: f64 = 0.6 * STEP_M;
/// Cosine of the angle within which two headings lie on one road (40°).
const SAME: f64 = 0.766;

/// Where a step of a trail lies in the net.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    pub node: u32,
    /// In the direction in which the node was ridden first.
    pub same_way: bool,
}

/// What was seen at a node.
#[derive(Debug, Clone, Copy, Default)]
pub struct Node {
    at: [f64; 2],
    heading: [f64; 2],
    pub visits: u32,
    pub stops: u32,
    pub braked: u32,
}

pub struct Net {
    pub nodes: Vec<Node>,
    /// For each trail, where each of its steps lies.
    pub ways: Vec<Vec<Spot>>,
    /// For each trail, its steps in the plane of the region.
    pub places: Vec<Vec<[f64; 2]>>,
}

impl Net {
    pub fn over(trails: &[&Trail]) -> Net {
        let mut net = Net {
            nodes: Vec::new(),
            ways: Vec::with_capacity(trails.len()),
            places: Vec::with_capacity(trails.len()),
        };
        let Some(first) = trails.first().map(|trail| &trail.steps[0]) else {
            return net;
        };
        let plane = Plane::at(first.latitude_deg, first.longitude_deg);
        let mut cells: HashMap<[i32; 2], Vec<u32>> = HashMap::new();
        for trail in trails {
            let places: Vec<[f64; 2]> = trail
                .steps
                .iter()
                .map(|step| plane.project(step.latitude_deg, step.longitude_deg))
                .collect();
            let mut way = Vec::with_capacity(places.len());
            for index in 0..places.len() {
                let before = places[index.saturating_sub(1)];
                let after = places[(index + 1).min(places.len() - 1)];
                let heading = unit(minus(after, before)).unwrap_or([0.0, 1.0]);
                let spot = net.beside(&cells, places[index], heading).unwrap_or_else(|| {
                    let node = net.nodes.len() as u32;
                    net.nodes.push(Node {
                        at: places[index],
                        heading,
                        ..Node::default()
                    });
                    cells.entry(cell(places[index])).or_default().push(node);
                    Spot { node, same_way: true }
                });
                let node = &mut net.nodes[spot.node as usize];
                let step = &trail.steps[index];
                node.visits += 1;
                node.stops += u32::from(step.stopped);
                node.braked += u32::from(step.braked);
                way.push(spot);
            }
            net.ways.push(way);
            net.places.push(places);
        }
        net
    }

    /// The nearest node of the road that a step lies on.
    fn beside(&self, cells: &HashMap<[i32; 2], Vec<u32>>, at: [f64; 2], heading: [f64; 2]) -> Option<Spot> {
        let [x, y] = cell(at);
        let mut best: Option<(f64, Spot)> = None;
        for cell in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| [x + dx, y + dy])) {
            for &index in cells.get(&cell).into_iter().flatten() {
                let node = &self.nodes[index as usize];
                let turn = dot(heading, node.heading);
                let off = minus(at, node.at);
                let (along, across) = (dot(off, node.heading).abs(), cross(node.heading, off).abs());
                if turn.abs() < SAME || along > ALONG_M || across > BESIDE_M {
                    continue;
                }
                if best.is_none_or(|(known, _)| along + across < known) {
                    let spot = Spot {
                        node: index,
                        same_way: turn > 0.0,
                    };
                    best = Some((along + across, spot));
                }
            }
        }
        best.map(|(_, spot)| spot)
    }
}

fn cell(at: [f64; 2]) -> [i32; 2] {
    [
        (at[0] / BESIDE_M).floor() as i32,
        (at[1] / BESIDE_M).floor() as i32,
    ]
}
