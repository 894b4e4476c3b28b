//! The zero of the power meter, read before blocks: what it drifted by is taken out of the power between.

use super::assign::Assigned;
use crate::course::Ridden;
use crate::streams::Streams;
use crate::test_day::{Extent, PowerAt, TestDay};
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
    /// Each reading is followed by zeroing the meter. It is dated at the start of the first pass of its block (at
    /// `from` where no pass was ridden in it), and before the first one the meter counts as zeroed at the start
    /// of the first recording.
    pub(super) fn of(day: &TestDay, streams: &[Streams], ridden: &Ridden, assigned: &Assigned) -> Self {
        let mut readings: Vec<(f64, f64)> = day
            .blocks
            .iter()
            .enumerate()
            .filter_map(|(number, block)| {
                let torque_nm = block.notes.power_zero_nm?;
                let places = ridden.passes.iter().zip(&assigned.passes);
                let first_pass = places
                    .filter(|(_, place)| place.block == Some(number))
                    .map(|(pass, _)| pass.start_s)
                    .reduce(f64::min);
                let from = match block.extent {
                    Extent::Times { from_s, .. } => Some(from_s),
                    Extent::Passes(_) => None,
                };
                Some((first_pass.or(from)?, torque_nm))
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
