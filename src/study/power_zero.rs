//! The zero of the power meter, read before blocks: what it drifted by is taken out of the power between.

use super::assign::Assigned;
use crate::course::Ridden;
use crate::streams::Streams;
use crate::test_day::{PowerAt, TestDay};
use std::borrow::Cow;
use std::f64::consts::TAU;

/// Where no cadence is recorded (common practice, no published source: riders choose 80 to 100).
const USUAL_CADENCE_RPM: f64 = 90.0;

/// Between two times at which the zero was right: the torque that it had drifted to at the second.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Drift {
    from_s: f64,
    to_s: f64,
    torque_nm: f64,
}

/// What is known of the zero over the day.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PowerZeros {
    drifts: Vec<Drift>,
    /// At a hub the meter turns with the wheel, of this radius; at a crank with the pedals.
    hub_radius_m: Option<f64>,
}

impl PowerZeros {
    /// Each reading is followed by zeroing the meter. Before the first one the meter counts as zeroed at the
    /// start of the first recording.
    pub(super) fn of(day: &TestDay, streams: &[Streams], ridden: &Ridden, assigned: &Assigned) -> Self {
        let mut readings: Vec<(f64, f64)> = day
            .blocks
            .iter()
            .enumerate()
            .filter_map(|(number, block)| {
                let torque_nm = block.notes.power_zero_nm?;
                Some((assigned.noted_at_s(day, ridden, number)?, torque_nm))
            })
            .collect();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut before_s = streams.iter().map(Streams::start_s).fold(f64::INFINITY, f64::min);
        let mut drifts = Vec::new();
        for (time_s, torque_nm) in readings {
            if time_s > before_s {
                drifts.push(Drift {
                    from_s: before_s,
                    to_s: time_s,
                    torque_nm,
                });
            }
            before_s = time_s;
        }
        let hub_radius_m = match day.power_at {
            PowerAt::Crank => None,
            PowerAt::Hub => day.setups.first().map(|setup| setup.wheel_radius_m.value),
        };
        PowerZeros { drifts, hub_radius_m }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.drifts.is_empty()
    }

    /// Whether the zero was right before and read after this time.
    pub(super) fn holds(&self, time_s: f64) -> bool {
        self.torque_nm(time_s).is_some()
    }

    /// What the unloaded meter would have shown; linear in time between readings. [N m]
    fn torque_nm(&self, time_s: f64) -> Option<f64> {
        let drift = self
            .drifts
            .iter()
            .find(|d| d.from_s <= time_s && time_s <= d.to_s)?;
        Some(drift.torque_nm * (time_s - drift.from_s) / (drift.to_s - drift.from_s))
    }

    /// The largest torque drifted to, and the power it makes at the usual cadence. [N m], [W]
    pub(super) fn largest(&self) -> (f64, f64) {
        let torque_nm = self
            .drifts
            .iter()
            .map(|drift| drift.torque_nm)
            .fold(
                0.0,
                |most: f64, torque| if torque.abs() > most.abs() { torque } else { most },
            );
        (torque_nm, torque_nm * USUAL_CADENCE_RPM * TAU / 60.0)
    }

    /// The recordings with the drift taken out of their power. A reading of 0 W stays: the cranks stand, or
    /// the meter cut off what was below its zero.
    pub(super) fn corrected<'a>(&self, streams: &'a [Streams]) -> Cow<'a, [Streams]> {
        if self.is_empty() {
            return Cow::Borrowed(streams);
        }
        streams
            .iter()
            .map(|s| {
                let mut s = s.clone();
                for i in 0..s.power_w.len() {
                    // Power is the mean over the interval that ends at its stamp.
                    let middle_s = s.time_s[i] - 0.5 * s.nominal_interval_s;
                    if let (true, Some(torque_nm)) = (s.power_w[i] > 0.0, self.torque_nm(middle_s)) {
                        let drifted_w = torque_nm * self.turning_rad_s(&s, i);
                        s.power_w[i] = (s.power_w[i] - drifted_w).max(0.0);
                    }
                }
                s
            })
            .collect()
    }

    fn turning_rad_s(&self, s: &Streams, index: usize) -> f64 {
        if let Some(radius_m) = self.hub_radius_m {
            let speed = s.speed_m_s[index];
            return if speed.is_finite() { speed / radius_m } else { 0.0 };
        }
        let cadence = s.cadence_rpm[index];
        // Power without turning cranks is a cadence that was not recorded.
        let rpm = if cadence > 0.0 { cadence } else { USUAL_CADENCE_RPM };
        rpm * TAU / 60.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{out_and_back_plan, ride_day};
    use crate::streams::align;

    /// Zeroed at the start, 0.6 N m after 600 s, then 0 again and −0.3 N m after 300 s more.
    fn zeros(start_s: f64, hub_radius_m: Option<f64>) -> PowerZeros {
        let drift = |from: f64, to: f64, torque_nm: f64| Drift {
            from_s: start_s + from,
            to_s: start_s + to,
            torque_nm,
        };
        PowerZeros {
            drifts: vec![drift(0.0, 600.0, 0.6), drift(600.0, 900.0, -0.3)],
            hub_radius_m,
        }
    }

    /// A thousand seconds at 200 W, 80 rpm and 10 m/s.
    fn steady() -> Streams {
        let mut recording = ride_day(&out_and_back_plan(3, "A", 0.0)).recordings.remove(0);
        let first = recording.samples[0];
        recording.samples = (0..1000)
            .map(|second| crate::recording::Sample {
                time_s: first.time_s + f64::from(second),
                power_w: Some(200.0),
                cadence_rpm: Some(80.0),
                speed_m_s: Some(10.0),
                distance_m: Some(10.0 * f64::from(second)),
                ..first
            })
            .collect();
        recording.timer_events.clear();
        align(recording).unwrap()
    }

    fn corrected(change: impl FnOnce(&mut Streams), hub_radius_m: Option<f64>) -> Vec<f64> {
        let mut streams = steady();
        change(&mut streams);
        let zeros = zeros(streams.start_s(), hub_radius_m);
        zeros.corrected(&[streams])[0].power_w.clone()
    }

    #[test]
    fn the_drift_is_straight_between_readings_and_turns_with_the_cranks() {
        let power = corrected(|_| (), None);
        // 80 rpm are 8.37758 rad/s. The second that ends at 300 has its middle at 299.5: 0.2995 N m.
        assert!((power[300] - (200.0 - 0.2995 * 8.37758)).abs() < 1e-4);
        assert!((power[600] - (200.0 - 0.5995 * 8.37758)).abs() < 1e-4);
        assert!((power[750] - (200.0 + 0.1495 * 8.37758)).abs() < 1e-4);
        // Nobody read the zero after 900 s.
        assert_eq!(power[950], 200.0);
        let all = zeros(0.0, None);
        assert!(all.holds(0.0) && all.holds(900.0) && !all.holds(901.0));
        assert_eq!(all.largest().0, 0.6);
    }

    #[test]
    fn without_a_cadence_it_is_90_a_minute_and_standing_cranks_read_nothing() {
        let power = corrected(
            |s| {
                s.cadence_rpm[300] = f64::NAN;
                s.cadence_rpm[301] = 0.0;
                s.power_w[302] = 0.0;
                s.power_w[303] = 1.0;
                s.power_w[304] = f64::NAN;
            },
            None,
        );
        // 90 rpm are 9.42478 rad/s.
        assert!((power[300] - (200.0 - 0.2995 * 9.42478)).abs() < 1e-4);
        assert!((power[301] - (200.0 - 0.3005 * 9.42478)).abs() < 1e-4);
        assert_eq!((power[302], power[303]), (0.0, 0.0));
        assert!(power[304].is_nan());
    }

    #[test]
    fn at_a_hub_it_turns_with_the_wheel() {
        let power = corrected(|_| (), Some(0.336));
        assert!((power[300] - (200.0 - 0.2995 * 10.0 / 0.336)).abs() < 1e-4);
    }

    #[test]
    fn a_day_without_readings_is_not_copied() {
        let streams = [steady()];
        let none = PowerZeros {
            drifts: vec![],
            hub_radius_m: None,
        };
        assert!(matches!(none.corrected(&streams), Cow::Borrowed(_)));
    }
}
