//! What the recording unit's way of sampling does to the power.

use super::Surveyed;
use crate::streams::Streams;
use crate::warning::Warning;

/// A unit that samples by need gives no power for most of the time.
pub(super) fn remarks(surveyed: &Surveyed) -> Vec<Warning> {
    let passes = &surveyed.ridden.passes;
    surveyed
        .streams
        .iter()
        .enumerate()
        .filter(|(index, s)| s.by_need && passes.iter().any(|p| p.recording == *index))
        .map(|(_, s)| by_need(s))
        .collect()
}

fn by_need(s: &Streams) -> Warning {
    let short: Vec<f64> = s
        .time_s
        .windows(2)
        .map(|two| two[1] - two[0])
        .filter(|step| *step <= s.gap_limit_s())
        .collect();
    let mean_s = short.iter().sum::<f64>() / short.len() as f64;
    Warning::new(
        "sampled by need",
        format!(
            "{}: the unit wrote a sample only when it saw need, {mean_s:.1} s apart in the mean; each power is taken for \
             all of the interval that it ends, and what it may be off by is in the noise of its pass",
            s.name()
        ),
        "Set the unit to record every second: then nothing is guessed, and fewer passes tell as much.",
    )
}
