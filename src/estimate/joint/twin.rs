//! A slow and obvious twin of the estimate: one dense Gaussian process over the energies of all cells.
//!
//! It repeats the physics and the statistics on purpose (docs/method.md) and shares constants and data types
//! with the analysis, nothing else. Integrals by Simpson's rule, derivatives by differences,
//! averages of processes by double sums over time, knots as sums of their own errors, and everything in the
//! space of the data: K = J S Jᵀ + R, one dense factor of it. Blocks, passes and the drift of force are unknowns
//! of their own here; the analysis folds them into one log drag area for each pass.

mod beforehand;
mod parts;

use super::system::{READING_S, READING_WANDER_M_S};
use crate::course::Profile;
use crate::estimate::cells::{BlockWind, Cell, PassRide};
use crate::estimate::plain::Day;
use crate::test_day::{Differs, Shape};
use nalgebra::{Cholesky, DMatrix, DVector};
use parts::{
    air_m3_s2, crank_j, effective_mass_kg, gust_noise, mass_kg, mean_known, metres, midway, over_cell,
    pass_noise_j2, sensed,
};

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
    /// Recorded over true power for each kelvin above the mean of the passes.
    kelvin: usize,
    mean_wind: [usize; 2],
    block: usize,
    /// Of each mounting: recorded over true power where one leg's is doubled.
    leg: usize,
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
            + at[p.leg + ride.block] * self.wheel_j(ride)
                / (self.force_n[pass] * ride.cells.iter().map(metres).sum::<f64>())
            + if self.drift_by_metre {
                0.0
            } else {
                at[p.drift + pass] / self.force_n[pass]
            }
    }

    /// Work at the wheel over the whole pass.
    fn wheel_j(&self, ride: &PassRide) -> f64 {
        let efficiency = self.day.setups[ride.setup].drivetrain_efficiency.value;
        efficiency * ride.cells.iter().map(crank_j).sum::<f64>()
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
                    .map(|s| cell.crr_factor * s.cos_slope * s.lean.load_factor * midway(s) * s.duration_s)
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
                        + at[self.places.kelvin]
                            * ride.in_day.warmer_k
                            * setup.drivetrain_efficiency.value
                            * crank_j(cell)
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
                let crank_j = crank_j(cell);
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
                // Gusts over half a minute of reading, and the wander until the pass.
                r[(row, row)] = reading.wind_standard_uncertainty_m_s.powi(2)
                    + strengths.gust_q_m2_s / READING_S
                    + READING_WANDER_M_S.powi(2);
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
            kelvin: take(1),
            mean_wind: [take(1), take(1)],
            block: take(blocks),
            leg: take(blocks),
            pass: take(passes),
            drift: take(passes),
            wind: [take(passes), take(passes)],
            knot: take(knots - 1),
            all: next,
        }
    }
}
