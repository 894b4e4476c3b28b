//! The engine: a folder → everything above, in order. Every door (command line, page, watcher) calls it.

mod air_speed;

mod answer;

mod assign;

mod day_notes;

mod days;

mod distrust;

mod flags;

mod gather;

mod inputs;

mod power_zero;

mod remarks;

mod result;

mod stopwatch;

mod weather;

pub use days::{Days, DaysProgress, OfDay, Pair, RiddenOn, Together, compare_days, together};

pub use stopwatch::Stopwatched;

pub use result::{Basis, Compared, Elevations, FitEnd, PassResult, SetupResult, Surveyed};

pub use gather::{Gathered, Inspected, Progress, gather, gather_recordings, inspect};

use crate::air::Air;
use crate::course::survey;
use crate::error::{Error, Fault, Result};
use crate::estimate::budget::budget;
use crate::estimate::cells::{Ground, PassRide, Shift, accounts, cell_count, cut};
use crate::estimate::joint::{explore::Told, joint};
use crate::estimate::one_pass::{left_over_m, virtual_elevation_m};
use crate::estimate::plain::{Averages, Day, averages as averages_at};
use crate::estimate::rolling::{Rolling, rolling};
use crate::physics::{Rig, gravity_m_s2};
use crate::streams::Streams;
use crate::test_day::{Setup, Shape};
use crate::verdict::still_air_time_s;
use crate::warning::Warning;
use answer::{AtWork, Estimates, findings, setup_results};
use assign::Assigned;
use power_zero::PowerZeros;
use std::path::Path;
use weather::airs;

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
    let ridden = survey(&gathered.streams, gathered.test_day.course.as_ref(), &test_toml)
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

/// A day cut into passes and cells, with what needs no joint estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct Prepared {
    pub surveyed: Surveyed,
    pub rides: Vec<PassRide>,
    pub rolling: Rolling,
    averages: Averages,
    passes: Vec<PassResult>,
    airs: Vec<Air>,
    zeros: PowerZeros,
    warnings: Vec<Warning>,
}

impl Prepared {
    /// As the estimates take it.
    pub fn day(&self) -> Day<'_> {
        day(&self.surveyed, &self.rides)
    }
}

fn day<'a>(surveyed: &'a Surveyed, rides: &'a [PassRide]) -> Day<'a> {
    Day {
        rides,
        setups: &surveyed.test_day.setups,
        course_length_m: surveyed.ridden.course.length_m(),
        shape: surveyed.ridden.course.shape,
    }
}

/// # Errors
/// As [`compare_surveyed`].
pub fn prepared(surveyed: Surveyed) -> Result<Prepared> {
    let test_toml = surveyed.folder.join("test.toml");
    let assigned = assign::assign(&surveyed.test_day, &surveyed.ridden, &test_toml)?;
    needs_power(&surveyed)?;
    needs_climb(&surveyed)?;
    let mut warnings = surveyed.warnings.clone();
    warnings.extend(assigned.warnings.iter().cloned());
    let (airs, air_warnings) = airs(&surveyed, &test_toml)?;
    warnings.extend(air_warnings);
    let zeros = PowerZeros::of(&surveyed.test_day, &surveyed.streams, &surveyed.ridden, &assigned);
    let (rides, passes) = rides(&surveyed, &assigned, &airs, &zeros);
    if rides.is_empty() {
        return Err(nothing_usable(&surveyed, &passes));
    }
    let profile = surveyed.ridden.course.profile.as_ref();
    let profile_sd_m = profile.map_or(1.0, |p| p.standard_uncertainty_m) / 2f64.sqrt();
    let day = day(&surveyed, &rides);
    let (rolling, averages) = rolling(&rides, day.setups, day.course_length_m, profile_sd_m)
        .and_then(|rolling| {
            averages_at(&day, &rolling, &Shift::default()).map(|averages| (rolling, averages))
        })
        .ok_or_else(|| nothing_usable(&surveyed, &passes))?;
    Ok(Prepared {
        rides,
        rolling,
        averages,
        passes,
        airs,
        zeros,
        warnings,
        surveyed,
    })
}

fn answered(prepared: Prepared, told: &Told) -> Result<Compared> {
    let Prepared {
        surveyed,
        rides,
        rolling,
        averages,
        mut passes,
        airs,
        zeros,
        mut warnings,
    } = prepared;
    let day = day(&surveyed, &rides);
    let (setups, course) = (day.setups, &surveyed.ridden.course);
    let profile = course.profile.as_ref();
    let joint = joint(&day, profile, &rolling, told).ok_or_else(|| nothing_usable(&surveyed, &passes))?;
    let (inside, outside): (Vec<_>, Vec<_>) = inputs::shared(&surveyed, &rides, &rolling)
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
        result.elevation = Some(elevations(ride, &setups[ride.setup], &day, pass.cda_m2, &rolling));
        let rig = Rig {
            cda_m2: pass.cda_m2,
            ..at_work.rig
        };
        result.still_air_time_s = still_air_time_s(course, ride.direction, &rig, &at_work.still_air);
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
    }));
    warnings.extend(distrust::distrust(&day, &setup_results, &findings));
    warnings.extend(no_account);
    warnings.extend(day_notes::remarks(&surveyed.test_day, &zeros, &rides));
    let mut assumptions = inputs::assumptions(&surveyed, &rolling, &setup_results);
    assumptions.extend(day_notes::sentences(&surveyed.test_day, &zeros, &rides));
    let air_source = airs.first().map_or("", |air| air.source.as_text());
    Ok(Compared {
        air: at_work.air,
        air_source,
        passes,
        setups: setup_results,
        findings,
        stopwatches,
        budget,
        fit: inputs::fit_end(&rolling, &joint, rides.len()),
        strengths: joint.strengths,
        basis: Basis {
            averages,
            of_average,
            around: at_work.still_air.around,
            joint,
        },
        rolling,
        assumptions,
        warnings,
        surveyed,
    })
}

fn needs_power(surveyed: &Surveyed) -> Result<()> {
    if surveyed.streams.iter().any(Streams::has_power) {
        return Ok(());
    }
    let faults = surveyed
        .streams
        .iter()
        .map(|s| {
            Fault::new(
                "the recording has no power, and drag cannot be told from speed alone",
                "Ride with a power meter paired; `stillair passes` works without one.",
            )
            .in_file(&s.file)
        })
        .collect();
    Err(Error { faults })
}

/// One way, the climb is as large as the drag; without altitude nobody can tell them apart.
fn needs_climb(surveyed: &Surveyed) -> Result<()> {
    let course = &surveyed.ridden.course;
    if course.profile.is_some() || course.shape != Shape::OneWay {
        return Ok(());
    }
    Err(Fault::new(
        "the recordings have no altitude, and on a one-way course the climb cannot be told from drag",
        "Record with a barometer, or ride the stretch out and back or as a loop.",
    )
    .in_file(&surveyed.folder)
    .into())
}

fn nothing_usable(surveyed: &Surveyed, passes: &[PassResult]) -> Error {
    // Passes of the same fate are told together.
    let mut fates: Vec<(String, Vec<String>)> = Vec::new();
    for p in passes.iter().filter(|p| !p.kept && !p.flags.is_empty()) {
        let number = surveyed.ridden.passes[p.pass].number.to_string();
        let why = p.flags.join(", ");
        match fates.iter_mut().find(|(known, _)| *known == why) {
            Some((_, numbers)) => numbers.push(number),
            None => fates.push((why, vec![number])),
        }
    }
    let reasons: Vec<String> = fates
        .into_iter()
        .map(|(why, numbers)| format!("pass {}: {why}", numbers.join(", ")))
        .collect();
    let reasons = if reasons.is_empty() {
        "no pass was found".to_string()
    } else {
        reasons.join("; ")
    };
    Fault::new(
        format!("no pass could be fitted ({reasons})"),
        "See `stillair passes` for what was found; ride the stretch again with power and speed recorded.",
    )
    .in_file(&surveyed.folder)
    .into()
}

/// Cuts every pass that counts into cells; the results of all passes come with their flags.
fn rides(
    surveyed: &Surveyed,
    assigned: &Assigned,
    airs: &[Air],
    zeros: &PowerZeros,
) -> (Vec<PassRide>, Vec<PassResult>) {
    let all_streams = zeros.corrected(&surveyed.streams);
    let blocks = 0..surveyed.test_day.blocks.len();
    let noted_at_s: Vec<Option<f64>> = blocks
        .map(|number| assigned.noted_at_s(&surveyed.test_day, &surveyed.ridden, number))
        .collect();
    let course = &surveyed.ridden.course;
    let all = &surveyed.ridden.passes;
    let counted = assigned
        .passes
        .iter()
        .filter(|a| a.setup.is_some() && a.left_out.is_none())
        .count();
    let mut rides = Vec::new();
    let mut results = Vec::new();
    for (index, pass) in all.iter().enumerate() {
        let place = &assigned.passes[index];
        let mut flags = pass.flags.clone();
        if let Some(reason) = &place.left_out {
            flags.push(format!("left out: {reason}"));
        }
        let mut kept = false;
        if let (Some(setup), Some(block), None) = (place.setup, place.block, &place.left_out) {
            let streams = &all_streams[pass.recording];
            let height = streams
                .altitude_at(0.5 * (pass.start_s + pass.end_s))
                .unwrap_or(0.0);
            let (from_m, to_m) = assigned.window_m(index, course.length_m());
            let ground = Ground {
                streams,
                course,
                air: airs[pass.recording].at(0.5 * (pass.start_s + pass.end_s)),
                gravity_m_s2: gravity_m_s2(course.line.start_deg()[0], height),
                cells: cell_count(to_m - from_m, counted),
                from_m,
                to_m,
            };
            match cut(&ground, pass, index, setup, block) {
                Ok(mut ride) => {
                    kept = true;
                    day_notes::hand_over(&mut ride, &surveyed.test_day, zeros, &noted_at_s);
                    flags.extend(braking(&ride));
                    rides.push(ride);
                }
                Err(reason) => flags.push(format!("not fitted: {reason}")),
            }
        }
        results.push(PassResult {
            pass: index,
            block: place.block.map(|b| b + 1),
            setup: place.setup,
            kept,
            flags,
            cda_m2: None,
            still_air_time_s: None,
            judged: None,
            elevation: None,
        });
    }
    (rides, results)
}

/// The brakes' energy is not in the balance: where they were used, a cell counts for next to nothing.
fn braking(ride: &PassRide) -> Option<String> {
    let braked: Vec<_> = ride.cells.iter().filter(|cell| cell.braked_j > 0.0).collect();
    let energy_j: f64 = braked.iter().map(|cell| cell.braked_j).sum();
    (!braked.is_empty()).then(|| {
        format!(
            "brakes took {:.1} kJ or more in {} of {} cells, which hardly count",
            energy_j / 1000.0,
            braked.len(),
            ride.cells.len()
        )
    })
}

fn elevations(ride: &PassRide, setup: &Setup, day: &Day, cda_m2: f64, rolling: &Rolling) -> Elevations {
    let account = accounts(ride, setup, day.course_length_m, &Shift::default());
    let crr = setup.crr.value + rolling.shift;
    let climbs: Vec<f64> = ride.cells.iter().map(|cell| cell.climb_m).collect();
    let mut shared_m = vec![0.0];
    for climb in &climbs {
        shared_m.push(shared_m[shared_m.len() - 1] + climb);
    }
    let mut along_m: Vec<f64> = ride.cells.iter().map(|cell| cell.from_m).collect();
    along_m.extend(ride.cells.last().map(|cell| cell.to_m));
    let left: Vec<f64> = account.iter().map(|a| left_over_m(a, cda_m2, crr)).collect();
    let mean = left.iter().sum::<f64>() / left.len() as f64;
    Elevations {
        along_m,
        virtual_m: virtual_elevation_m(&account, &climbs, cda_m2, crr),
        shared_m,
        left_over_m: (left.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / left.len() as f64).sqrt(),
    }
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod notes_tests;
