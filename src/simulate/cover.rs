//! Where positions and the barometer lie: under bridges, under trees, between houses.

use super::path::Path;
use super::plan::{Covered, DayPlan, Incident, Shape, UnderCover};
use super::ride::{TICK_S, Trace};
use super::road::moved;
use super::unit::while_in_pass;
use super::{Purpose, random};
use crate::recording::Sample;
use rand::Rng;
use std::f64::consts::TAU;

/// The barometer's error rises and falls over this length at the ends of a cover.
const RAMP_M: f64 = 10.0;

/// Puts the errors into samples that are otherwise done. Nothing changes on a day without such places.
pub(super) fn spoil(plan: &DayPlan, path: &Path, trace: &Trace, samples: &mut [(f64, Sample)]) {
    if let Some(covered) = plan.course.covered {
        under(&covered, plan, path, trace, samples);
    }
    positions_off(plan, path, trace, samples);
}

/// Node of the path and metres ridden at a moment.
fn ridden(trace: &Trace, seconds: f64) -> (usize, f64) {
    let tick = (seconds / TICK_S) as usize;
    let node = trace.node.get(tick).copied().unwrap_or(0);
    (node, Trace::at(&trace.ridden_m, seconds))
}

fn under(covered: &Covered, plan: &DayPlan, path: &Path, trace: &Trace, samples: &mut [(f64, Sample)]) {
    let mut rng = random(plan.seed, Purpose::UnderCover);
    let along_m = |seconds: f64| {
        let (node, x) = ridden(trace, seconds);
        let s = path.course_m(node, x);
        match plan.course.shape {
            Shape::Loop => s.rem_euclid(plan.course.length_m),
            _ => s,
        }
    };
    let step = plan.sensors.altitude_resolution_m;
    let mut index = 0;
    while index < samples.len() {
        let inside = |index: usize| {
            let at = samples.get(index).map(|(seconds, _)| along_m(*seconds));
            at.is_some_and(|s| (covered.from_m..=covered.to_m).contains(&s))
        };
        if !inside(index) {
            index += 1;
            continue;
        }
        let mut end = index;
        while inside(end) {
            end += 1;
        }
        hide(covered.positions, samples, index..end, &mut rng);
        for (seconds, sample) in &mut samples[index..end] {
            let s = along_m(*seconds);
            let depth = ((s - covered.from_m).min(covered.to_m - s) / RAMP_M).clamp(0.0, 1.0);
            let read = |height: f64| super::sensors::rounded(height + covered.barometer_m * depth, step);
            sample.altitude_m = sample.altitude_m.map(read);
        }
        index = end;
    }
}

fn hide(
    positions: UnderCover,
    samples: &mut [(f64, Sample)],
    run: std::ops::Range<usize>,
    rng: &mut impl Rng,
) {
    let place = |samples: &[(f64, Sample)], index: usize| {
        let (seconds, sample) = samples.get(index)?;
        Some((*seconds, [sample.latitude_deg?, sample.longitude_deg?]))
    };
    let before = run.start.checked_sub(1).and_then(|index| place(samples, index));
    let after = place(samples, run.end);
    let angle: f64 = rng.random_range(0.0..TAU);
    for index in run {
        let Some((now, here)) = place(samples, index) else {
            continue;
        };
        let seen = match (positions, before, after) {
            (UnderCover::Jump { off_m }, _, _) => moved(here, [off_m * angle.sin(), off_m * angle.cos()]),
            (UnderCover::Frozen, Some((_, last)), _) => last,
            (UnderCover::Straight, Some((t0, a)), Some((t1, b))) => {
                let share = (now - t0) / (t1 - t0);
                [0, 1].map(|k| a[k] + share * (b[k] - a[k]))
            }
            _ => here,
        };
        let sample = &mut samples[index].1;
        (sample.latitude_deg, sample.longitude_deg) = (Some(seen[0]), Some(seen[1]));
    }
}

fn positions_off(plan: &DayPlan, path: &Path, trace: &Trace, samples: &mut [(f64, Sample)]) {
    for incident in &plan.incidents {
        let Incident::PositionsOff { ahead_m, left_m, .. } = *incident else {
            continue;
        };
        let windows = while_in_pass(plan, path, trace, |other| match *other {
            Incident::PositionsOff {
                pass,
                at_m,
                duration_s,
                ..
            } if other == incident => Some((pass, at_m, duration_s)),
            _ => None,
        });
        for (seconds, sample) in samples.iter_mut() {
            if !windows.iter().any(|window| window.holds(*seconds)) {
                continue;
            }
            let (node, x) = ridden(trace, *seconds);
            let ground = path.ground(node, x);
            let (sin, cos) = (ground.sin_bearing, ground.cos_bearing);
            let off = [ahead_m * sin - left_m * cos, ahead_m * cos + left_m * sin];
            if let (Some(latitude), Some(longitude)) = (sample.latitude_deg, sample.longitude_deg) {
                let place = moved([latitude, longitude], off);
                (sample.latitude_deg, sample.longitude_deg) = (Some(place[0]), Some(place[1]));
            }
        }
    }
}
