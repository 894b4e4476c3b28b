//! When each pass of a planned day is ridden.

use super::PlannedDay;
use super::ride::{Manner, Pass, ride};
use crate::course::Direction;
use crate::estimate::cells::{InDay, PassRide, cell_count};
use crate::estimate::one_pass::SPEED_STANDARD_UNCERTAINTY_M_S;
use crate::test_day::{PowerSide, Shape, east_north_m_s};

/// Of a day that nobody has dated: unix seconds at its start.
const START_S: f64 = 1.0e9;

/// Beyond the gates to where one turns, and back: 120 m each way at some 25 km/h (judgement, no published source).
const TO_AND_FRO_S: f64 = 34.0;

/// One pass as it is expected to go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedPass {
    /// Index into the order.
    pub block: usize,
    pub setup: usize,
    pub direction: Direction,
    /// After the start of the day.
    pub start_s: f64,
    pub duration_s: f64,
    pub entry_speed_m_s: f64,
    pub mean_speed_m_s: f64,
    pub mean_power_w: f64,
}

/// All passes of a day in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    pub passes: Vec<PlannedPass>,
    /// From the start of the first pass, idle ones included, to the end of the last.
    pub duration_s: f64,
}

/// The day ridden: what the estimate will see of it.
pub(super) struct RiddenPlan {
    pub schedule: Schedule,
    pub rides: Vec<PassRide>,
}

impl PlannedDay {
    /// In the wind that is expected, where its direction is known, else in still air. `None` where the rider would
    /// stall, and without a pass.
    pub fn schedule(&self) -> Option<Schedule> {
        Some(self.ridden(self.expected_wind_m_s())?.schedule)
    }

    /// Where the air moves to, as far as it is expected.
    pub(super) fn expected_wind_m_s(&self) -> [f64; 2] {
        match self.wind {
            Some(wind) => wind
                .from_deg
                .map_or([0.0; 2], |from_deg| east_north_m_s(wind.speed_m_s, from_deg)),
            None => [self.air.wind_east_m_s, self.air.wind_north_m_s],
        }
    }

    pub(super) fn ridden(&self, wind_m_s: [f64; 2]) -> Option<RiddenPlan> {
        let count = self.passes();
        let cells = cell_count(self.length_m(), count);
        let mut known: Vec<(Manner, Pass)> = Vec::new();
        let mut passes = Vec::with_capacity(count);
        let mut rides = Vec::with_capacity(count);
        let mut now_s = 0.0;
        let mut direction = Direction::Forward;
        for (block, of) in self.order.iter().enumerate() {
            if block > 0 {
                now_s += self.change_s;
            }
            for number in 0..of.idle_passes + of.passes {
                if !passes.is_empty() || number > 0 {
                    now_s += self.between_s(number == 0, &known);
                }
                let manner = Manner {
                    setup: of.setup,
                    direction,
                    power_w: of.power_w.unwrap_or(self.power_w),
                };
                if !known.iter().any(|(ridden, _)| *ridden == manner) {
                    known.push((manner, ride(self, manner, cells, wind_m_s)?));
                }
                let (_, pass) = known.iter().find(|(ridden, _)| *ridden == manner)?;
                if number >= of.idle_passes {
                    passes.push(PlannedPass {
                        block,
                        setup: of.setup,
                        direction,
                        start_s: now_s,
                        duration_s: pass.duration_s,
                        entry_speed_m_s: pass.entry_speed_m_s,
                        mean_speed_m_s: self.length_m() / pass.duration_s,
                        mean_power_w: pass.mean_power_w(),
                    });
                    rides.push(self.pass_ride(rides.len(), block, manner, pass, now_s));
                }
                now_s += pass.duration_s;
                if self.shape == Shape::OutAndBack {
                    direction = match direction {
                        Direction::Forward => Direction::Reverse,
                        Direction::Reverse => Direction::Forward,
                    };
                }
            }
        }
        let middle_s = rides.iter().map(|ride| ride.middle_s).sum::<f64>() / rides.len() as f64;
        for ride in &mut rides {
            ride.in_day.since_middle_h = (ride.middle_s - middle_s) / 3600.0;
        }
        (!rides.is_empty()).then_some(RiddenPlan {
            schedule: Schedule {
                passes,
                duration_s: now_s,
            },
            rides,
        })
    }

    /// From the end of a pass to the start of the next, a change of the set-up apart.
    fn between_s(&self, changed: bool, known: &[(Manner, Pass)]) -> f64 {
        let turn_s = if changed { 0.0 } else { self.turn_round_s };
        match self.shape {
            Shape::Loop if changed => TO_AND_FRO_S,
            Shape::Loop => 0.0,
            Shape::OutAndBack => TO_AND_FRO_S + turn_s,
            // Back to the start, at about the pace of the way up.
            Shape::OneWay => {
                let back_s = known.last().map_or(0.0, |(_, pass)| pass.duration_s);
                2.0 * TO_AND_FRO_S + back_s + self.turn_round_s + turn_s
            }
        }
    }

    fn pass_ride(
        &self,
        index: usize,
        block: usize,
        manner: Manner,
        pass: &Pass,
        starts_after_s: f64,
    ) -> PassRide {
        let start_s = START_S + starts_after_s;
        PassRide {
            pass: index,
            setup: manner.setup,
            block,
            direction: manner.direction,
            middle_s: start_s + 0.5 * pass.duration_s,
            start_s,
            cells: pass.cells.clone(),
            gravity_m_s2: self.gravity_m_s2,
            air: self.air,
            length_ratio: 1.0,
            air_speed_scale_standard_uncertainty: None,
            wind_reading: None,
            total_mass_kg: None,
            wheel_radius_m: None,
            power_zero_noted: false,
            speed_standard_uncertainty_m_s: SPEED_STANDARD_UNCERTAINTY_M_S,
            in_day: InDay {
                warming_standard_uncertainty_k_per_h: self.warming_standard_uncertainty_k_per_h,
                power_scale_per_k_standard_uncertainty: self.slow.power_scale_per_k.standard_uncertainty,
                one_leg_sd: match self.slow.power_side {
                    Some(PowerSide::Left | PowerSide::Right) => crate::study::ONE_LEG_SD,
                    _ => 0.0,
                },
                ..InDay::default()
            },
        }
    }
}
