//! Days of a kind (a long morning, a road that makes the rider coast) ridden with an effect and without it.

use super::paired::{Bends, DAYS, Said, Shifts, compared_each, mean, said};
use crate::joint_days::days::held_by_chance;
use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use std::collections::HashMap;
use std::sync::{Mutex, OnceLock};
use stillair::simulate::{DayPlan, TrueDay};
use stillair::study::Compared;
use stillair::test_day::TestDay;
use stillair::treatment::Treatment;

const FIRST: u64 = 9000;

/// What a day is like, with the effect and without.
#[derive(Clone, Copy)]
pub struct Kind {
    pub name: &'static str,
    pub course: Course,
    pub order: &'static str,
    pub make: fn(&mut DayPlan),
}

pub struct Effect<'a> {
    pub kind: Kind,
    pub happens: fn(&mut DayPlan),
    pub written: fn(&mut TestDay, &TrueDay),
    pub untreated: &'a [Treatment],
    /// Of a warning that is counted.
    pub warning: &'a str,
}

pub struct Seen {
    pub shifts: Shifts,
    /// Treated days that say the warning.
    pub warned: u64,
    /// Treated intervals that hold the truth.
    pub held: usize,
}

pub fn nothing_written(_: &mut TestDay, _: &TrueDay) {}

/// Ratio and drag area of the days of a kind without any effect.
fn without(kind: Kind) -> Vec<[Said; 2]> {
    type Known = Mutex<HashMap<&'static str, &'static OnceLock<Vec<[Said; 2]>>>>;
    static KNOWN: OnceLock<Known> = OnceLock::new();
    let cell = *KNOWN
        .get_or_init(Known::default)
        .lock()
        .unwrap()
        .entry(kind.name)
        .or_insert_with(|| Box::leak(Box::default()));
    cell.get_or_init(|| {
        (FIRST..FIRST + DAYS)
            .into_par_iter()
            .map(|number| {
                let drawn = Drawn::new(kind.course, kind.order, number);
                let day = compared_each(drawn, kind.make, nothing_written, &[&[]]).remove(0);
                [said(&day, Bends::Ratio), said(&day, Bends::Cda)]
            })
            .collect()
    })
    .clone()
}

pub fn seen(effect: &Effect, bends: Bends) -> Seen {
    let [ratio, cda] = seen_of_both(effect);
    match bends {
        Bends::Ratio => ratio,
        Bends::Cda => cda,
    }
}

/// Of one day: as recorded, treated, and whether the treated interval holds the truth; of the ratio, and of the drag
/// area. And whether the warning was said.
type Told = ([(Said, Said, bool); 2], bool);

/// Of the ratio, and of the drag area.
pub fn seen_of_both(effect: &Effect) -> [Seen; 2] {
    let without = without(effect.kind);
    let left: &[&[Treatment]] = if effect.untreated.is_empty() {
        &[&[]]
    } else {
        &[effect.untreated, &[]]
    };
    let days: Vec<Told> = (FIRST..FIRST + DAYS)
        .into_par_iter()
        .map(|number| {
            let drawn = Drawn::new(effect.kind.course, effect.kind.order, number);
            let change = drawn.change_percent;
            let cda_m2 = drawn.plan.setups[0].cda_m2;
            let happens = |plan: &mut DayPlan| {
                (effect.kind.make)(plan);
                (effect.happens)(plan);
            };
            let all = compared_each(drawn, happens, effect.written, left);
            let treated = &all[all.len() - 1];
            let both = |bends| (said(&all[0], bends), said(treated, bends));
            let (ratio, cda) = (both(Bends::Ratio), both(Bends::Cda));
            (
                [
                    (ratio.0, ratio.1, holds_ratio(treated, change)),
                    (cda.0, cda.1, holds_cda(treated, cda_m2)),
                ],
                treated.warnings.iter().any(|w| w.kind == effect.warning),
            )
        })
        .collect();
    [0, 1].map(|which| {
        let of = |day: &Told| day.0[which];
        let shift = |value: fn((Said, Said, bool)) -> Said| -> Vec<f64> {
            let with = days.iter().map(|day| value(of(day)).log);
            with.zip(&without)
                .map(|(with, without)| with - without[which].log)
                .collect()
        };
        let uncertainty = |value: fn((Said, Said, bool)) -> Said| {
            mean(days.iter().map(|day| value(of(day)).standard_uncertainty))
        };
        Seen {
            shifts: Shifts {
                untreated: shift(|told| told.0),
                treated: shift(|told| told.1),
                standard_uncertainty: uncertainty(|told| told.1),
                untreated_standard_uncertainty: uncertainty(|told| told.0),
            },
            warned: days.iter().filter(|day| day.1).count() as u64,
            held: days.iter().filter(|day| of(day).2).count(),
        }
    })
}

fn holds_ratio(compared: &Compared, change_percent: f64) -> bool {
    let [low, high] = compared.findings[0].cda_change_percent.interval_90.unwrap();
    (low..=high).contains(&change_percent)
}

fn holds_cda(compared: &Compared, cda_m2: f64) -> bool {
    let [low, high] = compared.setups[0].cda_m2.unwrap().2;
    (low..=high).contains(&cda_m2)
}

impl Seen {
    /// One line for the limits, with how often the interval held the truth and how often it was said.
    pub fn print(&self, name: &str) {
        self.shifts.print(name);
        println!(
            "    held {} and warned on {} of {DAYS} days",
            self.held, self.warned
        );
    }

    /// Untreated it hurts; what the data cannot tell is said on every day, and in the interval: its square has grown
    /// by what the effect makes, or more.
    pub fn hurts_and_is_allowed_for(&self, name: &str) {
        self.print(name);
        let untreated = mean(self.shifts.untreated.iter().copied()).abs();
        let (with, without) = (
            self.shifts.standard_uncertainty,
            self.shifts.untreated_standard_uncertainty,
        );
        assert!(
            untreated > without / 3.0,
            "{name}: {untreated:.4} beside {without:.4}"
        );
        let allowed = (with * with - without * without).max(0.0).sqrt();
        assert!(
            allowed > 0.7 * untreated,
            "{name}: {allowed:.4} for {untreated:.4}"
        );
        self.is_honest(name);
        assert_eq!(self.warned, DAYS, "{name}");
    }

    /// The intervals hold the truth as often as they say, or more often.
    pub fn is_honest(&self, name: &str) {
        let least = *held_by_chance(DAYS as usize).start();
        assert!(self.held >= least, "{name}: {} of {DAYS}", self.held);
    }

    /// Neither with the treatment nor without does the mean shift reach a third of the standard uncertainty.
    pub fn does_no_harm(&self, name: &str) {
        self.print(name);
        for (shift, uncertainty) in [
            (&self.shifts.untreated, self.shifts.untreated_standard_uncertainty),
            (&self.shifts.treated, self.shifts.standard_uncertainty),
        ] {
            let shift = mean(shift.iter().copied());
            assert!(
                shift.abs() < uncertainty / 3.0,
                "{name}: {shift:.4} beside {uncertainty:.4}"
            );
        }
    }
}
