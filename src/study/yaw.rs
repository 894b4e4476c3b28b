//! The yaw that a set-up was ridden at.

use crate::estimate::cells::PassRide;
use crate::estimate::joint::{Joint, PassJudged};
use crate::estimate::one_pass::GUST_MEMORY_S;
use crate::estimate::plain::Day;

/// A wind across the road that is known no better says little of the yaw: 0.7 m/s is 4° at 10 m/s (a judgement).
const KNOWN_M_S: f64 = 0.7;

/// Over the passes of a set-up, in the wind of the joint estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Yaw {
    /// Root mean square: of the wind of each pass, of what is not known of it, and of gusts.
    pub rms_deg: f64,
    /// The part of it that is not known: root mean square of the wind's uncertainty across the road, as yaw.
    pub unknown_deg: f64,
    /// Nine tenths of the time lie between, in the mean wind of each pass; positive where the air moves to the
    /// rider's right.
    pub range_deg: [f64; 2],
}

impl Yaw {
    /// `None` without a pass, or where the wind across the road is known no better than ± 0.7 m/s.
    pub(super) fn of(day: &Day, joint: &Joint, setup: usize) -> Option<Yaw> {
        let all = day.rides.iter().zip(&joint.passes);
        let own: Vec<(&PassRide, &PassJudged)> = all.filter(|(ride, _)| ride.setup == setup).collect();
        let gusts_m2_s2 = joint.strengths.gust_q_m2_s / (2.0 * GUST_MEMORY_S);
        let (mut squares, mut unknown, mut seconds) = (0.0, 0.0, 0.0);
        let mut yaws: Vec<(f64, f64)> = Vec::new();
        for (ride, judged) in own {
            let across_m_s = judged.crosswind_standard_uncertainty_m_s;
            if across_m_s > KNOWN_M_S {
                return None;
            }
            let speed_m_s = ride.mean_speed_m_s();
            // A wind across turns the air met by its share of the rider's speed, in radians: small beside 1.
            let turned_deg2 = |m2_s2: f64| m2_s2 / (speed_m_s * speed_m_s) * 1f64.to_degrees().powi(2);
            for (yaw, duration_s) in ride.yaws_deg(judged.wind_m_s.map(|(wind, _)| wind)) {
                squares += yaw * yaw * duration_s;
                seconds += duration_s;
                yaws.push((yaw, duration_s));
            }
            unknown += turned_deg2(across_m_s * across_m_s) * ride.duration_s();
            squares += turned_deg2(gusts_m2_s2) * ride.duration_s();
        }
        (seconds > 0.0).then(|| Yaw {
            rms_deg: ((squares + unknown) / seconds).sqrt(),
            unknown_deg: (unknown / seconds).sqrt(),
            range_deg: range(yaws, seconds),
        })
    }

    /// "6° (−8° to 9°)"
    pub(super) fn in_words(&self) -> String {
        let [low, high] = self.range_deg;
        format!("{:.0}° ({low:.0}° to {high:.0}°)", self.rms_deg)
    }
}

/// The ends that a twentieth of the time lies beyond, on either side.
fn range(mut yaws: Vec<(f64, f64)>, seconds: f64) -> [f64; 2] {
    yaws.sort_by(|a, b| a.0.total_cmp(&b.0));
    [0.05, 0.95].map(|share| {
        let mut before = 0.0;
        for (yaw, duration_s) in &yaws {
            before += duration_s;
            if before >= share * seconds {
                return *yaw;
            }
        }
        f64::NAN
    })
}
