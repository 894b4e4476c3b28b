//! The day as one linear Gaussian system about a point, and its solution for given strengths of what varies.

use super::contribution::Contribution;
use super::layout::{AIR_SPEED_SCALE, GUST_SQUARE, LOG_CDA, Layout, MEAN_WIND, Own, POWER_PER_KELVIN};
use super::prior::{
    CDA_MEDIAN_M2, HYPER_PRIOR, Hyper, RATIO_LOG_SD, drift_covariance_n2, gust_mean_square,
    log_cda_covariance, wander_correlation,
};
use crate::estimate::cells::BlockWind;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// A hand-held reading takes about this long, and the wind wanders by this until the middle of the pass.
/// Common practice, no published source; the second is METHOD's wander of 0.4 m/s over some 3 of its 15 min.
pub(super) const READING_S: f64 = 30.0;
pub(super) const READING_WANDER_M_S: f64 = 0.2;

/// The day's passes and what is known of the road beforehand.
pub struct Model {
    pub contributions: Vec<Contribution>,
    pub layout: Layout,
    /// Precision of the profile's errors at the free knots, 1/m².
    pub profile_precision: DMatrix<f64>,
    /// Standard uncertainty of the mean wind, each way.
    pub wind_standard_uncertainty_m_s: f64,
    /// Mean square that a crosswind which nobody knows adds to the air's work: half its variance, m²/s².
    pub cross_square_m2_s2: f64,
}

/// One point in the space of the unknowns, all in their own units.
pub type Point = DVector<f64>;

/// Everything that the observations say about a point, for one gust strength.
///
/// With ξ the unknowns less their prior means: −2 log likelihood = c − 2 bᵀξ + ξᵀHξ + constant.
pub struct Pooled {
    h: DMatrix<f64>,
    b: DVector<f64>,
    c: f64,
    log_determinant_noise: f64,
    gust_q: f64,
    /// Each pass's own share of `h` and `b`, for leaving it out.
    parts: Vec<Part>,
}

/// One pass whitened: columns are those that differ within a pass.
struct Part {
    /// Left over at the prior mean, in units of its noise.
    rest: DVector<f64>,
    design: DMatrix<f64>,
    /// Places in the system of each column of `design`.
    places: Vec<Vec<usize>>,
    log_determinant_noise: f64,
}

/// The system solved for one set of strengths.
pub struct Solved {
    pub log_evidence: f64,
    /// Posterior mean of all unknowns.
    pub point: Point,
    inverse: Cholesky<f64, Dyn>,
    /// Of what each pass has of its own: log drag, and wind (east and north alike).
    factors: [DMatrix<f64>; 2],
    shared: usize,
    passes: usize,
}

/// A pass judged by what all the others say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftOut {
    /// How far its own log drag area lies from what the others make it.
    pub off: f64,
    /// ... over its standard deviation.
    pub studentised: f64,
}

impl Model {
    pub fn prior_mean(&self, log_gust_q: f64) -> Point {
        let mut mean = DVector::zeros(self.layout.all());
        mean[LOG_CDA] = CDA_MEDIAN_M2.ln();
        mean[GUST_SQUARE] = gust_mean_square(log_gust_q.exp()).0 + 0.5 * self.cross_square_m2_s2;
        mean
    }

    /// Log drag area of a pass at a point.
    pub fn log_cda(&self, point: &Point, pass: usize) -> f64 {
        let setup = self.contributions[pass].setup;
        point[LOG_CDA]
            + self.layout.drag[setup].map_or(0.0, |place| point[place])
            + point[self.layout.own(Own::LogDrag, pass)]
    }

    /// Wind of a pass beyond what was known, east and north.
    pub fn wind_m_s(&self, point: &Point, pass: usize) -> [f64; 2] {
        [
            point[MEAN_WIND[0]] + point[self.layout.own(Own::WindEast, pass)],
            point[MEAN_WIND[1]] + point[self.layout.own(Own::WindNorth, pass)],
        ]
    }

    /// What a pass's cells should have taken, J, and after them what its air-speed sensor should have shown beyond
    /// what was expected, m/s; with derivatives by column, and the columns' places.
    pub fn predicted(&self, point: &Point, pass: usize) -> (DVector<f64>, DMatrix<f64>, Vec<Vec<usize>>) {
        let c = &self.contributions[pass];
        let layout = &self.layout;
        let cda = self.log_cda(point, pass).exp();
        let wind = self.wind_m_s(point, pass);
        let own = |process| layout.own(process, pass);
        let mut log_drag = vec![LOG_CDA, own(Own::LogDrag)];
        log_drag.extend(layout.drag[c.setup]);
        let mut places = vec![
            log_drag,
            vec![MEAN_WIND[0], own(Own::WindEast)],
            vec![MEAN_WIND[1], own(Own::WindNorth)],
            vec![GUST_SQUARE],
            vec![AIR_SPEED_SCALE],
            vec![POWER_PER_KELVIN],
        ];
        let rolling = layout.rolling[c.setup];
        places.extend(rolling.map(|place| vec![place]));
        let first_knot = places.len();
        places.extend((0..layout.free_knots()).map(|k| vec![layout.knot(k)]));
        let rolling_ratio = rolling.map_or(1.0, |place| point[place].exp());
        let rolled_j: f64 = c.rolling_j.iter().sum();
        let still_j: f64 = c.air.iter().map(|air| air.still).sum();
        let rows = c.cells() + c.air_speeds.len();
        let mut expected = DVector::zeros(rows);
        let mut design = DMatrix::zeros(rows, places.len());
        for cell in 0..c.cells() {
            let air = &c.air[cell];
            let drag_j = cda * air.at(wind, point[GUST_SQUARE]);
            let slope = air.slope_at(wind);
            design[(cell, 0)] = drag_j;
            design[(cell, 1)] = cda * slope[0];
            design[(cell, 2)] = cda * slope[1];
            design[(cell, 3)] = cda * air.gust;
            design[(cell, 5)] = c.warmth_j_k[cell];
            let mut sum = drag_j + c.warmth_j_k[cell] * point[POWER_PER_KELVIN];
            if rolling.is_some() {
                // Spread over the cells as drag is: within a pass the speeds are the gusts' as much as the rider's,
                // and would tell more rolling resistance where a gust slowed the rider (see `rolling`). What tells
                // the two apart is passes of other speeds.
                let rolled_j = c.crr * rolled_j * air.still / still_j;
                design[(cell, 6)] = rolled_j * rolling_ratio;
                sum += rolled_j * (rolling_ratio - 1.0);
            }
            let [from_m, to_m] = c.edges_m[cell];
            let (from, to) = (layout.at_place(from_m), layout.at_place(to_m));
            for k in 0..layout.free_knots() {
                let lifted_n = c.weight_n * (to[k] - from[k]);
                design[(cell, first_knot + k)] = lifted_n;
                sum += lifted_n * point[layout.knot(k)];
            }
            expected[cell] = sum;
        }
        for (index, air) in c.air_speeds.iter().enumerate() {
            let row = c.cells() + index;
            let scale = point[AIR_SPEED_SCALE];
            expected[row] = air.way[0] * wind[0] + air.way[1] * wind[1] - scale * air.expected_m_s;
            design[(row, 1)] = air.way[0];
            design[(row, 2)] = air.way[1];
            design[(row, 4)] = -air.expected_m_s;
        }
        (expected, design, places)
    }

    /// Linearises about `point` and sums up all passes. `None` where a pass's noise has no factor.
    pub fn pool(&self, point: &Point, log_gust_q: f64) -> Option<Pooled> {
        let size = self.layout.all();
        let away = point - self.prior_mean(log_gust_q);
        let mut pooled = Pooled {
            h: DMatrix::zeros(size, size),
            b: DVector::zeros(size),
            c: 0.0,
            log_determinant_noise: 0.0,
            gust_q: log_gust_q,
            parts: Vec::with_capacity(self.contributions.len()),
        };
        for (pass, c) in self.contributions.iter().enumerate() {
            let (expected, design, places) = self.predicted(point, pass);
            let seen = c
                .energy_j
                .iter()
                .copied()
                .chain(c.air_speeds.iter().map(|a| a.beyond_m_s));
            let mut rest = DVector::from_iterator(expected.len(), seen) - expected;
            for (column, at) in places.iter().enumerate() {
                let step: f64 = at.iter().map(|place| away[*place]).sum();
                rest.axpy(step, &design.column(column), 1.0);
            }
            let noise = Cholesky::new(c.covariance(self.log_cda(point, pass).exp(), log_gust_q.exp()))?;
            let lower = noise.l_dirty();
            lower.solve_lower_triangular_mut(&mut rest);
            let mut design = design;
            lower.solve_lower_triangular_mut(&mut design);
            let log_determinant_noise = 2.0 * lower.diagonal().iter().map(|d| d.ln()).sum::<f64>();
            pooled.add(Part {
                rest,
                design,
                places,
                log_determinant_noise,
            });
        }
        for (pass, c) in self.contributions.iter().enumerate() {
            let first = pass == 0 || self.contributions[pass - 1].block != c.block;
            if let (true, Some(reading)) = (first, &c.wind_reading) {
                let weight = reading_variance_m2_s2(reading, log_gust_q.exp()).sqrt().recip();
                pooled.add(Part {
                    log_determinant_noise: -4.0 * weight.ln(),
                    rest: DVector::from_column_slice(&[
                        weight * reading.wind_east_m_s,
                        weight * reading.wind_north_m_s,
                    ]),
                    design: DMatrix::identity(2, 2) * weight,
                    places: vec![
                        vec![MEAN_WIND[0], self.layout.own(Own::WindEast, pass)],
                        vec![MEAN_WIND[1], self.layout.own(Own::WindNorth, pass)],
                    ],
                });
            }
        }
        Some(pooled)
    }

    /// Standard uncertainty of the mean square that gusts and an unseen crosswind add, m²/s².
    pub fn gust_square_sd(&self, log_gust_q: f64) -> f64 {
        let gust_sd = gust_mean_square(log_gust_q.exp()).1;
        // Half a squared normal of variance s² has its median at 0.23 s², its mean at 0.5 s², and spreads by
        // 0.7 s²: from the median on, half its mean up and as much as its mean about.
        gust_sd.hypot(self.cross_square_m2_s2).max(1e-6)
    }

    /// Precision of the shared unknowns' priors; the units are those of the unknowns.
    fn shared_precision(&self, log_gust_q: f64) -> Option<DMatrix<f64>> {
        let layout = &self.layout;
        let mut precision = DMatrix::zeros(layout.shared(), layout.shared());
        let square_sd = self.gust_square_sd(log_gust_q);
        let mut set = |place: usize, sd: f64| precision[(place, place)] = sd.powi(-2);
        set(GUST_SQUARE, square_sd);
        let scale_sd = self
            .contributions
            .iter()
            .map(|c| c.air_speed_scale_standard_uncertainty)
            .fold(1e-3, f64::max);
        set(AIR_SPEED_SCALE, scale_sd);
        let per_kelvin = self.contributions.iter();
        let per_kelvin_sd = per_kelvin.map(|c| c.power_scale_per_k_standard_uncertainty);
        // A meter that nobody asks of its temperature has an unknown of next to no width.
        set(POWER_PER_KELVIN, per_kelvin_sd.fold(1e-7, f64::max));
        for place in MEAN_WIND {
            set(place, self.wind_standard_uncertainty_m_s.max(1e-6));
        }
        for place in layout.rolling.iter().flatten() {
            set(*place, RATIO_LOG_SD);
        }
        let drags: Vec<usize> = [LOG_CDA]
            .into_iter()
            .chain(layout.drag.iter().copied().flatten())
            .collect();
        let of_drags = Cholesky::new(log_cda_covariance(drags.len() - 1))?.inverse();
        for (i, row) in drags.iter().enumerate() {
            for (j, column) in drags.iter().enumerate() {
                precision[(*row, *column)] = of_drags[(i, j)];
            }
        }
        for i in 0..layout.free_knots() {
            for j in 0..layout.free_knots() {
                precision[(layout.knot(i), layout.knot(j))] = self.profile_precision[(i, j)];
            }
        }
        Some(precision)
    }

    /// Factors of the covariances of what each pass has of its own: log drag area, and wind (east and north alike).
    fn own_factors(&self, point: &Point, hyper: &Hyper) -> Option<[DMatrix<f64>; 2]> {
        let when: Vec<_> = self.contributions.iter().map(|c| c.when).collect();
        let drag_n: Vec<f64> = (0..when.len()).map(|pass| self.drag_n(point, pass)).collect();
        let drift = drift_covariance_n2(&when);
        let held = |pass: usize| self.contributions[pass].drift_share;
        let (block, pass) = (hyper.block.exp().powi(2), hyper.pass.exp().powi(2));
        // What one leg more or less makes of the whole power, as a share of the drag. Its strength goes with that of
        // the mountings, so that the day tells both together.
        let told = hyper.block.exp() / HYPER_PRIOR[3].0;
        let one_leg: Vec<f64> = (0..when.len())
            .map(|pass| {
                let c = &self.contributions[pass];
                told * c.one_leg_sd * c.wheel_j / (drag_n[pass] * c.distance_m)
            })
            .collect();
        let log_drag = DMatrix::from_fn(when.len(), when.len(), |i, j| {
            let same_block = self.contributions[i].block == self.contributions[j].block;
            f64::from(u8::from(same_block)) * (block + one_leg[i] * one_leg[j])
                + f64::from(u8::from(i == j)) * pass
                + held(i) * held(j) * drift[(i, j)] / (drag_n[i] * drag_n[j])
        });
        let mut wander = wander_correlation(&when, hyper.memory.exp());
        for i in 0..when.len() {
            wander[(i, i)] += 1e-9;
        }
        wander *= hyper.wander.exp().powi(2);
        Some([Cholesky::new(log_drag)?.unpack(), Cholesky::new(wander)?.unpack()])
    }

    /// Mean force of the air on a pass, N.
    fn drag_n(&self, point: &Point, pass: usize) -> f64 {
        let c = &self.contributions[pass];
        let wind = self.wind_m_s(point, pass);
        let work: f64 = c.air.iter().map(|air| air.at(wind, point[GUST_SQUARE])).sum();
        // Air that pushes instead of resisting leaves the drift a force of the usual size to be measured by.
        (self.log_cda(point, pass).exp() * work / c.distance_m).max(1.0)
    }

    /// The system solved for `hyper`; `pooled` was made about `point` for the same gust strength.
    pub fn solve(&self, point: &Point, pooled: &Pooled, hyper: &Hyper) -> Option<Solved> {
        let layout = &self.layout;
        let (shared, passes, all) = (layout.shared(), layout.passes, layout.all());
        let [log_drag, wander] = self.own_factors(point, hyper)?;
        let mut h = pooled.h.clone();
        let mut b = pooled.b.clone();
        for (process, factor) in [&log_drag, &wander, &wander].into_iter().enumerate() {
            let at = shared + process * passes;
            let columns = h.columns(at, passes) * factor;
            h.columns_mut(at, passes).copy_from(&columns);
            let rows = factor.tr_mul(&h.rows(at, passes));
            h.rows_mut(at, passes).copy_from(&rows);
            let own = factor.tr_mul(&b.rows(at, passes));
            b.rows_mut(at, passes).copy_from(&own);
        }
        let precision = self.shared_precision(pooled.gust_q)?;
        let prior = Cholesky::new(precision.clone())?;
        let mut corner = h.view_mut((0, 0), (shared, shared));
        corner += &precision;
        for i in shared..all {
            h[(i, i)] += 1.0;
        }
        let inverse = Cholesky::new(h)?;
        let whitened = inverse.solve(&b);
        let log_determinant =
            |c: &Cholesky<f64, Dyn>| 2.0 * c.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let observations: usize = pooled.parts.iter().map(|part| part.rest.len()).sum();
        let log_evidence = -0.5
            * (observations as f64 * std::f64::consts::TAU.ln() + pooled.log_determinant_noise + pooled.c
                - b.dot(&whitened)
                + log_determinant(&inverse)
                - log_determinant(&prior));
        let mut solved = Solved {
            log_evidence,
            point: DVector::zeros(0),
            inverse,
            factors: [log_drag, wander],
            shared,
            passes,
        };
        solved.point = self.prior_mean(pooled.gust_q) + solved.unwhitened(whitened);
        Some(solved)
    }
}

/// Of a wind read beside the road as the mean wind of the pass that followed: what the reader says, the gusts that
/// half a minute does not average out, and what the wind has wandered until then.
fn reading_variance_m2_s2(reading: &BlockWind, gust_q_m2_s: f64) -> f64 {
    reading.wind_standard_uncertainty_m_s.powi(2) + gust_q_m2_s / READING_S + READING_WANDER_M_S.powi(2)
}

impl Pooled {
    fn add(&mut self, part: Part) {
        let square = part.design.tr_mul(&part.design);
        let right = part.design.tr_mul(&part.rest);
        self.c += part.rest.norm_squared();
        self.log_determinant_noise += part.log_determinant_noise;
        for (i, rows) in part.places.iter().enumerate() {
            for row in rows {
                self.b[*row] += right[i];
                for (j, columns) in part.places.iter().enumerate() {
                    for column in columns {
                        self.h[(*row, *column)] += square[(i, j)];
                    }
                }
            }
        }
        self.parts.push(part);
    }
}

impl Solved {
    fn factor(&self, process: usize) -> &DMatrix<f64> {
        &self.factors[process.min(1)]
    }

    fn unwhitened(&self, mut whitened: DVector<f64>) -> DVector<f64> {
        for process in 0..3 {
            let at = self.shared + process * self.passes;
            let own = self.factor(process) * whitened.rows(at, self.passes);
            whitened.rows_mut(at, self.passes).copy_from(&own);
        }
        whitened
    }

    /// Linear functions of the unknowns, one a column, so that their products are posterior covariances.
    pub fn whitened(&self, functions: &DMatrix<f64>) -> DMatrix<f64> {
        let mut whitened = functions.clone();
        for process in 0..3 {
            let at = self.shared + process * self.passes;
            let own = self.factor(process).tr_mul(&whitened.rows(at, self.passes));
            whitened.rows_mut(at, self.passes).copy_from(&own);
        }
        self.inverse.l_dirty().solve_lower_triangular_mut(&mut whitened);
        whitened
    }

    /// Posterior covariance of linear functions of the unknowns: the columns of `functions`.
    pub fn covariance(&self, functions: &DMatrix<f64>) -> DMatrix<f64> {
        let whitened = self.whitened(functions);
        whitened.tr_mul(&whitened)
    }

    /// Judges a pass by the others, and gives what `functions` of the unknowns are without it: their changes.
    pub fn left_out(
        &self,
        model: &Model,
        pooled: &Pooled,
        pass: usize,
        functions: &DMatrix<f64>,
    ) -> Option<(LeftOut, DVector<f64>)> {
        let apart = self.apart(model, pooled, pass)?;
        let change = -self.whitened(functions).tr_mul(&apart.own) * &apart.left;
        Some((apart.judged, change))
    }

    /// Judges a pass by the others, with the logarithm of how likely it is by them, up to what all strengths share.
    pub fn judged(&self, model: &Model, pooled: &Pooled, pass: usize) -> Option<(LeftOut, f64)> {
        let apart = self.apart(model, pooled, pass)?;
        Some((apart.judged, apart.log_likelihood))
    }

    /// By the formulas of leaving a block of observations out of a linear Gaussian system: with r what the pass
    /// leaves over and A its share of its own prediction, both in units of its noise, the others predict it to
    /// within (I − A)⁻¹ and leave (I − A)⁻¹ r of it.
    fn apart(&self, model: &Model, pooled: &Pooled, pass: usize) -> Option<Apart> {
        let part = pooled.parts.get(pass)?;
        let rows = part.rest.len();
        let mut spread = DMatrix::zeros(model.layout.all(), rows);
        let away = &self.point - model.prior_mean(pooled.gust_q);
        let mut rest = part.rest.clone();
        for (column, places) in part.places.iter().enumerate() {
            for place in places {
                rest.axpy(-away[*place], &part.design.column(column), 1.0);
                for row in 0..rows {
                    spread[(*place, row)] += part.design[(row, column)];
                }
            }
        }
        let own = self.whitened(&spread);
        let unexplained = DMatrix::identity(rows, rows) - own.tr_mul(&own);
        let drag = part.design.column(0);
        let information = drag.dot(&(&unexplained * drag));
        let pulled = drag.dot(&rest);
        let factor = Cholesky::new(unexplained)?;
        let left = factor.solve(&rest);
        let log_determinant = 2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        (information > 0.0).then(|| Apart {
            judged: LeftOut {
                off: pulled / information,
                studentised: pulled / information.sqrt(),
            },
            log_likelihood: -0.5 * (rest.dot(&left) - log_determinant + part.log_determinant_noise),
            own,
            left,
        })
    }
}

/// A pass beside all the others.
struct Apart {
    judged: LeftOut,
    log_likelihood: f64,
    /// Its observations as functions of the unknowns, whitened.
    own: DMatrix<f64>,
    /// What the others leave of it.
    left: DVector<f64>,
}
