//! Archives of thousands of simulated rides, and what reading them costs.
//!
//! `make DIR N` writes N rides into folders by year: most as FIT, some packed, some GPX and CSV; a fifth on one course,
//! the others at a hundred places. `check DIR` reads every FIT file with both readers and compares field by field.

use std::error::Error;
use std::io::{Write, stdout};
use std::path::{Path, PathBuf};
use std::time::Instant;
use stillair::recording::{self, Recording, Sample};
use stillair::simulate::{TrueDay, loop_plan, one_way_plan, out_and_back_plan, ride_day};

type Outcome = Result<(), Box<dyn Error>>;

const RECORDS: usize = 5000;
const PLACES: usize = 100;
const DAY_S: f64 = 86_400.0;
const RIDES_A_YEAR: usize = 1000;

fn main() -> Outcome {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["make", folder, count] => make(Path::new(folder), count.parse()?),
        ["check", folder] => check(Path::new(folder)),
        _ => Err("archive make DIR N | archive check DIR".into()),
    }
}

fn make(folder: &Path, count: usize) -> Outcome {
    use rayon::prelude::*;
    let orders = ["ABBAABBA", "ABAB", "AABB"];
    let mut days: Vec<TrueDay> = Vec::new();
    for seed in 0..12 {
        let order = orders[seed as usize % orders.len()].repeat(4);
        days.push(ride_day(&match seed % 3 {
            0 => out_and_back_plan(seed, &order, -4.0),
            1 => loop_plan(seed, &order, -4.0),
            _ => one_way_plan(seed, &order, -4.0),
        }));
    }
    (0..count)
        .into_par_iter()
        .try_for_each(|number| write_ride(folder, number, &days).map_err(|error| error.to_string()))?;
    Ok(())
}

fn write_ride(folder: &Path, number: usize, days: &[TrueDay]) -> Outcome {
    // Every fifth ride is on one course; the others take turns among places.
    let (body, place) = if number.is_multiple_of(5) {
        (0, 0)
    } else {
        (number % days.len(), 1 + (number * 7) % PLACES)
    };
    let mut day = days[body].clone();
    let mut ride = day.recordings.swap_remove(0);
    ride.samples.truncate(RECORDS);
    let (Some(first), Some(last)) = (ride.samples.first(), ride.samples.last()) else {
        return Err("an empty ride".into());
    };
    let (start_s, end_s) = (first.time_s, last.time_s);
    let later_s = DAY_S * number as f64 - 4000.0 * DAY_S;
    ride.lap_marks_s.retain(|mark| *mark < end_s);
    ride.timer_events.retain(|event| event.time_s < end_s);
    ride.sessions.clear();
    for channel in &mut ride.extra {
        channel.values.truncate(RECORDS);
    }
    for mark in &mut ride.lap_marks_s {
        *mark += later_s;
    }
    for event in &mut ride.timer_events {
        event.time_s += later_s;
    }
    let north_deg = 0.05 * (place / 10) as f64;
    let east_deg = 0.05 * (place % 10) as f64;
    let name = format!("{:010.0}-{number:05}", start_s + later_s);
    for sample in &mut ride.samples {
        sample.time_s += later_s;
        sample.latitude_deg = sample.latitude_deg.map(|degrees| degrees + north_deg);
        sample.longitude_deg = sample.longitude_deg.map(|degrees| degrees + east_deg);
    }
    let (format, extension) = match number % 20 {
        3 => (recording::Format::Gpx, "gpx"),
        9 => (recording::Format::Csv, "csv"),
        _ => (recording::Format::Fit, "fit"),
    };
    ride.format = format;
    ride.file = PathBuf::from(format!("{name}.{extension}"));
    day.recordings = vec![ride];
    let year = folder.join(format!("year-{:02}", number / RIDES_A_YEAR));
    let files = day.write_files(&year)?;
    if number % 20 == 7 {
        for file in files {
            pack(&file)?;
        }
    }
    Ok(())
}

fn pack(file: &Path) -> Outcome {
    let packed = std::fs::File::create_new(format!("{}.gz", file.display()))?;
    let mut encoder = flate2::write::GzEncoder::new(packed, flate2::Compression::fast());
    encoder.write_all(&std::fs::read(file)?)?;
    encoder.finish()?;
    std::fs::remove_file(file)?;
    Ok(())
}

fn check(folder: &Path) -> Outcome {
    let (mut files, mut records) = (0, 0);
    let (mut full_s, mut lean_s) = (0.0, 0.0);
    for year in std::fs::read_dir(folder)? {
        let year = year?.path();
        if !year.is_dir() {
            continue;
        }
        for file in std::fs::read_dir(year)? {
            let file = file?.path();
            if file.extension().is_none_or(|extension| extension != "fit") {
                continue;
            }
            let start = Instant::now();
            let lean = recording::look(&file)?.samples;
            lean_s += start.elapsed().as_secs_f64();
            let start = Instant::now();
            let full = recording::read(&file)?;
            full_s += start.elapsed().as_secs_f64();
            if lean != bare(&full) {
                return Err(format!("{}: the readers differ", file.display()).into());
            }
            files += 1;
            records += lean.len();
        }
    }
    writeln!(
        stdout(),
        "{files} FIT files, {records} records, all alike; full {:.0} records/s, lean {:.0} records/s",
        records as f64 / full_s,
        records as f64 / lean_s
    )?;
    Ok(())
}

fn bare(recording: &Recording) -> Vec<Sample> {
    let bare = recording.samples.iter().map(|sample| Sample {
        cadence_rpm: None,
        heart_rate_bpm: None,
        temperature_c: None,
        pressure_pa: None,
        ..*sample
    });
    bare.collect()
}
