//! A day's riding as legs without a stop, in steps of equal length.

use super::ground::{length, minus, unit};
use super::track::Track;
use super::why_not;
use crate::streams::Streams;

/// Length of a step. Two passes of one road lie within a few metres of each other, so ten are enough to
/// see where a road begins to be shared, and keep a hundred hours of riding to half a million steps.
pub const STEP_M: f64 = 10.0;

/// Ridden without a stop or a pause.
pub struct Leg {
    /// Index into the tracks.
    pub track: usize,
    pub steps: Vec<Step>,
}

#[derive(Debug, Clone, Copy)]
pub struct Step {
    pub at: [f64; 2],
    /// Unit vector of travel.
    pub heading: [f64; 2],
    pub time_s: f64,
}

pub fn legs(tracks: &[Track], streams: &[Streams]) -> Vec<Leg> {
    let mut legs = Vec::new();
    for (track_index, track) in tracks.iter().enumerate() {
        let Some(s) = streams.get(track.recording) else {
            continue;
        };
        let stops = why_not::stops(s, track, f64::NEG_INFINITY, f64::INFINITY);
        let mut start = 0;
        for index in 1..=track.time_s.len() {
            let ends =
                index == track.time_s.len() || track.broken[index] || stopped(&stops, track.time_s[index]);
            if ends {
                let steps = steps(&track.time_s[start..index], &track.at[start..index]);
                if steps.len() >= 3 {
                    legs.push(Leg {
                        track: track_index,
                        steps,
                    });
                }
                start = index;
            }
        }
    }
    legs
}

fn stopped(stops: &[(f64, f64)], time_s: f64) -> bool {
    let next = stops.partition_point(|stop| stop.1 < time_s);
    stops.get(next).is_some_and(|stop| stop.0 <= time_s)
}

/// Places at equal steps along a path, from its first point.
pub fn steps(time_s: &[f64], at: &[[f64; 2]]) -> Vec<Step> {
    let mut places: Vec<([f64; 2], f64)> = at
        .first()
        .zip(time_s.first())
        .map(|(&p, &t)| (p, t))
        .into_iter()
        .collect();
    // Distance along the path that is still to go to the next step.
    let mut rest = STEP_M;
    for index in 1..at.len() {
        let piece = minus(at[index], at[index - 1]);
        let size = length(piece);
        let mut used = 0.0;
        while size - used >= rest {
            used += rest;
            rest = STEP_M;
            let share = used / size;
            places.push((
                [
                    at[index - 1][0] + share * piece[0],
                    at[index - 1][1] + share * piece[1],
                ],
                time_s[index - 1] + share * (time_s[index] - time_s[index - 1]),
            ));
        }
        rest -= size - used;
    }
    (0..places.len())
        .filter_map(|index| {
            let before = places[index.saturating_sub(1)].0;
            let after = places[(index + 1).min(places.len() - 1)].0;
            let heading = unit(minus(after, before))?;
            Some(Step {
                at: places[index].0,
                heading,
                time_s: places[index].1,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_evenly_spaced_and_timed_however_sparse_the_samples() {
        let steps = steps(
            &[0.0, 3.0, 5.0, 10.0],
            &[[0.0, 0.0], [0.0, 30.0], [0.0, 50.0], [50.0, 50.0]],
        );
        assert_eq!(steps.len(), 11);
        for (index, step) in steps.iter().enumerate() {
            assert!((step.time_s - index as f64).abs() < 1e-9, "{step:?}");
        }
        assert!((steps[7].at[0] - 20.0).abs() < 1e-9 && (steps[7].heading[0] - 1.0).abs() < 1e-9);
    }
}
