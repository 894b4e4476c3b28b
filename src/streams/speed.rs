//! Which channel the speed comes from, and how.

use super::fit_line::slope_at_zero;
use super::mark::{list, take_out};
use super::position::{chord_m, offset_m, valid};
use super::speed_faults::FASTEST_M_S;
use super::{Repair, SpeedSource, Streams};

/// Half-width of the window for speed from distance: five samples at 1 s, which brings the rounding of
/// a distance written in whole metres (0.29 m) down to 0.09 m/s. [s]
const DISTANCE_REACH_S: f64 = 2.0;
/// Positions wander more. [s]
const POSITION_REACH_S: f64 = 4.0;
/// Holes in a recorded speed longer than this are not filled from distance. [s]
const LONGEST_FILL_S: f64 = 30.0;

/// Settles `speed_m_s` and `speed_source`: the recorded speed where at least half the samples have it,
/// else the slope of the distance, else the slope of the positions, else none.
/// `in_file`: whether the file itself had a speed at each sample, wrong or right.
pub(super) fn settle(streams: &mut Streams, in_file: &[bool], wheel_sensor: Option<bool>) {
    let samples = streams.time_s.len();
    let count = |channel: &[f64]| channel.iter().filter(|value| value.is_finite()).count();
    let positions = (0..samples).filter(|&i| valid(streams, i)).count();
    if 2 * count(&streams.speed_m_s) >= samples {
        streams.speed_source = match wheel_sensor {
            Some(true) => SpeedSource::WheelSensor,
            _ => SpeedSource::Unit,
        };
        fill_holes(streams, in_file);
        return;
    }
    let rises = rise_m(&streams.distance_m) > 0.0;
    if 2 * count(&streams.distance_m) >= samples && rises {
        streams.speed_source = SpeedSource::Distance;
        streams.speed_m_s = (0..samples).map(|i| from_distance(streams, i)).collect();
    } else if 2 * positions >= samples && positions >= 3 {
        streams.speed_source = SpeedSource::Positions;
        streams.speed_m_s = (0..samples).map(|i| from_positions(streams, i)).collect();
        across_holes(streams);
    } else {
        streams.speed_source = SpeedSource::None;
        streams.speed_m_s = vec![f64::NAN; samples];
        return;
    }
    take_out_impossible(streams);
}

fn rise_m(distance_m: &[f64]) -> f64 {
    let known: Vec<f64> = distance_m.iter().copied().filter(|d| d.is_finite()).collect();
    known.windows(2).map(|w| (w[1] - w[0]).max(0.0)).sum()
}

fn take_out_impossible(streams: &mut Streams) {
    let speed = &streams.speed_m_s;
    let marked: Vec<usize> = (0..speed.len()).filter(|&i| speed[i] > FASTEST_M_S).collect();
    take_out(
        &mut streams.speed_m_s,
        &streams.time_s,
        &marked,
        "impossible speed",
        &mut streams.repairs,
        |span| {
            format!(
                "{} above {FASTEST_M_S:.0} m/s taken out {}",
                span.count("speed"),
                span.when()
            )
        },
    );
}

/// Samples around `centre`, within `reach_s` or the direct neighbours, without a gap in between.
fn window(
    streams: &Streams,
    centre: usize,
    reach_s: f64,
    joins: impl Fn(usize, usize) -> bool,
) -> std::ops::Range<usize> {
    let time = &streams.time_s;
    let near = |a: usize, b: usize, neighbour: bool| {
        let within = (time[b] - time[a]).abs() <= reach_s + 1e-9;
        within || neighbour
    };
    let open = |a: usize| !streams.is_gap(time[a], time[a + 1]) && joins(a, a + 1);
    let mut start = centre;
    while start > 0 && near(start - 1, centre, start == centre) && open(start - 1) {
        start -= 1;
    }
    let mut end = centre + 1;
    while end < time.len() && near(centre, end, end == centre + 1) && open(end - 1) {
        end += 1;
    }
    start..end
}

/// Slope of the distance at sample `i`: a parabola by least squares over 2 s to each side. NaN where
/// the distance is missing or falls. [m/s]
fn from_distance(streams: &Streams, i: usize) -> f64 {
    let (time, distance) = (&streams.time_s, &streams.distance_m);
    if distance[i].is_nan() {
        return f64::NAN;
    }
    // A missing value joins and is skipped below; a counter that falls was reset and does not.
    let joins = |a: usize, b: usize| {
        let falls = distance[b] < distance[a];
        !falls
    };
    let points: Vec<(f64, f64)> = window(streams, i, DISTANCE_REACH_S, joins)
        .filter(|&j| distance[j].is_finite())
        .map(|j| (time[j] - time[i], distance[j] - distance[i]))
        .collect();
    slope_at_zero(&points).map_or(f64::NAN, |slope| slope.max(0.0))
}

/// Length of the velocity at sample `i`: east and north each a parabola by least squares over 4 s to
/// each side. Horizontal, so on a slope shorter than along the road by cos θ (0.1 % at 5 %); near
/// standstill the wander of the positions lifts it above zero. [m/s]
fn from_positions(streams: &Streams, i: usize) -> f64 {
    if !valid(streams, i) {
        return f64::NAN;
    }
    let (mut east, mut north) = (Vec::new(), Vec::new());
    for j in window(streams, i, POSITION_REACH_S, |_, _| true) {
        if let Some((e, n)) = offset_m(streams, i, j) {
            let t = streams.time_s[j] - streams.time_s[i];
            east.push((t, e));
            north.push((t, n));
        }
    }
    if east.len() < 3 {
        return f64::NAN;
    }
    match (slope_at_zero(&east), slope_at_zero(&north)) {
        (Some(east), Some(north)) => east.hypot(north),
        _ => f64::NAN,
    }
}

/// Across a hole in the positions the way is known, and with it the mean speed: the speeds at both ends joined by
/// the parabola of that mean. The way is the straight line, or, where the course bends, a little short of it.
fn across_holes(streams: &mut Streams) {
    let known: Vec<usize> = (0..streams.time_s.len()).filter(|&i| valid(streams, i)).collect();
    let mut filled = Vec::new();
    for pair in known.windows(2).filter(|pair| pair[1] > pair[0] + 1) {
        let (a, b) = (pair[0], pair[1]);
        let (start_s, end_s) = (streams.time_s[a], streams.time_s[b]);
        let (from, to) = (streams.speed_m_s[a], streams.speed_m_s[b]);
        let Some(way_m) = chord_m(streams, a, b) else {
            continue;
        };
        let mean = way_m / (end_s - start_s);
        let open = end_s - start_s <= LONGEST_FILL_S && !streams.paused_between(start_s, end_s);
        if !open || !(from + to).is_finite() || mean > FASTEST_M_S {
            continue;
        }
        for i in a + 1..b {
            let share = (streams.time_s[i] - start_s) / (end_s - start_s);
            let bow = 6.0 * share * (1.0 - share) * (mean - 0.5 * (from + to));
            streams.speed_m_s[i] = (from + share * (to - from) + bow).max(0.0);
            filled.push(i);
        }
    }
    list(
        &streams.time_s,
        &filled,
        "speed across a hole in positions",
        &mut streams.repairs,
        |span| {
            format!(
                "{} {} by the way between the positions around",
                span.count("speed"),
                span.when()
            )
        },
    );
}

/// Fills holes where the file had no speed but has a distance, and lists them. Values that were taken
/// out stay out: the unit summed its distance from the same wrong speed. A hole over which the distance
/// does not fit the speeds at both its ends (2 m/s or 30 %) stays a hole: then the sensor was silent for both.
fn fill_holes(streams: &mut Streams, in_file: &[bool]) {
    let missing = |i: usize| streams.speed_m_s[i].is_nan() && !in_file[i];
    let mut filled: Vec<(usize, f64)> = Vec::new();
    for hole in super::mark::runs(streams.time_s.len(), 1, |a, b| missing(a) && missing(b)) {
        if missing(hole.start) {
            filled.extend(fill(streams, hole).unwrap_or_default());
        }
    }
    let marked: Vec<usize> = filled.iter().map(|&(i, _)| i).collect();
    for (i, value) in filled {
        streams.speed_m_s[i] = value;
    }
    let repairs: &mut Vec<Repair> = &mut streams.repairs;
    super::mark::list(&streams.time_s, &marked, "speed from distance", repairs, |span| {
        format!(
            "{} missing {} filled from the recorded distance",
            span.count("speed"),
            span.when()
        )
    });
}

fn fill(streams: &Streams, hole: std::ops::Range<usize>) -> Option<Vec<(usize, f64)>> {
    let (time, speed, distance) = (&streams.time_s, &streams.speed_m_s, &streams.distance_m);
    let (before, after) = (hole.start.checked_sub(1)?, hole.end);
    let (v0, v1) = (*speed.get(before)?, *speed.get(after)?);
    let elapsed = time[after] - time[before];
    let mean = (distance[after] - distance[before]) / elapsed;
    let expected = 0.5 * (v0 + v1);
    let gap = (before..after).any(|i| streams.is_gap(time[i], time[i + 1]));
    let fits = (mean - expected).abs() <= (0.3 * expected).max(2.0).min(expected);
    // NaN at either end fails `fits`.
    if gap || elapsed > LONGEST_FILL_S || !fits {
        return None;
    }
    hole.map(|i| Some((i, from_distance(streams, i))).filter(|(_, v)| (0.0..=FASTEST_M_S).contains(v)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::streams::testing::{after, after_long, kinds, missing, speed};

    #[test]
    fn a_recorded_speed_is_taken_as_it_is() {
        let streams = after(|_| ());
        assert_eq!(streams.speed_source, SpeedSource::Unit);
        assert_eq!(streams.speed_m_s[17], speed(17));
        assert_eq!(kinds(&streams.repairs), []);
    }

    /// The distance of the made ride is the trapezoid sum of its speeds, so its slope is the speed up to
    /// the curvature of a sine of 126 s within 5 s: at most 1/400 · (2 s)² / 2 m/s, 0.005 m/s.
    #[test]
    fn speed_comes_from_distance_where_none_is_recorded() {
        let streams = after(|samples| samples.iter_mut().for_each(|s| s.speed_m_s = None));
        assert_eq!(streams.speed_source, SpeedSource::Distance);
        for i in 0..120 {
            let off = (streams.speed_m_s[i] - speed(i)).abs();
            assert!(off < 0.005, "{i}: {off}");
        }
    }

    /// Over 9 s the curvature is at most four times as large.
    #[test]
    fn speed_comes_from_positions_where_nothing_else_is_recorded() {
        let streams = after(|samples| {
            for sample in samples {
                (sample.speed_m_s, sample.distance_m) = (None, None);
            }
        });
        assert_eq!(streams.speed_source, SpeedSource::Positions);
        assert_eq!(streams.speed_check, None);
        for i in 0..120 {
            let off = (streams.speed_m_s[i] - speed(i)).abs();
            assert!(off < 0.02, "{i}: {off}");
        }
    }

    #[test]
    fn without_any_way_to_a_speed_there_is_none() {
        let streams = after(|samples| {
            for sample in samples {
                (sample.speed_m_s, sample.distance_m) = (None, None);
                (sample.latitude_deg, sample.longitude_deg) = (None, None);
            }
        });
        assert_eq!(streams.speed_source, SpeedSource::None);
        assert!(streams.speed_m_s.iter().all(|v| v.is_nan()));
        assert!(streams.has_power() && !streams.has_positions());
    }

    #[test]
    fn a_hole_is_filled_from_distance_and_listed() {
        let streams = after(|samples| samples[40..45].iter_mut().for_each(|s| s.speed_m_s = None));
        assert_eq!(kinds(&streams.repairs), [("speed from distance", 5)]);
        assert!((streams.speed_m_s[42] - speed(42)).abs() < 0.005);
    }

    #[test]
    fn a_hole_stays_where_the_distance_stood_still_or_is_missing() {
        let streams = after(|samples| {
            let held = samples[39].distance_m;
            for sample in &mut samples[40..45] {
                (sample.speed_m_s, sample.distance_m) = (None, held);
            }
            let lost = 9.0 * 5.0;
            for sample in &mut samples[45..] {
                sample.distance_m = sample.distance_m.map(|d| d - lost);
            }
            for sample in &mut samples[80..82] {
                (sample.speed_m_s, sample.distance_m) = (None, None);
            }
        });
        assert_eq!(missing(&streams.speed_m_s), [40, 41, 42, 43, 44, 80, 81]);
        assert_eq!(kinds(&streams.repairs), []);
    }

    #[test]
    fn a_distance_that_starts_anew_gives_no_negative_speed() {
        let streams = after_long(200, |samples| {
            let lost = samples[99].distance_m.unwrap_or_default();
            for sample in samples.iter_mut() {
                sample.speed_m_s = None;
            }
            for sample in &mut samples[100..] {
                sample.distance_m = sample.distance_m.map(|d| d - lost);
            }
        });
        assert!(streams.speed_m_s.iter().all(|v| (7.9..10.1).contains(v)));
    }
}
