//! The same days with an effect and without it, through the whole program.

use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use std::collections::HashMap;
use std::path::Path;
use std::sync::{Mutex, OnceLock};
use stillair::simulate::{DayPlan, TrueDay};
use stillair::study::{Compared, compare_surveyed, gather_recordings, passes_gathered};
use stillair::test_day::TestDay;
use stillair::treatment::{AsRecorded, Treatment};

/// Days enough for a mean shift: it is known to a tenth of the spread of the shifts.
pub const DAYS: u64 = 100;
const FIRST: u64 = 9000;

/// What an effect bends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bends {
    /// Ratio of the second set-up's drag area to the first's.
    Ratio,
    /// Drag area of the first set-up.
    Cda,
}

/// A logarithm (of the ratio, or of the drag area) with its stated standard uncertainty.
#[derive(Debug, Clone, Copy)]
pub struct Said {
    pub log: f64,
    pub standard_uncertainty: f64,
}

pub struct Effect<'a> {
    pub course: Course,
    pub order: &'a str,
    /// Makes the effect in the truth of the day.
    pub happens: &'a (dyn Fn(&mut DayPlan) + Sync),
    /// What the rider writes about it in `test.toml` (treated and untreated alike).
    pub written: &'a (dyn Fn(&mut TestDay, &TrueDay) + Sync),
    /// Treatments that the untreated direction goes without.
    pub untreated: &'a [Treatment],
}

pub fn nothing_written(_: &mut TestDay, _: &TrueDay) {}

/// Each answer with the effect less the answer without it, day by day.
pub struct Shifts {
    pub untreated: Vec<f64>,
    pub treated: Vec<f64>,
    /// Of the treated answer, mean over the days.
    pub standard_uncertainty: f64,
    /// Of the untreated one.
    pub untreated_standard_uncertainty: f64,
}

/// A day through the whole program: as drawn, `happens` to its truth, `written` into its notes.
pub fn compared(
    drawn: Drawn,
    happens: impl Fn(&mut DayPlan),
    written: impl Fn(&mut TestDay, &TrueDay),
) -> Compared {
    compared_each(drawn, happens, &written, &[&[]]).remove(0)
}

/// The same ride, once for each list of treatments to go without.
pub fn compared_each(
    mut drawn: Drawn,
    happens: impl Fn(&mut DayPlan),
    written: impl Fn(&mut TestDay, &TrueDay),
    left: &[&[Treatment]],
) -> Vec<Compared> {
    happens(&mut drawn.plan);
    let mut truth = drawn.ride();
    // What happened to the rider stands in no note.
    truth.plan.incidents.clear();
    let mut day = drawn
        .test_day(&mut truth, &Path::new("day").join("test.toml"))
        .unwrap();
    written(&mut day, &truth);
    left.iter()
        .map(|left| {
            let mut day = day.clone();
            day.as_recorded = AsRecorded::new(left);
            let gathered = gather_recordings(day, truth.recordings.clone()).unwrap();
            compare_surveyed(passes_gathered(gathered, Path::new("day")).unwrap()).unwrap()
        })
        .collect()
}

pub fn said(compared: &Compared, bends: Bends) -> Said {
    match bends {
        Bends::Ratio => {
            let change = compared.findings[0].cda_change_percent;
            Said {
                log: (change.value / 100.0).ln_1p(),
                standard_uncertainty: change.standard_uncertainty.unwrap() / (100.0 + change.value),
            }
        }
        Bends::Cda => {
            let (cda_m2, standard_uncertainty_m2, _) = compared.setups[0].cda_m2.unwrap();
            Said {
                log: cda_m2.ln(),
                standard_uncertainty: standard_uncertainty_m2 / cda_m2,
            }
        }
    }
}

/// Answers of the days without any effect, which many effects are held against: ratio, then drag area.
fn undisturbed(course: Course, order: &str) -> Vec<[Said; 2]> {
    type Known = Mutex<HashMap<String, &'static OnceLock<Vec<[Said; 2]>>>>;
    static KNOWN: OnceLock<Known> = OnceLock::new();
    let name = format!("{} {order}", course.name());
    let cell = *KNOWN
        .get_or_init(Known::default)
        .lock()
        .unwrap()
        .entry(name)
        .or_insert_with(|| Box::leak(Box::default()));
    cell.get_or_init(|| {
        (FIRST..FIRST + DAYS)
            .into_par_iter()
            .map(|number| {
                let day = compared(Drawn::new(course, order, number), |_| (), nothing_written);
                [said(&day, Bends::Ratio), said(&day, Bends::Cda)]
            })
            .collect()
    })
    .clone()
}

/// The shifts that an effect makes over `DAYS` days.
pub fn shifts(effect: &Effect, bends: Bends) -> Shifts {
    shifts_seen(effect, bends, |_| ()).0
}

/// The same, with something seen of each treated day.
pub fn shifts_seen<T: Send>(
    effect: &Effect,
    bends: Bends,
    see: impl Fn(&Compared) -> T + Sync,
) -> (Shifts, Vec<T>) {
    let which = usize::from(bends == Bends::Cda);
    let without = undisturbed(effect.course, effect.order);
    let days: Vec<([Said; 2], T)> = (FIRST..FIRST + DAYS)
        .into_par_iter()
        .map(|number| {
            let drawn = Drawn::new(effect.course, effect.order, number);
            let both = compared_each(drawn, effect.happens, effect.written, &[effect.untreated, &[]]);
            ([said(&both[0], bends), said(&both[1], bends)], see(&both[1]))
        })
        .collect();
    let shift = |of: usize| -> Vec<f64> {
        let with = days.iter().map(|(both, _)| both[of].log);
        with.zip(&without)
            .map(|(with, without)| with - without[which].log)
            .collect()
    };
    let uncertainty = |of: usize| mean(days.iter().map(|(both, _)| both[of].standard_uncertainty));
    let shifts = Shifts {
        untreated: shift(0),
        treated: shift(1),
        standard_uncertainty: uncertainty(1),
        untreated_standard_uncertainty: uncertainty(0),
    };
    (shifts, days.into_iter().map(|(_, seen)| seen).collect())
}

impl Shifts {
    /// Untreated the mean shift is more than a third of the stated standard uncertainty, and has the sign expected
    /// (`up`: reads more drag); treated it is within a third.
    pub fn hurts_and_is_mended(&self, name: &str, up: bool) {
        self.print(name);
        let untreated = mean(self.untreated.iter().copied());
        let wrong = if up { untreated } else { -untreated };
        assert!(
            wrong > self.untreated_standard_uncertainty / 3.0,
            "{name}: untreated the mean shift is {untreated:.4}, beside {:.4}",
            self.untreated_standard_uncertainty
        );
        self.is_mended(name);
    }

    /// The treated direction alone.
    pub fn is_mended(&self, name: &str) {
        let treated = mean(self.treated.iter().copied());
        assert!(
            treated.abs() < self.standard_uncertainty / 3.0,
            "{name}: treated the mean shift is {treated:.4}, beside {:.4}",
            self.standard_uncertainty
        );
    }

    /// One line for docs/limits.md; `cargo test --test suite effects -- --nocapture` shows all of them.
    pub fn print(&self, name: &str) {
        println!(
            "{name}: untreated {:+.2} % (rms {:.2}), treated {:+.2} % (rms {:.2}), standard uncertainty {:.2} % \
             (untreated {:.2})",
            100.0 * mean(self.untreated.iter().copied()),
            100.0 * root_mean_square(&self.untreated),
            100.0 * mean(self.treated.iter().copied()),
            100.0 * root_mean_square(&self.treated),
            100.0 * self.standard_uncertainty,
            100.0 * self.untreated_standard_uncertainty,
        );
    }
}

pub fn mean(values: impl IntoIterator<Item = f64>) -> f64 {
    crate::joint_days::days::mean(values)
}

fn root_mean_square(values: &[f64]) -> f64 {
    crate::joint_days::days::root_mean_square(values.iter().copied())
}
