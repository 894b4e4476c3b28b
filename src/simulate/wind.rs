//! Air velocity at the rider over the day: a mean, a slow wander and gusts.

use super::plan::{Spectrum, WindTruth};
use super::{Purpose, random};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// A number that forgets where it was: stationary, standard deviation `sd`, correlation exp(−t / memory).
#[derive(Debug, Clone)]
pub(super) struct Wander {
    pub value: f64,
    keep: f64,
    kick: f64,
}

impl Wander {
    pub fn new(sd: f64, memory_s: f64, dt: f64, rng: &mut impl Rng) -> Self {
        let keep = if memory_s > 0.0 {
            (-dt / memory_s).exp()
        } else {
            0.0
        };
        let normal: f64 = rng.sample(StandardNormal);
        Wander {
            value: sd * normal,
            keep,
            kick: sd * (1.0 - keep * keep).sqrt(),
        }
    }

    pub fn advance(&mut self, rng: &mut impl Rng) -> f64 {
        let normal: f64 = rng.sample(StandardNormal);
        self.value = self.keep * self.value + self.kick * normal;
        self.value
    }
}

/// The wind, drawn tick after tick.
pub(super) struct Wind {
    mean: [f64; 2],
    turn_rad_per_s: f64,
    trend_m_s2: [f64; 2],
    tick_s: f64,
    /// Each process with the direction [east, north] in which it blows.
    processes: Vec<(Wander, [f64; 2])>,
    rng: ChaCha8Rng,
    ticks: usize,
}

impl Wind {
    pub fn new(truth: &WindTruth, course_bearing_deg: f64, tick_s: f64, seed: u64) -> Self {
        let mut rng = random(seed, Purpose::Wind);
        let (sin, cos) = course_bearing_deg.to_radians().sin_cos();
        let (along, across) = ([sin, cos], [cos, -sin]);
        let mut processes = Vec::new();
        let mut add = |sd: f64, memory_s: f64, direction: [f64; 2]| {
            processes.push((Wander::new(sd, memory_s, tick_s, &mut rng), direction));
        };
        match truth.spectrum {
            Spectrum::TwoScales => {
                add(truth.wander_sd_m_s, truth.wander_memory_s, [1.0, 0.0]);
                add(truth.wander_sd_m_s, truth.wander_memory_s, [0.0, 1.0]);
                add(truth.gust_along_sd_m_s, truth.gust_memory_s, along);
                add(truth.gust_across_sd_m_s, truth.gust_memory_s, across);
            }
            Spectrum::FiveThirds => {
                for (gust_sd, direction) in [
                    (truth.gust_along_sd_m_s, along),
                    (truth.gust_across_sd_m_s, across),
                ] {
                    for (memory_s, share) in five_thirds() {
                        let total = truth.wander_sd_m_s.hypot(gust_sd);
                        add(total * share.sqrt(), memory_s, direction);
                    }
                }
            }
        }
        Wind {
            mean: [truth.mean_east_m_s, truth.mean_north_m_s],
            turn_rad_per_s: truth.turn_deg_per_h.to_radians() / 3600.0,
            trend_m_s2: truth.trend_m_s_per_h.map(|change| change / 3600.0),
            tick_s,
            processes,
            rng,
            ticks: 0,
        }
    }

    /// Velocity [east, north] in m/s at the present tick.
    pub fn now(&self) -> [f64; 2] {
        let seconds = self.ticks as f64 * self.tick_s;
        let (sin, cos) = (self.turn_rad_per_s * seconds).sin_cos();
        let start = [
            self.mean[0] * cos + self.mean[1] * sin + self.trend_m_s2[0] * seconds,
            self.mean[1] * cos - self.mean[0] * sin + self.trend_m_s2[1] * seconds,
        ];
        self.processes.iter().fold(start, |sum, (process, way)| {
            [sum[0] + process.value * way[0], sum[1] + process.value * way[1]]
        })
    }

    pub fn advance(&mut self) {
        for (process, _) in &mut self.processes {
            process.advance(&mut self.rng);
        }
        self.ticks += 1;
    }
}

/// Memories from two seconds to an hour, and the share of variance of each. A sum of such processes with
/// variance ∝ memory^(2/3) has a spectrum that falls as f^(−5/3) between the two ends.
fn five_thirds() -> Vec<(f64, f64)> {
    let scales = 12;
    let memories: Vec<f64> = (0..scales)
        .map(|k| 2.0 * 1800f64.powf(f64::from(k) / f64::from(scales - 1)))
        .collect();
    let total: f64 = memories.iter().map(|m| m.powf(2.0 / 3.0)).sum();
    memories.iter().map(|&m| (m, m.powf(2.0 / 3.0) / total)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(truth: &WindTruth, tick_s: f64, ticks: usize) -> Vec<[f64; 2]> {
        let mut wind = Wind::new(truth, 30.0, tick_s, 7);
        (0..ticks)
            .map(|_| {
                let now = wind.now();
                wind.advance();
                now
            })
            .collect()
    }

    fn mean(values: &[f64]) -> f64 {
        values.iter().sum::<f64>() / values.len() as f64
    }

    fn covariance(values: &[f64], lag: usize) -> f64 {
        let m = mean(values);
        let pairs = values.iter().zip(values.iter().skip(lag));
        let products: Vec<f64> = pairs.map(|(a, b)| (a - m) * (b - m)).collect();
        mean(&products)
    }

    #[test]
    fn gusts_have_the_strength_memory_and_direction_asked_for() {
        let truth = WindTruth {
            gust_along_sd_m_s: 0.6,
            gust_across_sd_m_s: 0.3,
            gust_memory_s: 5.0,
            ..WindTruth::still()
        };
        // 200,000 s are 20,000 independent pieces of 2 × 5 s: 0.7 % on a standard deviation.
        let wind = series(&truth, 0.5, 400_000);
        let (sin, cos) = 30f64.to_radians().sin_cos();
        let along: Vec<f64> = wind.iter().map(|w| w[0] * sin + w[1] * cos).collect();
        let across: Vec<f64> = wind.iter().map(|w| w[0] * cos - w[1] * sin).collect();
        assert!((covariance(&along, 0).sqrt() / 0.6 - 1.0).abs() < 0.03);
        assert!((covariance(&across, 0).sqrt() / 0.3 - 1.0).abs() < 0.03);
        let correlation = covariance(&along, 10) / covariance(&along, 0);
        assert!((correlation - (-1f64).exp()).abs() < 0.03, "{correlation}");
    }

    #[test]
    fn many_days_together_show_mean_and_wander() {
        let truth = WindTruth {
            mean_east_m_s: 1.0,
            mean_north_m_s: -2.0,
            wander_sd_m_s: 0.35,
            ..WindTruth::still()
        };
        let first = |seed: u64| Wind::new(&truth, 0.0, 0.1, seed).now();
        let days: Vec<[f64; 2]> = (0..2000).map(first).collect();
        let east: Vec<f64> = days.iter().map(|w| w[0]).collect();
        let north: Vec<f64> = days.iter().map(|w| w[1]).collect();
        // Four standard errors of 2,000 draws.
        assert!((mean(&east) - 1.0).abs() < 0.032 && (mean(&north) + 2.0).abs() < 0.032);
        assert!((covariance(&east, 0).sqrt() / 0.35 - 1.0).abs() < 0.065);
    }

    #[test]
    fn the_mean_turns_clockwise() {
        let truth = WindTruth {
            mean_north_m_s: 2.0,
            turn_deg_per_h: 90.0,
            ..WindTruth::still()
        };
        let wind = series(&truth, 1.0, 3601);
        let [east, north] = wind[3600];
        assert!((east - 2.0).abs() < 1e-9 && north.abs() < 1e-9);
    }

    #[test]
    fn the_mean_grows_steadily() {
        let truth = WindTruth {
            mean_east_m_s: 1.0,
            trend_m_s_per_h: [-0.5, 0.8],
            ..WindTruth::still()
        };
        let wind = series(&truth, 1.0, 1801);
        let [east, north] = wind[1800];
        assert!((east - 0.75).abs() < 1e-9 && (north - 0.4).abs() < 1e-9);
    }

    #[test]
    fn the_other_spectrum_falls_as_five_thirds_with_the_same_variance() {
        let truth = WindTruth {
            wander_sd_m_s: 0.4,
            gust_along_sd_m_s: 0.3,
            gust_across_sd_m_s: 0.3,
            spectrum: Spectrum::FiveThirds,
            ..WindTruth::still()
        };
        let wind = series(&truth, 1.0, 1_000_000);
        let east: Vec<f64> = wind.iter().map(|w| w[0]).collect();
        let total = covariance(&east, 0).sqrt();
        assert!((total / 0.5 - 1.0).abs() < 0.1, "{total}");
        // A spectrum ∝ f^(−5/3) has a structure function ∝ lag^(2/3), away from the two ends of its range.
        let structure = |lag| covariance(&east, 0) - covariance(&east, lag);
        let growth = structure(120) / structure(30);
        let expected = 4f64.powf(2.0 / 3.0);
        assert!((growth / expected - 1.0).abs() < 0.1, "{growth} for {expected}");
    }
}
