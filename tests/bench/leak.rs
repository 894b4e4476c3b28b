//! Whether a long watch leaks: `cargo build --release && cargo run --release --example leak -- MINUTES`.
//!
//! `watch --page --json` follows a folder in which rides come, change, are renamed and go, as fast as it reads them.
//! Prints, once a minute, how many ride files were compared so far, resident memory and open files.

use std::error::Error;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};
use stillair::simulate::{Files, out_and_back_plan, ride_day};

/// Rides that lie in the folder at one time; a reading compares all of them.
const RIDES: usize = 24;

fn main() -> Result<(), Box<dyn Error>> {
    let minutes: f64 = std::env::args()
        .nth(1)
        .and_then(|text| text.parse().ok())
        .unwrap_or(60.0);
    let program = Path::new(".target/release/stillair");
    let home = tempfile::tempdir()?;
    let (spare, folder) = (home.path().join("spare"), home.path().join("day"));
    std::fs::create_dir(&folder)?;
    let mut plan = out_and_back_plan(4, &"AB".repeat(RIDES / 2), -6.0);
    plan.files = Files::PerBlock;
    let day = ride_day(&plan);
    let mut rides = day.write_files(&spare)?;
    rides.sort();
    std::fs::write(folder.join("test.toml"), day.test_toml(true) + "\n[plan]\n")?;
    let put = |ride: usize, name: &str| std::fs::copy(&rides[ride], folder.join(name));
    for (ride, file) in rides.iter().enumerate() {
        put(ride, &file.file_name().unwrap_or_default().to_string_lossy())?;
    }
    let mut watch = Command::new(program)
        .args(["watch", "--page", "--no-open", "--json", "--quiet"])
        .arg(&folder)
        .stdout(Stdio::piped())
        .spawn()?;
    let out = BufReader::new(watch.stdout.take().ok_or("no output")?);
    let (teller, lines) = channel();
    std::thread::spawn(move || {
        out.lines()
            .map_while(Result::ok)
            .try_for_each(|line| teller.send(line))
    });

    println!("| minutes | readings | ride files compared | resident MB | open files |");
    println!("|---|---|---|---|---|");
    let start = Instant::now();
    let (mut readings, mut compared, mut told) = (0_usize, 0_usize, 0.0);
    let mut round = 0_usize;
    while start.elapsed().as_secs_f64() < 60.0 * minutes {
        // What happens to the last ride of the folder, in turn: goes, comes, is renamed, is cut, is whole again.
        let last = RIDES - 1;
        let (name, other) = (format!("ride-{RIDES:02}.fit"), "ride-99.fit");
        match round % 5 {
            0 => std::fs::remove_file(folder.join(&name))?,
            1 => drop(put(last, &name)?),
            2 => std::fs::rename(folder.join(&name), folder.join(other))?,
            3 => std::fs::rename(folder.join(other), folder.join(&name))?,
            _ => {
                let bytes = std::fs::read(&rides[last])?;
                std::fs::write(folder.join(&name), &bytes[..bytes.len() / 2])?;
                let _ = lines.recv_timeout(Duration::from_secs(120))?;
                put(last, &name)?;
            }
        }
        round += 1;
        let line = lines.recv_timeout(Duration::from_secs(120))?;
        if line.contains("\"says\"") {
            readings += 1;
            // The terminal's answer and the page's, each of all rides.
            compared += 2 * RIDES;
        }
        let minute = start.elapsed().as_secs_f64() / 60.0;
        if minute >= told {
            let (memory_mb, open) = of(watch.id())?;
            println!("| {minute:.0} | {readings} | {compared} | {memory_mb:.1} | {open} |");
            told = minute.floor() + 1.0;
        }
    }
    watch.kill()?;
    watch.wait()?;
    Ok(())
}

/// Resident memory in MB, and how many files are open.
fn of(process: u32) -> Result<(f64, usize), Box<dyn Error>> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status"))?;
    let line = status.lines().find(|line| line.starts_with("VmRSS"));
    let kb: f64 = line
        .and_then(|line| line.split_whitespace().nth(1))
        .ok_or("no memory")?
        .parse()?;
    Ok((
        kb / 1024.0,
        std::fs::read_dir(format!("/proc/{process}/fd"))?.count(),
    ))
}
