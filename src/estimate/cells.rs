//! One pass cut into cells of the course: what was done and what resisted in each.

use super::bends::Bends;
use super::braking::braked_j;
use super::one_pass::{SPEED_BY_POSITIONS_STANDARD_UNCERTAINTY_M_S, SPEED_STANDARD_UNCERTAINTY_M_S};
use crate::air::AirState;
use crate::course::port::TWICE_GRAVITY_M_S2;
use crate::course::{Course, Direction, Pass};
use crate::physics::{Lean, RelativeWind, Rig, Step, Surroundings, Work, cos_slope, step_work};
use crate::streams::{Segment, SpeedSource, Streams};
use crate::test_day::{Measured, Setup, Surface};
use crate::units::KELVIN_AT_0_C;

/// Cells of about this length: long against the wander of positions, short against hills.
const CELL_M: f64 = 150.0;
/// METHOD: about 8 to 12 cells a pass; short courses have fewer, since a cell must outlast position error.
const FEWEST_CELLS: usize = 4;
const MOST_CELLS: usize = 12;
/// Cells of a whole day: the pooled account is one dense system of this size.
const MOST_CELLS_A_DAY: usize = 600;
/// Power that was not measured is taken as the mean of the cell, within this share of it.
/// Common practice, no published source: a rider's 1 s power spreads by about a third around its mean.
const UNKNOWN_POWER_SHARE: f64 = 0.35;
/// ... and no surer than this, since the rider may have coasted meanwhile.
const UNKNOWN_POWER_LEAST_W: f64 = 40.0;

/// The inputs that every pass shares, as shifts from what was assumed: `default()` shifts nothing.
/// The uncertainty budget moves one at a time through the whole fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    pub power_scale: f64,
    pub speed_scale: f64,
    /// The speed scale is shifted for the passes of this set-up alone; `None`: for all.
    pub speed_scale_of: Option<usize>,
    pub density_scale: f64,
    /// What the centre of mass loses on the wheels in bends is greater by this share.
    pub lean_share: f64,
    pub total_mass_kg: f64,
    pub drivetrain_efficiency: f64,
    pub wheel_radius_m: f64,
    pub wheel_inertia_kg_m2: f64,
    pub crr: f64,
    /// Added to the factor of every surface of `test.toml`.
    pub crr_factor: f64,
    /// Where the air moves to, added to what is known.
    pub wind_east_m_s: f64,
    pub wind_north_m_s: f64,
    /// Of the finish above the start.
    pub climb_m: f64,
    /// Power was stamped later than assumed by this.
    pub power_delay_s: f64,
    /// Altitude came later than assumed by this. Heights of a course that is ridden one way shift with it.
    pub altitude_lag_s: f64,
    /// Altitude reads low by this share of v²/2g more than assumed. Heights of a course that is ridden one way shift
    /// with it.
    pub port_coefficient: f64,
    /// Of the air over the day beyond what is followed already, from its middle on.
    pub warming_k_per_h: f64,
    /// Of rider and bottles, from the middle of the day on.
    pub mass_loss_kg_per_h: f64,
    /// Recorded power reads too high by this share for each kelvin above the mean of the passes.
    pub power_scale_per_k: f64,
}

impl Default for Shift {
    fn default() -> Self {
        Shift {
            power_scale: 1.0,
            speed_scale: 1.0,
            speed_scale_of: None,
            density_scale: 1.0,
            lean_share: 0.0,
            total_mass_kg: 0.0,
            drivetrain_efficiency: 0.0,
            wheel_radius_m: 0.0,
            wheel_inertia_kg_m2: 0.0,
            crr: 0.0,
            crr_factor: 0.0,
            wind_east_m_s: 0.0,
            wind_north_m_s: 0.0,
            climb_m: 0.0,
            power_delay_s: 0.0,
            altitude_lag_s: 0.0,
            port_coefficient: 0.0,
            warming_k_per_h: 0.0,
            mass_loss_kg_per_h: 0.0,
            power_scale_per_k: 0.0,
        }
    }
}

/// Where a pass stands in the day, for what changes slowly over it; `default()`: in its middle, and nothing does.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct InDay {
    /// Middle of the pass after the mean of all middles.
    pub since_middle_h: f64,
    /// Of the air, above the mean of the passes.
    pub warmer_k: f64,
    pub warming_standard_uncertainty_k_per_h: f64,
    /// Standard uncertainty of the power meter's change with temperature, common to the day. [1/K]
    pub power_scale_per_k_standard_uncertainty: f64,
    /// Standard deviation, from one mounting to the next, of recorded over true power where one leg's is doubled.
    pub one_leg_sd: f64,
}

impl Shift {
    /// Factor of the speeds of this set-up's passes.
    pub fn speed_scale_for(&self, setup: usize) -> f64 {
        if self.speed_scale_of.is_none_or(|of| of == setup) {
            self.speed_scale
        } else {
            1.0
        }
    }
}

/// One step of a pass: everything but the wind, which the budget moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiddenStep {
    pub duration_s: f64,
    pub power_w: f64,
    pub start_speed_m_s: f64,
    pub end_speed_m_s: f64,
    /// Travel bearing from true north.
    pub bearing_rad: f64,
    pub cos_slope: f64,
    /// In the direction ridden, positive uphill.
    pub sin_slope: f64,
    /// By an air-speed sensor, along the direction of travel: mean over the step, times the factor of
    /// `test.toml`; NaN where it is not known.
    pub air_speed_m_s: f64,
    /// In the bend of a track.
    pub lean: Lean,
}

/// A wind read beside the road before a block: one reading, shared by all passes of the block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockWind {
    /// Just before the block: unix seconds of its first pass.
    pub time_s: f64,
    /// Where the air moves to, at rider height.
    pub wind_east_m_s: f64,
    pub wind_north_m_s: f64,
    /// Each way.
    pub wind_standard_uncertainty_m_s: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Along the course from its start, in the order ridden: `from_m > to_m` in the reverse direction.
    pub from_m: f64,
    pub to_m: f64,
    pub steps: Vec<RiddenStep>,
    /// In the direction ridden, from the shared profile; 0 where there is none.
    pub climb_m: f64,
    pub start_speed_m_s: f64,
    pub end_speed_m_s: f64,
    pub start_gradient: f64,
    pub end_gradient: f64,
    /// Mean over the two seconds about each end: what a second of delay moves over it.
    pub start_power_w: f64,
    pub end_power_w: f64,
    /// Standard uncertainty of the crank energy for the time in which power was not measured.
    pub unknown_power_j: f64,
    /// Energy that went into the brakes, as far as it shows; 0 where none did. The balance has no term for it.
    pub braked_j: f64,
    /// Of the surface: times the Crr of whatever is ridden, mean over the cell.
    pub crr_factor: f64,
    /// Share of the cell that lies on a surface of `test.toml`.
    pub surface_share: f64,
}

/// One pass as the estimate sees it. Immutable: its energy account depends on nothing else.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRide {
    /// Index into the passes of the course.
    pub pass: usize,
    pub setup: usize,
    /// From 0, over the blocks of the day.
    pub block: usize,
    pub direction: Direction,
    /// Time of its middle, unix seconds.
    pub middle_s: f64,
    /// When its first cell begins, unix seconds.
    pub start_s: f64,
    pub cells: Vec<Cell>,
    pub gravity_m_s2: f64,
    pub air: AirState,
    /// Course length over the distance by the speed channel.
    pub length_ratio: f64,
    /// Relative standard uncertainty of the air speeds' factor, common to the day; `None` without a sensor.
    pub air_speed_scale_standard_uncertainty: Option<f64>,
    pub wind_reading: Option<BlockWind>,
    /// Weighed before the block; stands instead of the set-up's.
    pub total_mass_kg: Option<Measured>,
    /// By the rollout measured before the block; stands instead of the set-up's.
    pub wheel_radius_m: Option<f64>,
    /// The drift of the power meter's zero was read before and after this pass, and is taken out of its steps.
    pub power_zero_noted: bool,
    /// Of a speed at one instant.
    pub speed_standard_uncertainty_m_s: f64,
    pub in_day: InDay,
}

impl PassRide {
    pub fn duration_s(&self) -> f64 {
        self.cells
            .iter()
            .flat_map(|cell| &cell.steps)
            .map(|step| step.duration_s)
            .sum()
    }

    pub fn distance_m(&self) -> f64 {
        self.cells
            .iter()
            .flat_map(|cell| &cell.steps)
            .map(|step| 0.5 * (step.start_speed_m_s + step.end_speed_m_s) * step.duration_s)
            .sum()
    }

    /// Yaw in degrees and the time it lasted, step by step, in a wind that moves to the east and north.
    pub fn yaws_deg(&self, wind_m_s: [f64; 2]) -> impl Iterator<Item = (f64, f64)> {
        self.cells.iter().flat_map(|cell| &cell.steps).map(move |step| {
            let [east, north] = wind_m_s;
            let wind = RelativeWind::from_air_velocity(east, north, step.bearing_rad);
            let speed = 0.5 * (step.start_speed_m_s + step.end_speed_m_s);
            (wind.yaw_rad(speed).to_degrees(), step.duration_s)
        })
    }

    /// Mean factor of the surfaces over the part of the course that is fitted.
    pub fn crr_factor(&self) -> f64 {
        let length_m = |cell: &Cell| (cell.to_m - cell.from_m).abs();
        let all_m: f64 = self.cells.iter().map(length_m).sum();
        self.cells
            .iter()
            .map(|cell| cell.crr_factor * length_m(cell))
            .sum::<f64>()
            / all_m
    }

    pub fn mean_speed_m_s(&self) -> f64 {
        self.distance_m() / self.duration_s()
    }

    /// Whether a cell begins where the one before it ended: nothing was cut out between them.
    pub fn goes_on(&self, cell: usize) -> bool {
        let before = cell.checked_sub(1).and_then(|before| self.cells.get(before));
        match (before, self.cells.get(cell)) {
            (Some(before), Some(cell)) => (cell.from_m - before.to_m).abs() < 0.5,
            _ => false,
        }
    }
}

/// The two sides of the balance for one cell: `energy_j = CdA · air + Crr · rolling + noise`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Account {
    /// η∫P dt − ½ m_e Δ(v²) − bearing work − m g Δh.
    pub energy_j: f64,
    /// ½ ρ ∫(v+w) V_a ds, per m² of drag area.
    pub air_j_m2: f64,
    /// m g ∫cos θ ds, times the factor of the surface.
    pub rolling_j: f64,
    /// ∫P dt as measured.
    pub crank_j: f64,
    pub duration_s: f64,
    pub distance_m: f64,
    /// m g: turns a left-over energy into metres of elevation.
    pub weight_n: f64,
}

/// How many cells a pass over `length_m` is cut into, with `passes` of them in the day.
pub fn cell_count(length_m: f64, passes: usize) -> usize {
    let by_length = (length_m / CELL_M).round() as usize;
    let by_day = MOST_CELLS_A_DAY / passes.max(1);
    by_length.clamp(FEWEST_CELLS, MOST_CELLS).min(by_day.max(2))
}

/// A lap of a track is cut where its halves meet: at both places the curve is the same wherever the gate lies, so
/// that what the lean stores of the energy is the same as well and the balance need not know it.
pub const CELLS_OF_A_TRACK: usize = 2;

/// Everything but CdA, with the shifts applied. CdA is 0: the account carries it as an unknown.
pub fn rig(setup: &Setup, shift: &Shift) -> Rig {
    Rig {
        cda_m2: 0.0,
        crr: setup.crr.value + shift.crr,
        total_mass_kg: setup.total_mass_kg.value + shift.total_mass_kg,
        wheel_inertia_kg_m2: setup.wheel_inertia_kg_m2.value + shift.wheel_inertia_kg_m2,
        wheel_radius_m: setup.wheel_radius_m.value + shift.wheel_radius_m,
        drivetrain_efficiency: setup.drivetrain_efficiency.value + shift.drivetrain_efficiency,
    }
}

/// As `rig`, with what was measured before the block of a pass instead of what holds for its set-up.
pub fn ride_rig(ride: &PassRide, setup: &Setup, shift: &Shift) -> Rig {
    let of_setup = rig(setup, shift);
    let instead = |noted: Option<f64>, shift: f64, else_: f64| noted.map_or(else_, |value| value + shift);
    let lost_kg = shift.mass_loss_kg_per_h * ride.in_day.since_middle_h;
    Rig {
        total_mass_kg: instead(
            ride.total_mass_kg.map(|mass| mass.value),
            shift.total_mass_kg,
            of_setup.total_mass_kg,
        ) - lost_kg,
        wheel_radius_m: instead(ride.wheel_radius_m, shift.wheel_radius_m, of_setup.wheel_radius_m),
        ..of_setup
    }
}

pub fn surroundings(ride: &PassRide, shift: &Shift) -> Surroundings {
    // At one pressure the density goes as the inverse of the absolute temperature.
    let warmed_k = shift.warming_k_per_h * ride.in_day.since_middle_h;
    let kelvin = ride.air.temperature_c + KELVIN_AT_0_C;
    let thinned = kelvin / (kelvin + warmed_k);
    Surroundings {
        air_density_kg_m3: ride.air.density_kg_m3 * shift.density_scale * thinned,
        gravity_m_s2: ride.gravity_m_s2,
    }
}

/// Sums over the steps of a cell, with the shifts applied.
pub fn cell_work(ride: &PassRide, cell: &Cell, shift: &Shift) -> Work {
    let east = ride.air.wind_east_m_s + shift.wind_east_m_s;
    let north = ride.air.wind_north_m_s + shift.wind_north_m_s;
    let power_scale = shift.power_scale * (1.0 - shift.power_scale_per_k * ride.in_day.warmer_k);
    let speed_scale = shift.speed_scale_for(ride.setup);
    cell.steps
        .iter()
        .map(|step| {
            step_work(&Step {
                duration_s: step.duration_s,
                power_w: step.power_w * power_scale,
                start_speed_m_s: step.start_speed_m_s * speed_scale,
                end_speed_m_s: step.end_speed_m_s * speed_scale,
                wind: RelativeWind::from_air_velocity(east, north, step.bearing_rad),
                cos_slope: step.cos_slope,
                lean: step.lean.scaled(shift.lean_share),
            })
        })
        .sum()
}

/// The energy account of each cell of a pass.
pub fn accounts(ride: &PassRide, setup: &Setup, course_length_m: f64, shift: &Shift) -> Vec<Account> {
    let rig = ride_rig(ride, setup, shift);
    let around = surroundings(ride, shift);
    let weight_n = rig.total_mass_kg * around.gravity_m_s2;
    ride.cells
        .iter()
        .map(|cell| {
            let work = cell_work(ride, cell, shift);
            let tilt_m = shift.climb_m * (cell.to_m - cell.from_m) / course_length_m;
            let rate_m_s =
                cell.end_speed_m_s * cell.end_gradient - cell.start_speed_m_s * cell.start_gradient;
            let late_m = shift.altitude_lag_s * rate_m_s;
            let stream_m = (cell.end_speed_m_s.powi(2) - cell.start_speed_m_s.powi(2)) / TWICE_GRAVITY_M_S2;
            let sunk_m = shift.port_coefficient * stream_m;
            // Later power than that at the start belongs into the cell, and of later power than that at its end.
            let late_j = shift.power_delay_s * shift.power_scale * (cell.end_power_w - cell.start_power_w);
            let crank_j = work.crank_j + late_j;
            Account {
                energy_j: rig.drivetrain_efficiency * crank_j
                    - rig.effective_mass_kg() * work.kinetic_m2_s2
                    - work.bearing_j
                    - weight_n * (cell.climb_m + tilt_m + late_m + sunk_m),
                air_j_m2: 0.5 * around.air_density_kg_m3 * work.air_m3_s2,
                rolling_j: weight_n
                    * work.level_distance_m
                    * (cell.crr_factor + shift.crr_factor * cell.surface_share),
                crank_j,
                duration_s: work.duration_s,
                distance_m: work.distance_m,
                weight_n,
            }
        })
        .collect()
}

/// Why a pass could not be cut into cells, in words for its flags.
pub type NotUsable = String;

/// What a pass needs to know of its day.
pub struct Ground<'a> {
    pub streams: &'a Streams,
    pub course: &'a Course,
    pub air: AirState,
    pub gravity_m_s2: f64,
    pub cells: usize,
    pub surfaces: &'a [Surface],
    /// True over recorded speed.
    pub speed_scale: f64,
    /// Of a track.
    pub bends: Option<Bends>,
    /// Speed from positions counts as a wheel's does.
    pub speed_as_by_wheel: bool,
    /// Parts of the course that are fitted, metres from its start, in the order of their places.
    pub parts_m: &'a [(f64, f64)],
}

impl Ground<'_> {
    fn speed_standard_uncertainty_m_s(&self) -> f64 {
        match self.streams.speed_source {
            SpeedSource::Positions if !self.speed_as_by_wheel => SPEED_BY_POSITIONS_STANDARD_UNCERTAINTY_M_S,
            _ => SPEED_STANDARD_UNCERTAINTY_M_S,
        }
    }

    /// Ends of the cells in the order ridden: at equal distances within each part, and as even over all of them as
    /// whole cells allow.
    fn edges_m(&self, direction: Direction) -> Vec<[f64; 2]> {
        let all_m: f64 = self.parts_m.iter().map(|(from, to)| to - from).sum();
        let mut edges: Vec<[f64; 2]> = Vec::new();
        for (from_m, to_m) in self.parts_m {
            let length_m = to_m - from_m;
            if length_m < 1.0 {
                continue;
            }
            let cells = (self.cells as f64 * length_m / all_m).round().max(1.0);
            let along = |edge: usize| from_m + edge as f64 / cells * length_m;
            edges.extend((0..cells as usize).map(|cell| [along(cell), along(cell + 1)]));
        }
        if direction == Direction::Reverse {
            edges.reverse();
            edges.iter_mut().for_each(|edge| edge.reverse());
        }
        edges
    }

    /// The recording between two moments, with its speed at the right scale.
    fn segments(&self, from_s: f64, to_s: f64) -> Vec<Segment> {
        let mut segments = self.streams.segments(from_s, to_s);
        if self.speed_scale != 1.0 {
            for segment in &mut segments {
                segment.start_speed_m_s *= self.speed_scale;
                segment.end_speed_m_s *= self.speed_scale;
            }
        }
        segments
    }
}

/// Cuts one pass into cells.
///
/// The distance ridden is the speed channel's, scaled so that gate to
/// gate is the course length: positions wander by metres from sample to sample, the wheel does not.
///
/// # Errors
/// In words: power or speed missing, or the pass hardly moves within the window.
pub fn cut(
    ground: &Ground,
    pass: &Pass,
    index: usize,
    setup: usize,
    block: usize,
) -> Result<PassRide, NotUsable> {
    let segments = ground.segments(pass.start_s, pass.end_s);
    if let Some(missing_s) = missing_speed_s(&segments) {
        return Err(format!("no speed for {missing_s:.0} s"));
    }
    let known_s: f64 = segments
        .iter()
        .filter(|s| s.power_w.is_finite())
        .map(|s| s.end_s - s.start_s)
        .sum();
    if known_s < 0.5 * (pass.end_s - pass.start_s) {
        return Err("power missing for more than half of the pass".to_string());
    }
    let length_m = ground.course.length_m();
    let ridden_m: f64 = segments.iter().map(segment_length_m).sum();
    let edges_m = ground.edges_m(pass.direction);
    let Some(first_m) = edges_m.first().map(|[from, _]| *from).filter(|_| ridden_m >= 1.0) else {
        return Err("no distance covered".to_string());
    };
    let length_ratio = length_m / ridden_m;
    let ridden_at = |course_m: f64| match pass.direction {
        Direction::Forward => course_m / length_ratio,
        Direction::Reverse => (length_m - course_m) / length_ratio,
    };
    let uneven_w = uneven_w(&segments);
    let mut cells = Vec::with_capacity(edges_m.len());
    for [from_m, to_m] in edges_m {
        let start_s = time_at(&segments, ridden_at(from_m), pass);
        let end_s = time_at(&segments, ridden_at(to_m), pass);
        cells.push(cell(
            ground,
            pass.direction,
            from_m,
            to_m,
            &ground.segments(start_s, end_s),
            uneven_w,
            [start_s, end_s].map(|edge_s| power_about_w(ground.streams, edge_s)),
        )?);
    }
    Ok(PassRide {
        pass: index,
        setup,
        block,
        direction: pass.direction,
        middle_s: 0.5 * (pass.start_s + pass.end_s),
        start_s: time_at(&segments, ridden_at(first_m), pass),
        cells,
        gravity_m_s2: ground.gravity_m_s2,
        air: ground.air,
        length_ratio,
        air_speed_scale_standard_uncertainty: None,
        wind_reading: None,
        total_mass_kg: None,
        wheel_radius_m: None,
        power_zero_noted: false,
        speed_standard_uncertainty_m_s: ground.speed_standard_uncertainty_m_s(),
        in_day: InDay::default(),
    })
}

fn missing_speed_s(segments: &[Segment]) -> Option<f64> {
    let missing: f64 = segments
        .iter()
        .filter(|s| !(s.start_speed_m_s.is_finite() && s.end_speed_m_s.is_finite()))
        .map(|s| s.end_s - s.start_s)
        .sum();
    (missing > 0.0 || segments.is_empty()).then_some(missing)
}

/// How far a power that was read is off the one a few seconds before it, by the readings of the pass. [W]
fn uneven_w(segments: &[Segment]) -> f64 {
    let read: Vec<f64> = segments
        .iter()
        .filter(|s| !s.held && s.power_w.is_finite())
        .map(|s| s.power_w)
        .collect();
    let squares: f64 = read.windows(2).map(|two| (two[1] - two[0]).powi(2)).sum();
    // A difference of two readings holds the unevenness of both.
    (0.5 * squares / read.len().saturating_sub(1).max(1) as f64).sqrt()
}

fn segment_length_m(segment: &Segment) -> f64 {
    0.5 * (segment.start_speed_m_s + segment.end_speed_m_s) * (segment.end_s - segment.start_s)
}

/// When a distance since the start of the pass was reached: speed is linear within a segment.
fn time_at(segments: &[Segment], target_m: f64, pass: &Pass) -> f64 {
    let mut before_m = 0.0;
    for segment in segments {
        let length_m = segment_length_m(segment);
        if before_m + length_m >= target_m {
            let duration_s = segment.end_s - segment.start_s;
            let acceleration = (segment.end_speed_m_s - segment.start_speed_m_s) / duration_s;
            let left_m = (target_m - before_m).max(0.0);
            // The root of v τ + ½ a τ² = left in the form that does not cancel when a is small.
            let under_root = (segment.start_speed_m_s.powi(2) + 2.0 * acceleration * left_m).max(0.0);
            let sum = segment.start_speed_m_s + under_root.sqrt();
            let tau = if sum > 0.0 { 2.0 * left_m / sum } else { 0.0 };
            return segment.start_s + tau.min(duration_s);
        }
        before_m += length_m;
    }
    pass.end_s
}

/// Mean of a second before and a second after; 0 where nothing was measured, as where the rider stood.
fn power_about_w(streams: &Streams, time_s: f64) -> f64 {
    let (mut work_j, mut known_s) = (0.0, 0.0);
    for s in streams.segments(time_s - 1.0, time_s + 1.0) {
        if s.power_w.is_finite() {
            work_j += s.power_w * (s.end_s - s.start_s);
            known_s += s.end_s - s.start_s;
        }
    }
    if known_s > 0.0 { work_j / known_s } else { 0.0 }
}

fn cell(
    ground: &Ground,
    direction: Direction,
    from_m: f64,
    to_m: f64,
    segments: &[Segment],
    uneven_w: f64,
    powers_w: [f64; 2],
) -> Result<Cell, NotUsable> {
    let (Some(first), Some(last)) = (segments.first(), segments.last()) else {
        return Err(format!(
            "no samples between {from_m:.0} and {to_m:.0} m of the course"
        ));
    };
    let profile = ground.course.profile.as_ref();
    // The line and its profile are measured on the level, the course along the road.
    let level = ground.course.line.length_m() / ground.course.length_m();
    let gradient_at = |along_m: f64| profile.map_or(0.0, |p| p.gradient_at(along_m * level));
    let (mut known_j, mut known_s, mut unknown_s, mut held_s2) = (0.0, 0.0, 0.0, 0.0);
    for s in segments {
        let duration_s = s.end_s - s.start_s;
        held_s2 += if s.held { duration_s * duration_s } else { 0.0 };
        if s.power_w.is_finite() {
            known_j += s.power_w * duration_s;
            known_s += duration_s;
        } else {
            unknown_s += duration_s;
        }
    }
    if known_s == 0.0 {
        return Err(format!(
            "no power between {from_m:.0} and {to_m:.0} m of the course"
        ));
    }
    let mean_w = known_j / known_s;
    let length_m: f64 = segments.iter().map(segment_length_m).sum();
    let mut done_m = 0.0;
    let steps = segments
        .iter()
        .map(|s| {
            let middle_share = if length_m > 0.0 {
                (done_m + 0.5 * segment_length_m(s)) / length_m
            } else {
                0.5
            };
            done_m += segment_length_m(s);
            let at_m = from_m + middle_share * (to_m - from_m);
            let bearing = ground.course.line.bearing_at_rad(at_m * level);
            let gradient = match direction {
                Direction::Forward => gradient_at(at_m),
                Direction::Reverse => -gradient_at(at_m),
            };
            let cos_slope = cos_slope(gradient);
            RiddenStep {
                duration_s: s.end_s - s.start_s,
                power_w: if s.power_w.is_finite() { s.power_w } else { mean_w },
                start_speed_m_s: s.start_speed_m_s,
                end_speed_m_s: s.end_speed_m_s,
                bearing_rad: match direction {
                    Direction::Forward => bearing,
                    Direction::Reverse => bearing + std::f64::consts::PI,
                },
                cos_slope,
                sin_slope: gradient * cos_slope,
                air_speed_m_s: s.air_speed_m_s,
                lean: ground.bends.map_or(Lean::UPRIGHT, |bends| {
                    let speed = 0.5 * (s.start_speed_m_s + s.end_speed_m_s);
                    bends.lean(at_m, speed, ground.gravity_m_s2)
                }),
            }
        })
        .collect::<Vec<_>>();
    let (crr_factor, surface_share) = surface(ground.surfaces, from_m.min(to_m), from_m.max(to_m));
    let braked_j = braked_j(&steps, ground.gravity_m_s2, ground.air.density_kg_m3);
    Ok(Cell {
        from_m,
        to_m,
        steps,
        climb_m: profile.map_or(0.0, |p| {
            p.elevation_at(to_m * level) - p.elevation_at(from_m * level)
        }),
        start_speed_m_s: first.start_speed_m_s,
        end_speed_m_s: last.end_speed_m_s,
        start_gradient: gradient_at(from_m),
        end_gradient: gradient_at(to_m),
        start_power_w: powers_w[0],
        end_power_w: powers_w[1],
        unknown_power_j: (unknown_s * (UNKNOWN_POWER_SHARE * mean_w).max(UNKNOWN_POWER_LEAST_W))
            .hypot(uneven_w * held_s2.sqrt()),
        braked_j,
        crr_factor,
        surface_share,
    })
}

/// Mean factor of rolling resistance between two places of the course, and the share of it that any surface covers.
fn surface(surfaces: &[Surface], low_m: f64, high_m: f64) -> (f64, f64) {
    let (mut factor, mut covered) = (1.0, 0.0);
    for surface in surfaces {
        let length_m = high_m.min(surface.to_m) - low_m.max(surface.from_m);
        let share = (length_m / (high_m - low_m)).max(0.0);
        factor += share * (surface.crr_factor.value - 1.0);
        covered += share;
    }
    (factor, covered)
}

#[cfg(test)]
#[path = "cells_tests.rs"]
mod tests;
