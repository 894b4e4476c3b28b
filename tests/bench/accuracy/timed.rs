//! Where the time of one day goes, on one thread.

use super::drawn::{Course, Drawn};
use std::path::Path;
use std::time::Instant;
use stillair::simulate::ride_day;
use stillair::study::{compare_surveyed, gather_recordings, passes_gathered};

/// Milliseconds for each part of a day: simulated, aligned, surveyed, cut and estimated.
type Parts = [f64; 4];

pub fn print(rows: &[(Course, &'static str)], days: u64) {
    println!("| course | order | simulate | align | survey | cut and estimate | whole day |");
    println!("|---|---|---|---|---|---|---|");
    for &(course, order) in rows {
        let all: Vec<Parts> = (0..days)
            .filter_map(|number| parts(&Drawn::new(course, order, number)).ok())
            .collect();
        let mean = |k: usize| all.iter().map(|parts| parts[k]).sum::<f64>() / all.len() as f64;
        let [simulate, align, survey, estimate] = [0, 1, 2, 3].map(mean);
        println!(
            "| {} | {order} | {simulate:.1} | {align:.1} | {survey:.1} | {estimate:.1} | {:.1} ms |",
            course.name(),
            simulate + align + survey + estimate
        );
    }
}

fn parts(drawn: &Drawn) -> Result<Parts, String> {
    let folder = Path::new("day");
    let text = |error: stillair::error::Error| error.to_string();
    let mut ridden = ride_day(&drawn.plan);
    let test_day = drawn.test_day(&mut ridden, &folder.join("test.toml"))?;
    let start = Instant::now();
    drop(ride_day(&drawn.plan));
    let simulated = start.elapsed();
    let start = Instant::now();
    let gathered = gather_recordings(test_day, ridden.recordings).map_err(text)?;
    let aligned = start.elapsed();
    let start = Instant::now();
    let surveyed = passes_gathered(gathered, folder).map_err(text)?;
    let found = start.elapsed();
    let start = Instant::now();
    drop(compare_surveyed(surveyed).map_err(text)?);
    let estimated = start.elapsed();
    Ok([simulated, aligned, found, estimated].map(|time| 1000.0 * time.as_secs_f64()))
}
