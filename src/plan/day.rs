//! A day before it is ridden: everything settled that decides what it will tell.

use super::place::Place;
use crate::air::{Air, AirState, RideSite, settle};
use crate::course::Direction;
use crate::error::{Error, Fault, Result};
use crate::estimate::cells::{Shift, rig};
use crate::estimate::joint::layout::differs;
use crate::physics::{Rig, Surroundings, gravity_m_s2};
use crate::test_day::{
    AirReading, Differs, Extent, Hold, Measured, Planned, PlannedWind, Setup, Shape, Slow, TestDay,
    read as read_test_day,
};
use crate::verdict::{Stretch, reversed};
use std::path::Path;

/// Where the plan does not say where it is ridden: half way to the pole, a little above the sea.
const ANYWHERE: [f64; 2] = [45.0, 100.0];

/// A planned day, everything settled.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedDay {
    pub shape: Shape,
    /// From start to finish as ridden forward; a loop: one lap.
    pub road: Vec<Stretch>,
    /// False where the road is taken as level because nobody knows better.
    pub has_heights: bool,
    /// The first is the baseline.
    pub setups: Vec<Setup>,
    /// Expected of each set-up.
    pub cda_m2: Vec<f64>,
    /// In riding order.
    pub order: Vec<PlannedBlock>,
    pub hold: Hold,
    /// At the meter; in speed held, what the first set-up needs for its speed.
    pub power_w: f64,
    /// `None`: the speed that the power keeps up on the first metres.
    pub entry_speed_m_s: Option<f64>,
    /// At each turn within a block.
    pub turn_round_s: f64,
    /// Between two blocks.
    pub change_s: f64,
    /// Expected at rider height; `None`: as on any day.
    pub wind: Option<PlannedWind>,
    /// As the analysis will know it: the wind in it is what `[[air]]` says of it.
    pub air: AirState,
    /// Of the warming over the day. [K/h]
    pub warming_standard_uncertainty_k_per_h: f64,
    pub gravity_m_s2: f64,
    pub power_scale: Measured,
    pub slow: Slow,
    /// Change that is looked for in what the set-ups differ in; negative: less.
    pub difference_percent: f64,
}

/// One mounting of a set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedBlock {
    pub setup: usize,
    /// Out and back: each direction is one; a loop: each lap.
    pub passes: usize,
    /// `None`: that of the day. Other powers are other speeds, which tell drag from rolling resistance.
    pub power_w: Option<f64>,
    /// Passes ridden before it that count for no set-up: they take their time.
    pub idle_passes: usize,
}

impl PlannedBlock {
    pub fn of(setup: usize, passes: usize) -> PlannedBlock {
        PlannedBlock {
            setup,
            passes,
            power_w: None,
            idle_passes: 0,
        }
    }
}

impl PlannedDay {
    /// From `test.toml` in a folder, with the road file that it names.
    ///
    /// # Errors
    /// `test.toml` or the road cannot be read, or does not say what is to be ridden where.
    pub fn read(folder: &Path) -> Result<PlannedDay> {
        PlannedDay::of(&read_test_day(folder)?, folder)
    }

    /// # Errors
    /// As [`PlannedDay::read`], but for what is read of `test.toml`.
    pub fn of(test_day: &TestDay, folder: &Path) -> Result<PlannedDay> {
        let test_toml = folder.join("test.toml");
        let fault = |line: usize, what: &str, next_step: &str| -> Error {
            let fault = Fault::new(what, next_step).in_file(&test_toml);
            match line {
                0 => fault.into(),
                line => fault.at(format!("line {line}")).into(),
            }
        };
        let Some(plan) = &test_day.plan else {
            return Err(fault(
                0,
                "there is no [plan] in it",
                "Let `stillair plan` write one, or write [plan] with road or length_m.",
            ));
        };
        let given = test_day.course.and_then(|course| course.shape);
        let place = match (&plan.road, plan.length_m) {
            (Some(road), _) => Place::of_file(&folder.join(road))?,
            (None, Some(length_m)) if given == Some(Shape::Loop) => Place::of_lap(length_m),
            (None, Some(length_m)) => Place::of_length(length_m, plan.gradient_percent, plan.bearing_deg),
            (None, None) => {
                return Err(fault(
                    plan.line,
                    "[plan] does not say which road is ridden",
                    "Write road with the name of a route in this folder, or length_m with gradient_percent.",
                ));
            }
        };
        let Some(shape) = given.or(place.shape) else {
            return Err(fault(
                plan.line,
                "nothing says whether the road is ridden one way or out and back",
                "Write shape = \"one-way\" or \"out-and-back\" below [course].",
            ));
        };
        let order = order(test_day);
        if order.is_empty() {
            return Err(fault(
                plan.line,
                "no block says how often which set-up is ridden",
                "Let `stillair plan` write the blocks, or write [[block]] with setup and passes.",
            ));
        }
        let at = place
            .points
            .first()
            .map(|point| (point.latitude_deg, point.altitude_m));
        let (latitude_deg, height_m) = at.unwrap_or((ANYWHERE[0], Some(ANYWHERE[1])));
        let when_s = when_s(test_day);
        let air = air(&test_toml, &test_day.air, when_s, latitude_deg, height_m)?;
        let difference_percent = plan
            .difference_percent
            .unwrap_or(-test_day.smallest_difference_percent);
        Ok(PlannedDay {
            shape,
            has_heights: place.road.has_heights,
            road: place.road.stretches,
            cda_m2: expected_cda_m2(&test_day.setups, plan, difference_percent),
            setups: test_day.setups.clone(),
            order,
            hold: plan.hold,
            power_w: plan.power_w,
            entry_speed_m_s: plan.entry_speed_m_s,
            turn_round_s: plan.turn_round_s,
            change_s: plan.change_s,
            wind: plan.wind,
            air: air.at(when_s),
            warming_standard_uncertainty_k_per_h: air.warming.standard_uncertainty_k_per_h,
            gravity_m_s2: gravity_m_s2(latitude_deg, height_m.unwrap_or(0.0)),
            power_scale: test_day.power_scale,
            slow: test_day.slow,
            difference_percent,
        })
    }

    /// Along the road from start to finish.
    pub fn length_m(&self) -> f64 {
        self.road.iter().map(|stretch| stretch.length_m).sum()
    }

    pub fn passes(&self) -> usize {
        self.order.iter().map(|block| block.passes).sum()
    }

    /// In the order ridden.
    pub fn road_in(&self, direction: Direction) -> Vec<Stretch> {
        match direction {
            Direction::Forward => self.road.clone(),
            Direction::Reverse => reversed(self.road.clone()),
        }
    }

    /// As it is expected to be.
    pub fn rig(&self, setup: usize) -> Rig {
        Rig {
            cda_m2: self.cda_m2[setup],
            ..rig(&self.setups[setup], &Shift::default())
        }
    }

    pub fn around(&self) -> Surroundings {
        Surroundings {
            air_density_kg_m3: self.air.density_kg_m3,
            gravity_m_s2: self.gravity_m_s2,
        }
    }
}

/// As readings say and the place lets expect, at a moment. Nothing is known of what a unit shows.
///
/// # Errors
/// As [`settle`].
pub(super) fn air(
    test_toml: &Path,
    readings: &[AirReading],
    when_s: f64,
    latitude_deg: f64,
    height_m: Option<f64>,
) -> Result<Air> {
    let site = RideSite {
        start_s: when_s,
        end_s: when_s,
        latitude_deg,
        height_m,
        unit_temperature_c: None,
        unit_pressure_pa: None,
        unit_warming: None,
    };
    Ok(settle(test_toml, readings, &site)?.0)
}

/// Blocks given by their times are of a day that has been ridden.
fn order(test_day: &TestDay) -> Vec<PlannedBlock> {
    let mut order = Vec::new();
    let mut idle_passes = 0;
    for block in &test_day.blocks {
        let Extent::Passes(passes) = block.extent else {
            continue;
        };
        match block.setup {
            None => idle_passes += passes,
            Some(setup) => order.push(PlannedBlock {
                idle_passes: std::mem::take(&mut idle_passes),
                power_w: block.planned_power_w,
                ..PlannedBlock::of(setup, passes)
            }),
        }
    }
    order
}

/// The first reading's time, or none in particular.
fn when_s(test_day: &TestDay) -> f64 {
    test_day
        .air
        .iter()
        .find_map(|reading| reading.time_s)
        .unwrap_or(0.0)
}

/// What is looked for is there; a set-up that is the same as another has the same.
fn expected_cda_m2(setups: &[Setup], plan: &Planned, difference_percent: f64) -> Vec<f64> {
    let in_drag = |index: usize| index > 0 && differs(setups, index) != Differs::Crr;
    (0..setups.len())
        .map(|index| {
            let like = setups[index].same_as.unwrap_or(index);
            if in_drag(like) {
                plan.cda_m2 * (1.0 + difference_percent / 100.0)
            } else {
                plan.cda_m2
            }
        })
        .collect()
}
