//! The scale of the speed: true over recorded, of the day and of each set-up.
//!
//! A unit that counts turns of a wheel with a wrong circumference reads every speed wrong by one factor, and 1 % of
//! speed is some 3 % of CdA. Two lengths by positions tell the factor: the whole ride, and the course from gate to
//! gate. A tyre or a wheel that is changed with the set-up gives each its own factor; their ratio is known far better
//! than either, since they share the course.

mod gates;
mod said;

use super::Surveyed;
use super::assign::Assigned;
use crate::course::{Pass, Ridden, ridden_m};
use crate::streams::SpeedSource;
use crate::test_day::{Differs, Measured, Shape, TestDay};
use crate::treatment::Treatment;
use gates::{Run, by_gates};
use std::f64::consts::TAU;

/// Positions give lengths no better than this, however far one rides: the wander that lengthens a track and the
/// bends that it cuts (comments of `streams/speed_check.rs`), and the lane ridden. A judgement.
const POSITIONS_LEAST: f64 = 0.001;
/// The course's length, beside that: what both gates together may be off for all passes alike. A judgement: half of
/// the wander of a position at each, which no number of passes takes away under trees and beside houses.
const COURSE_ENDS_M: f64 = 2.0;
/// Positions that tell the scale no better than this have lost the road, and say less of it than is known of any unit.
/// A judgement: circumferences of tyres for road bicycles lie within it.
const POSITIONS_TELL: f64 = 0.05;
/// A scale is set right where it is farther from 1 than this and than twice its uncertainty.
const WORTH_IT: f64 = 0.003;
const CLEAR: f64 = 2.0;
/// Set-ups that nothing sets apart have a scale each only where they differ by more than this and three standard
/// uncertainties: once in 370 days by chance.
const SETUPS_APART: f64 = 0.002;
const SETUPS_CLEAR: f64 = 3.0;
/// How far rollouts of set-ups lie apart where tyres or wheels are changed (a judgement: 0.5 to 1 %).
const TYRES_APART: f64 = 0.007;
/// One wheel on one day: pressure, temperature and load (a judgement).
const SAME_WHEEL: f64 = 0.0005;
/// A rollout is measured to some millimetres in two metres (common practice, no published source).
const ROLLOUT: f64 = 0.001;
/// Rollouts of set-ups that differ by less may be one; so may radii, which are computed from them.
const ROLLOUTS_ALIKE: f64 = 0.002;
const RADII_ALIKE: f64 = 0.001;
/// Relative standard uncertainty of a speed channel that nobody has checked: tyre size from a table, wear,
/// pressure and load. Common practice, no published source.
const UNCHECKED: f64 = 0.005;

/// What was found of the scales, and what is done.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeedScales {
    /// True over recorded speed by which the passes of each set-up are multiplied; 1 where nothing is done.
    pub factors: Vec<f64>,
    /// Relative, of what all set-ups share.
    pub common_standard_uncertainty: f64,
    /// Relative, of each set-up apart from that.
    pub own_standard_uncertainty: Vec<f64>,
    /// True over recorded, as measured on the day, with its relative standard uncertainty; `None`: nothing to measure
    /// it by, or the speed is the positions' own.
    pub measured: Option<(f64, f64)>,
    pub common: Common,
    pub own: Own,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Common {
    /// The user has given it.
    Given,
    SetRight,
    /// Within its uncertainty of 1, or too near to it to matter.
    Stands,
    /// Speed from positions has no scale of its own.
    OfPositions,
    AsRecorded,
}

/// Whether set-ups have scales of their own.
#[derive(Debug, Clone, PartialEq)]
pub enum Own {
    /// One set-up only, or the same wheel, as far as is known.
    Same,
    /// Nothing said so, but the passes do.
    Found,
    /// test.toml says that tyres or wheels differ; by rollouts too where true.
    Told {
        rollouts: bool,
    },
    /// The rollouts say one thing and the passes another: `by_rollouts` and `by_gates` are log ratios of the last
    /// set-up that differs to the first, with the standard uncertainty between.
    Contradicted {
        setup: usize,
        by_rollouts: f64,
        by_gates: f64,
        standard_uncertainty: f64,
    },
    AsRecorded,
}

impl SpeedScales {
    pub fn of(surveyed: &Surveyed, assigned: &Assigned) -> SpeedScales {
        let day = &surveyed.test_day;
        let setups = day.setups.len();
        let runs = runs(surveyed, assigned);
        let by_gates = by_gates(&runs, surveyed.ridden.course.length_m(), setups);
        let evidence = Evidence {
            course: course_uncertainty(surveyed),
            ride: whole_rides(surveyed).filter(|_| surveyed.ridden.course.lap_length_m.is_none()),
            logs: by_gates.iter().map(|g| g.map(|g| g.log_scale)).collect(),
            uncertainties: by_gates
                .iter()
                .map(|g| g.map_or(f64::INFINITY, |g| g.standard_uncertainty))
                .collect(),
        };
        let from_positions = from_positions(surveyed);
        let (common, log_common, common_u, measured) = settle_common(day, &evidence, from_positions);
        let (own, logs_own, own_u) = settle_own(day, &evidence, from_positions);
        let mut scales = SpeedScales {
            factors: logs_own.iter().map(|own| (log_common + own).exp()).collect(),
            common_standard_uncertainty: common_u,
            own_standard_uncertainty: own_u,
            measured,
            common,
            own,
        };
        scales.take_given(day);
        scales
    }

    /// What `[[setup]]` gives stands instead of all that was found for it.
    fn take_given(&mut self, day: &TestDay) {
        for (setup, given) in day.setups.iter().enumerate() {
            if let Some(given) = given.speed_scale {
                self.factors[setup] = given.value;
                self.own_standard_uncertainty[setup] = given.standard_uncertainty / given.value;
            }
        }
        let all_given = day.setups.iter().all(|setup| setup.speed_scale.is_some());
        if all_given {
            (self.common, self.common_standard_uncertainty) = (Common::Given, 0.0);
        }
    }

    /// Speeds at the gates at the right scale. What the speed channel counted stands as it was recorded.
    pub(super) fn apply(&self, ridden: &mut Ridden, assigned: &Assigned) {
        for (pass, place) in ridden.passes.iter_mut().zip(&assigned.passes) {
            if let Some(setup) = place.setup {
                pass.entry_speed_m_s *= self.factors[setup];
                pass.exit_speed_m_s *= self.factors[setup];
            }
        }
    }
}

/// What positions say, as ln(true / recorded).
struct Evidence {
    /// Relative standard uncertainty of the course's length, apart from what positions share with the whole rides.
    course: f64,
    /// Of the whole rides.
    ride: Option<(f64, f64)>,
    /// Of each set-up from gate to gate, apart from an error of the course's length.
    logs: Vec<Option<f64>>,
    uncertainties: Vec<f64>,
}

impl Evidence {
    fn weight(&self, setup: usize) -> f64 {
        match self.logs[setup] {
            Some(_) => self.uncertainties[setup].powi(-2),
            None => 0.0,
        }
    }

    /// Mean over the set-ups from gate to gate, and its uncertainty apart from the course's length.
    fn mean(&self) -> Option<(f64, f64)> {
        let weights: f64 = (0..self.logs.len()).map(|s| self.weight(s)).sum();
        let sum: f64 = (0..self.logs.len())
            .map(|s| self.weight(s) * self.logs[s].unwrap_or(0.0))
            .sum();
        (weights > 0.0).then(|| (sum / weights, weights.sqrt().recip()))
    }

    /// Of the day: whole rides and gates together, by their precisions. They share the positions' own error, and
    /// where they disagree by more than they may, both are believed that much less.
    fn of_the_day(&self) -> Option<(f64, f64)> {
        let tells = |(_, u): &(f64, f64)| *u <= POSITIONS_TELL;
        let gates = self.mean().map(|(log, own)| (log, own.hypot(self.course)));
        let (log, apart_from_positions) = match (gates.filter(tells), self.ride.filter(tells)) {
            (Some((g, u_g)), Some((r, u_r))) => {
                let (p, q) = (u_g.powi(-2), u_r.powi(-2));
                let stretched = ((g - r).abs() / u_g.hypot(u_r)).max(1.0);
                ((p * g + q * r) / (p + q), stretched / (p + q).sqrt())
            }
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => return None,
        };
        Some((log, apart_from_positions.hypot(POSITIONS_LEAST))).filter(tells)
    }
}

/// A loop has one gate, whose error is at both its ends. A lap that was measured needs no positions.
fn course_uncertainty(surveyed: &Surveyed) -> f64 {
    let course = &surveyed.ridden.course;
    let measured = surveyed.test_day.course.and_then(|course| course.lap);
    match (measured, course.shape) {
        (Some(lap), _) => lap.length_m.standard_uncertainty / lap.length_m.value,
        (None, Shape::Loop) => 0.0,
        (None, _) => COURSE_ENDS_M / course.length_m(),
    }
}

/// What is done about the scale that all share: its log, and what is left of it.
fn settle_common(
    day: &TestDay,
    evidence: &Evidence,
    from_positions: bool,
) -> (Common, f64, f64, Option<(f64, f64)>) {
    let measured = evidence.of_the_day();
    let said = measured.map(|(log, u)| (log.exp(), u));
    if let Some(given) = day.speed_scale {
        let u = given.standard_uncertainty / given.value;
        return (Common::Given, given.value.ln(), u, said);
    }
    if from_positions {
        // Level speeds on a road that climbs, and a wander that lengthens every way: the course's length mends both.
        let log = evidence.mean().map_or(0.0, |(log, _)| log);
        return (Common::OfPositions, log, POSITIONS_LEAST, None);
    }
    if day.as_recorded.leaves(Treatment::SpeedScale) {
        let u = match evidence.ride {
            Some((_, u)) => u.min(2.0 * UNCHECKED).hypot(UNCHECKED),
            None => (2.0 * UNCHECKED).hypot(UNCHECKED),
        };
        return (Common::AsRecorded, 0.0, u, said);
    }
    match measured {
        Some((log, u)) if log.abs() > WORTH_IT.max(CLEAR * u) => (Common::SetRight, log, u, said),
        // What is left in is as unknown as what was seen of it.
        Some((log, u)) => (Common::Stands, 0.0, u.hypot(log), said),
        None => (Common::Stands, 0.0, (2.0 * UNCHECKED).hypot(UNCHECKED), said),
    }
}

/// What is done about each set-up's own scale: logs whose weighted mean is 0, and what is left of them.
fn settle_own(day: &TestDay, evidence: &Evidence, from_positions: bool) -> (Own, Vec<f64>, Vec<f64>) {
    let setups = day.setups.len();
    let nothing = |own, u: f64| (own, vec![0.0; setups], vec![u; setups]);
    let ridden: Vec<usize> = (0..setups).filter(|s| evidence.logs[*s].is_some()).collect();
    if ridden.len() < 2 || from_positions {
        return nothing(Own::Same, 0.0);
    }
    if day.as_recorded.leaves(Treatment::SpeedScaleOfSetups) {
        return nothing(Own::AsRecorded, 0.0);
    }
    let rollouts = rollouts_m(day, &ridden);
    let told = tyres_differ(day, &ridden, rollouts.as_deref());
    let mean = evidence.mean().map_or(0.0, |(log, _)| log);
    let found: Vec<(f64, f64)> = (0..setups)
        .map(|s| match evidence.logs[s] {
            Some(log) => (log - mean, evidence.uncertainties[s]),
            None => (0.0, TYRES_APART),
        })
        .collect();
    if !told && !clearly_apart(&found, &ridden) {
        return nothing(Own::Same, SAME_WHEEL);
    }
    let rolled = rollouts
        .filter(|_| told)
        .map(|rollouts| rolled_out(&rollouts, &ridden, evidence));
    if let Some(rolled) = &rolled
        && let Some(contradiction) = contradiction(rolled, &found, &ridden)
    {
        let (logs, us) = believed(&found, None, &ridden);
        return (contradiction, logs, us);
    }
    let (logs, us) = believed(&found, rolled.as_deref(), &ridden);
    let own = if told {
        Own::Told {
            rollouts: rolled.is_some(),
        }
    } else {
        Own::Found
    };
    (own, logs, us)
}

/// Whether any two set-ups lie farther apart from gate to gate than chance puts them.
fn clearly_apart(found: &[(f64, f64)], ridden: &[usize]) -> bool {
    ridden.iter().any(|&a| {
        ridden.iter().any(|&b| {
            let apart = found[a].0 - found[b].0;
            let u = found[a].1.hypot(found[b].1);
            apart > SETUPS_APART.max(SETUPS_CLEAR * u)
        })
    })
}

/// Gates, rollouts where there are any, and what is known of tyres beforehand: by their precisions.
fn believed(found: &[(f64, f64)], rolled: Option<&[(f64, f64)]>, ridden: &[usize]) -> (Vec<f64>, Vec<f64>) {
    let (mut logs, mut us) = (vec![0.0; found.len()], vec![0.0; found.len()]);
    for &s in ridden {
        let mut precision = TYRES_APART.powi(-2) + found[s].1.powi(-2);
        let mut sum = found[s].0 * found[s].1.powi(-2);
        if let Some((log, u)) = rolled.and_then(|r| r.get(s)) {
            precision += u.powi(-2);
            sum += log * u.powi(-2);
        }
        (logs[s], us[s]) = (sum / precision, precision.sqrt().recip());
    }
    (logs, us)
}

/// Rollouts as logs whose weighted mean is 0 (the unit counts all with one circumference), for every set-up.
fn rolled_out(rollouts: &[(f64, f64)], ridden: &[usize], evidence: &Evidence) -> Vec<(f64, f64)> {
    let weight = |s: usize| evidence.weight(s);
    let weights: f64 = ridden.iter().map(|s| weight(*s)).sum();
    let mean = ridden
        .iter()
        .zip(rollouts)
        .map(|(s, (m, _))| weight(*s) * m.ln())
        .sum::<f64>()
        / weights;
    let mut all = vec![(0.0, TYRES_APART); evidence.logs.len()];
    for (s, (metres, relative)) in ridden.iter().zip(rollouts) {
        all[*s] = (metres.ln() - mean, *relative);
    }
    all
}

/// Where the passes deny what the rollouts say: the unit was set anew for each, or one was measured wrong.
fn contradiction(rolled: &[(f64, f64)], found: &[(f64, f64)], ridden: &[usize]) -> Option<Own> {
    let first = *ridden.first()?;
    ridden.iter().skip(1).find_map(|&setup| {
        let by_rollouts = rolled[setup].0 - rolled[first].0;
        let by_gates = found[setup].0 - found[first].0;
        let parts = [rolled[setup].1, rolled[first].1, found[setup].1, found[first].1];
        let standard_uncertainty = parts.iter().map(|u| u * u).sum::<f64>().sqrt();
        ((by_rollouts - by_gates).abs() > SETUPS_CLEAR * standard_uncertainty).then_some(Own::Contradicted {
            setup,
            by_rollouts,
            by_gates,
            standard_uncertainty,
        })
    })
}

/// Way of one turn of each set-up's wheel with its relative uncertainty: means of the rollouts noted before its
/// blocks; where they are missing, by radii that `test.toml` gives if these differ. `None`: not known of all.
fn rollouts_m(day: &TestDay, ridden: &[usize]) -> Option<Vec<(f64, f64)>> {
    let noted = |setup: usize| {
        let of_setup = day.blocks.iter().filter(|block| block.setup == Some(setup));
        let noted: Vec<f64> = of_setup.filter_map(|block| block.notes.rollout_m).collect();
        (!noted.is_empty()).then(|| (noted.iter().sum::<f64>() / noted.len() as f64, ROLLOUT))
    };
    let all: Option<Vec<_>> = ridden.iter().map(|s| noted(*s)).collect();
    all.or_else(|| {
        let radius = |setup: usize| {
            let Measured {
                value,
                standard_uncertainty,
                given,
            } = day.setups[setup].wheel_radius_m;
            given.then_some((TAU * value, standard_uncertainty / value))
        };
        let all: Option<Vec<_>> = ridden.iter().map(|s| radius(*s)).collect();
        all.filter(|all| spread(all) > RADII_ALIKE)
    })
}

/// How far the longest lies beyond the shortest, relative.
fn spread(rollouts_m: &[(f64, f64)]) -> f64 {
    let lengths = rollouts_m.iter().map(|(metres, _)| *metres);
    let (low, high) = lengths.fold((f64::INFINITY, 0f64), |(l, h), m| (l.min(m), h.max(m)));
    high / low - 1.0
}

/// Whether test.toml says that tyres or wheels change with the set-up.
fn tyres_differ(day: &TestDay, ridden: &[usize], rollouts_m: Option<&[(f64, f64)]>) -> bool {
    let by_name = day.setups.iter().any(|setup| setup.differs != Differs::Cda);
    let first = day.setups[ridden[0]].crr.value;
    let by_crr = ridden.iter().any(|s| day.setups[*s].crr.value != first);
    let by_rollout = rollouts_m.is_some_and(|rollouts| spread(rollouts) > ROLLOUTS_ALIKE);
    by_name || by_crr || by_rollout
}

fn from_positions(surveyed: &Surveyed) -> bool {
    let mut streams = surveyed.streams.iter();
    streams.all(|s| s.speed_source == SpeedSource::Positions)
}

/// Whole rides against their positions, as ln(true / recorded): the mean by precision.
fn whole_rides(surveyed: &Surveyed) -> Option<(f64, f64)> {
    let checks = surveyed.streams.iter().filter_map(|s| s.speed_check);
    let (mut precision, mut sum) = (0.0, 0.0);
    for check in checks {
        let u = (check.standard_uncertainty / check.ratio).max(POSITIONS_LEAST);
        precision += u.powi(-2);
        sum -= check.ratio.ln() * u.powi(-2);
    }
    (precision > 0.0).then(|| (sum / precision, precision.sqrt().recip()))
}

/// Rows of passes by one set-up that share their gates. Passes whose speed is the positions' own say nothing beside
/// those of a wheel.
fn runs(surveyed: &Surveyed, assigned: &Assigned) -> Vec<Run> {
    let passes = &surveyed.ridden.passes;
    let positions_only = from_positions(surveyed);
    let mut runs: Vec<Run> = Vec::new();
    let mut last: Option<(usize, &Pass)> = None;
    for (index, pass) in passes.iter().enumerate() {
        let streams = &surveyed.streams[pass.recording];
        let counts = positions_only || streams.speed_source != SpeedSource::Positions;
        let Some(setup) = assigned.passes[index].setup.filter(|_| counts) else {
            last = None;
            continue;
        };
        let counted_m = ridden_m(streams, pass.start_s, pass.end_s);
        let goes_on = last.is_some_and(|(of, before)| {
            of == setup && before.recording == pass.recording && before.end_s == pass.start_s
        });
        match runs.last_mut() {
            Some(run) if goes_on => {
                let so_far = run.counted_m.last().copied().unwrap_or(0.0);
                run.counted_m.push(so_far + counted_m);
                run.time_s.push(pass.end_s);
            }
            _ => runs.push(Run {
                setup,
                counted_m: vec![0.0, counted_m],
                time_s: vec![pass.start_s, pass.end_s],
            }),
        }
        last = Some((setup, pass));
    }
    runs
}

#[cfg(test)]
mod tests;
