//! What a careful reader of the day would point out, each with what to do about it.

use super::flags::ODD;
use super::road_remarks;
use super::{PassResult, SetupResult, Surveyed};
use crate::estimate::braking::SlowPlace;
use crate::estimate::joint::Joint;
use crate::estimate::plain::{Averages, Day};
use crate::estimate::rolling::Rolling;
use crate::streams::{Repair, SpeedSource};
use crate::test_day::Shape;
use crate::warning::Warning;

/// Drag areas of riders in road and time-trial postures with room to spare (REFERENCES 1.4; a judgement).
const USUAL_CDA_M2: std::ops::RangeInclusive<f64> = 0.15..=0.60;
/// REFERENCES 1.5: laboratory 0.002, rough chip-seal 0.010 (M).
const USUAL_CRR: std::ops::RangeInclusive<f64> = 0.0015..=0.015;
/// Forward and reverse farther apart than this are worth a remark.
const DIRECTION_SHARE: f64 = 0.10;
/// Passes whose barometers disagree by more than this tell little of the road's shape.
const HEIGHTS_APART_M: f64 = 1.5;

/// Left over in each cell, root mean square, as the mean of passes. Fifteen ordinary rides on a rolling road had
/// 0.6 to 2.7 m, one with long braked descents and an altitude that lags had 4.1 m (seen on real recordings).
const LEFT_OVER_M: f64 = 3.0;

/// Drag and rolling resistance of a set-up correlated beyond this are not told apart.
pub(super) const NOT_SEPARATED: f64 = 0.9;
/// A wind along a one-way course that is known better than this leaves CdA worth reading.
const ONE_WAY_WIND_M_S: f64 = 0.3;

pub struct Seen<'a> {
    pub surveyed: &'a Surveyed,
    pub day: &'a Day<'a>,
    pub averages: &'a Averages,
    pub rolling: &'a Rolling,
    pub joint: &'a Joint,
    pub setups: &'a [SetupResult],
    pub passes: &'a [PassResult],
    pub slow_places: &'a [SlowPlace],
}

pub fn remarks(seen: &Seen) -> Vec<Warning> {
    let mut all = Vec::new();
    absent(seen, &mut all);
    order(seen, &mut all);
    directions(seen, &mut all);
    drag_areas(seen, &mut all);
    rolling(seen, &mut all);
    speed_source(seen, &mut all);
    repairs(seen, &mut all);
    heights(seen, &mut all);
    left_over(seen, &mut all);
    odd(seen, &mut all);
    what_differs(seen, &mut all);
    one_way(seen, &mut all);
    all.extend(road_remarks::remarks(seen));
    all
}

fn absent(seen: &Seen, all: &mut Vec<Warning>) {
    let absent: Vec<String> = seen
        .setups
        .iter()
        .filter(|s| s.blocks == 0)
        .map(|s| format!("'{}'", s.name))
        .collect();
    if !absent.is_empty() {
        all.push(Warning::new(
            "no pass",
            format!("no pass could be used of {}", absent.join(", ")),
            "See the flags of its passes in the table.",
        ));
    }
}

/// All of one set-up before all of another: drift of the wind and change of set-up look alike.
fn order(seen: &Seen, all: &mut Vec<Warning>) {
    let letters: Vec<usize> = seen.averages.blocks.iter().map(|b| b.setup).collect();
    let mut runs = letters.clone();
    runs.dedup();
    let mut kinds = runs.clone();
    kinds.sort_unstable();
    kinds.dedup();
    if kinds.len() >= 2 && runs.len() == kinds.len() && letters.len() > kinds.len() {
        all.push(Warning::new(
            "order",
            "all blocks of one set-up were ridden before the next: a wind that drifts over the day looks like a \
             difference between set-ups; the interval allows for it, and is the wider for it",
            "Ride in a balanced order next time, such as A B B A B A A B.",
        ));
    }
}

fn directions(seen: &Seen, all: &mut Vec<Warning>) {
    let unbalanced = seen.averages.blocks.iter().filter(|b| !b.balanced).count();
    if unbalanced > 0 {
        all.push(Warning::new(
            "one direction",
            format!(
                "in {unbalanced} of {} blocks all passes go one way",
                seen.averages.blocks.len()
            ),
            "End a block only after riding both ways: then the wind cancels within it.",
        ));
    }
    let Some((effect, uncertainty)) = seen.averages.forward_over_reverse else {
        return;
    };
    if effect.abs() > DIRECTION_SHARE.max(2.0 * uncertainty) {
        let speed =
            seen.day.rides.iter().map(|r| r.mean_speed_m_s()).sum::<f64>() / seen.day.rides.len() as f64;
        let wind = effect.abs() * speed / 4.0;
        let (more, less) = if effect > 0.0 {
            ("forward", "reverse")
        } else {
            ("reverse", "forward")
        };
        all.push(Warning::new(
            "wind along the course",
            format!(
                "{more} passes read {:.0} % more drag than {less} ones, as a head wind of {wind:.1} m/s would make \
                 (or a climb that is not as measured); the joint estimate takes the wind from this, the average of \
                 passes averages the two ways",
                100.0 * effect.abs()
            ),
            "Write the wind into [[air]] if it was measured; the comparison of set-ups hardly feels it.",
        ));
    }
}

fn drag_areas(seen: &Seen, all: &mut Vec<Warning>) {
    for setup in seen.setups {
        let Some((cda, _, _)) = setup.cda_m2 else { continue };
        if !USUAL_CDA_M2.contains(&cda) {
            all.push(Warning::new(
                "unusual drag area",
                format!("the drag area of '{}', {cda:.3} m², lies outside 0.15 to 0.60 m²", setup.name),
                "Check mass, power-meter zero, wheel size, altitude and wind; a wind along a one-way course does this.",
            ));
        }
    }
}

fn rolling(seen: &Seen, all: &mut Vec<Warning>) {
    if let Some((shift, uncertainty)) = seen.rolling.rides_alone {
        let prior = seen.day.setups[0].crr;
        let apart = uncertainty.hypot(prior.standard_uncertainty);
        if shift.abs() > 3.0 * apart {
            all.push(Warning::new(
                "rolling resistance",
                format!(
                    "the rides alone say Crr {:.4} ± {uncertainty:.4}, far from the {:.4} ± {:.4} known beforehand",
                    prior.value + shift,
                    prior.value,
                    prior.standard_uncertainty
                ),
                "Check mass, altitude and the surface; write crr with a wider uncertainty if it was a guess.",
            ));
        }
    }
    for setup in seen.setups {
        if !USUAL_CRR.contains(&setup.crr.0) {
            all.push(Warning::new(
                "unusual rolling resistance",
                format!(
                    "Crr of '{}' is {:.4}, outside 0.0015 to 0.015",
                    setup.name, setup.crr.0
                ),
                "Check crr in test.toml, mass and altitude.",
            ));
        }
    }
}

fn speed_source(seen: &Seen, all: &mut Vec<Warning>) {
    for s in seen
        .surveyed
        .streams
        .iter()
        .filter(|s| s.speed_source == SpeedSource::Positions)
    {
        all.push(Warning::new(
            "speed source",
            format!(
                "{}: there is no speed channel, so speed is worked out from positions",
                s.name()
            ),
            "A wheel sensor gives a finer speed, and tells set-ups apart with fewer passes.",
        ));
    }
}

/// What was mended within a pass bears on its drag area.
fn repairs(seen: &Seen, all: &mut Vec<Warning>) {
    let passes = &seen.surveyed.ridden.passes;
    for (index, s) in seen.surveyed.streams.iter().enumerate() {
        let within = |r: &&Repair| {
            passes
                .iter()
                .any(|p| p.recording == index && r.start_s <= p.end_s && r.end_s >= p.start_s)
        };
        let mut kinds: Vec<&str> = s.repairs.iter().filter(within).map(|r| r.kind).collect();
        if kinds.is_empty() {
            continue;
        }
        let count = kinds.len();
        kinds.sort_unstable();
        kinds.dedup();
        let times = if count == 1 {
            "once".to_string()
        } else {
            format!("{count} times")
        };
        all.push(Warning::new(
            "repairs",
            format!(
                "{}: samples within passes were taken out or set right {times} ({})",
                s.name(),
                kinds.join(", ")
            ),
            "See `stillair inspect` for what was done and where.",
        ));
    }
}

fn heights(seen: &Seen, all: &mut Vec<Warning>) {
    match &seen.surveyed.ridden.course.profile {
        Some(profile) if profile.wander_m > 0.0 => all.push(Warning::new(
            "altitude from positions",
            format!(
                "passes disagree in the shape of the road as altitudes from positions do, and a barometer's do not: a \
                 climb is known to ± {:.1} m only",
                profile.wander_m
            ),
            "Record with a barometer, or take the unit's barometer into use; out and back or round a loop the climb \
             cancels.",
        )),
        Some(profile) if profile.disagreement_m > HEIGHTS_APART_M => all.push(Warning::new(
            "altitude",
            format!(
                "passes disagree on the height of the road by {:.1} m",
                profile.disagreement_m
            ),
            "Let the unit stand outside for ten minutes before the ride; more passes average it out.",
        )),
        None => all.push(Warning::new(
            "altitude",
            "there is no altitude, so the course is taken as level from end to end",
            "Record with a barometer; without it hills within the course stay in the left-over.",
        )),
        Some(_) => {}
    }
}

/// Hills that the balance does not explain cell by cell: something else than air and tyres was at work.
fn left_over(seen: &Seen, all: &mut Vec<Warning>) {
    let left: Vec<f64> = seen
        .passes
        .iter()
        .filter_map(|p| p.elevation.as_ref()?.left_over_m)
        .collect();
    let mean = left.iter().sum::<f64>() / left.len() as f64;
    if mean > LEFT_OVER_M {
        all.push(Warning::new(
            "left over",
            format!(
                "cell by cell the virtual elevation leaves the measured one by {mean:.1} m: brakes on the way down, \
                 an altitude that lags behind the road, or traffic; CdA then says little about the rider"
            ),
            "Choose a stretch that is pedalled throughout, or fit the steady part of it with [[window]].",
        ));
    }
}

fn odd(seen: &Seen, all: &mut Vec<Warning>) {
    let number = |p: &&PassResult| seen.surveyed.ridden.passes[p.pass].number.to_string();
    for pass in seen.passes {
        let Some(judged) = pass.judged.as_ref().filter(|j| j.studentised.abs() > ODD) else {
            continue;
        };
        // The largest change that leaving it out makes to any set-up's ratio to the first.
        let change = judged
            .change_without
            .iter()
            .copied()
            .fold(0.0, |most: f64, c| if c.abs() > most.abs() { c } else { most });
        let moved = if seen.setups.len() > 1 {
            format!(
                "; without it the ratio to '{}' moves by {:+.1} %",
                seen.setups[0].name,
                100.0 * change.exp_m1()
            )
        } else {
            String::new()
        };
        all.push(Warning::new(
            "odd pass",
            format!("pass {} does not fit the others; it is kept{moved}", number(&pass)),
            "If something happened there (a change of wind, a lorry, braking, a drink), leave it out with [[exclude]] \
             and the reason; else ride it again.",
        ));
    }
    let disturbed: Vec<String> = seen
        .passes
        .iter()
        .filter(|p| p.flags.iter().any(|f| f.starts_with("disturbed:")))
        .map(|p| number(&p))
        .collect();
    if !disturbed.is_empty() {
        all.push(Warning::new(
            "disturbed stretch",
            format!(
                "in pass {} something else than the road and the day's wind was at work for some seconds; what is \
                 odd there is taken out",
                disturbed.join(", ")
            ),
            "See the flags of the pass for where and how much, and the recording for what it was.",
        ));
    }
}

fn what_differs(seen: &Seen, all: &mut Vec<Warning>) {
    for (index, setup) in seen.day.setups.iter().enumerate() {
        if let Some(correlation) = seen.joint.separation(index)
            && correlation.abs() > NOT_SEPARATED
        {
            all.push(Warning::new(
                "drag and rolling",
                format!(
                    "the speeds ridden hardly tell a difference of '{}' in drag from one in rolling resistance \
                     (correlation {correlation:.2}); both together are known better than either",
                    setup.name
                ),
                "Ride some passes of each set-up much slower and some faster, or test one of the two at a time.",
            ));
        }
    }
}

/// One way nobody but a wind reading tells the wind along the road from drag.
fn one_way(seen: &Seen, all: &mut Vec<Warning>) {
    let wind = seen
        .joint
        .passes
        .iter()
        .map(|p| p.headwind_standard_uncertainty_m_s);
    let wind = wind.sum::<f64>() / seen.joint.passes.len() as f64;
    if seen.day.shape != Shape::OneWay || wind < ONE_WAY_WIND_M_S {
        return;
    }
    let speed = seen.day.rides.iter().map(|r| r.mean_speed_m_s()).sum::<f64>() / seen.day.rides.len() as f64;
    let message = format!(
        "on a one-way course CdA itself carries the unknown wind along the road (± {wind:.1} m/s is ± {:.0} % of CdA)",
        200.0 * wind / speed
    );
    let (message, next) = if seen.setups.len() > 1 {
        (
            format!("{message}; what was measured is the ratio of the set-ups"),
            "Read the change in percent; ride out and back, or note the wind in [[air]], to know CdA as well.",
        )
    } else {
        (
            message,
            "Ride out and back, or note the wind in [[air]], to know CdA.",
        )
    };
    all.push(Warning::new("one way", message, next));
}
