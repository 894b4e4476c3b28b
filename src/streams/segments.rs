//! A stretch of time as pieces with one power each: the raw material of the road-load integrals.

use super::Streams;
use super::gaps::LONGEST_BY_NEED_S;

/// Power constant and speed linear from `start_s` to `end_s`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    pub start_s: f64,
    pub end_s: f64,
    /// NaN: unknown.
    pub power_w: f64,
    /// The power was read after this piece, by a unit that samples by need: the best guess, and not a measurement.
    pub held: bool,
    /// NaN where the speed is not known.
    pub start_speed_m_s: f64,
    pub end_speed_m_s: f64,
    /// Mean over the piece; NaN where it is not known.
    pub air_speed_m_s: f64,
}

impl Streams {
    /// Pieces between consecutive samples, cut at `from_s` and `to_s`, in order of time; nothing where
    /// the recording has no samples on both sides.
    ///
    /// Power is the mean over the base interval that *ends* at its stamp and constant within it. An
    /// interval longer than 1.5 base intervals gives two pieces: the part before the last base interval,
    /// of unknown power, and that interval. Where the unit samples by need, the power of the part before stands for
    /// it as well, marked as held: it is exact where the unit gives means since the last sample, and off by chance
    /// alone where it gives what it read last. Speed is linear between samples; missing ones are bridged
    /// between valid neighbours up to `longest_bridge_s` apart, never across a pause. Air speed likewise, across
    /// 3 s at most: gusts do not last longer.
    pub fn segments(&self, from_s: f64, to_s: f64) -> Vec<Segment> {
        let mut out = Vec::new();
        if from_s.is_nan() || to_s.is_nan() || from_s >= to_s {
            return out;
        }
        // The interval that holds `from_s` ends at the first sample after it.
        let first = self.time_s.partition_point(|&sample| sample <= from_s).max(1);
        for end in first..self.time_s.len() {
            let (start_s, end_s) = (self.time_s[end - 1], self.time_s[end]);
            if start_s >= to_s {
                break;
            }
            let power = self.power_w[end];
            let line = self.line(&self.speed_m_s, end, self.longest_bridge_s());
            let air = self.line(&self.air_speed_m_s, end, self.longest_air_speed_bridge_s());
            let mut push = |a: f64, b: f64, power_w: f64, held: bool| {
                let (a, b) = (a.max(from_s), b.min(to_s));
                if a < b {
                    out.push(Segment {
                        start_s: a,
                        end_s: b,
                        power_w,
                        held,
                        start_speed_m_s: line.at(a),
                        end_speed_m_s: line.at(b),
                        air_speed_m_s: 0.5 * (air.at(a) + air.at(b)),
                    });
                }
            };
            if end_s - start_s <= 1.5 * self.nominal_interval_s {
                push(start_s, end_s, power, false);
            } else {
                let known_from = end_s - self.nominal_interval_s;
                let held = self.by_need && end_s - start_s <= LONGEST_BY_NEED_S;
                push(start_s, known_from, if held { power } else { f64::NAN }, held);
                push(known_from, end_s, power, false);
            }
        }
        out
    }

    /// The straight line of a channel over the interval that ends at sample `end`.
    fn line(&self, channel: &[f64], end: usize, longest_s: f64) -> Line {
        let bridge = || {
            let (start_s, end_s) = (self.time_s[end - 1], self.time_s[end]);
            let after = self.next_valid(channel, end, start_s)?;
            let before = self.last_valid(channel, end - 1, end_s)?;
            let (t0, t1) = (self.time_s[before], self.time_s[after]);
            let open = t1 - t0 <= longest_s && !self.paused_between(t0, t1);
            open.then(|| Line {
                start: (t0, channel[before]),
                end: (t1, channel[after]),
            })
        };
        let unknown = Line {
            start: (0.0, f64::NAN),
            end: (1.0, f64::NAN),
        };
        bridge().unwrap_or(unknown)
    }
}

/// Two points in time and a channel.
struct Line {
    start: (f64, f64),
    end: (f64, f64),
}

impl Line {
    fn at(&self, time_s: f64) -> f64 {
        let ((t0, v0), (t1, v1)) = (self.start, self.end);
        if time_s == t1 {
            return v1;
        }
        v0 + (v1 - v0) * (time_s - t0) / (t1 - t0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::TimerEvent;
    use crate::streams::align;
    use crate::streams::testing::{START_S, after, ride, speed};

    fn piece(segment: &Segment) -> (f64, f64, f64) {
        (
            segment.start_s - START_S,
            segment.end_s - START_S,
            segment.power_w,
        )
    }

    #[test]
    fn a_cut_between_samples_splits_there() {
        let streams = after(|_| ());
        let power = &streams.power_w;
        let segments = streams.segments(START_S + 10.25, START_S + 12.5);
        let pieces: Vec<_> = segments.iter().map(piece).collect();
        let wanted = [
            (10.25, 11.0, power[11]),
            (11.0, 12.0, power[12]),
            (12.0, 12.5, power[13]),
        ];
        assert_eq!(pieces, wanted);
        let at_cut = speed(10) + 0.25 * (speed(11) - speed(10));
        assert!((segments[0].start_speed_m_s - at_cut).abs() < 1e-12);
        assert_eq!(segments[0].end_speed_m_s, speed(11));
    }

    #[test]
    fn power_is_not_held_longer_than_the_base_interval() {
        let streams = after(|samples| {
            samples.drain(41..43);
        });
        let segments = streams.segments(START_S + 40.0, START_S + 44.0);
        let (start, known) = (piece(&segments[0]), piece(&segments[1]));
        assert_eq!((start.0, start.1), (40.0, 42.0));
        assert!(start.2.is_nan());
        assert_eq!((known.0, known.1, known.2), (42.0, 43.0, streams.power_w[41]));
        assert_eq!(segments.len(), 3);
        assert_eq!(streams.missing_power_s(START_S + 40.0, START_S + 44.0), 2.0);
    }

    /// A sample every 1, 2, 3 and 4 s in turn.
    fn by_need() -> Streams {
        after(|samples| {
            let kept = |sample: &crate::recording::Sample| {
                [0, 1, 3, 6].contains(&((sample.time_s - START_S) as usize % 10))
            };
            samples.retain(kept);
        })
    }

    #[test]
    fn sampled_by_need_a_power_stands_for_the_interval_that_it_ends() {
        let streams = by_need();
        assert!(streams.by_need && streams.nominal_interval_s < 4.5);
        let from = START_S + 13.0;
        let segments = streams.segments(from, from + 3.0);
        let power = streams.power_w[streams.index_at_or_after(from + 3.0)];
        assert!(segments.iter().all(|s| s.power_w == power));
        assert!(segments[0].held && !segments[segments.len() - 1].held);
        assert_eq!(streams.missing_power_s(START_S + 10.0, START_S + 50.0), 0.0);
    }

    #[test]
    fn missing_speed_is_bridged_up_to_8_s_and_no_further() {
        let hole = |seconds: usize| {
            after(|samples| {
                for sample in samples {
                    sample.distance_m = None;
                    let second = (sample.time_s - START_S) as usize;
                    if (40..40 + seconds).contains(&second) {
                        sample.speed_m_s = None;
                    }
                }
            })
        };
        let bridged = hole(7).segments(START_S + 41.0, START_S + 42.0);
        let wanted = speed(39) + (speed(47) - speed(39)) * 2.0 / 8.0;
        assert!((bridged[0].start_speed_m_s - wanted).abs() < 1e-12);
        let open = hole(8).segments(START_S + 41.0, START_S + 42.0);
        assert!(open[0].start_speed_m_s.is_nan() && open[0].end_speed_m_s.is_nan());
    }

    #[test]
    fn speed_is_not_known_across_a_pause() {
        let mut recording = ride(60);
        recording.timer_events = vec![
            TimerEvent {
                time_s: START_S + 30.0,
                running: false,
            },
            TimerEvent {
                time_s: START_S + 31.0,
                running: true,
            },
        ];
        let streams = align(recording).unwrap();
        let segments = streams.segments(START_S + 29.0, START_S + 32.0);
        let known: Vec<bool> = segments.iter().map(|s| s.start_speed_m_s.is_finite()).collect();
        assert_eq!(known, [true, false, true]);
    }

    #[test]
    fn pieces_fill_the_time_without_overlap() {
        let streams = after(|samples| {
            samples.drain(50..55);
            samples.drain(20..21);
        });
        let (from, to) = (START_S + 3.3, START_S + 101.7);
        let segments = streams.segments(from, to);
        assert_eq!(segments[0].start_s, from);
        assert_eq!(segments[segments.len() - 1].end_s, to);
        assert!(segments.windows(2).all(|w| w[0].end_s == w[1].start_s));
        assert!(streams.segments(to, from).is_empty());
        assert!(streams.segments(f64::NAN, to).is_empty());
    }
}
