//! One recording → steps of road, each with what was seen there.

use super::super::ground::{length, minus};
use super::super::track::{Track, tracks};
use super::super::{legs, measure, why_not};
use crate::streams::Streams;

/// A pause that ends this near to where it began was a stop on the road. [m]
const PAUSED_WITHIN_M: f64 = 60.0;
/// Shorter trails are no road. [steps]
const SHORTEST: usize = 30;
/// What air, tyres and slope take at most off a rider who coasts, so that what goes beyond is the brakes: judgement,
/// no published source, the same rider as `estimate::braking` takes.
const BRAKED_CDA_M2: f64 = 0.5;
const BRAKED_CRR: f64 = 0.008;
const BRAKED_MASS_KG: f64 = 80.0;
const BRAKED_BEYOND_N: f64 = 50.0;
const AIR_DENSITY_KG_M3: f64 = 1.2;
const GRAVITY_M_S2: f64 = 9.81;
/// To each side, for slopes. [steps]
const SLOPE_STEPS: usize = 4;

/// Ten metres of road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    /// After the start of the trail.
    pub time_s: f32,
    pub speed_m_s: f32,
    /// NaN where it is not known.
    pub power_w: f32,
    pub altitude_m: f32,
    pub stopped: bool,
    pub braked: bool,
}

/// Ridden in one go; stops are marked and do not end it.
#[derive(Debug, Clone, PartialEq)]
pub struct Trail {
    /// Index of the recording, as the caller counts.
    pub recording: usize,
    pub start_s: f64,
    pub steps: Vec<Step>,
}

/// The trails of a recording; none where it has no positions.
pub fn trails(recording: usize, s: &Streams) -> Vec<Trail> {
    let Some((plane, tracks)) = tracks(std::slice::from_ref(s)) else {
        return Vec::new();
    };
    let mut trails = Vec::new();
    for track in &tracks {
        let stops = why_not::stops(s, track, f64::NEG_INFINITY, f64::INFINITY);
        for piece in pieces(track, &stops) {
            let stepped = legs::steps(&piece.time_s, &piece.at);
            if stepped.len() < SHORTEST {
                continue;
            }
            let start_s = stepped[0].time_s;
            let mut steps = Vec::with_capacity(stepped.len());
            for (index, step) in stepped.iter().enumerate() {
                let [latitude_deg, longitude_deg] = plane.unproject(step.at);
                let next_s = stepped.get(index + 1).map_or(step.time_s, |next| next.time_s);
                let before_s = stepped[index.saturating_sub(1)].time_s;
                let by_path_m_s = legs::STEP_M / (next_s - step.time_s).max(0.1);
                steps.push(Step {
                    latitude_deg,
                    longitude_deg,
                    time_s: (step.time_s - start_s) as f32,
                    speed_m_s: s.speed_at(step.time_s).unwrap_or(by_path_m_s) as f32,
                    power_w: measure::power(s, before_s, next_s).mean_w as f32,
                    altitude_m: s.altitude_at(step.time_s).unwrap_or(f64::NAN) as f32,
                    stopped: false,
                    braked: false,
                });
            }
            for stop_s in &piece.stops_s {
                let after = stepped.partition_point(|step| step.time_s <= *stop_s);
                steps[after.saturating_sub(1)].stopped = true;
            }
            for index in 0..steps.len() {
                steps[index].braked = braked(s, stepped[index].time_s, &steps, index);
            }
            trails.push(Trail {
                recording,
                start_s,
                steps,
            });
        }
    }
    trails
}

/// Positions in a row, without those of standing.
struct Piece {
    time_s: Vec<f64>,
    at: Vec<[f64; 2]>,
    stops_s: Vec<f64>,
}

fn pieces(track: &Track, stops: &[(f64, f64)]) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut stop = 0;
    for (index, (&time_s, &at)) in track.time_s.iter().zip(&track.at).enumerate() {
        while stops.get(stop).is_some_and(|one| one.1 < time_s) {
            stop += 1;
        }
        let standing = stops.get(stop).is_some_and(|one| one.0 < time_s);
        let goes_on = match pieces.last_mut() {
            Some(piece) if track.broken[index] => {
                let there = piece.at[piece.at.len() - 1];
                let near = length(minus(at, there)) < PAUSED_WITHIN_M;
                if near {
                    piece.stops_s.push(piece.time_s[piece.time_s.len() - 1]);
                }
                near
            }
            Some(piece) => {
                if standing && piece.stops_s.last().is_none_or(|last| *last < stops[stop].0) {
                    piece.stops_s.push(stops[stop].0);
                }
                true
            }
            None => false,
        };
        if !goes_on {
            pieces.push(Piece {
                time_s: vec![],
                at: vec![],
                stops_s: vec![],
            });
        }
        if let Some(piece) = pieces.last_mut()
            && (!standing || piece.at.is_empty())
        {
            piece.time_s.push(time_s);
            piece.at.push(at);
        }
    }
    pieces
}

/// Whether the rider slows down by more than coasting explains.
fn braked(s: &Streams, time_s: f64, steps: &[Step], index: usize) -> bool {
    let (Some(before), Some(after)) = (s.speed_at(time_s - 1.0), s.speed_at(time_s + 1.0)) else {
        return false;
    };
    let (from, to) = (
        index.saturating_sub(SLOPE_STEPS),
        (index + SLOPE_STEPS).min(steps.len() - 1),
    );
    let rise_m = f64::from(steps[to].altitude_m - steps[from].altitude_m);
    let slope = rise_m / (legs::STEP_M * (to - from).max(1) as f64);
    let slope = if slope.is_finite() {
        slope.clamp(-0.2, 0.2)
    } else {
        0.0
    };
    let speed = 0.5 * (before + after);
    let slowing_m_s2 = 0.5 * (before - after);
    let taken_n = 0.5 * AIR_DENSITY_KG_M3 * BRAKED_CDA_M2 * speed * speed
        + BRAKED_MASS_KG * GRAVITY_M_S2 * (BRAKED_CRR + slope);
    slowing_m_s2 > 0.0 && BRAKED_MASS_KG * slowing_m_s2 > taken_n + BRAKED_BEYOND_N
}
