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
            tick_s,
            processes,
            rng,
            ticks: 0,
        }
    }

    /// Velocity [east, north] in m/s at the present tick.
    pub fn now(&self) -> [f64; 2] {
        let (sin, cos) = (self.turn_rad_per_s * self.ticks as f64 * self.tick_s).sin_cos();
        let start = [
            self.mean[0] * cos + self.mean[1] * sin,
            self.mean[1] * cos - self.mean[0] * sin,
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
