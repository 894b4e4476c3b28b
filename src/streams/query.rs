//! Questions that the analysis asks of a recording.

use super::Streams;
use super::gaps;

impl Streams {
    /// Name of the file, without its folder.
    pub fn name(&self) -> String {
        let name = self.file.file_name().unwrap_or(self.file.as_os_str());
        name.to_string_lossy().into_owned()
    }

    /// Time of the first sample. [unix s] NaN for no samples, which `align` never gives.
    pub fn start_s(&self) -> f64 {
        self.time_s.first().copied().unwrap_or(f64::NAN)
    }

    /// Time of the last sample. [unix s]
    pub fn end_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or(f64::NAN)
    }

    pub fn duration_s(&self) -> f64 {
        self.end_s() - self.start_s()
    }

    /// Whether there is any power above zero: a meter that only ever says 0 is no meter.
    pub fn has_power(&self) -> bool {
        self.power_w.iter().any(|power| *power > 0.0)
    }

    pub fn has_positions(&self) -> bool {
        let both = self.latitude_deg.iter().zip(&self.longitude_deg);
        both.filter(|(lat, lon)| lat.is_finite() && lon.is_finite())
            .nth(1)
            .is_some()
    }

    /// Whether the samples around a moment have positions, and were not found to be off the road.
    pub fn is_placed_at(&self, time_s: f64) -> bool {
        let after = self.index_at_or_after(time_s);
        let known = |index: usize| self.latitude_deg.get(index).is_none_or(|lat| lat.is_finite());
        known(after) && known(after.saturating_sub(1))
    }

    pub fn has_altitude(&self) -> bool {
        self.altitude_m.iter().filter(|h| h.is_finite()).nth(1).is_some()
    }

    /// Index of the first sample at `time_s` or later; the number of samples when there is none.
    pub fn index_at_or_after(&self, time_s: f64) -> usize {
        self.time_s.partition_point(|&sample| sample < time_s)
    }

    /// The longest interval between two valid samples that is bridged by a straight line. [s]
    pub fn longest_bridge_s(&self) -> f64 {
        (4.0 * self.nominal_interval_s).max(8.0)
    }

    /// An interval between samples longer than this counts as a gap. [s]
    pub fn gap_limit_s(&self) -> f64 {
        gaps::gap_limit_s(&self.time_s, self.nominal_interval_s)
    }

    /// Ground speed, linear between valid neighbours; `None` across a pause, outside the recording, or
    /// where they are further apart than `longest_bridge_s`. [m/s]
    pub fn speed_at(&self, time_s: f64) -> Option<f64> {
        self.value_at(&self.speed_m_s, time_s)
    }

    /// Altitude, as `speed_at`. [m]
    pub fn altitude_at(&self, time_s: f64) -> Option<f64> {
        self.value_at(&self.altitude_m, time_s)
    }

    /// Any channel as long as `time_s`, linear between valid neighbours as `speed_at`.
    pub fn value_at(&self, channel: &[f64], time_s: f64) -> Option<f64> {
        let after = self.next_valid(channel, self.index_at_or_after(time_s), time_s)?;
        if self.time_s[after] == time_s {
            return Some(channel[after]);
        }
        let before = self.last_valid(channel, after.checked_sub(1)?, self.time_s[after])?;
        let (start_s, end_s) = (self.time_s[before], self.time_s[after]);
        if end_s - start_s > self.longest_bridge_s() || self.paused_between(start_s, end_s) {
            return None;
        }
        let share = (time_s - start_s) / (end_s - start_s);
        Some(channel[before] + share * (channel[after] - channel[before]))
    }

    /// First valid sample from `index` on that can be bridged to from `time_s`.
    pub(super) fn next_valid(&self, channel: &[f64], index: usize, time_s: f64) -> Option<usize> {
        let latest = time_s + self.longest_bridge_s();
        (index..channel.len().min(self.time_s.len()))
            .take_while(|&i| self.time_s[i] <= latest)
            .find(|&i| channel[i].is_finite())
    }

    /// Last valid sample up to `index` that can be bridged from to `time_s`.
    pub(super) fn last_valid(&self, channel: &[f64], index: usize, time_s: f64) -> Option<usize> {
        let earliest = time_s - self.longest_bridge_s();
        (0..=index)
            .rev()
            .take_while(|&i| self.time_s[i] >= earliest)
            .find(|&i| channel.get(i).is_some_and(|value| value.is_finite()))
    }

    /// Whether the timer stood for any part of the time from `from_s` to `to_s`.
    pub fn paused_between(&self, from_s: f64, to_s: f64) -> bool {
        self.gaps_between(from_s, to_s).any(|gap| gap.paused)
    }

    /// Gaps of either kind that share time with `from_s` to `to_s`, in order.
    pub fn gaps_between(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = &super::Gap> {
        let first = self.gaps.partition_point(|gap| gap.end_s <= from_s);
        self.gaps
            .get(first..)
            .unwrap_or_default()
            .iter()
            .take_while(move |gap| gap.start_s < to_s)
    }

    /// Whether the time from `from_s` to `to_s` holds any part of a gap.
    pub fn is_gap(&self, from_s: f64, to_s: f64) -> bool {
        self.gaps_between(from_s, to_s).next().is_some()
    }

    /// Time between `from_s` and `to_s` over which the power is unknown, time outside the recording
    /// included. [s]
    pub fn missing_power_s(&self, from_s: f64, to_s: f64) -> f64 {
        let known: f64 = self
            .segments(from_s, to_s)
            .iter()
            .filter(|segment| segment.power_w.is_finite())
            .map(|segment| segment.end_s - segment.start_s)
            .sum();
        (to_s - from_s - known).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use crate::recording::TimerEvent;
    use crate::streams::testing::{START_S, after, ride, speed};
    use crate::streams::{Gap, align};

    #[test]
    fn what_the_recording_holds() {
        let streams = after(|samples| samples.iter_mut().for_each(|s| s.power_w = Some(0.0)));
        assert_eq!(streams.name(), "ride.fit");
        assert_eq!(streams.duration_s(), 119.0);
        assert!(!streams.has_power() && streams.has_positions() && streams.has_altitude());
    }

    #[test]
    fn a_time_finds_its_sample() {
        let streams = after(|_| ());
        assert_eq!(streams.index_at_or_after(START_S - 5.0), 0);
        assert_eq!(streams.index_at_or_after(START_S + 7.0), 7);
        assert_eq!(streams.index_at_or_after(START_S + 7.1), 8);
        assert_eq!(streams.index_at_or_after(START_S + 500.0), 120);
    }

    #[test]
    fn values_between_samples_lie_on_the_line() {
        let streams = after(|samples| {
            samples[60].altitude_m = None;
            samples.drain(80..90);
        });
        let between = speed(10) + 0.4 * (speed(11) - speed(10));
        assert!((streams.speed_at(START_S + 10.4).unwrap() - between).abs() < 1e-6);
        assert_eq!(streams.speed_at(START_S + 10.0), Some(speed(10)));
        let (before, after) = (streams.altitude_m[59], streams.altitude_m[61]);
        let middle = streams.altitude_at(START_S + 60.0).unwrap();
        assert!((middle - 0.5 * (before + after)).abs() < 1e-9);
        for outside in [-0.5, 85.0, 119.5, f64::NAN] {
            assert_eq!(streams.speed_at(START_S + outside), None, "{outside}");
        }
    }

    #[test]
    fn pauses_and_holes_are_told_apart() {
        let mut recording = ride(120);
        recording.samples.drain(41..51);
        recording.samples.drain(80..90);
        let event = |second: f64, running| TimerEvent {
            time_s: START_S + second,
            running,
        };
        recording.timer_events = vec![event(40.0, false), event(51.0, true)];
        let streams = align(recording).unwrap();
        let gap = |start: f64, end: f64, paused| Gap {
            start_s: START_S + start,
            end_s: START_S + end,
            paused,
        };
        assert_eq!(streams.gaps, [gap(40.0, 51.0, true), gap(89.0, 100.0, false)]);
        assert!(streams.paused_between(START_S + 50.0, START_S + 60.0));
        assert!(!streams.paused_between(START_S + 51.0, START_S + 119.0));
        assert!(streams.is_gap(START_S + 95.0, START_S + 96.0));
        assert!(!streams.is_gap(START_S + 100.0, START_S + 101.0));
        assert_eq!(streams.speed_at(START_S + 45.0), None);
    }

    #[test]
    fn unknown_power_is_counted_outside_the_recording_too() {
        let streams = after(|samples| samples[30].power_w = None);
        assert_eq!(streams.missing_power_s(START_S + 20.0, START_S + 40.0), 1.0);
        assert_eq!(streams.missing_power_s(START_S - 5.0, START_S + 10.0), 5.0);
    }
}
