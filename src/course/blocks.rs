//! Where one mounting of a set-up probably ended and the next began.

use super::track::Track;
use super::{Pass, why_not};
use crate::streams::Streams;

/// Changing a helmet or a jacket takes at least this long; a turn on the road hardly ever does.
const CHANGE_S: f64 = 45.0;
/// A lap button pressed this near to a crossing marks the gate, not the block.
const AT_GATE_S: f64 = 8.0;

/// Passes in each likely block, in riding order: a block ends where the rider stood for `CHANGE_S` or more
/// (pauses included), where another recording begins, or where the lap button was pressed away from the gates.
///
/// A proposal to be looked at, since nobody can see a change of set-up in a recording.
pub fn likely_blocks(passes: &[Pass], streams: &[Streams]) -> Vec<usize> {
    let tracks = super::track::tracks(streams)
        .map(|(_, tracks)| tracks)
        .unwrap_or_default();
    let mut blocks: Vec<usize> = Vec::new();
    for (index, pass) in passes.iter().enumerate() {
        let before = index.checked_sub(1).and_then(|before| passes.get(before));
        match blocks.last_mut() {
            Some(block) if before.is_some_and(|before| !changed(before, pass, streams, &tracks)) => {
                *block += 1
            }
            _ => blocks.push(1),
        }
    }
    blocks
}

fn changed(before: &Pass, after: &Pass, streams: &[Streams], tracks: &[Track]) -> bool {
    if before.recording != after.recording {
        return true;
    }
    let Some(s) = streams.get(before.recording) else {
        return false;
    };
    let Some(track) = tracks.iter().find(|track| track.recording == before.recording) else {
        return false;
    };
    let (from, to) = (before.end_s, after.start_s);
    let marked = s
        .lap_marks_s
        .iter()
        .any(|&mark| mark > from + AT_GATE_S && mark < to - AT_GATE_S);
    let stood: f64 = why_not::stops(s, track, from, to)
        .iter()
        .map(|stop| stop.1 - stop.0)
        .sum();
    // A stop that goes on into a pause holds its first samples; the pause holds the rest.
    let paused: f64 = s
        .gaps_between(from, to)
        .filter(|gap| gap.paused)
        .map(|gap| gap.end_s - gap.start_s)
        .sum();
    marked || stood.max(paused) >= CHANGE_S
}
