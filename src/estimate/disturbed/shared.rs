//! What the passes of a direction leave over at the same place: the road's, not a pass's.

use super::search::Reading;
use super::{median, spread};
use crate::course::Direction;
use rayon::prelude::*;

/// Passes are compared over pieces of the course of this length: a shared profile has bends each 20 m, and a
/// wrong bend is as short as a push. (Pieces of 40 and 80 m left such bends as false alarms.)
const PIECE_M: f64 = 10.0;
/// A median this many of its standard deviations from nothing is the road's, whatever other places say.
const SURELY_SHARED: f64 = 3.0;
/// With fewer other passes of the same direction nobody knows what they have in common.
pub(super) const FEWEST_OTHERS: usize = 3;
/// Variance of a median of normal values, in terms of their own over their number: 1.35 for three of them,
/// π/2 for many.
const MEDIAN_VARIANCE: f64 = 1.5;

/// One piece of the course in one pass.
struct Piece {
    own_j: f64,
    /// Median of the others; `None` where they are too few.
    others_j: Option<f64>,
    others: usize,
}

/// For each pass the sum of what the others have in common, at each of its boundaries.
///
/// The median of the others is believed in part: where there is nothing in common, it would only add their
/// gusts. Its own variance from piece to piece, beside what the differences from it allow for, says in which part.
pub(super) fn shared_j(readings: &[Reading], directions: &[Direction]) -> Vec<Vec<f64>> {
    let left: Vec<Vec<f64>> = readings.par_iter().map(Reading::left_of_its_own_j).collect();
    let edges: Vec<Vec<f64>> = readings.iter().map(edges_m).collect();
    let pieces: Vec<Vec<Piece>> = (0..readings.len())
        .into_par_iter()
        .map(|own| pieces(own, readings, directions, &left, &edges[own]))
        .collect();
    let belief = Belief::new(&pieces);
    pieces
        .iter()
        .zip(&edges)
        .zip(readings)
        .map(|((pieces, edges), reading)| {
            let mut sums = vec![0.0];
            for piece in pieces {
                sums.push(sums[sums.len() - 1] + piece.others_j.map_or(0.0, |median_j| belief.of(median_j)));
            }
            reading
                .trail
                .at_m
                .iter()
                .map(|&m| straight(edges, &sums, m))
                .collect()
        })
        .collect()
}

fn edges_m(reading: &Reading) -> Vec<f64> {
    let at_m = &reading.trail.at_m;
    let (first, last) = (at_m[0], at_m[at_m.len() - 1]);
    let count = ((last - first) / PIECE_M).round().max(1.0);
    (0..=count as usize)
        .map(|k| first + (last - first) * k as f64 / count)
        .collect()
}

fn pieces(
    own: usize,
    readings: &[Reading],
    directions: &[Direction],
    left: &[Vec<f64>],
    edges: &[f64],
) -> Vec<Piece> {
    let within = |pass: usize, ends: &[f64]| {
        let at = |m: f64| readings[pass].trail.at(&left[pass], m);
        Some(at(ends[1])? - at(ends[0])?)
    };
    edges
        .windows(2)
        .map(|ends| {
            let others: Vec<f64> = (0..readings.len())
                .filter(|&other| other != own && directions[other] == directions[own])
                .filter_map(|other| within(other, ends))
                .collect();
            Piece {
                own_j: within(own, ends).unwrap_or(0.0),
                others: others.len(),
                others_j: (others.len() >= FEWEST_OTHERS).then(|| median(others)),
            }
        })
        .collect()
}

/// How far medians are to be believed.
struct Belief {
    /// Variance of a median of passes that have nothing in common.
    chance_j2: f64,
    /// 0 to 1.
    share: f64,
}

impl Belief {
    fn new(pieces: &[Vec<Piece>]) -> Self {
        let (mut medians, mut differences, mut fewest) = (Vec::new(), Vec::new(), usize::MAX);
        for piece in pieces.iter().flatten() {
            if let Some(others_j) = piece.others_j {
                medians.push(others_j);
                differences.push(piece.own_j - others_j);
                fewest = fewest.min(piece.others);
            }
        }
        if medians.is_empty() {
            return Belief {
                chance_j2: 0.0,
                share: 0.0,
            };
        }
        let of_median = MEDIAN_VARIANCE / fewest as f64;
        let chance_j2 = spread(differences).powi(2) * of_median / (1.0 + of_median);
        let seen_j2 = spread(medians).powi(2);
        Belief {
            chance_j2,
            share: if seen_j2 > 0.0 {
                (1.0 - chance_j2 / seen_j2).max(0.0)
            } else {
                0.0
            },
        }
    }

    /// What is believed of a median.
    fn of(&self, median_j: f64) -> f64 {
        let square = median_j * median_j;
        let own = if square > SURELY_SHARED.powi(2) * self.chance_j2 {
            1.0 - self.chance_j2 / square
        } else {
            0.0
        };
        median_j * self.share.max(own)
    }
}

/// Straight lines between `sums` at `edges`.
fn straight(edges: &[f64], sums: &[f64], at_m: f64) -> f64 {
    let b = edges.partition_point(|&e| e <= at_m).clamp(1, edges.len() - 1);
    let (before, after) = (edges[b - 1], edges[b]);
    let share = if after > before {
        (at_m - before) / (after - before)
    } else {
        0.0
    };
    sums[b - 1] + share * (sums[b] - sums[b - 1])
}
