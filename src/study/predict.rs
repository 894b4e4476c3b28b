//! A test day's answer → what each set-up is worth over an event.

use super::Compared;
use crate::course::Direction;
use crate::error::{Fault, Result};
use crate::estimate::cells::{Shift, rig};
use crate::event::{Conditions, EventRoad, Predicted, Rider, predict as times};
use crate::physics::Rig;
use crate::verdict::{StillAir, still_air_time_s};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// The ends of a 90 % interval are then good to 7 % of the standard deviation (one standard deviation, D).
pub const DRAWS: usize = 1000;
const SEED: u64 = 4;

/// What a test day is worth over an event.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    pub predicted: Predicted,
    /// Indices into the set-ups of the day, in the order of `predicted`.
    pub setups: Vec<usize>,
    /// For each change: seconds between the two on the test course in still air, times how much longer the event is.
    /// What multiplying the test would say; `None` where a set-up would stall there.
    pub multiplied_s: Vec<Option<f64>>,
}

/// # Errors
/// No set-up was ridden, or the rider comes to a stop on the event.
pub fn predict(
    compared: &Compared,
    road: &EventRoad,
    with: &Conditions,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Prediction> {
    let setups: Vec<usize> = (0..compared.setups.len())
        .filter(|s| compared.setups[*s].cda_m2.is_some())
        .collect();
    let fault = |what: &str, next: &str| Fault::new(what, next).in_file(&compared.surveyed.folder);
    let no_distribution = || {
        fault(
            "the day gives no drag area with an uncertainty",
            "See `stillair compare` for what is wrong with it.",
        )
    };
    let middle = middle(compared, &setups).ok_or_else(no_distribution)?;
    let draws = draws(compared, &setups).ok_or_else(no_distribution)?;
    let predicted = times(road, with, &middle, &draws, progress).ok_or_else(|| {
        fault(
            "with this power the rider comes to a stop on the event, at its steepest or in its wind",
            "Ask for more power, or check the heights of the event's file.",
        )
    })?;
    let multiplied_s = predicted
        .changes
        .iter()
        .map(|change| {
            let seconds = |s: usize| on_test_course_s(compared, &middle.rigs[s]);
            let longer = road.length_m / compared.surveyed.ridden.course.length_m();
            Some((seconds(change.setup)? - seconds(change.baseline)?) * longer)
        })
        .collect();
    Ok(Prediction {
        predicted,
        setups,
        multiplied_s,
    })
}

/// As the set-ups were ridden: drag area and rolling resistance of the answer, mass and wheels of `test.toml`.
fn middle(compared: &Compared, setups: &[usize]) -> Option<Rider> {
    let joint = &compared.basis.joint;
    let rigs = setups.iter().map(|&s| {
        let (log_cda, log_crr) = (joint.log_cda(s)?.0, joint.log_crr(s)?.0);
        Some(ridden_rig(compared, s, log_cda, log_crr, &Shift::default()))
    });
    Some(Rider {
        rigs: rigs.collect::<Option<_>>()?,
        power_scale: 1.0,
    })
}

fn ridden_rig(compared: &Compared, setup: usize, log_cda: f64, log_crr: f64, shift: &Shift) -> Rig {
    let neutral = rig(&compared.surveyed.test_day.setups[setup], shift);
    Rig {
        cda_m2: log_cda.exp(),
        crr: (neutral.crr + compared.rolling.shift) * log_crr.exp(),
        ..neutral
    }
}

/// Each draw takes the set-ups from what the day believes of them together, then errs in every input that all passes
/// shared: its error moves the drag areas as it did in the fit, and the event is ridden with it too. So a mass that is
/// too high, which made the drag areas too low, also makes the event's climbs too slow.
fn draws(compared: &Compared, setups: &[usize]) -> Option<Vec<Rider>> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let believed = compared.basis.joint.draws(DRAWS)?;
    let count = compared.setups.len();
    let outside: Vec<_> = compared.budget.iter().filter(|line| !line.inside).collect();
    let first = *setups.first()?;
    let drawn = believed.iter().map(|quantities| {
        let mut shift = Shift::default();
        let mut log_cda = quantities[..count].to_vec();
        let mut log_crr = quantities[count..].to_vec();
        for line in &outside {
            let z: f64 = rng.sample(StandardNormal);
            let common = line.effect_cda_m2[first] / compared.setups[first].cda_m2.map_or(f64::NAN, |c| c.0);
            for &s in setups {
                log_cda[s] += z * (common + line.effect_log_ratio[s] - line.effect_log_ratio[first]);
                log_crr[s] += z * line.effect_log_crr_ratio[s];
            }
            shared_by_the_event(line.input, z * line.standard_uncertainty, &mut shift);
        }
        let rigs = setups
            .iter()
            .map(|&s| ridden_rig(compared, s, log_cda[s], log_crr[s], &shift))
            .collect();
        Rider {
            rigs,
            power_scale: shift.power_scale,
        }
    });
    Some(drawn.collect())
}

/// What of the test day's inputs goes along to the event: the rider, the bicycle and the power meter. The air and the
/// road of the test stay behind.
fn shared_by_the_event(input: &str, error: f64, shift: &mut Shift) {
    match input {
        "total mass" => shift.total_mass_kg = error,
        "power meter scale" => shift.power_scale = 1.0 + error,
        "drivetrain efficiency" => shift.drivetrain_efficiency = error,
        "rolling resistance" => shift.crr = error,
        "wheel radius" => shift.wheel_radius_m = error,
        "wheel inertia" => shift.wheel_inertia_kg_m2 = error,
        _ => {}
    }
}

/// Over the test course in still air, as its passes were ridden: at their mean power and entry speed.
fn on_test_course_s(compared: &Compared, rig: &Rig) -> Option<f64> {
    let ridden = &compared.surveyed.ridden;
    let kept: Vec<_> = compared.passes.iter().filter(|pass| pass.kept).collect();
    let mean =
        |of: &dyn Fn(usize) -> f64| kept.iter().map(|pass| of(pass.pass)).sum::<f64>() / kept.len() as f64;
    let with = StillAir {
        power_w: mean(&|p| ridden.passes[p].mean_power_w),
        entry_speed_m_s: mean(&|p| ridden.passes[p].entry_speed_m_s),
        around: compared.basis.around,
    };
    still_air_time_s(&ridden.course, Direction::Forward, rig, &with)
}
