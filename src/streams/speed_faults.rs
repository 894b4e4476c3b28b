//! The recorded speed: what cannot be is taken out, a wrong unit is put right.

use super::mark::{runs, take_out};
use super::position::chord_m;
use super::{Repair, Streams};
use crate::units::M_S_PER_KM_H;

pub(super) const FASTEST_M_S: f64 = 35.0;
/// More than brakes or legs change the speed. [m/s²]
const HARDEST_M_S2: f64 = 5.0;
const FROZEN_SAMPLES: usize = 15;
const ZERO_SAMPLES: usize = 5;
/// Intervals per chord when a frozen speed is held against positions.
const CHORD_STEPS: usize = 4;

pub(super) fn clean(streams: &mut Streams, gap_limit_s: f64) {
    wrong_unit(streams, gap_limit_s);
    impossible(streams);
    spikes(streams, gap_limit_s);
    frozen(streams, gap_limit_s);
}

/// Some programs write km/h for m/s, or divide once too often, against their own distance.
/// The factor is accepted only when the file's own distance (else its positions) gives 3.6 within 2 %
/// overall, and the speed is the wrong one: the positions, where there are any, side with the distance.
fn wrong_unit(streams: &mut Streams, gap_limit_s: f64) {
    let by_distance = ratio_to(streams, gap_limit_s, |s, a, b| {
        Some(s.distance_m[b] - s.distance_m[a])
    });
    let by_position = ratio_to(streams, gap_limit_s, chord_m);
    let factor = [1.0 / M_S_PER_KM_H, M_S_PER_KM_H].into_iter().find(|factor| {
        let near = |ratio: f64, part: f64| (ratio / factor - 1.0).abs() < part;
        match (by_distance, by_position) {
            // Positions wander, and cut corners: 10 % is enough to tell 1 from 3.6.
            (Some(distance), Some(position)) => near(distance, 0.02) && near(position, 0.1),
            (Some(distance), None) => near(distance, 0.02),
            (None, Some(position)) => near(position, 0.02),
            (None, None) => false,
        }
    });
    let Some(factor) = factor else {
        return;
    };
    let mut samples = 0;
    for speed in streams.speed_m_s.iter_mut().filter(|speed| speed.is_finite()) {
        *speed *= factor;
        samples += 1;
    }
    let word = if factor > 1.0 { "small" } else { "large" };
    streams.repairs.push(Repair {
        kind: "speed unit",
        start_s: streams.start_s(),
        end_s: streams.end_s(),
        samples,
        message: format!(
            "the recorded speed is 3.6 times too {word} against the {} of the same file: put right by that factor",
            if by_distance.is_some() { "distance" } else { "positions" }
        ),
    });
}

/// Length by another channel over length by the speed, where both are there; `None` below 500 m.
fn ratio_to(
    streams: &Streams,
    gap_limit_s: f64,
    length: impl Fn(&Streams, usize, usize) -> Option<f64>,
) -> Option<f64> {
    let (mut other, mut own) = (0.0, 0.0);
    for b in 1..streams.time_s.len() {
        let a = b - 1;
        let step = streams.time_s[b] - streams.time_s[a];
        let mean = 0.5 * (streams.speed_m_s[a] + streams.speed_m_s[b]);
        let Some(piece) = length(streams, a, b) else {
            continue;
        };
        if step <= gap_limit_s && mean > 0.5 && mean.is_finite() && (0.0..200.0).contains(&piece) {
            other += piece;
            own += mean * step;
        }
    }
    (other >= 500.0 && own > 0.0).then(|| other / own)
}

fn remove(streams: &mut Streams, marked: &[usize], kind: &'static str, why: &str) {
    take_out(
        &mut streams.speed_m_s,
        &streams.time_s,
        marked,
        kind,
        &mut streams.repairs,
        |span| format!("{} taken out {}: {why}", span.count("speed"), span.when()),
    );
}

fn impossible(streams: &mut Streams) {
    let speed = &streams.speed_m_s;
    let bad = |value: f64| !value.is_nan() && !(0.0..=FASTEST_M_S).contains(&value);
    let marked: Vec<usize> = (0..speed.len()).filter(|&i| bad(speed[i])).collect();
    remove(
        streams,
        &marked,
        "impossible speed",
        &format!("below 0 or above {FASTEST_M_S:.0} m/s"),
    );
}

/// Single samples off both neighbours by more than 3 m/s and 5 m/s², to the same side (a lost or an
/// extra pulse of the wheel sensor).
fn spikes(streams: &mut Streams, gap_limit_s: f64) {
    let (time, speed) = (&streams.time_s, &streams.speed_m_s);
    let marked: Vec<usize> = (1..speed.len().saturating_sub(1))
        .filter(|&i| {
            let (into, out) = (speed[i] - speed[i - 1], speed[i] - speed[i + 1]);
            let (before, after) = (time[i] - time[i - 1], time[i + 1] - time[i]);
            let off = |change: f64, step: f64| {
                step <= gap_limit_s && change.abs() > 3.0 && change.abs() > HARDEST_M_S2 * step
            };
            into * out > 0.0 && off(into, before) && off(out, after)
        })
        .collect();
    remove(
        streams,
        &marked,
        "speed spike",
        "a single value that no brake or leg explains",
    );
}

/// One value for 15 samples (zero: 5) while positions say otherwise. A real unit repeated one speed
/// for 17 samples on a steady stretch, so that repetition alone proves nothing.
fn frozen(streams: &mut Streams, gap_limit_s: f64) {
    let (time, speed) = (&streams.time_s, &streams.speed_m_s);
    let equal = |a: usize, b: usize| speed[a] == speed[b] && time[b] - time[a] <= gap_limit_s;
    let mut marked = Vec::new();
    for run in runs(speed.len(), ZERO_SAMPLES, equal) {
        let held = speed[run.start];
        if held > 0.0 && run.len() < FROZEN_SAMPLES {
            continue;
        }
        let allowed = if held > 0.0 { (0.2 * held).max(1.0) } else { 2.0 };
        if off_by(streams, run.clone(), held).is_some_and(|off| off > allowed) {
            // The first of them is where it stuck, and may be true.
            marked.extend(run.skip(1));
        }
    }
    remove(
        streams,
        &marked,
        "frozen speed",
        "the same value again and again while the positions tell of another speed",
    );
}

/// Median over short chords of the difference between the speed by positions and `held`. [m/s]
fn off_by(streams: &Streams, run: std::ops::Range<usize>, held: f64) -> Option<f64> {
    let mut off: Vec<f64> = run
        .clone()
        .step_by(CHORD_STEPS)
        .filter(|&a| a + CHORD_STEPS < run.end)
        .filter_map(|a| {
            let b = a + CHORD_STEPS;
            let elapsed = streams.time_s[b] - streams.time_s[a];
            Some((chord_m(streams, a, b)? / elapsed - held).abs())
        })
        .collect();
    off.sort_by(f64::total_cmp);
    off.get(off.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use crate::streams::testing::{after, after_long, kinds, missing, speed};
    use crate::streams::{SpeedSource, align, testing};

    #[test]
    fn impossible_speeds_and_spikes_are_taken_out() {
        let streams = after(|samples| {
            samples[30].speed_m_s = Some(65.535);
            samples[50].speed_m_s = Some(0.0);
            samples[70].speed_m_s = Some(20.0);
        });
        assert_eq!(missing(&streams.speed_m_s), [30, 50, 70]);
        assert_eq!(
            kinds(&streams.repairs),
            [("impossible speed", 1), ("speed spike", 2)]
        );
    }

    #[test]
    fn a_hard_stop_and_a_start_are_real() {
        let streams = after(|samples| {
            let stop = [7.0, 3.5, 0.5, 0.0, 0.0, 2.0, 4.5, 7.0];
            for (sample, speed) in samples[50..].iter_mut().zip(stop) {
                sample.speed_m_s = Some(speed);
            }
        });
        assert_eq!(missing(&streams.speed_m_s), Vec::<usize>::new());
    }

    #[test]
    fn a_frozen_speed_is_taken_out_when_positions_contradict_it() {
        let frozen = |held: f64, from: usize, to: usize| {
            after(|samples| {
                for sample in &mut samples[from..to] {
                    sample.speed_m_s = Some(held);
                }
            })
        };
        let streams = frozen(5.0, 40, 60);
        assert_eq!(missing(&streams.speed_m_s), (41..60).collect::<Vec<_>>());
        assert_eq!(kinds(&streams.repairs), [("frozen speed", 19)]);
        let streams = frozen(0.0, 40, 60);
        assert_eq!(missing(&streams.speed_m_s), (41..60).collect::<Vec<_>>());
        // Steady riding, or too short to tell.
        assert_eq!(kinds(&frozen(9.3, 40, 60).repairs), []);
        assert_eq!(kinds(&frozen(6.5, 40, 50).repairs), []);
    }

    #[test]
    fn a_speed_in_the_wrong_unit_is_put_right_by_the_files_own_distance() {
        for factor in [3.6, 1.0 / 3.6] {
            let mut recording = testing::ride(300);
            for sample in &mut recording.samples {
                sample.speed_m_s = sample.speed_m_s.map(|v| v * factor);
            }
            recording.wheel_sensor = Some(true);
            let streams = align(recording).unwrap();
            assert_eq!(kinds(&streams.repairs), [("speed unit", 300)]);
            assert_eq!(streams.speed_source, SpeedSource::WheelSensor);
            assert!((streams.speed_m_s[77] - speed(77)).abs() < 1e-9);
        }
    }

    #[test]
    fn a_speed_that_the_positions_side_with_is_left_alone() {
        let streams = after_long(300, |samples| {
            for sample in samples {
                sample.distance_m = sample.distance_m.map(|d| d * 3.6);
            }
        });
        assert_eq!(kinds(&streams.repairs), []);
        assert_eq!(streams.speed_m_s[77], speed(77));
    }
}
