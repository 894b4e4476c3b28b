//! The base interval of a recording, and where it holds no samples.

use super::Gap;
use crate::recording::TimerEvent;

/// The longest interval that a unit sampling by need leaves between two samples. Such units write
/// every 1 to 8 s (common practice, no published source); half a second is for rounding.
pub(super) const LONGEST_BY_NEED_S: f64 = 8.5;
/// From this share of stretched intervals on, a recording counts as sampled by need. Of 16 real rides
/// at 1 s, lost samples and pauses stretch 0.02 to 0.9 % of the intervals; sampling by need most of them.
const SHARE_BY_NEED: f64 = 0.10;

/// Mode of the intervals: the median of the densest band that is 20 % wide, so that jitter does not
/// split it. Intervals above a minute are pauses and do not count unless there is nothing else. [s]
/// `time_s` increases strictly and has two values or more; 1 s is returned for less.
pub(super) fn nominal_interval_s(time_s: &[f64]) -> f64 {
    let mut steps: Vec<f64> = time_s.windows(2).map(|w| w[1] - w[0]).collect();
    steps.sort_by(f64::total_cmp);
    let short = steps.partition_point(|&step| step <= 60.0);
    let counted = if short > 0 { &steps[..short] } else { &steps[..] };
    let mut best = 0..0;
    let mut start = 0;
    for end in 1..=counted.len() {
        while counted[start] * 1.2 < counted[end - 1] {
            start += 1;
        }
        if end - start > best.len() {
            best = start..end;
        }
    }
    counted.get((best.start + best.end) / 2).map_or(1.0, |&s| s)
}

/// An interval longer than this is a gap. [s]
/// 2.5 base intervals; but where 10 % of the intervals or more are stretched (longer than 1.5 base
/// intervals, 8.5 s at most) the unit samples by need, and 8.5 s is the least that counts.
pub(super) fn gap_limit_s(time_s: &[f64], nominal_s: f64) -> f64 {
    let limit = 2.5 * nominal_s;
    if by_need(time_s, nominal_s) {
        limit.max(LONGEST_BY_NEED_S)
    } else {
        limit
    }
}

/// Whether the unit samples by need: where 10 % of the intervals or more are stretched.
pub(super) fn by_need(time_s: &[f64], nominal_s: f64) -> bool {
    let steps = time_s.windows(2).map(|w| w[1] - w[0]);
    let stretched = steps
        .filter(|step| (1.5 * nominal_s..=LONGEST_BY_NEED_S).contains(step))
        .count();
    stretched as f64 >= SHARE_BY_NEED * (time_s.len().max(2) - 1) as f64
}

/// Pauses by the timer, and intervals longer than the limit, in order of time.
pub(super) fn find(time_s: &[f64], nominal_s: f64, events: &[TimerEvent]) -> Vec<Gap> {
    let limit = gap_limit_s(time_s, nominal_s);
    let stops = stops(events);
    let mut gaps: Vec<Gap> = Vec::new();
    let mut last_stop = None;
    let mut first = 0;
    for pair in time_s.windows(2) {
        let (start_s, end_s) = (pair[0], pair[1]);
        while stops
            .get(first)
            .is_some_and(|stop| stop.1 <= start_s && stop.0 < start_s)
        {
            first += 1;
        }
        let stop = stops[first..]
            .iter()
            .take_while(|stop| stop.0 < end_s)
            .position(|stop| stands(*stop, start_s, end_s, nominal_s))
            .map(|place| first + place);
        match (stop, gaps.last_mut()) {
            // The unit went on writing while its timer stood: one pause, not many.
            (Some(_), Some(gap)) if stop == last_stop && gap.end_s == start_s => gap.end_s = end_s,
            _ if stop.is_some() || end_s - start_s > limit => gaps.push(Gap {
                start_s,
                end_s,
                paused: stop.is_some(),
            }),
            _ => {}
        }
        last_stop = stop;
    }
    gaps
}

/// Whether the timer stood for most of the interval, or for half a base interval of it. A stop without
/// a start (equal times) needs an interval in which a sample is missing.
fn stands(stop: (f64, f64), start_s: f64, end_s: f64, nominal_s: f64) -> bool {
    if stop.0 == stop.1 {
        return (start_s..end_s).contains(&stop.0) && end_s - start_s > 1.5 * nominal_s;
    }
    let overlap = stop.1.min(end_s) - stop.0.max(start_s);
    overlap > 0.5 * nominal_s.min(end_s - start_s)
}

/// Start and end of each stop of the timer, in order; equal where no start follows.
fn stops(events: &[TimerEvent]) -> Vec<(f64, f64)> {
    let mut sorted: Vec<TimerEvent> = events.to_vec();
    sorted.retain(|event| event.time_s.is_finite());
    // A stable sort keeps "stop, start" at one time in the order recorded.
    sorted.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let mut out = Vec::new();
    for (place, event) in sorted.iter().enumerate() {
        if !event.running {
            let next = sorted.get(place + 1).filter(|next| next.running);
            out.push((event.time_s, next.map_or(event.time_s, |next| next.time_s)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(time_s: f64, running: bool) -> TimerEvent {
        TimerEvent { time_s, running }
    }

    fn gap(start_s: f64, end_s: f64, paused: bool) -> Gap {
        Gap {
            start_s,
            end_s,
            paused,
        }
    }

    #[test]
    fn the_base_interval_is_the_mode_in_spite_of_jitter_and_pauses() {
        let time = [0.0, 1.01, 2.0, 2.98, 4.0, 5.02, 6.0, 9.0, 12.0, 400.0, 401.0];
        assert!((nominal_interval_s(&time) - 1.0).abs() < 0.03);
        assert_eq!(nominal_interval_s(&[0.0, 0.25, 0.5, 0.75, 2.75]), 0.25);
        assert_eq!(nominal_interval_s(&[0.0, 300.0]), 300.0);
        assert_eq!(nominal_interval_s(&[5.0]), 1.0);
    }

    #[test]
    fn a_lost_sample_is_no_gap_but_three_seconds_are() {
        let time: Vec<f64> = (0..100)
            .filter(|&i| i != 50 && i != 70 && i != 71)
            .map(f64::from)
            .collect();
        assert_eq!(find(&time, 1.0, &[]), [gap(69.0, 72.0, false)]);
    }

    #[test]
    fn sampling_by_need_up_to_8_s_is_no_gap() {
        let mut time = vec![0.0];
        for step in [1.0, 3.0, 8.0, 5.0, 1.0, 1.0, 7.0, 2.0, 12.0, 1.0, 1.0].repeat(5) {
            time.push(time[time.len() - 1] + step);
        }
        let gaps = find(&time, nominal_interval_s(&time), &[]);
        assert_eq!(gaps.len(), 5);
        assert!(gaps.iter().all(|gap| gap.end_s - gap.start_s == 12.0));
    }

    #[test]
    fn the_timer_makes_pauses_of_any_length() {
        let time = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 20.0, 21.0, 22.0];
        let events = [
            event(0.0, true),
            event(2.0, false),
            event(3.0, true),
            event(5.0, false),
            event(20.0, true),
            event(22.0, false),
        ];
        let gaps = find(&time, 1.0, &events);
        assert_eq!(gaps, [gap(2.0, 3.0, true), gap(5.0, 20.0, true)]);
    }

    #[test]
    fn samples_written_while_the_timer_stands_do_not_split_the_pause() {
        let time: Vec<f64> = (0..20).map(f64::from).collect();
        let events = [event(4.2, false), event(9.0, true)];
        assert_eq!(find(&time, 1.0, &events), [gap(4.0, 9.0, true)]);
    }

    #[test]
    fn a_stop_without_a_start_pauses_only_where_samples_are_missing() {
        let time = [0.0, 1.0, 2.0, 3.0, 9.0, 10.0];
        let events = [event(1.0, false), event(3.0, false), event(10.0, false)];
        assert_eq!(find(&time, 1.0, &events), [gap(3.0, 9.0, true)]);
    }
}
