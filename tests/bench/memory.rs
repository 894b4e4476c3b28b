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
        "secs,lat,lon,speed,power\n",
        |at| format!("{at},1,{},10,200\n", f64::from(at % 9000) * 1e-4),
        25 * SAMPLES,
    );
    row("largest.csv", "a million samples, up and down a road", &rows)
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
