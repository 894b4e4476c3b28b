//! Power that was stamped late (or early), set back to when it was made.

use super::Streams;

/// The work done since the start of a recording, as far as power was measured: straight between its knots.
#[derive(Debug, Clone, PartialEq)]
pub struct Worked {
    time_s: Vec<f64>,
    work_j: Vec<f64>,
    /// Time for which power was measured, since the start.
    known_s: Vec<f64>,
}

impl Worked {
    /// Power is the mean over the base interval that ends at its stamp, and unknown in what is left of a longer one.
    pub fn of(s: &Streams) -> Worked {
        let start_s = s.start_s() - s.nominal_interval_s;
        let mut all = Worked {
            time_s: vec![start_s],
            work_j: vec![0.0],
            known_s: vec![0.0],
        };
        let mut add = |until_s: f64, power_w: f64| {
            let last = all.time_s.len() - 1;
            let held_s = until_s - all.time_s[last];
            if held_s > 0.0 {
                let known = power_w.is_finite();
                all.time_s.push(until_s);
                all.work_j
                    .push(all.work_j[last] + if known { power_w * held_s } else { 0.0 });
                all.known_s
                    .push(all.known_s[last] + if known { held_s } else { 0.0 });
            }
        };
        for (time_s, power_w) in s.time_s.iter().zip(&s.power_w) {
            add(time_s - s.nominal_interval_s, f64::NAN);
            add(*time_s, *power_w);
        }
        all
    }

    /// [J]; that of the nearer end outside the recording.
    pub fn work_j(&self, time_s: f64) -> f64 {
        self.at(&self.work_j, time_s)
    }

    /// How long power was measured between two times. [s]
    pub fn known_s(&self, from_s: f64, to_s: f64) -> f64 {
        self.at(&self.known_s, to_s) - self.at(&self.known_s, from_s)
    }

    fn at(&self, sums: &[f64], time_s: f64) -> f64 {
        let after = self.time_s.partition_point(|&t| t < time_s);
        let before = after.saturating_sub(1);
        let (Some(a), Some(b)) = (sums.get(before), sums.get(after)) else {
            return sums.last().copied().unwrap_or(0.0);
        };
        if after == before {
            return *a;
        }
        a + (b - a) * (time_s - self.time_s[before]) / (self.time_s[after] - self.time_s[before])
    }
}

impl Streams {
    /// The power channel moved `delay_s` earlier: at each stamp the mean over the interval that ends there, of power
    /// that was recorded so much later. No work is lost or made. NaN where less than half of it was measured. [W]
    pub fn power_earlier_w(&self, delay_s: f64) -> Vec<f64> {
        let worked = Worked::of(self);
        let starts = std::iter::once(f64::NEG_INFINITY).chain(self.time_s.iter().copied());
        starts
            .zip(&self.time_s)
            .map(|(before_s, &time_s)| {
                let from_s = before_s.max(time_s - self.nominal_interval_s) + delay_s;
                let known_s = worked.known_s(from_s, time_s + delay_s);
                if known_s < 0.5 * (time_s + delay_s - from_s) {
                    return f64::NAN;
                }
                (worked.work_j(time_s + delay_s) - worked.work_j(from_s)) / known_s
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::streams::testing::{START_S, after};

    #[test]
    fn power_moves_earlier_by_whole_and_broken_seconds() {
        let streams = after(|samples| samples.drain(80..84).for_each(drop));
        let one = streams.power_earlier_w(1.0);
        let half = streams.power_earlier_w(0.5);
        let back = streams.power_earlier_w(-1.0);
        for i in 10..60 {
            let (now, next) = (streams.power_w[i], streams.power_w[i + 1]);
            assert!((one[i] - next).abs() < 1e-6);
            assert!((half[i] - 0.5 * (now + next)).abs() < 1e-6);
            assert!((back[i + 1] - now).abs() < 1e-6);
        }
        // Samples 80 to 83 are missing: what was done in them nobody knows.
        assert!(one[79].is_nan());
        assert!((half[79] - streams.power_w[79]).abs() < 1e-6);
        assert!(one[119 - 4].is_nan(), "nothing was recorded after the end");
    }

    #[test]
    fn the_work_is_what_the_powers_add_up_to() {
        let streams = after(|samples| samples[30].power_w = None);
        let worked = Worked::of(&streams);
        let sum: f64 = streams.power_w[21..=40].iter().filter(|w| w.is_finite()).sum();
        let (from_s, to_s) = (START_S + 20.0, START_S + 40.0);
        assert!((worked.work_j(to_s) - worked.work_j(from_s) - sum).abs() < 1e-6);
        assert!((worked.known_s(from_s, to_s) - 19.0).abs() < 1e-6);
        assert_eq!(worked.work_j(START_S - 100.0), 0.0);
        assert_eq!(worked.work_j(START_S + 1e4), worked.work_j(START_S + 119.0));
    }
}
