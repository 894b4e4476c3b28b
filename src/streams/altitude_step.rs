//! Altitudes that were set anew on the way: a step between two samples that no road makes, and that stays.

use super::{Repair, Streams};
use crate::units::clock_text;

/// Smaller ones are a barometer's own.
const LEAST_M: f64 = 2.0;
/// So many samples on either side say where the altitude stood, and where it stands.
const BESIDE: usize = 8;
/// ... which is no further away than this.
const BESIDE_S: f64 = 60.0;
/// A step is this many times what the samples beside it scatter by.
const CLEAR: f64 = 6.0;
/// ... and more than what two slopes so different make of this time.
const STAYS_S: f64 = 8.0;
/// No road climbs faster than this for its length.
const STEEPEST: f64 = 0.25;
/// Weather, over a pause.
const WEATHER_M_S: f64 = 10.0 / 3600.0;
const LONGEST_PAUSE_S: f64 = 7200.0;
/// Rounding and noise of one sample.
const NOISE_M: f64 = 0.15;

/// Moves what was recorded before each step to what was recorded after it, since whoever sets an altitude sets it
/// right; says so, and notes when, so that the passes across a step can have an offset on each side.
pub(super) fn level(streams: &mut Streams) {
    let known: Vec<usize> = (0..streams.altitude_m.len())
        .filter(|&i| streams.altitude_m[i].is_finite())
        .collect();
    let mut steps: Vec<(usize, usize, f64)> = Vec::new();
    let mut last = 0;
    for place in 1..known.len() {
        if place - last < BESIDE.min(3) && last > 0 {
            continue;
        }
        if let Some(step_m) = step_m(streams, &known, place) {
            // The larger one of neighbours is the step.
            steps.push((known[place - 1], known[place], step_m));
            last = place;
        }
    }
    for (before, after, step_m) in steps {
        let (from_s, to_s) = (streams.time_s[before], streams.time_s[after]);
        for altitude in &mut streams.altitude_m[..=before] {
            *altitude += step_m;
        }
        streams.altitude_steps_s.push(0.5 * (from_s + to_s));
        streams.repairs.push(Repair {
            kind: "altitude step",
            start_s: from_s,
            end_s: to_s,
            samples: before + 1,
            message: format!(
                "altitude was set anew by {step_m:+.1} m at {} UTC: the altitudes before are moved by that, and a pass \
                 across it has an offset on each side",
                clock_text(to_s)
            ),
        });
    }
}

/// By how much the altitude was set anew between known samples `place - 1` and `place`; `None` where it was not.
fn step_m(s: &Streams, known: &[usize], place: usize) -> Option<f64> {
    let (before, after) = (*known.get(place - 1)?, *known.get(place)?);
    let (t0, t1) = (s.time_s[before], s.time_s[after]);
    let jump_m = s.altitude_m[after] - s.altitude_m[before];
    let paused = s.paused_between(t0, t1);
    let way_m = way_m(s, before, after, paused);
    let road_m = STEEPEST * way_m;
    let weather_m = WEATHER_M_S * (t1 - t0);
    // Most samples end here.
    if jump_m.abs() < LEAST_M || t1 - t0 > LONGEST_PAUSE_S || jump_m.abs() < 0.5 * road_m {
        return None;
    }
    let beside = |at: &dyn Fn(usize) -> Option<usize>, from_s: f64| -> Vec<(f64, f64)> {
        (0..BESIDE)
            .map_while(at)
            .map(|i| (s.time_s[i] - from_s, s.altitude_m[i]))
            .take_while(|(t, _)| t.abs() <= BESIDE_S)
            .collect()
    };
    let left = beside(&|k| known.get(place.checked_sub(k + 1)?).copied(), t0);
    let right = beside(&|k| known.get(place + k).copied(), t1);
    let (a, b) = (Line::of(&left)?, Line::of(&right)?);
    // The road between the two samples goes on as beside them.
    let between_s = if paused { 0.0 } else { t1 - t0 };
    let step_m = b.start - a.start - 0.5 * (a.rate + b.rate) * between_s;
    let scatter_m = a.square.max(b.square).sqrt().max(NOISE_M);
    let steep_m = if paused { road_m } else { 0.0 };
    let clear = step_m.abs() > LEAST_M + weather_m + steep_m && step_m.abs() > CLEAR * scatter_m;
    // Where the road was followed for a while between the samples, it may have turned steep there.
    let short = paused || step_m.abs() > road_m;
    // What comes back at once leaves a slope on one side that the other does not have.
    let stays = (a.rate - b.rate).abs() * STAYS_S < 0.5 * step_m.abs();
    (clear && short && stays).then_some(step_m)
}

/// How far the rider came between two samples.
fn way_m(s: &Streams, before: usize, after: usize, paused: bool) -> f64 {
    let ridden = s.distance_m[after] - s.distance_m[before];
    if ridden.is_finite() && ridden >= 0.0 {
        return ridden;
    }
    let speeds = [s.speed_m_s[before], s.speed_m_s[after]];
    let known: Vec<f64> = speeds.into_iter().filter(|v| v.is_finite()).collect();
    let seconds = if paused {
        1.0
    } else {
        s.time_s[after] - s.time_s[before]
    };
    if known.is_empty() {
        15.0 * seconds
    } else {
        known.iter().sum::<f64>() / known.len() as f64 * seconds
    }
}

/// A straight line through the samples on one side: where it stands at the step, how fast it climbs, and what is left.
struct Line {
    start: f64,
    rate: f64,
    square: f64,
}

impl Line {
    fn of(samples: &[(f64, f64)]) -> Option<Line> {
        let n = samples.len() as f64;
        if samples.len() < BESIDE / 2 {
            return None;
        }
        let (t, h) = samples
            .iter()
            .fold((0.0, 0.0), |(t, h), s| (t + s.0 / n, h + s.1 / n));
        let (mut tt, mut th) = (0.0, 0.0);
        for s in samples {
            tt += (s.0 - t).powi(2);
            th += (s.0 - t) * (s.1 - h);
        }
        let rate = th / tt;
        let square = samples
            .iter()
            .map(|s| (s.1 - h - rate * (s.0 - t)).powi(2))
            .sum::<f64>()
            / (n - 2.0);
        rate.is_finite().then_some(Line {
            start: h - rate * t,
            rate,
            square,
        })
    }
}

#[cfg(test)]
mod tests {
    use crate::recording::Sample;
    use crate::streams::Streams;
    use crate::streams::testing::{START_S, after_long, kinds};

    fn set_anew(samples: &mut [Sample], from: usize, metres: f64) {
        for sample in &mut samples[from..] {
            sample.altitude_m = sample.altitude_m.map(|h| h + metres);
        }
    }

    fn steps(change: impl FnOnce(&mut Vec<Sample>)) -> (Streams, Streams) {
        (after_long(300, |_| ()), after_long(300, change))
    }

    #[test]
    fn a_step_is_found_said_and_levelled_to_what_comes_after() {
        for metres in [-12.0, 2.6, 50.0] {
            let (plain, streams) = steps(|samples| set_anew(samples, 100, metres));
            assert_eq!(kinds(&streams.repairs), [("altitude step", 100)], "{metres}");
            assert_eq!(streams.altitude_steps_s, [START_S + 99.5]);
            for i in 0..300 {
                let off = streams.altitude_m[i] - plain.altitude_m[i] - metres;
                assert!(off.abs() < 0.4, "{metres} {i} {off}");
                assert!(i < 100 || off.abs() < 1e-9);
            }
        }
    }

    #[test]
    fn several_steps_add_up() {
        let (plain, streams) = steps(|samples| {
            set_anew(samples, 100, 8.0);
            set_anew(samples, 180, -5.0);
        });
        assert_eq!(streams.altitude_steps_s.len(), 2);
        for i in [0, 50, 120, 170, 200, 290] {
            assert!(
                (streams.altitude_m[i] - plain.altitude_m[i] - 3.0).abs() < 0.8,
                "{i}"
            );
        }
    }

    #[test]
    fn a_wall_of_a_hill_a_peak_and_a_small_step_are_none() {
        // 22 % for 20 s at 4 m/s, out of the flat.
        let (_, hill) = steps(|samples| {
            for (i, sample) in samples.iter_mut().enumerate() {
                let climbing = (i as f64 - 100.0).clamp(0.0, 20.0);
                sample.speed_m_s = Some(4.0);
                sample.distance_m = Some(4.0 * i as f64);
                (sample.latitude_deg, sample.longitude_deg) = (None, None);
                sample.altitude_m = Some(300.0 + 0.22 * 4.0 * climbing);
            }
        });
        let (_, peak) = steps(|samples| {
            for sample in &mut samples[100..104] {
                sample.altitude_m = sample.altitude_m.map(|h| h + 9.0);
            }
        });
        let (_, small) = steps(|samples| set_anew(samples, 100, 1.4));
        for streams in [hill, peak, small] {
            assert!(
                streams.altitude_steps_s.is_empty(),
                "{:?}",
                kinds(&streams.repairs)
            );
        }
    }

    #[test]
    fn a_step_across_a_hole_of_some_seconds_is_found_too() {
        let (_, streams) = steps(|samples| {
            set_anew(samples, 100, 15.0);
            samples.drain(97..103);
        });
        assert_eq!(streams.altitude_steps_s.len(), 1);
    }
}
