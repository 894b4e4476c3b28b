//! What the twin knows before the day is ridden.

use super::parts::{air_m3_s2, blown_together, gust_mean_square, seconds, walked_n2};
use super::{Strengths, Twin};
use crate::estimate::joint::prior::{CDA_LOG_SD, CDA_MEDIAN_M2, HYPER_PRIOR, RATIO_LOG_SD};
use crate::estimate::joint::{BAROMETER_DRIFT_M_S, UNKNOWN_CLIMB_M};
use nalgebra::{DMatrix, DVector};

impl Twin<'_> {
    pub(super) fn prior_mean(&self, strengths: &Strengths) -> DVector<f64> {
        let mut mean = DVector::zeros(self.places.all);
        mean[0] = CDA_MEDIAN_M2.ln();
        mean[self.places.gust] = gust_mean_square(strengths.gust_q_m2_s) + 0.5 * self.unseen_cross_m2_s2();
        mean
    }

    pub(super) fn prior_covariance(&self, strengths: &Strengths) -> DMatrix<f64> {
        let p = &self.places;
        let rides = self.day.rides;
        let mut s = DMatrix::zeros(p.all, p.all);
        // What all set-ups share, and what each has of its own: the ratio takes the baseline's own off.
        s[(0, 0)] = CDA_LOG_SD.powi(2);
        let own = RATIO_LOG_SD.powi(2) / 2.0;
        for ratio in p.ratio.iter().flatten() {
            s[(0, *ratio)] -= own;
            s[(*ratio, 0)] -= own;
            s[(*ratio, *ratio)] += own;
            for other in p.ratio.iter().flatten() {
                s[(*ratio, *other)] += own;
            }
        }
        for place in p.rolling.iter().flatten() {
            s[(*place, *place)] = RATIO_LOG_SD.powi(2);
        }
        // The mean square of gusts is told to 60 % of itself; of half a squared normal half its variance.
        s[(p.gust, p.gust)] =
            (0.6 * gust_mean_square(strengths.gust_q_m2_s)).powi(2) + self.unseen_cross_m2_s2().powi(2);
        // To a thousandth where nothing is said of it: a sensor that nobody asks of its factor.
        let sensor = rides
            .iter()
            .filter_map(|r| r.air_speed_scale_standard_uncertainty);
        s[(p.sensor, p.sensor)] = sensor.fold(1e-3, f64::max).powi(2);
        let kelvin = rides
            .iter()
            .map(|r| r.in_day.power_scale_per_k_standard_uncertainty);
        s[(p.kelvin, p.kelvin)] = kelvin.fold(1e-7, f64::max).powi(2);
        for (place, ride) in rides.iter().map(|r| (p.leg + r.block, r)) {
            // As much stronger or weaker than usual as the mountings are.
            s[(place, place)] = (ride.in_day.one_leg_sd * strengths.block_sd / HYPER_PRIOR[3].0).powi(2);
        }
        for place in p.mean_wind {
            s[(place, place)] = self.mean_wind_sd_m_s().powi(2);
        }
        for place in p.block..p.leg {
            s[(place, place)] = strengths.block_sd.powi(2);
        }
        for place in p.pass..p.drift {
            s[(place, place)] = strengths.pass_sd.powi(2);
        }
        let middle_s = rides.iter().map(|r| r.middle_s).sum::<f64>() / rides.len() as f64;
        for (i, a) in rides.iter().enumerate() {
            for (j, b) in rides.iter().enumerate() {
                // What is left of it where the zero was noted, common practice.
                let left = [a, b].map(|r| if r.power_zero_noted { 0.4 } else { 1.0 });
                s[(p.drift + i, p.drift + j)] =
                    left[0] * left[1] * walked_n2(a.middle_s - middle_s, b.middle_s - middle_s);
                let wander =
                    strengths.wander_sd_m_s.powi(2) * blown_together(a, b, strengths.wander_memory_s);
                for way in p.wind {
                    s[(way + i, way + j)] = wander;
                }
            }
        }
        let heights = self.height_covariance_m2();
        s.view_mut((p.knot, p.knot), heights.shape()).copy_from(&heights);
        s
    }

    fn mean_wind_sd_m_s(&self) -> f64 {
        let rides = self.day.rides;
        rides
            .iter()
            .map(|r| r.air.wind_standard_uncertainty_m_s)
            .sum::<f64>()
            / rides.len() as f64
    }

    /// Half the variance of a crosswind that nobody meets head on, m²/s²: all of it on a straight road, none
    /// on one that turns enough for a tenth of the pull along it to come from across.
    fn unseen_cross_m2_s2(&self) -> f64 {
        let (mut ee, mut en, mut nn) = (0.0, 0.0, 0.0);
        for ride in self.day.rides {
            for cell in &ride.cells {
                let step = 1e-3;
                let pull = |way: [f64; 2]| {
                    let [e, n] = way.map(|w| w * step);
                    (air_m3_s2(ride, cell, [e, n]) - air_m3_s2(ride, cell, [-e, -n])) / (2.0 * step)
                        * ride.air.density_kg_m3
                };
                let (e, n) = (pull([1.0, 0.0]), pull([0.0, 1.0]));
                ee += e * e;
                en += e * n;
                nn += n * n;
            }
        }
        let (mean, half) = (0.5 * (ee + nn), (0.25 * (ee - nn).powi(2) + en * en).sqrt());
        let share = (1.0 - 10.0 * (mean - half) / (mean + half)).clamp(0.0, 1.0);
        0.5 * share * self.mean_wind_sd_m_s().powi(2)
    }

    /// Each knot: its own error, less that of the first, and the steps of a walk up to it. On a loop the walk
    /// is one of those that come back, and the last knot is the first.
    fn height_covariance_m2(&self) -> DMatrix<f64> {
        let rides = self.day.rides;
        let (knots, count) = (self.knots_m.len(), rides.len() as f64);
        let seconds = rides.iter().map(seconds).sum::<f64>() / count;
        let pieces = knots - 1;
        let (own_m2, step_m2) = match self.profile {
            Some(p) => (
                0.5 * p.standard_uncertainty_m.powi(2),
                (p.wander_m.powi(2) + (BAROMETER_DRIFT_M_S * seconds).powi(2) / count) / pieces as f64,
            ),
            None => (0.0, UNKNOWN_CLIMB_M.powi(2)),
        };
        let mut sources = DMatrix::zeros(knots + pieces, knots + pieces);
        for k in 0..knots {
            sources[(k, k)] = own_m2;
        }
        for a in 0..pieces {
            for b in 0..pieces {
                let tied = if self.closed { step_m2 / pieces as f64 } else { 0.0 };
                sources[(knots + a, knots + b)] = if a == b { step_m2 - tied } else { -tied };
            }
        }
        let free = if self.closed { knots - 2 } else { knots - 1 };
        let mut sums = DMatrix::zeros(free, knots + pieces);
        for k in 1..=free {
            sums[(k - 1, k)] = 1.0;
            sums[(k - 1, 0)] = -1.0;
            for piece in 0..k {
                sums[(k - 1, knots + piece)] = 1.0;
            }
        }
        &sums * sources * sums.transpose()
    }
}
