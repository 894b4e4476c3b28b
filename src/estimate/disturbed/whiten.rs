//! What gusts and sensors leave over in a pass, turned into independent values of variance one.
//!
//! Gusts are an Ornstein–Uhlenbeck process, the account sums them up, and at each boundary the speed has an
//! error of its own. Such a process is whitened by a Kalman filter with two states, the summed left-over and the
//! present gust: what it does not foresee is white. The filter is linear, so it serves for the left-over and for
//! every pattern that is looked for in it.

use super::trail::Trail;
use crate::estimate::one_pass::GUST_MEMORY_S;

/// One step of the filter.
#[derive(Debug, Clone, Copy)]
struct Gain {
    /// Joules that a gust of 1 m/s at the start of the step will have taken by its end.
    gust_to_work: f64,
    keep: f64,
    to_work: f64,
    to_gust: f64,
    /// One over the standard deviation of what is not foreseen.
    weight: f64,
}

#[derive(Debug)]
pub(in crate::estimate) struct Whitener {
    gains: Vec<Gain>,
}

impl Whitener {
    /// `gust_q_m2_s`: twice the variance of the gusts times their memory.
    pub fn new(trail: &Trail, gust_q_m2_s: f64) -> Self {
        let variance = gust_q_m2_s / (2.0 * GUST_MEMORY_S);
        // Covariance of the summed work and the gust: at the start only the speed's error is in the sum.
        let first = trail.kinetic_sd_j.first().copied().unwrap_or(0.0);
        let (mut ww, mut wg, mut gg) = (first.powi(2), 0.0, variance);
        let mut gains = Vec::with_capacity(trail.steps());
        for step in 0..trail.steps() {
            let span = |sums: &[f64]| sums[step + 1] - sums[step];
            let duration_s = span(&trail.time_s).max(1e-6);
            let rate_n = span(&trail.gust_j) / duration_s;
            let keep = (-duration_s / GUST_MEMORY_S).exp();
            let gust_to_work = rate_n * GUST_MEMORY_S * (1.0 - keep);
            // Of an Ornstein–Uhlenbeck process and its integral over the step, given its start (closed forms).
            let of_integral = variance
                * GUST_MEMORY_S.powi(2)
                * (2.0 * duration_s / GUST_MEMORY_S - 3.0 + 4.0 * keep - keep * keep);
            let of_both = variance * GUST_MEMORY_S * (1.0 - keep).powi(2);
            ww += 2.0 * gust_to_work * wg
                + gust_to_work.powi(2) * gg
                + rate_n.powi(2) * of_integral
                + span(&trail.gathered_j2);
            wg = keep * (wg + gust_to_work * gg) + rate_n * of_both;
            gg = keep * keep * gg + variance * (1.0 - keep * keep);
            // A floor of 1 J keeps a made ride without any noise from dividing by nothing.
            let seen = ww + trail.kinetic_sd_j[step + 1].powi(2) + 1.0;
            let (to_work, to_gust) = (ww / seen, wg / seen);
            gains.push(Gain {
                gust_to_work,
                keep,
                to_work,
                to_gust,
                weight: seen.sqrt().recip(),
            });
            gg -= to_gust * wg;
            wg -= to_gust * ww;
            ww -= to_work * ww;
        }
        Whitener { gains }
    }

    /// Whitens `sums`, the values at the boundaries after `from` of a sum that is 0 at the boundary `from`.
    /// One value for each of them.
    pub fn whiten(&self, from: usize, sums: impl Iterator<Item = f64>) -> Vec<f64> {
        let (mut work, mut gust) = (0.0, 0.0);
        self.gains
            .iter()
            .skip(from)
            .zip(sums)
            .map(|(gain, seen)| {
                let unforeseen = seen - (work + gain.gust_to_work * gust);
                work = seen - (1.0 - gain.to_work) * unforeseen;
                gust = gain.keep * gust + gain.to_gust * unforeseen;
                gain.weight * unforeseen
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::made::{level, pass, setup};
    use nalgebra::{DMatrix, DVector};

    /// The referee: covariance of the left-over at the boundaries, written out, and its Cholesky factor.
    #[test]
    fn it_is_the_inverse_of_the_dense_cholesky_factor() {
        let speed = |t: f64| 9.0 + 1.5 * (t / 11.0).sin();
        let mut truth = level(0.3, &speed);
        (truth.cells, truth.steps_in_a_cell) = (4, 10);
        let of = setup("any");
        let trail = Trail::new(&pass(&mut truth, &of), &of, 0.3, 0.004);
        let (q, steps) = (1.3, trail.steps());
        let parts = 20;
        let variance = q / (2.0 * GUST_MEMORY_S);
        let at_s = |part: usize| (part as f64 + 0.5) / parts as f64;
        let work = DMatrix::from_fn(steps, steps * parts, |row, part| {
            let step = part / parts;
            if step <= row {
                (trail.gust_j[step + 1] - trail.gust_j[step]) / parts as f64
            } else {
                0.0
            }
        });
        let kernel = DMatrix::from_fn(steps * parts, steps * parts, |a, b| {
            variance * (-(at_s(a) - at_s(b)).abs() / GUST_MEMORY_S).exp()
        });
        let mut v = &work * kernel * work.transpose();
        for a in 0..steps {
            for b in 0..steps {
                v[(a, b)] += trail.gathered_j2[a.min(b) + 1] + trail.kinetic_sd_j[0].powi(2);
            }
            v[(a, a)] += trail.kinetic_sd_j[a + 1].powi(2) + 1.0;
        }
        let series = DVector::from_fn(steps, |k, _| {
            50.0 * (0.3 * k as f64).sin() + 20.0 * (k as f64 % 7.0)
        });
        let dense = v.cholesky().unwrap().l().solve_lower_triangular(&series).unwrap();
        let white = Whitener::new(&trail, q).whiten(0, series.iter().copied());
        for (found, expected) in white.iter().zip(dense.iter()) {
            // Twenty parts a second: each is taken at its middle.
            assert!(
                (found - expected).abs() < 1e-4 * (1.0 + expected.abs()),
                "{found} {expected}"
            );
        }
    }
}
