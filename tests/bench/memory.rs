//! The most memory and the time that the program takes for the worst files that anybody could make:
//!
//!     cargo build --release && cargo run --release --example memory
//!
//! Each kind comes twice: as large as a file may be, and of 200 MB, which is too large.

#[path = "../suite/hostile/worst.rs"]
mod worst;

use std::io::{Result, Write, stdout};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use stillair::simulate::{out_and_back_plan, ride_day};

const SIZES: [usize; 2] = [(128 << 20) - 1000, 200_000_000];
/// The largest recording that is read at all.
const SAMPLES: usize = 1_000_000;

fn main() -> Result<()> {
    let home = tempfile::tempdir()?;
    let program = std::env::current_exe()?.with_file_name("../stillair");
    let mut out = stdout().lock();
    writeln!(
        out,
        "| file | MB | most memory, MB | s | answer |\n|---|---|---|---|---|"
    )?;
    let mut row = |name: &str, what: &str, bytes: &[u8]| -> Result<()> {
        let day = home.path().join("day");
        std::fs::create_dir_all(&day)?;
        std::fs::write(day.join(name), bytes)?;
        let (most_mb, seconds, said) = run(&program, &["compare", "day"], home.path())?;
        std::fs::remove_dir_all(&day)?;
        let size_mb = bytes.len() as f64 / 1e6;
        writeln!(
            out,
            "| {name}: {what} | {size_mb:.1} | {most_mb:.0} | {seconds:.1} | {said} |"
        )
    };
    for size in SIZES {
        for file in worst::all(size) {
            row(file.name, file.what, &file.bytes)?;
        }
    }
    let samples = worst::fit_samples(17 * SAMPLES - 100);
    row("largest.fit", "as many samples as are read", &samples)?;
    let rows = worst::csv(
        "secs,lat,lon,alt,speed,power,a,b,c,d\n",
        up_and_down,
        34 * SAMPLES,
    );
    row(
        "largest.csv",
        "almost a million samples, up and down 100 km",
        &rows,
    )?;
    let rows = worst::csv("secs,lat,lon,alt,speed,power,a,b,c,d\n", to_and_fro, 34 * SAMPLES);
    row("fro.csv", "as many samples, up and down 2 km", &rows)?;
    for passes in [100, 220, 400] {
        let mut plan = out_and_back_plan(5, "ABBAABBAAB", -6.0);
        plan.course.length_m = 400.0;
        for block in &mut plan.order {
            block.passes = passes / 10;
        }
        let folder = home.path().join("day");
        ride_day(&plan)
            .write_folder(&folder, false)
            .map_err(std::io::Error::other)?;
        let (most_mb, seconds, said) = run(&program, &["compare", "day"], home.path())?;
        std::fs::remove_dir_all(&folder)?;
        writeln!(
            out,
            "| {passes} passes of 400 m | | {most_mb:.0} | {seconds:.1} | {said} |"
        )?;
    }
    Ok(())
}

/// 10 m a second north, and back after 100 km.
fn up_and_down(at: u32) -> String {
    row_at(at, 20_000)
}

/// ... after 2 km.
fn to_and_fro(at: u32) -> String {
    row_at(at, 400)
}

fn row_at(at: u32, period: u32) -> String {
    let along = at % period;
    let latitude_deg = 1.0 + 9e-5 * f64::from(along.min(period - along));
    format!("{at},{latitude_deg:.5},2,100,10,200,1,1,1,1\n")
}

fn run(program: &Path, words: &[&str], home: &Path) -> Result<(f64, f64, String)> {
    let started = Instant::now();
    let mut child = Command::new(program)
        .args(words)
        .current_dir(home)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()?;
    let mut most_mb: f64 = 0.0;
    let ended = loop {
        most_mb = most_mb.max(worst::high_water_mb(child.id()));
        match child.try_wait()? {
            Some(ended) => break ended,
            None => std::thread::sleep(Duration::from_millis(5)),
        }
    };
    let said = child
        .stderr
        .take()
        .map_or(Ok(String::new()), std::io::read_to_string)?;
    let first: String = said.lines().next().unwrap_or("").chars().take(110).collect();
    let status = ended
        .code()
        .map_or("killed".to_string(), |code| format!("status {code}"));
    Ok((
        most_mb,
        started.elapsed().as_secs_f64(),
        format!("{status}; {first}"),
    ))
}
