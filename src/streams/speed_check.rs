//! Distance by the speed channel against distance by positions.

use super::position::{chord_m, offset_m, valid};
use super::{SpeedCheck, SpeedSource, Streams};

const SLOWEST_M_S: f64 = 3.0;
const SHORT_CHORD_M: f64 = 10.0;
const LONG_CHORD_M: f64 = 20.0;
const PIECE_M: f64 = 1000.0;
/// Chords in bends of a smaller radius are left out: positions are filtered and cut sharp corners.
const SHARPEST_M: f64 = 60.0;
/// Stands for the spread of a 1 km piece until there are four of them: real rides show 0.4 to 1 %.
const SPREAD_OF_A_PIECE: f64 = 0.01;

/// Ratio of ∫v dt to the length of the track on the ellipsoid, over moving stretches without gaps.
///
/// Positions are thinned to chords. Short chords are lengthened by the wander of positions (by σ²/L² for
/// a wander of σ between two of them); long ones cut the bends that they span. For a turn of δ per chord
/// the arc is longer by δ²/24, which is added, and bends of less than 60 m radius are left out of both
/// lengths; but a chord does not see a bend that begins and ends within it. On 15 real rides the ratio
/// rises by 0.0002 to 0.001 from chords of 10 m to 20 m, and by 0.001 to 0.005 from 20 m to 40 m: cutting
/// is what matters, wander is below 0.0003 at 10 m. So the logarithm is the mean of what chords of 10 m
/// and 20 m give, and half their difference is part of the uncertainty. Climb is added from the altitude.
///
/// Lengths are summed over pieces of 1 km. The ratio is the mean over pieces whose logarithm lies within
/// four median deviations of the median; its standard uncertainty is the spread over pieces divided by √n,
/// with half the difference of the two chords added in squares.
/// `None` when speed is not measured apart from the positions or less than 1 km can be compared.
pub(super) fn check(streams: &Streams) -> Option<SpeedCheck> {
    if matches!(streams.speed_source, SpeedSource::Positions | SpeedSource::None) {
        return None;
    }
    let short = compare(streams, SHORT_CHORD_M)?;
    let long = compare(streams, LONG_CHORD_M)?;
    let ratio = (0.5 * (short.log_ratio + long.log_ratio)).exp();
    let of_chords = 0.5 * (long.log_ratio - short.log_ratio);
    Some(SpeedCheck {
        ratio,
        standard_uncertainty: ratio * long.uncertainty.hypot(of_chords),
        length_m: long.length_m,
    })
}

struct Comparison {
    log_ratio: f64,
    uncertainty: f64,
    length_m: f64,
}

fn compare(streams: &Streams, chord_length_m: f64) -> Option<Comparison> {
    let mut pieces: Vec<(f64, f64)> = Vec::new();
    let mut sum = (0.0, 0.0);
    for chain in chains(streams, chord_length_m) {
        for (by_speed, by_positions) in lengths(streams, &chain) {
            sum = (sum.0 + by_speed, sum.1 + by_positions);
            if sum.1 >= PIECE_M {
                pieces.push(sum);
                sum = (0.0, 0.0);
            }
        }
    }
    let logs: Vec<f64> = pieces.iter().map(|(a, b)| (a / b).ln()).collect();
    let kept = without_outliers(&logs);
    let n = kept.len() as f64;
    if kept.is_empty() {
        return None;
    }
    let mean = kept.iter().sum::<f64>() / n;
    let squares: f64 = kept.iter().map(|log| (log - mean).powi(2)).sum();
    let spread = if kept.len() < 4 {
        SPREAD_OF_A_PIECE
    } else {
        (squares / (n - 1.0)).sqrt()
    };
    Some(Comparison {
        log_ratio: mean,
        uncertainty: spread / n.sqrt(),
        length_m: pieces.iter().map(|piece| piece.1).sum(),
    })
}

fn without_outliers(logs: &[f64]) -> Vec<f64> {
    let middle = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let logs: Vec<f64> = logs.iter().copied().filter(|log| log.is_finite()).collect();
    let Some(centre) = middle(logs.clone()) else {
        return logs;
    };
    let spread = middle(logs.iter().map(|log| (log - centre).abs()).collect()).unwrap_or(0.0);
    // 1.4826 makes the median deviation of a normal distribution its standard deviation; a floor of
    // 0.1 % keeps an exact recording from judging itself.
    let allowed = 4.0 * (1.4826 * spread).max(0.001);
    logs.into_iter()
        .filter(|log| (log - centre).abs() <= allowed)
        .collect()
}

/// Sample indices `chord_length_m` apart at least, in unbroken chains of moving samples.
fn chains(streams: &Streams, chord_length_m: f64) -> Vec<Vec<usize>> {
    let mut out: Vec<Vec<usize>> = Vec::new();
    let moving = |i: usize| streams.speed_m_s[i] > SLOWEST_M_S;
    let mut broken = true;
    for i in 0..streams.time_s.len() {
        let gap = i > 0 && streams.is_gap(streams.time_s[i - 1], streams.time_s[i]);
        broken |= gap || !moving(i);
        if !moving(i) || !valid(streams, i) {
            continue;
        }
        match out.last_mut() {
            Some(chain) if !broken => {
                let from = chain.last().copied().unwrap_or(i);
                if chord_m(streams, from, i).is_some_and(|length| length >= chord_length_m) {
                    chain.push(i);
                }
            }
            _ => out.push(vec![i]),
        }
        broken = false;
    }
    out
}

/// Length by speed and by positions of each chord that has a neighbour on both sides.
fn lengths(streams: &Streams, chain: &[usize]) -> Vec<(f64, f64)> {
    let directions: Vec<Option<f64>> = chain
        .windows(2)
        .map(|w| offset_m(streams, w[0], w[1]).map(|(east, north)| east.atan2(north)))
        .collect();
    let turn = |a: usize, b: usize| {
        let (a, b) = (directions.get(a)?.as_ref()?, directions.get(b)?.as_ref()?);
        let turn = (b - a).rem_euclid(std::f64::consts::TAU);
        Some(turn.min(std::f64::consts::TAU - turn))
    };
    let mut out = Vec::new();
    for place in 1..directions.len().saturating_sub(1) {
        let (Some(&a), Some(&b)) = (chain.get(place), chain.get(place + 1)) else {
            continue;
        };
        let (Some(before), Some(after)) = (turn(place - 1, place), turn(place, place + 1)) else {
            continue;
        };
        let Some(chord) = chord_m(streams, a, b) else {
            continue;
        };
        if before.max(after) > chord / SHARPEST_M {
            continue;
        }
        let bend = 1.0 + (0.5 * (before + after)).powi(2) / 24.0;
        let by_speed = by_speed_m(streams, a, b);
        if by_speed.is_finite() {
            out.push((by_speed, chord * bend * along_slope(streams, a, b, chord)));
        }
    }
    out
}

fn by_speed_m(streams: &Streams, a: usize, b: usize) -> f64 {
    (a..b)
        .map(|i| {
            let step = streams.time_s[i + 1] - streams.time_s[i];
            0.5 * (streams.speed_m_s[i] + streams.speed_m_s[i + 1]) * step
        })
        .sum()
}

/// Road length over horizontal length. The slope is taken over 10 s to each side: over one chord the
/// noise of the altitude would count as climb.
fn along_slope(streams: &Streams, a: usize, b: usize, chord: f64) -> f64 {
    let (t0, t1) = (streams.time_s[a], streams.time_s[b]);
    let (from_s, to_s) = (t0 - 10.0, t1 + 10.0);
    let low = streams.altitude_at(from_s);
    let high = streams.altitude_at(to_s);
    let speed = chord / (t1 - t0);
    match (low, high) {
        (Some(low), Some(high)) => {
            let slope = (high - low) / (speed * (to_s - from_s));
            // Steeper than roads are: the altitude is wrong, not the road.
            if slope.abs() < 0.3 {
                (1.0 + slope * slope).sqrt()
            } else {
                1.0
            }
        }
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Recording, Sample};
    use crate::streams::align;
    use crate::streams::testing::{START_S, after_long, recording};
    use geo::{Destination, Geodesic, Point};
    use rand::{Rng, SeedableRng};

    fn scaled(factor: f64) -> SpeedCheck {
        let streams = after_long(1200, |samples| {
            for sample in samples {
                sample.speed_m_s = sample.speed_m_s.map(|v| v * factor);
            }
        });
        streams.speed_check.expect("10 km to compare")
    }

    /// Speed is read as a line between samples of a sine: 1e-4 of it at most.
    #[test]
    fn a_wheel_that_is_set_too_large_is_seen() {
        for factor in [1.0, 1.007, 0.988] {
            let check = scaled(factor);
            assert!((check.ratio / factor - 1.0).abs() < 1e-4, "{check:?}");
            assert!(check.standard_uncertainty < 1e-3, "{check:?}");
            assert!(check.length_m > 9000.0, "{check:?}");
        }
    }

    /// Rides round and round a circle at 9 m/s; `slip` gives the error of a position in metres.
    fn circle(radius_m: f64, mut slip: impl FnMut() -> f64) -> Recording {
        let centre = Point::new(170.5, -43.9);
        let samples = (0..1800).map(|i| {
            let distance = 9.0 * i as f64;
            let place = Geodesic.destination(centre, (distance / radius_m).to_degrees(), radius_m);
            let place = Geodesic.destination(place, 0.0, slip());
            let place = Geodesic.destination(place, 90.0, slip());
            Sample {
                time_s: START_S + i as f64,
                latitude_deg: Some(place.y()),
                longitude_deg: Some(place.x()),
                speed_m_s: Some(9.0 + 1e-4 * (i % 2) as f64),
                ..Sample::default()
            }
        });
        recording("circle.fit", samples.collect())
    }

    #[test]
    fn chords_do_not_cut_the_bends_they_span() {
        let check = align(circle(120.0, || 0.0)).unwrap().speed_check.unwrap();
        assert!((check.ratio - 1.0).abs() < 3e-4, "{check:?}");
    }

    /// White noise is worse than a real receiver's wander: 0.5 m each way lengthens a chord of 18 m by
    /// σ²/L², 0.08 %, and disturbs the turns by as much again.
    #[test]
    fn wander_of_positions_stays_within_the_stated_uncertainty() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let slip = || (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
        let mut slip = slip;
        let check = align(circle(400.0, || 0.5 * slip()))
            .unwrap()
            .speed_check
            .unwrap();
        assert!(
            (check.ratio - 1.0).abs() < 3.0 * check.standard_uncertainty,
            "{check:?}"
        );
        assert!(check.standard_uncertainty < 0.004, "{check:?}");
    }

    #[test]
    fn a_climb_is_not_taken_for_a_wheel_that_is_set_wrong() {
        let slope: f64 = 0.08;
        let streams = after_long(900, |samples| {
            let first = samples[0];
            for sample in samples {
                let rise = sample.distance_m.unwrap_or_default() * slope;
                sample.altitude_m = first.altitude_m.map(|h| h + rise);
                sample.speed_m_s = sample.speed_m_s.map(|v| v * slope.hypot(1.0));
            }
        });
        let check = streams.speed_check.unwrap();
        assert!((check.ratio - 1.0).abs() < 2e-4, "{check:?}");
    }

    #[test]
    fn too_little_road_gives_no_check() {
        assert_eq!(after_long(90, |_| ()).speed_check, None);
    }
}
