//! A slow and obvious twin of the estimate: one dense Gaussian process over the energies of all cells.
//!
//! It repeats the physics and the statistics on purpose (docs/method.md) and shares constants and data types
//! with the analysis, nothing else. Integrals by Simpson's rule, derivatives by differences,
//! averages of processes by double sums over time, knots as sums of their own errors, and everything in the
//! space of the data: K = J S Jᵀ + R, one dense factor of it. Blocks, passes and the drift of force are unknowns
//! of their own here; the analysis folds them into one log drag area for each pass.

use super::prior::{CDA_LOG_SD, CDA_MEDIAN_M2, DRIFT_N_PER_SQRT_H, RATIO_LOG_SD};
use super::{BAROMETER_DRIFT_M_S, UNKNOWN_CLIMB_M};
use crate::course::Profile;
use crate::estimate::cells::{BlockWind, Cell, PassRide, RiddenStep};
use crate::estimate::one_pass::GUST_MEMORY_S;
use crate::estimate::plain::Day;
use crate::test_day::{Differs, Setup, Shape};
use nalgebra::{Cholesky, DMatrix, DVector};

/// The strengths, told.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strengths {
    pub wander_sd_m_s: f64,
    pub wander_memory_s: f64,
    pub gust_q_m2_s: f64,
    pub block_sd: f64,
    pub pass_sd: f64,
}

/// Where the drag is linearised.
#[derive(Debug, Clone)]
pub(super) struct About {
    pub log_cda: f64,
    /// Of each set-up to the first.
    pub log_ratio: Vec<f64>,
    pub log_rolling_ratio: Vec<f64>,
    pub gust_square_m2_s2: f64,
    pub wind_m_s: [f64; 2],
}

pub(super) struct Answer {
    pub log_evidence: f64,
    /// Log drag area of each set-up, S and S × S.
    pub setups: (DVector<f64>, DMatrix<f64>),
    /// Log drag area of each pass with its block's, its own, and what the drift of force looks like.
    pub passes: (DVector<f64>, DMatrix<f64>),
    /// Wind of each pass, east, then that of each pass, north.
    pub winds: (DVector<f64>, DMatrix<f64>),
}

pub(super) struct Twin<'a> {
    day: &'a Day<'a>,
    profile: Option<&'a Profile>,
    crr_shift: f64,
    /// The drift of force is the same newtons in each cell, instead of a share of each cell's drag.
    pub drift_by_metre: bool,
    /// Mean force of the air on each pass where the drag is linearised, N.
    force_n: Vec<f64>,
    knots_m: Vec<f64>,
    closed: bool,
    places: Places,
}

/// Where each unknown stands.
struct Places {
    ratio: Vec<Option<usize>>,
    rolling: Vec<Option<usize>>,
    gust: usize,
    /// Logarithm of the true over the assumed factor of the air-speed sensor.
    sensor: usize,
    mean_wind: [usize; 2],
    block: usize,
    pass: usize,
    drift: usize,
    wind: [usize; 2],
    knot: usize,
    all: usize,
}

impl<'a> Twin<'a> {
    pub fn of(day: &'a Day, profile: Option<&'a Profile>, crr_shift: f64, about: &About) -> Twin<'a> {
        let edges: Vec<f64> = day
            .rides
            .iter()
            .flat_map(|r| &r.cells)
            .flat_map(|c| [c.from_m, c.to_m])
            .collect();
        let low = edges.iter().copied().fold(f64::INFINITY, f64::min);
        let high = edges.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let most = day.rides.iter().map(|r| r.cells.len()).max().unwrap();
        let knots_m: Vec<f64> = (0..=most)
            .map(|k| low + (high - low) * k as f64 / most as f64)
            .collect();
        let mut twin = Twin {
            day,
            profile,
            crr_shift,
            drift_by_metre: false,
            force_n: vec![1.0; day.rides.len()],
            closed: day.shape == Shape::Loop && high - low > day.course_length_m - 1.0,
            places: Places::of(day, knots_m.len()),
            knots_m,
        };
        let at = twin.point(about);
        for (pass, ride) in day.rides.iter().enumerate() {
            let work: f64 = ride
                .cells
                .iter()
                .map(|cell| twin.drag_j(&at, ride, pass, cell))
                .sum();
            let metres: f64 = ride.cells.iter().map(metres).sum();
            twin.force_n[pass] = work / metres;
        }
        twin
    }

    /// The unknowns at the place of linearisation.
    fn point(&self, about: &About) -> DVector<f64> {
        let p = &self.places;
        let mut at = DVector::zeros(p.all);
        at[0] = about.log_cda;
        for s in 0..self.day.setups.len() {
            if let Some(place) = p.ratio[s] {
                at[place] = about.log_ratio[s];
            }
            if let Some(place) = p.rolling[s] {
                at[place] = about.log_rolling_ratio[s];
            }
        }
        at[p.gust] = about.gust_square_m2_s2;
        for way in 0..2 {
            at[p.mean_wind[way]] = about.wind_m_s[way];
        }
        at
    }

    fn log_cda(&self, at: &DVector<f64>, pass: usize) -> f64 {
        let p = &self.places;
        let ride = &self.day.rides[pass];
        at[0]
            + p.ratio[ride.setup].map_or(0.0, |place| at[place])
            + at[p.block + ride.block]
            + at[p.pass + pass]
            + if self.drift_by_metre {
                0.0
            } else {
                at[p.drift + pass] / self.force_n[pass]
            }
    }

    fn wind_m_s(&self, at: &DVector<f64>, pass: usize) -> [f64; 2] {
        let p = &self.places;
        [0, 1].map(|way| at[p.mean_wind[way]] + at[p.wind[way] + pass])
    }

    fn drag_j(&self, at: &DVector<f64>, ride: &PassRide, pass: usize, cell: &Cell) -> f64 {
        let still = air_m3_s2(ride, cell, self.wind_m_s(at, pass));
        let gusts = at[self.places.gust] * metres(cell);
        0.5 * ride.air.density_kg_m3 * self.log_cda(at, pass).exp() * (still + gusts)
    }

    /// What each cell of a pass should take, J: drag, rolling, and the climb that the shared heights do not know
    /// of; after them what an air-speed sensor should show in its cells, m/s; and after all passes what should be
    /// read of the wind beside the road, m/s.
    fn forward(&self, at: &DVector<f64>) -> DVector<f64> {
        let mut energies = Vec::new();
        for (pass, ride) in self.day.rides.iter().enumerate() {
            let setup = &self.day.setups[ride.setup];
            let weight_n = mass_kg(ride, setup) * ride.gravity_m_s2;
            let ratio = self.places.rolling[ride.setup].map_or(1.0, |place| at[place].exp());
            let crr = setup.crr.value + self.crr_shift;
            let level_m = |cell: &Cell| -> f64 {
                cell.steps
                    .iter()
                    .map(|s| s.cos_slope * midway(s) * s.duration_s)
                    .sum()
            };
            let all_level_m: f64 = ride.cells.iter().map(level_m).sum();
            // What other tyres take more is told between passes: within one it goes as the drag in the known wind.
            let known = |cell: &Cell| air_m3_s2(ride, cell, [0.0; 2]);
            let all_known: f64 = ride.cells.iter().map(known).sum();
            for cell in &ride.cells {
                let more_j = (ratio - 1.0) * crr * weight_n * all_level_m * known(cell) / all_known;
                let drifted_n = if self.drift_by_metre {
                    at[self.places.drift + pass]
                } else {
                    0.0
                };
                let lifted_m = self.unknown_height_m(at, cell.to_m) - self.unknown_height_m(at, cell.from_m);
                energies.push(
                    self.drag_j(at, ride, pass, cell)
                        + crr * weight_n * level_m(cell)
                        + more_j
                        + weight_n * lifted_m
                        + drifted_n * metres(cell),
                );
            }
            let [east, north] = self.wind_m_s(at, pass);
            for cell in sensed(ride) {
                let shown = mean_known(cell, |step| {
                    midway(step)
                        - (ride.air.wind_east_m_s + east) * step.bearing_rad.sin()
                        - (ride.air.wind_north_m_s + north) * step.bearing_rad.cos()
                });
                energies.push(shown * (-at[self.places.sensor]).exp());
            }
        }
        for (pass, _) in self.readings() {
            energies.extend(self.wind_m_s(at, pass));
        }
        DVector::from_vec(energies)
    }

    /// Straight between the knots; the first of them has no error by definition.
    fn unknown_height_m(&self, at: &DVector<f64>, along_m: f64) -> f64 {
        let apart_m = self.knots_m[1] - self.knots_m[0];
        self.knots_m
            .iter()
            .enumerate()
            .skip(1)
            .map(|(k, knot_m)| {
                let hat = (1.0 - (along_m - knot_m).abs() / apart_m).max(0.0);
                hat * at[self.places.knot + k - 1]
            })
            .sum()
    }

    /// One for each block that has one: of the wind of its first pass.
    fn readings(&self) -> impl Iterator<Item = (usize, BlockWind)> {
        let rides = self.day.rides;
        (0..rides.len()).filter_map(|pass| {
            let first = rides[..pass]
                .iter()
                .all(|before| before.block != rides[pass].block);
            Some((pass, rides[pass].wind_reading.filter(|_| first)?))
        })
    }

    /// What was done in each cell and did not go into speed, bearings or the known climb, J; and what sensors showed.
    fn done_j(&self) -> DVector<f64> {
        let mut energies = Vec::new();
        for ride in self.day.rides {
            let setup = &self.day.setups[ride.setup];
            let mass = mass_kg(ride, setup);
            let effective = effective_mass_kg(ride, setup);
            for cell in &ride.cells {
                let crank_j: f64 = cell.steps.iter().map(|s| s.power_w * s.duration_s).sum();
                let gained_j = 0.5 * effective * (cell.end_speed_m_s.powi(2) - cell.start_speed_m_s.powi(2));
                // Force of the bearings, Martin 1998 (REFERENCES 1.1, S): 91 + 8.7 v millinewtons.
                let bearing_j = over_cell(cell, |v, _| (0.091 + 0.0087 * v) * v);
                energies.push(
                    setup.drivetrain_efficiency.value * crank_j
                        - gained_j
                        - bearing_j
                        - mass * ride.gravity_m_s2 * cell.climb_m,
                );
            }
            energies.extend(sensed(ride).map(|cell| mean_known(cell, |step| step.air_speed_m_s)));
        }
        for (pass, reading) in self.readings() {
            let known = &self.day.rides[pass].air;
            energies.push(reading.wind_east_m_s - known.wind_east_m_s);
            energies.push(reading.wind_north_m_s - known.wind_north_m_s);
        }
        DVector::from_vec(energies)
    }

    fn prior_mean(&self, strengths: &Strengths) -> DVector<f64> {
        let mut mean = DVector::zeros(self.places.all);
        mean[0] = CDA_MEDIAN_M2.ln();
        mean[self.places.gust] = gust_mean_square(strengths.gust_q_m2_s) + 0.5 * self.unseen_cross_m2_s2();
        mean
    }

    fn prior_covariance(&self, strengths: &Strengths) -> DMatrix<f64> {
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
        for place in p.mean_wind {
            s[(place, place)] = self.mean_wind_sd_m_s().powi(2);
        }
        for place in p.block..p.pass {
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
                (BAROMETER_DRIFT_M_S * seconds).powi(2) / count / pieces as f64,
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

    /// Of everything observed, in the order of `forward`.
    fn noise(&self, at: &DVector<f64>, strengths: &Strengths) -> DMatrix<f64> {
        let size = self.done_j().len();
        let mut r = DMatrix::zeros(size, size);
        let mut first = 0;
        for (pass, ride) in self.day.rides.iter().enumerate() {
            let (cells, seen) = (ride.cells.len(), ride.cells.len() + sensed(ride).count());
            let setup = &self.day.setups[ride.setup];
            let mut own = DMatrix::zeros(seen, seen);
            own.view_mut((0, 0), (cells, cells))
                .copy_from(&pass_noise_j2(ride, setup));
            for row in cells..seen {
                own[(row, row)] = 0.15f64.powi(2);
            }
            own += gust_noise(ride, self.log_cda(at, pass).exp(), strengths.gust_q_m2_s);
            r.view_mut((first, first), (seen, seen)).copy_from(&own);
            first += seen;
        }
        for (_, reading) in self.readings() {
            for row in [first, first + 1] {
                r[(row, row)] = reading.wind_standard_uncertainty_m_s.powi(2);
            }
            first += 2;
        }
        r
    }

    fn slopes(&self, at: &DVector<f64>) -> DMatrix<f64> {
        let mut j = DMatrix::zeros(self.done_j().len(), self.places.all);
        for unknown in 0..self.places.all {
            let step = 1e-3;
            let side = |sign: f64| {
                let mut moved = at.clone();
                moved[unknown] += sign * step;
                self.forward(&moved)
            };
            // Of fourth order: what is left out is step⁴/30 of the fifth derivative.
            let slope = (8.0 * (side(1.0) - side(-1.0)) - (side(2.0) - side(-2.0))) / (12.0 * step);
            j.set_column(unknown, &slope);
        }
        j
    }

    pub fn answer(&self, about: &About, strengths: &Strengths) -> Answer {
        let at = self.point(about);
        let j = self.slopes(&at);
        let mean = self.prior_mean(strengths);
        let s = self.prior_covariance(strengths);
        let rest = self.done_j() - self.forward(&at) - &j * (&mean - &at);
        let k = &j * &s * j.transpose() + self.noise(&at, strengths);
        let factor = Cholesky::new(k).expect("a covariance of energies has a factor");
        let weighted = factor.solve(&rest);
        let log_determinant = 2.0 * factor.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let log_evidence = -0.5
            * (rest.dot(&weighted) + log_determinant + rest.len() as f64 * (2.0 * std::f64::consts::PI).ln());
        let to_data = &s * j.transpose();
        let found = &mean + &to_data * &weighted;
        let left = &s - &to_data * factor.solve(&to_data.transpose());
        let of = |g: DMatrix<f64>| (&g * &found, &g * &left * g.transpose());
        Answer {
            log_evidence,
            setups: of(self.setup_rows()),
            passes: of(self.pass_rows()),
            winds: of(self.wind_rows()),
        }
    }

    fn setup_rows(&self) -> DMatrix<f64> {
        let mut g = DMatrix::zeros(self.day.setups.len(), self.places.all);
        for s in 0..self.day.setups.len() {
            g[(s, 0)] = 1.0;
            if let Some(place) = self.places.ratio[s] {
                g[(s, place)] = 1.0;
            }
        }
        g
    }

    fn pass_rows(&self) -> DMatrix<f64> {
        let passes = self.day.rides.len();
        let mut g = DMatrix::zeros(passes, self.places.all);
        for pass in 0..passes {
            for unknown in 0..self.places.all {
                let mut one = DVector::zeros(self.places.all);
                one[unknown] = 1.0;
                g[(pass, unknown)] = self.log_cda(&one, pass);
            }
        }
        g
    }

    fn wind_rows(&self) -> DMatrix<f64> {
        let passes = self.day.rides.len();
        let mut g = DMatrix::zeros(2 * passes, self.places.all);
        for way in 0..2 {
            for pass in 0..passes {
                g[(way * passes + pass, self.places.mean_wind[way])] = 1.0;
                g[(way * passes + pass, self.places.wind[way] + pass)] = 1.0;
            }
        }
        g
    }
}

impl Places {
    fn of(day: &Day, knots: usize) -> Places {
        let mut next = 1;
        let mut take = |count: usize| {
            next += count;
            next - count
        };
        // A set-up that is silent on what it differs in differs as the baseline says.
        let differs = |s: usize| match day.setups[s].differs {
            Differs::Cda => day.setups[0].differs,
            own => own,
        };
        let ridden = |s: usize| s > 0 && day.rides.iter().any(|r| r.setup == s);
        let (mut ratio, mut rolling) = (Vec::new(), Vec::new());
        for s in 0..day.setups.len() {
            ratio.push((ridden(s) && differs(s) != Differs::Crr).then(|| take(1)));
            rolling.push((ridden(s) && differs(s) != Differs::Cda).then(|| take(1)));
        }
        let passes = day.rides.len();
        let blocks = day.rides.iter().map(|r| r.block).max().unwrap() + 1;
        Places {
            ratio,
            rolling,
            gust: take(1),
            sensor: take(1),
            mean_wind: [take(1), take(1)],
            block: take(blocks),
            pass: take(passes),
            drift: take(passes),
            wind: [take(passes), take(passes)],
            knot: take(knots - 1),
            all: next,
        }
    }
}

fn midway(step: &RiddenStep) -> f64 {
    (step.start_speed_m_s + step.end_speed_m_s) / 2.0
}

fn metres(cell: &Cell) -> f64 {
    cell.steps.iter().map(|s| midway(s) * s.duration_s).sum()
}

fn seconds(ride: &PassRide) -> f64 {
    ride.cells
        .iter()
        .flat_map(|c| &c.steps)
        .map(|s| s.duration_s)
        .sum()
}

/// As weighed before the block, or else as it holds for the set-up.
fn mass_kg(ride: &PassRide, setup: &Setup) -> f64 {
    ride.total_mass_kg
        .as_ref()
        .map_or(setup.total_mass_kg.value, |weighed| weighed.value)
}

fn effective_mass_kg(ride: &PassRide, setup: &Setup) -> f64 {
    let radius = ride.wheel_radius_m.unwrap_or(setup.wheel_radius_m.value);
    mass_kg(ride, setup) + setup.wheel_inertia_kg_m2.value / radius.powi(2)
}

/// Cells in which the air speed is known for four fifths of the time.
fn sensed(ride: &PassRide) -> impl Iterator<Item = &Cell> {
    ride.cells.iter().filter(|cell| {
        let long_s: f64 = cell.steps.iter().map(|s| s.duration_s).sum();
        let known = cell.steps.iter().filter(|s| s.air_speed_m_s.is_finite());
        known.map(|s| s.duration_s).sum::<f64>() >= 0.8 * long_s
    })
}

/// Mean over the time in which the air speed is known.
fn mean_known(cell: &Cell, f: impl Fn(&RiddenStep) -> f64) -> f64 {
    let known = || cell.steps.iter().filter(|s| s.air_speed_m_s.is_finite());
    known().map(|s| f(s) * s.duration_s).sum::<f64>() / known().map(|s| s.duration_s).sum::<f64>()
}

/// ∫ f(speed, bearing) dt over a cell; speed goes evenly within a step.
fn over_cell(cell: &Cell, f: impl Fn(f64, f64) -> f64) -> f64 {
    let of_step = |step: &RiddenStep| {
        let speed = |x: f64| step.start_speed_m_s * (1.0 - x) + step.end_speed_m_s * x;
        step.duration_s * mean_over(4, |x| f(speed(x), step.bearing_rad))
    };
    cell.steps.iter().map(of_step).sum()
}

/// ∫(v+w) V_a ds with this wind beside what is known of it, m³/s².
fn air_m3_s2(ride: &PassRide, cell: &Cell, [east, north]: [f64; 2]) -> f64 {
    let (east, north) = (ride.air.wind_east_m_s + east, ride.air.wind_north_m_s + north);
    over_cell(cell, |v, bearing| {
        let along = v - east * bearing.sin() - north * bearing.cos();
        let across = east * bearing.cos() - north * bearing.sin();
        along * (along * along + across * across).sqrt() * v
    })
}

/// σ_u² + ½ σ_c² of gusts alike in both directions, whose strength q is 2 σ² × memory.
fn gust_mean_square(q: f64) -> f64 {
    let square = q / (2.0 * GUST_MEMORY_S);
    square + 0.5 * square
}

/// A walk that began in the middle of the day and goes both ways from there: what two moments share of it.
fn walked_n2(a_s: f64, b_s: f64) -> f64 {
    let overlap_s = if a_s > 0.0 { b_s.min(a_s) } else { -b_s.max(a_s) };
    DRIFT_N_PER_SQRT_H * DRIFT_N_PER_SQRT_H * overlap_s.max(0.0) / 3600.0
}

/// Mean of f(x) for x from 0 to 1 by Simpson's rule.
fn mean_over(panels: u32, f: impl Fn(f64) -> f64) -> f64 {
    let width = 1.0 / f64::from(panels);
    (0..panels)
        .map(|i| f64::from(i) * width)
        .map(|x| width / 6.0 * (f(x) + 4.0 * f(x + 0.5 * width) + f(x + width)))
        .sum()
}

/// Mean of e^(−|t − t'| / memory) for t in one span and t' in another: over both times, or within one span over
/// the lags between them, so that no panel lies across the kink at t = t'.
fn mean_decay([a_from, a_s]: [f64; 2], [b_from, b_s]: [f64; 2], memory_s: f64) -> f64 {
    if [a_from, a_s] == [b_from, b_s] {
        // Lags up to the whole span, as shares x of it, have the density 2 (1 − x).
        return mean_over(400, |x| 2.0 * (1.0 - x) * (-x * a_s / memory_s).exp());
    }
    mean_over(60, |x| {
        mean_over(60, |y| {
            let lag_s = (a_from + x * a_s) - (b_from + y * b_s);
            (-lag_s.abs() / memory_s).exp()
        })
    })
}

/// Correlation of a wind's averages over two passes.
fn blown_together(a: &PassRide, b: &PassRide, memory_s: f64) -> f64 {
    let span = |r: &PassRide| [r.middle_s - 0.5 * seconds(r), seconds(r)];
    mean_decay(span(a), span(b), memory_s)
}

/// Unevenness of power, power that was not measured, speed at the edges, and where the edges are.
fn pass_noise_j2(ride: &PassRide, setup: &Setup) -> DMatrix<f64> {
    let count = ride.cells.len();
    let weight_n = mass_kg(ride, setup) * ride.gravity_m_s2;
    let mut r = DMatrix::zeros(count, count);
    for (i, cell) in ride.cells.iter().enumerate() {
        let crank_j: f64 = cell.steps.iter().map(|s| s.power_w * s.duration_s).sum();
        let long_s: f64 = cell.steps.iter().map(|s| s.duration_s).sum();
        // docs/method.md, 5: 4 % of a second's power; ten times what the brakes took.
        r[(i, i)] =
            (0.04 * crank_j).powi(2) / long_s + cell.unknown_power_j.powi(2) + 100.0 * cell.braked_j.powi(2);
    }
    // docs/method.md, 5: each edge has an error of 0.04 m/s and one of 3 m; it adds to one cell what it takes
    // from the next.
    let mut edges = DMatrix::zeros(count, count + 1);
    for edge in 0..=count {
        let (speed, slope) = if edge < count {
            (ride.cells[edge].start_speed_m_s, ride.cells[edge].start_gradient)
        } else {
            (
                ride.cells[count - 1].end_speed_m_s,
                ride.cells[count - 1].end_gradient,
            )
        };
        let error_j = (effective_mass_kg(ride, setup) * speed * 0.04).hypot(weight_n * slope * 3.0);
        if edge > 0 {
            edges[(edge - 1, edge)] = error_j;
        }
        if edge < count {
            edges[(edge, edge)] = -error_j;
        }
    }
    r + &edges * edges.transpose()
}

/// Gusts along the road, an Ornstein–Uhlenbeck speed: each second they take the work that a metre a second of them
/// does, and an air-speed sensor shows their mean.
fn gust_noise(ride: &PassRide, cda_m2: f64, q: f64) -> DMatrix<f64> {
    let variance_m2_s2 = q / (2.0 * GUST_MEMORY_S);
    let mut from_s = 0.0;
    let spans: Vec<[f64; 2]> = ride
        .cells
        .iter()
        .map(|cell| {
            let long_s = cell.steps.iter().map(|s| s.duration_s).sum::<f64>();
            from_s += long_s;
            [from_s - long_s, long_s]
        })
        .collect();
    // Of the mean of a gust over each cell.
    let means = DMatrix::from_fn(spans.len(), spans.len(), |i, j| {
        variance_m2_s2 * mean_decay(spans[i], spans[j], GUST_MEMORY_S)
    });
    let sensors = sensed(ride).count();
    let mut does = DMatrix::zeros(spans.len() + sensors, spans.len());
    for (i, cell) in ride.cells.iter().enumerate() {
        // ρ CdA (v+w) v, as the mean over the cell's length of ρ CdA (v+w) V_a.
        let rate = ride.air.density_kg_m3 * cda_m2 * air_m3_s2(ride, cell, [0.0, 0.0]).abs() / metres(cell);
        does[(i, i)] = rate * spans[i][1];
        if let Some(sensor) = sensed(ride).position(|other| std::ptr::eq(other, cell)) {
            does[(spans.len() + sensor, i)] = 1.0;
        }
    }
    &does * means * does.transpose()
}
