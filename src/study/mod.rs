//! The engine: a folder → everything above, in order. Every door (command line, page, watcher) calls it.

mod air_speed;

mod alone;

mod altitude_lag;

mod answer;

mod assign;

mod covered;

mod cutting;

mod day_notes;

mod days;

mod distrust;

mod elevations;

mod excess;

mod files;

mod flags;

mod gather;

mod inputs;

mod looks;

mod power_delay;

mod power_zero;

mod predict;

mod prepare;

mod remarks;

mod roads;

mod result;

mod sampling;

mod slow;

mod starting;

mod road_remarks;

mod speed_scale;

mod stopwatch;

mod track;

mod tried;

mod weather;

mod surface;

mod yaw;

pub use answer::{about, tested};

pub use files::{FileDigest, digests};

pub use days::{Days, DaysProgress, OfDay, Pair, RiddenOn, Together, compare_days, together};

pub use starting::{RiderKnows, block_passes, block_text, starting_test_toml};

pub use looks::{BlocksRidden, blocks_ridden};

pub use inputs::{OfAnyDay, of_any_day};

pub use slow::ONE_LEG_SD;

pub use stopwatch::Stopwatched;

pub use yaw::Yaw;

pub use speed_scale::{Common, Own, SpeedScales};

pub use roads::{Ridden as RiddenRoads, ridden as ridden_roads};

pub use result::{Basis, Compared, Elevations, FitEnd, PassResult, PowerDelay, SetupResult, Surveyed};

pub use predict::{DRAWS, Prediction, predict};

pub use prepare::{Prepared, prepared};

pub use gather::{
    Gathered, Inspected, Progress, gather, gather_recordings, gather_under, inspect, is_recording,
    no_recording, unreadable,
};

use crate::course::survey_knowing;
use crate::error::{Error, Fault, Result};
use crate::estimate::budget::budget;
use crate::estimate::joint::{explore::Told, joint};
use crate::estimate::plain::averages as averages_at;
use crate::physics::Rig;
use crate::treatment::Treatment;
use crate::verdict::still_air_time_s;
use answer::{AtWork, Estimates, findings, setup_results};
use prepare::{day, nothing_usable};
use std::path::Path;

/// The course of a folder and each time it was ridden.
///
/// # Errors
/// No recording could be used; faults of `test.toml`, all of them; no course.
pub fn passes(folder: &Path, progress: Progress) -> Result<Surveyed> {
    passes_gathered(gather(folder, progress)?, folder)
}

/// As [`passes`], of a day that is in memory; the folder only names things in messages.
///
/// # Errors
/// No course.
pub fn passes_gathered(mut gathered: Gathered, folder: &Path) -> Result<Surveyed> {
    let test_toml = folder.join("test.toml");
    let air_speed = gathered.test_day.air_speed.as_ref();
    let air_speed_warnings = air_speed::take(&mut gathered.streams, air_speed, &test_toml)
        .map_err(|error| with_bad_files(error, &gathered.faults))?;
    let heights = prepare::heights_given(&gathered.test_day);
    let ridden = survey_knowing(
        &gathered.streams,
        gathered.test_day.course.as_ref(),
        &heights,
        &test_toml,
    )
    .map_err(|error| with_bad_files(error, &gathered.faults))?;
    let mut warnings = gathered.warnings;
    warnings.extend(air_speed_warnings);
    warnings.extend(ridden.warnings.iter().cloned());
    Ok(Surveyed {
        folder: folder.to_path_buf(),
        test_day: gathered.test_day,
        streams: gathered.streams,
        ridden,
        faults: gathered.faults,
        warnings,
    })
}

/// A file that could not be read may be the reason why nothing is left: it is named with it.
fn with_bad_files(mut error: Error, faults: &[Fault]) -> Error {
    error.faults.extend(faults.iter().cloned());
    error
}

/// Which set-up is faster, by how much, how sure.
///
/// # Errors
/// As [`passes`]; blocks that do not add up; nothing that could be fitted, with the reason.
pub fn compare(folder: &Path, progress: Progress) -> Result<Compared> {
    compare_gathered(gather(folder, progress)?, folder)
}

/// As [`compare`], of a day that is in memory; the folder only names things in messages.
///
/// # Errors
/// As [`passes_gathered`]; blocks that do not add up; nothing that could be fitted, with the reason.
pub fn compare_gathered(gathered: Gathered, folder: &Path) -> Result<Compared> {
    compare_surveyed(passes_gathered(gathered, folder)?)
}

/// As [`compare`], of a day whose passes are found.
///
/// # Errors
/// Blocks that do not add up; nothing that could be fitted, with the reason.
pub fn compare_surveyed(surveyed: Surveyed) -> Result<Compared> {
    compare_told(surveyed, &Told::default())
}

/// As [`compare_surveyed`], with strengths of the wind that somebody knows: for seeing what knowing them is worth.
///
/// # Errors
/// As [`compare_surveyed`].
pub fn compare_told(surveyed: Surveyed, told: &Told) -> Result<Compared> {
    answered(prepared(surveyed)?, told)
}

fn answered(prepared: Prepared, told: &Told) -> Result<Compared> {
    let Prepared {
        surveyed,
        rides,
        whole,
        rolling,
        slow_places,
        averages,
        mut passes,
        left_out,
        airs,
        zeros,
        speed_scales,
        on_track,
        delays,
        mut warnings,
    } = prepared;
    let day = day(&surveyed, &rides);
    let (setups, course) = (day.setups, &surveyed.ridden.course);
    let profile = course.profile.as_ref();
    let told = &Told {
        undisturbed: told.undisturbed
            || surveyed
                .test_day
                .as_recorded
                .leaves(Treatment::DisturbedStretches),
        ..*told
    };
    let joint = joint(&day, profile, &rolling, told).ok_or_else(|| nothing_usable(&surveyed, &passes))?;
    let (inside, outside): (Vec<_>, Vec<_>) = inputs::shared(
        &surveyed,
        &rides,
        &rolling,
        &speed_scales,
        on_track.as_ref(),
        &delays,
    )
    .into_iter()
    .partition(|input| input.inside);
    let mut budget_lines = budget(&outside, |shift| joint.moved(&day, profile, &rolling, shift));
    budget_lines.extend(inputs::inside(&joint, &inside, &averages));
    let of_average = budget(&inside, |shift| Some(averages_at(&day, &rolling, shift)?.said()));
    let budget = budget_lines;
    let setup_results = setup_results(&day, &averages, &joint, &rolling, &budget);
    let at_work = AtWork::of(&day, &surveyed, &joint, &rolling);
    for (ride, judged) in rides.iter().zip(&joint.passes) {
        let result = &mut passes[ride.pass];
        result.flags.extend(flags::flags(judged));
        result.judged = Some(flags::seen(judged, setups.len()));
    }
    for pass in &averages.passes {
        let ride = &rides[pass.ride];
        let result = &mut passes[ride.pass];
        result.cda_m2 = Some((pass.cda_m2, pass.standard_uncertainty_m2));
        let rig = Rig {
            cda_m2: pass.cda_m2,
            ..at_work.rig
        };
        result.still_air_time_s = still_air_time_s(course, ride.direction, &rig, &at_work.still_air);
    }
    alone::beside(&left_out, &day, &averages, &rolling, &mut passes);
    for whole in &whole {
        let result = &mut passes[whole.pass];
        let fitted = rides.iter().find(|ride| ride.pass == whole.pass);
        let of_setup = || Some(setup_results.get(whole.setup)?.cda_m2?.0);
        if let Some(cda_m2) = result.cda_m2.map(|(cda_m2, _)| cda_m2).or_else(of_setup) {
            result.elevation = Some(elevations::elevations(whole, fitted, &day, cda_m2, &rolling));
        }
    }
    let findings = findings(
        &Estimates {
            day: &day,
            averages: &averages,
            joint: &joint,
            budget: &budget,
            of_average: &of_average,
        },
        &setup_results,
        &at_work,
        &surveyed.test_day,
        looks::order(&surveyed.test_day, &passes).as_ref(),
    );
    let known = stopwatch::Known {
        day: &day,
        surveyed: &surveyed,
        setups: &setup_results,
        winds_m_s: stopwatch::winds_m_s(&joint),
    };
    let (stopwatches, no_account) = stopwatch::stopwatches(&known, &findings);
    warnings.extend(remarks::remarks(&remarks::Seen {
        surveyed: &surveyed,
        day: &day,
        averages: &averages,
        rolling: &rolling,
        joint: &joint,
        setups: &setup_results,
        passes: &passes,
        slow_places: &slow_places,
    }));
    warnings.extend(distrust::distrust(&day, &setup_results, &findings));
    warnings.extend(altitude_lag::warning(&surveyed));
    warnings.extend(no_account);
    warnings.extend(day_notes::remarks(&surveyed.test_day, &zeros, &rides));
    warnings.extend(slow::remarks(&surveyed, &airs, &rides));
    warnings.extend(speed_scales.warnings(&surveyed));
    warnings.extend(sampling::remarks(&surveyed));
    let mut assumptions = inputs::assumptions(&surveyed, &rolling, &setup_results);
    assumptions.extend(delays.sentence());
    assumptions.extend(altitude_lag::sentence(&surveyed));
    assumptions.extend(day_notes::sentences(&surveyed.test_day, &zeros, &rides));
    assumptions.extend(speed_scales.sentences(&surveyed.test_day));
    assumptions.extend(slow::sentences(&surveyed));
    assumptions.extend(on_track.map(|on_track| on_track.sentence()));
    let air_source = airs.first().map_or("", |air| air.source.as_text());
    Ok(Compared {
        air: at_work.air,
        air_source,
        passes,
        setups: setup_results,
        findings,
        stopwatches,
        budget,
        fit: inputs::fit_end(&rolling, &joint, rides.len(), setups.len()),
        basis: Basis {
            averages,
            of_average,
            around: at_work.still_air.around,
            joint,
        },
        rolling,
        power_delays: delays.told(),
        speed_scales,
        assumptions,
        warnings,
        surveyed,
    })
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod notes_tests;

#[cfg(test)]
mod in_step_tests;

#[cfg(test)]
mod track_tests;
