//! The engine: a folder → everything above, in order. Every door (command line, page, watcher) calls it.

mod assign;

mod gather;

mod inputs;

mod remarks;

pub use gather::{Gathered, Inspected, Progress, gather, inspect};

use crate::air::{Air, AirState, RideSite, UNKNOWN_WIND_M_S, settle};
use crate::course::{Ridden, survey};
use crate::error::{Error, Fault, Result};
use crate::estimate::budget::{BudgetLine, budget};
use crate::estimate::cells::{Ground, PassRide, Shift, accounts, cell_count, cut, rig};
use crate::estimate::comparison::Spread;
use crate::estimate::one_pass::{left_over_m, virtual_elevation_m};
use crate::estimate::plain::{Averages, Day, averages, compare as compare_blocks};
use crate::estimate::rolling::{Rolling, rolling};
use crate::physics::{Rig, Surroundings, gravity_m_s2};
use crate::streams::Streams;
use crate::test_day::{Setup, Shape, TestDay};
use crate::verdict::{At, Finding, StillAir, chance_of_lowest, judge, odd_passes, still_air_time_s};
use crate::warning::Warning;
use assign::Assigned;
use std::path::{Path, PathBuf};

/// A folder's recordings and test day, with the course and its passes: what `passes` shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Surveyed {
    pub folder: PathBuf,
    pub test_day: TestDay,
    pub streams: Vec<Streams>,
    pub ridden: Ridden,
    /// Files that could not be read, or only in part.
    pub faults: Vec<Fault>,
    pub warnings: Vec<Warning>,
}

/// One pass of the day with all that was found out about it.
#[derive(Debug, Clone, PartialEq)]
pub struct PassResult {
    /// Index into the passes of the course.
    pub pass: usize,
    /// From 1; `None` outside any block.
    pub block: Option<usize>,
    /// Index into the set-ups; `None` in a block "none" and outside any block.
    pub setup: Option<usize>,
    pub kept: bool,
    pub flags: Vec<String>,
    pub cda_m2: Option<(f64, f64)>,
    pub still_air_time_s: Option<f64>,
    pub elevation: Option<Elevations>,
}

/// Virtual and shared elevation of one pass at its cell edges, metres above the first, in the order ridden.
#[derive(Debug, Clone, PartialEq)]
pub struct Elevations {
    /// Along the course from its start.
    pub along_m: Vec<f64>,
    pub virtual_m: Vec<f64>,
    pub shared_m: Vec<f64>,
    /// Root mean square of what each cell has left over, with its mean taken out.
    pub left_over_m: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct SetupResult {
    pub name: String,
    /// Value, combined standard uncertainty (what is common included), 90 % interval.
    pub cda_m2: Option<(f64, f64, [f64; 2])>,
    pub crr: (f64, f64),
    pub blocks: usize,
    pub passes: usize,
    /// Root mean square of the yaw ridden; `None` where nothing is known of the wind.
    pub yaw_rms_deg: Option<f64>,
    /// With three or more set-ups: the chance of being the lowest.
    pub chance_lowest: Option<f64>,
}

/// How the fit ended.
#[derive(Debug, Clone, PartialEq)]
pub struct FitEnd {
    pub ended: &'static str,
    pub sentence: String,
}

/// The answer to a test day.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    pub surveyed: Surveyed,
    pub air: AirState,
    pub air_source: &'static str,
    pub passes: Vec<PassResult>,
    pub setups: Vec<SetupResult>,
    pub findings: Vec<Finding>,
    pub budget: Vec<BudgetLine>,
    pub rolling: Rolling,
    pub fit: FitEnd,
    /// Sentences of what the numbers rest on.
    pub assumptions: Vec<String>,
    pub warnings: Vec<Warning>,
}

/// The course of a folder and each time it was ridden.
///
/// # Errors
/// No recording could be used; faults of `test.toml`, all of them; no course.
pub fn passes(folder: &Path, progress: Progress) -> Result<Surveyed> {
    let gathered = gather(folder, progress)?;
    let test_toml = folder.join("test.toml");
    let ridden = survey(&gathered.streams, gathered.test_day.course.as_ref(), &test_toml)
        .map_err(|error| with_bad_files(error, &gathered.faults))?;
    let mut warnings = gathered.warnings;
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
    let surveyed = passes(folder, progress)?;
    let test_toml = folder.join("test.toml");
    let assigned = assign::assign(&surveyed.test_day, &surveyed.ridden, &test_toml)?;
    needs_power(&surveyed)?;
    needs_climb(&surveyed)?;
    let mut warnings = surveyed.warnings.clone();
    warnings.extend(assigned.warnings.iter().cloned());
    let (airs, air_warnings) = airs(&surveyed, &test_toml)?;
    warnings.extend(air_warnings);

    let (rides, mut passes) = rides(&surveyed, &assigned, &airs);
    if rides.is_empty() {
        return Err(nothing_usable(&surveyed, &passes));
    }
    let setups = &surveyed.test_day.setups;
    let course = &surveyed.ridden.course;
    let day = Day {
        rides: &rides,
        setups,
        course_length_m: course.length_m(),
        out_and_back: course.shape == Shape::OutAndBack,
    };
    let profile_sd_m = course.profile.as_ref().map_or(1.0, |p| p.standard_uncertainty_m) / 2f64.sqrt();
    let (rolling, averages) = rolling(&rides, setups, day.course_length_m, profile_sd_m)
        .and_then(|rolling| averages(&day, &rolling, &Shift::default()).map(|averages| (rolling, averages)))
        .ok_or_else(|| nothing_usable(&surveyed, &passes))?;
    let budget = budget(
        &day,
        &rolling,
        &averages,
        &inputs::shared(&surveyed, &rides, &rolling),
    );
    let setup_results = setup_results(&day, &averages, &rolling, &budget);
    let at_work = AtWork::of(&day, &surveyed, &averages, &rolling);
    for odd in odd_passes(&day, &averages) {
        let side = if odd.off_percent > 0.0 { "above" } else { "below" };
        passes[rides[odd.ride].pass].flags.push(format!(
            "odd: its drag area is {:.0} % {side} the others of its set-up and direction",
            odd.off_percent.abs()
        ));
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
        &day,
        &averages,
        &budget,
        &setup_results,
        &at_work,
        &surveyed.test_day,
    );
    warnings.extend(remarks::remarks(&remarks::Seen {
        surveyed: &surveyed,
        day: &day,
        averages: &averages,
        rolling: &rolling,
        setups: &setup_results,
        passes: &passes,
    }));
    let assumptions = inputs::assumptions(&surveyed, &rolling, &setup_results);
    let air_source = airs.first().map_or("", |air| air.source.as_text());
    Ok(Compared {
        air: at_work.air,
        air_source,
        passes,
        setups: setup_results,
        findings,
        budget,
        fit: inputs::fit_end(&rolling, rides.len()),
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

/// One air for the day where readings were typed, else one for each recording.
fn airs(surveyed: &Surveyed, test_toml: &Path) -> Result<(Vec<Air>, Vec<Warning>)> {
    let readings = &surveyed.test_day.air;
    if !readings.is_empty() {
        let all: Vec<&Streams> = surveyed.streams.iter().collect();
        let (air, warnings) = settle(test_toml, readings, &site(surveyed, &all))?;
        return Ok((vec![air; surveyed.streams.len()], warnings));
    }
    let mut airs = Vec::new();
    let mut warnings: Vec<Warning> = Vec::new();
    for (index, s) in surveyed.streams.iter().enumerate() {
        let (air, own) = settle(test_toml, readings, &site(surveyed, &[s]))?;
        airs.push(air);
        let ridden = surveyed.ridden.passes.iter().any(|p| p.recording == index);
        // The same remark for each of many recordings tells nothing new.
        for warning in own.into_iter().filter(|_| ridden) {
            if !warnings.iter().any(|w| w.kind == warning.kind) {
                warnings.push(warning);
            }
        }
    }
    Ok((airs, warnings))
}

fn site(surveyed: &Surveyed, streams: &[&Streams]) -> RideSite {
    let gather = |channel: fn(&Streams) -> &[f64]| {
        let mut values: Vec<f64> = streams
            .iter()
            .flat_map(|s| channel(s).iter().copied())
            .filter(|v| v.is_finite())
            .collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    RideSite {
        start_s: streams.iter().map(|s| s.start_s()).fold(f64::INFINITY, f64::min),
        end_s: streams
            .iter()
            .map(|s| s.end_s())
            .fold(f64::NEG_INFINITY, f64::max),
        latitude_deg: surveyed.ridden.course.line.start_deg()[0],
        height_m: gather(|s| &s.altitude_m),
        unit_temperature_c: gather(|s| &s.temperature_c),
        unit_pressure_pa: gather(|s| &s.pressure_pa),
    }
}

/// Cuts every pass that counts into cells; the results of all passes come with their flags.
fn rides(surveyed: &Surveyed, assigned: &Assigned, airs: &[Air]) -> (Vec<PassRide>, Vec<PassResult>) {
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
            let streams = &surveyed.streams[pass.recording];
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
                Ok(ride) => {
                    kept = true;
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

/// The baseline and the mean conditions of the day, for everything that is re-ridden or restated.
struct AtWork {
    rig: Rig,
    air: AirState,
    still_air: StillAir,
}

impl AtWork {
    fn of(day: &Day, surveyed: &Surveyed, averages: &Averages, rolling: &Rolling) -> AtWork {
        let count = day.rides.len() as f64;
        let mean = |value: fn(&PassRide) -> f64| day.rides.iter().map(value).sum::<f64>() / count;
        let passes = || day.rides.iter().map(|ride| &surveyed.ridden.passes[ride.pass]);
        let known: Vec<f64> = passes()
            .map(|p| p.mean_power_w)
            .filter(|p| p.is_finite())
            .collect();
        let baseline = day.rides.iter().map(|r| r.setup).min().unwrap_or(0);
        let neutral = rig(&day.setups[baseline], &Shift::default());
        let air = AirState {
            density_kg_m3: mean(|r| r.air.density_kg_m3),
            density_standard_uncertainty_kg_m3: mean(|r| r.air.density_standard_uncertainty_kg_m3),
            wind_east_m_s: mean(|r| r.air.wind_east_m_s),
            wind_north_m_s: mean(|r| r.air.wind_north_m_s),
            wind_standard_uncertainty_m_s: mean(|r| r.air.wind_standard_uncertainty_m_s),
        };
        let around = Surroundings {
            air_density_kg_m3: air.density_kg_m3,
            gravity_m_s2: mean(|r| r.gravity_m_s2),
        };
        AtWork {
            rig: Rig {
                cda_m2: averages.setups[baseline].map_or(f64::NAN, |s| s.cda_m2),
                crr: neutral.crr + rolling.shift,
                ..neutral
            },
            air,
            still_air: StillAir {
                power_w: known.iter().sum::<f64>() / known.len() as f64,
                entry_speed_m_s: passes().map(|p| p.entry_speed_m_s).sum::<f64>() / count,
                around,
            },
        }
    }
}

fn setup_results(
    day: &Day,
    averages: &Averages,
    rolling: &Rolling,
    budget: &[BudgetLine],
) -> Vec<SetupResult> {
    let logs: Vec<(f64, Option<Spread>)> = averages
        .setups
        .iter()
        .flatten()
        .map(|s| {
            let relative = Spread {
                standard_uncertainty: s.spread.standard_uncertainty / s.cda_m2,
                ..s.spread
            };
            (s.cda_m2.max(1e-9).ln(), (s.blocks > 1).then_some(relative))
        })
        .collect();
    let all_ridden = logs.len() == day.setups.len();
    let lowest = (day.setups.len() > 2 && all_ridden)
        .then(|| chance_of_lowest(&logs))
        .flatten();
    day.setups
        .iter()
        .enumerate()
        .map(|(index, setup)| {
            let drag = averages.setups[index];
            let common = budget
                .iter()
                .map(|line| line.effect_cda_m2[index].powi(2))
                .sum::<f64>()
                .sqrt();
            SetupResult {
                name: setup.name.clone(),
                cda_m2: drag.map(|d| {
                    let combined = d.spread.with(common);
                    // Of the logarithm: a drag area is not negative, and its errors are shares of it.
                    let share = (combined.half_width(0.9) / d.cda_m2).exp();
                    (
                        d.cda_m2,
                        combined.standard_uncertainty,
                        [d.cda_m2 / share, d.cda_m2 * share],
                    )
                }),
                crr: (setup.crr.value + rolling.shift, rolling.standard_uncertainty),
                blocks: drag.map_or(0, |d| d.blocks),
                passes: day.rides.iter().filter(|r| r.setup == index).count(),
                yaw_rms_deg: yaw_rms_deg(day.rides.iter().filter(|r| r.setup == index)),
                chance_lowest: lowest.as_ref().map(|l| l[index]),
            }
        })
        .collect()
}

fn yaw_rms_deg<'a>(rides: impl Iterator<Item = &'a PassRide>) -> Option<f64> {
    let known = rides.filter(|r| r.air.wind_standard_uncertainty_m_s < UNKNOWN_WIND_M_S);
    let (mut squares, mut seconds) = (0.0, 0.0);
    for (yaw, duration_s) in known.flat_map(PassRide::yaws_deg) {
        squares += yaw * yaw * duration_s;
        seconds += duration_s;
    }
    (seconds > 0.0).then(|| (squares / seconds).sqrt())
}

/// Every pair: the later set-up against the earlier one.
fn findings(
    day: &Day,
    averages: &Averages,
    budget: &[BudgetLine],
    results: &[SetupResult],
    at_work: &AtWork,
    test_day: &TestDay,
) -> Vec<Finding> {
    let ridden: Vec<usize> = (0..day.setups.len())
        .filter(|s| averages.setups[*s].is_some())
        .collect();
    let pairs = ridden.len() * ridden.len().saturating_sub(1) / 2;
    let mut findings = Vec::new();
    for (position, &baseline) in ridden.iter().enumerate() {
        for &setup in &ridden[position + 1..] {
            // The effects on the two log ratios to the first set-up have one cause each: they subtract.
            let common = budget
                .iter()
                .map(|line| (line.effect_log_ratio[setup] - line.effect_log_ratio[baseline]).powi(2))
                .sum::<f64>()
                .sqrt();
            let Some(comparison) = compare_blocks(averages, setup, baseline, common) else {
                continue;
            };
            let base = results[baseline]
                .cda_m2
                .unwrap_or((f64::NAN, f64::NAN, [f64::NAN; 2]));
            let neutral = rig(&day.setups[baseline], &Shift::default());
            let at = At {
                rig: Rig {
                    cda_m2: base.0,
                    crr: results[baseline].crr.0,
                    ..neutral
                },
                around: at_work.still_air.around,
                smallest_difference_percent: test_day.smallest_difference_percent,
                baseline_standard_uncertainty_m2: base.1,
                pairs,
            };
            findings.push(judge(&comparison, &at));
        }
    }
    findings
}

#[cfg(test)]
mod tests;
