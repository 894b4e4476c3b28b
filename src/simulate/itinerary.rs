//! The plan of a day as one ribbon: approach, blocks with their passes and turns, the way home.

use super::path::{Doing, Path, place_beside};
use super::plan::{DayPlan, Incident, Shape};
use super::road::Road;
use std::f64::consts::PI;

/// How far outside a loop the set-up is changed, and how wide the lanes to it swing.
const SERVICE_M: f64 = 60.0;
const SERVICE_REACH_M: f64 = 220.0;
/// The same beside a track, whose bends are tighter.
const TRACKSIDE_M: f64 = 25.0;
const TRACKSIDE_REACH_M: f64 = 60.0;
const FIRST_STAND_S: f64 = 20.0;
/// A standing start is made this far before the gate.
const STANDING_M: f64 = 3.0;

/// One planned pass: from gate to gate, and where the rider comes from and goes to.
#[derive(Clone, Copy)]
struct Stretch {
    block: usize,
    number: usize,
    from_m: f64,
    to_m: f64,
    before_m: f64,
    forward: bool,
}

struct Builder<'a> {
    plan: &'a DayPlan,
    road: &'a Road,
    path: Path,
}

pub(super) fn build(plan: &DayPlan, road: &Road) -> Path {
    let mut builder = Builder {
        plan,
        road,
        path: Path::default(),
    };
    match plan.course.shape {
        Shape::Loop => builder.round_and_round(),
        Shape::OneWay | Shape::OutAndBack => builder.there_and_back(),
    }
    builder.path.settle();
    builder.path
}

impl Builder<'_> {
    fn there_and_back(&mut self) {
        let course = &self.plan.course;
        let (near, far) = (-course.lead_in_m, course.length_m + course.run_out_m);
        self.along(near - course.approach_m, near, Doing::Cruise, 0, 0);
        self.path.stand(FIRST_STAND_S, false);
        let mut forward = true;
        let mut number = 0;
        let planned = self.plan.planned_passes();
        for (block, truth) in self.plan.order.iter().enumerate() {
            for _ in 0..truth.passes {
                let stretch = Stretch {
                    block,
                    number,
                    from_m: if forward { 0.0 } else { course.length_m },
                    to_m: if forward { course.length_m } else { 0.0 },
                    before_m: if forward { near } else { far },
                    forward,
                };
                self.pass(stretch, self.is_first_of_block(block, number));
                let beyond = if forward { far } else { near };
                self.along(stretch.to_m, beyond, Doing::RunOut, block, number);
                number += 1;
                let home = number == planned && course.shape == Shape::OutAndBack;
                if home {
                    let away = if forward { 1.0 } else { -1.0 };
                    let end = beyond + away * course.approach_m;
                    self.along(beyond, end, Doing::Cruise, block, number - 1);
                } else {
                    self.turn(beyond, forward, block, number - 1);
                    forward = self.after_turn(far, near, forward, block, number);
                }
            }
            self.path
                .stand(self.plan.rider.rest_s, block + 1 < self.plan.order.len());
        }
        if course.shape == Shape::OneWay || planned == 0 {
            let block = self.plan.order.len().saturating_sub(1);
            self.along(near, near - course.approach_m, Doing::Cruise, block, number);
        }
    }

    /// Out and back: the next pass goes the other way. One way: roll back down and turn, unless it was the last.
    fn after_turn(&mut self, far: f64, near: f64, forward: bool, block: usize, next: usize) -> bool {
        if self.plan.course.shape == Shape::OutAndBack {
            return !forward;
        }
        self.along(far, near, Doing::RollBack, block, next - 1);
        if next < self.plan.planned_passes() {
            self.turn(near, false, block, next - 1);
        }
        true
    }

    fn round_and_round(&mut self) {
        let course = &self.plan.course;
        let lap = course.length_m;
        let (service_m, reach_m) = match course.track {
            Some(_) => (TRACKSIDE_M, TRACKSIDE_REACH_M),
            None => (SERVICE_M, SERVICE_REACH_M),
        };
        let place = place_beside(self.road, 0.0, service_m, PI);
        let outside = place_beside(self.road, course.approach_m, service_m, PI);
        self.path.lane(&outside, &place, course.approach_m);
        self.path.close_span(Doing::Cruise, 0, 0);
        self.path.stand(FIRST_STAND_S, false);
        let mut number = 0;
        for (block, truth) in self.plan.order.iter().enumerate() {
            if truth.passes == 0 {
                continue;
            }
            let join = self.road.at(-course.lead_in_m);
            self.path.lane(&place, &join, reach_m);
            self.path.close_span(Doing::LeadIn, block, number);
            for k in 0..truth.passes {
                let from_m = k as f64 * lap;
                let stretch = Stretch {
                    block,
                    number,
                    from_m,
                    to_m: from_m + lap,
                    before_m: from_m - course.lead_in_m,
                    forward: true,
                };
                self.pass(stretch, k == 0);
                number += 1;
            }
            let end = truth.passes as f64 * lap;
            self.along(end, end + course.run_out_m, Doing::RunOut, block, number - 1);
            let leave = self.road.at(end + course.run_out_m);
            self.path.lane(&leave, &place, reach_m);
            self.path.close_span(Doing::RunOut, block, number - 1);
            self.path
                .stand(self.plan.rider.rest_s, block + 1 < self.plan.order.len());
        }
        let last = self.plan.order.len().saturating_sub(1);
        let away = place_beside(self.road, -course.approach_m, 2.0 * service_m, PI);
        self.path.lane(&place, &away, course.approach_m);
        self.path
            .close_span(Doing::Cruise, last, number.saturating_sub(1));
    }

    /// The way to the gate, where there is one, and the pass, with what happens on it.
    fn pass(&mut self, stretch: Stretch, first_of_block: bool) {
        let number = stretch.number;
        let flying = self.road.is_loop() && !first_of_block;
        for at_m in self.given_up(number) {
            if !flying {
                self.lead_in(stretch, false);
            }
            self.give_up(stretch, at_m);
        }
        if !flying || !self.given_up(number).is_empty() {
            let habit = first_of_block && self.plan.rider.standing_start;
            self.lead_in(stretch, habit || self.stands_first(number));
        }
        let doing = Doing::Pass {
            number,
            forward: stretch.forward,
        };
        let mut from_m = stretch.from_m;
        for (at_m, seconds) in self.stops(stretch) {
            self.ridden(stretch, from_m, at_m, doing);
            self.path.stand(seconds, false);
            from_m = at_m;
        }
        self.ridden(stretch, from_m, stretch.to_m, doing);
    }

    /// A piece of a pass, on the line that the rider takes.
    fn ridden(&mut self, stretch: Stretch, from_m: f64, to_m: f64, doing: Doing) {
        if from_m == to_m {
            return;
        }
        let lines: Vec<(f64, f64, f64)> = self.other_lines(stretch).collect();
        // Eases off the usual line and back to it.
        let longer = |s: f64| {
            let ridden_m = (s - stretch.from_m) * stretch.sign();
            let more = lines.iter().map(|&(at_m, over_m, extra_m)| {
                let part = ((ridden_m - at_m) / over_m).clamp(0.0, 1.0);
                extra_m / over_m * (1.0 - (2.0 * PI * part).cos())
            });
            1.0 + more.sum::<f64>()
        };
        self.path.along_other_line(self.road, from_m, to_m, longer);
        self.path.close_span(doing, stretch.block, stretch.number);
    }

    /// Where the pass takes another line, over how much of the road, and by how much that is longer.
    fn other_lines(&self, stretch: Stretch) -> impl Iterator<Item = (f64, f64, f64)> {
        let incidents = self.plan.incidents.iter();
        incidents.filter_map(move |incident| match *incident {
            Incident::OtherLine {
                pass,
                at_m,
                over_m,
                extra_m,
            } if pass == stretch.number + 1 && over_m > 0.0 => Some((at_m, over_m, extra_m)),
            _ => None,
        })
    }

    fn stands_first(&self, number: usize) -> bool {
        let is_this =
            |incident: &Incident| matches!(*incident, Incident::StandingStart { pass } if pass == number + 1);
        self.plan.incidents.iter().any(is_this)
    }

    fn lead_in(&mut self, stretch: Stretch, standing: bool) {
        let Stretch { block, number, .. } = stretch;
        let mut before_m = stretch.before_m;
        if standing {
            let stop_m = stretch.from_m - stretch.sign() * STANDING_M;
            self.along(before_m, stop_m, Doing::LeadIn, block, number);
            self.path.stand(5.0, false);
            before_m = stop_m;
        }
        self.along(before_m, stretch.from_m, Doing::LeadIn, block, number);
    }

    fn give_up(&mut self, stretch: Stretch, at_m: f64) {
        let Stretch { block, number, .. } = stretch;
        let there_m = stretch.from_m + stretch.sign() * at_m;
        self.along(stretch.from_m, there_m, Doing::Spoilt { number }, block, number);
        self.turn(there_m, stretch.forward, block, number);
        self.along(there_m, stretch.before_m, Doing::RunOut, block, number);
        self.turn(stretch.before_m, !stretch.forward, block, number);
    }

    fn along(&mut self, from_m: f64, to_m: f64, doing: Doing, block: usize, pass: usize) {
        if from_m != to_m {
            self.path.along_road(self.road, from_m, to_m);
            self.path.close_span(doing, block, pass);
        }
    }

    fn turn(&mut self, at_m: f64, forward: bool, block: usize, pass: usize) {
        self.path.u_turn(self.road, at_m, forward);
        self.path.close_span(Doing::Turn, block, pass);
        self.path.stand(self.plan.rider.turn_round_s, false);
    }

    fn is_first_of_block(&self, block: usize, number: usize) -> bool {
        let before: usize = self.plan.order.iter().take(block).map(|b| b.passes).sum();
        before == number
    }

    fn given_up(&self, number: usize) -> Vec<f64> {
        let incidents = self.plan.incidents.iter();
        incidents
            .filter_map(|incident| match *incident {
                Incident::TurnedRound { pass, at_m } if pass == number + 1 => Some(at_m),
                _ => None,
            })
            .collect()
    }

    /// Where along the road, and how long, the rider stops in this pass.
    fn stops(&self, stretch: Stretch) -> Vec<(f64, f64)> {
        let length = (stretch.to_m - stretch.from_m).abs();
        let incidents = self.plan.incidents.iter();
        let mut stops: Vec<(f64, f64)> = incidents
            .filter_map(|incident| match *incident {
                Incident::Stop {
                    pass,
                    at_m,
                    duration_s,
                } if pass == stretch.number + 1 && at_m > 0.0 && at_m < length => Some((at_m, duration_s)),
                _ => None,
            })
            .collect();
        stops.sort_by(|a, b| a.0.total_cmp(&b.0));
        stops
            .into_iter()
            .map(|(at_m, seconds)| (stretch.from_m + stretch.sign() * at_m, seconds))
            .collect()
    }
}

impl Stretch {
    fn sign(&self) -> f64 {
        if self.forward { 1.0 } else { -1.0 }
    }
}
