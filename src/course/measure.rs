//! What a stretch of time holds: distance, mean power.

use crate::streams::Streams;

/// Cumulative distance by the speed channel at each of the given increasing times, from the first. [m]
///
/// Speed is linear between valid samples, however far apart they are: a hole then counts as ridden at
/// the speed of its ends, which is what its length is judged by. `None` without speeds.
pub fn ridden_at(s: &Streams, times_s: &[f64]) -> Option<Vec<f64>> {
    let (from, to) = (*times_s.first()?, *times_s.last()?);
    let first = s.time_s.partition_point(|&t| t <= from);
    let last = s.time_s.partition_point(|&t| t < to);
    let before = (0..first).rev().find(|&i| s.speed_m_s[i].is_finite());
    let after = (last..s.time_s.len()).find(|&i| s.speed_m_s[i].is_finite());
    let inside = (first..last).filter(|&i| s.speed_m_s[i].is_finite());
    let knots: Vec<(f64, f64)> = before
        .into_iter()
        .chain(inside)
        .chain(after)
        .map(|i| (s.time_s[i], s.speed_m_s[i]))
        .collect();
    if knots.is_empty() {
        return None;
    }
    let mut cumulative = vec![0.0];
    for pair in knots.windows(2) {
        let so_far = cumulative[cumulative.len() - 1];
        cumulative.push(so_far + 0.5 * (pair[0].1 + pair[1].1) * (pair[1].0 - pair[0].0));
    }
    let at = |time: f64| {
        let next = knots.partition_point(|knot| knot.0 < time).clamp(1, knots.len()) - 1;
        let (start, speed) = knots[next];
        let Some(&(end, end_speed)) = knots.get(next + 1) else {
            return cumulative[next] + speed * (time - start);
        };
        let dt = (time - start).max(0.0);
        cumulative[next] + speed * dt + 0.5 * (end_speed - speed) * dt * dt / (end - start)
    };
    let origin = at(from);
    Some(times_s.iter().map(|&time| at(time) - origin).collect())
}

/// Distance by the speed channel; NaN without speeds. [m]
pub fn ridden_m(s: &Streams, from_s: f64, to_s: f64) -> f64 {
    ridden_at(s, &[from_s, to_s]).map_or(f64::NAN, |at| at[1])
}

/// When each of the edges of `parts` equal parts of a way was passed, by the speed channel; `parts` + 1 times.
///
/// The speed channel's scale does not matter, since the way from gate to gate is what it is.
pub fn times_at_shares(s: &Streams, from_s: f64, to_s: f64, parts: usize) -> Option<Vec<f64>> {
    let first = s.time_s.partition_point(|&t| t <= from_s);
    let last = s.time_s.partition_point(|&t| t < to_s);
    let mut times = vec![from_s];
    times.extend_from_slice(s.time_s.get(first..last)?);
    times.push(to_s);
    let ridden = ridden_at(s, &times)?;
    let total = *ridden.last()?;
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let at = |edge: usize| {
        let goal = edge as f64 / parts.max(1) as f64 * total;
        let after = ridden.partition_point(|&d| d < goal).clamp(1, ridden.len() - 1);
        let span = ridden[after] - ridden[after - 1];
        let share = if span > 0.0 {
            ((goal - ridden[after - 1]) / span).clamp(0.0, 1.0)
        } else {
            0.0
        };
        times[after - 1] + share * (times[after] - times[after - 1])
    };
    Some((0..=parts).map(at).collect())
}

/// Less than this is not pedalling but what a meter reads at rest.
const COASTING_W: f64 = 5.0;

/// Power over a stretch of time: its mean where it is known, for how long, and how long it was (nearly) zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Power {
    /// NaN where nothing is known.
    pub mean_w: f64,
    pub known_s: f64,
    pub coasted_s: f64,
}

pub fn power(s: &Streams, from_s: f64, to_s: f64) -> Power {
    let (mut work, mut known_s, mut coasted_s) = (0.0, 0.0, 0.0);
    for segment in s
        .segments(from_s, to_s)
        .iter()
        .filter(|segment| segment.power_w.is_finite())
    {
        let held_s = segment.end_s - segment.start_s;
        work += segment.power_w * held_s;
        known_s += held_s;
        if segment.power_w < COASTING_W {
            coasted_s += held_s;
        }
    }
    let mean_w = if known_s > 0.0 { work / known_s } else { f64::NAN };
    Power {
        mean_w,
        known_s,
        coasted_s,
    }
}

#[cfg(test)]
mod tests {
    use super::super::made::straight;
    use super::*;

    #[test]
    fn distance_follows_a_steady_acceleration_exactly() {
        // v = 5 + 0.5 t, so x = 5 t + 0.25 t²: trapezoids are exact for it.
        let s = straight(20, |t| 5.0 + 0.5 * t, |_| 200.0);
        let t0 = s.time_s[0];
        assert!(
            (ridden_m(&s, t0 + 2.3, t0 + 9.7) - (5.0 * 7.4 + 0.25 * (9.7f64.powi(2) - 2.3f64.powi(2)))).abs()
                < 0.01
        );
    }

    #[test]
    fn power_is_the_mean_over_the_interval_that_ends_at_its_stamp() {
        let mut s = straight(20, |_| 10.0, |t| 100.0 + 10.0 * t);
        let t0 = s.time_s[0];
        // (4, 6.5]: 1 s of 150 W, 1 s of 160 W, half a second of 170 W.
        let power = power(&s, t0 + 4.0, t0 + 6.5);
        assert!((power.mean_w - (150.0 + 160.0 + 85.0) / 2.5).abs() < 1e-9);
        assert!((power.known_s - 2.5).abs() < 1e-9);
        s.power_w[5] = f64::NAN;
        assert!((super::power(&s, t0 + 4.0, t0 + 6.5).known_s - 1.5).abs() < 1e-9);
    }
}
