//! Made files of the worst kinds: refused or read, in bounded memory.

use super::{readers, seeds, watch, worst};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Large enough that what is held several times over would show.
const SIZE: usize = 1 << 20;

#[test]
fn the_worst_files_are_read_or_refused() {
    let files: Vec<worst::Worst> = worst::all(SIZE).collect();
    watch::all(files.len(), "worst files", move |item| {
        readers::check_bytes(files[item].name, &files[item].bytes);
    });
}

/// Sizes, counts and times at the edges of what their fields can say.
#[test]
fn edges_of_what_fields_can_say_are_read_or_refused() {
    let whole = seeds::recordings();
    let of = |name: &str| whole.iter().find(|seed| seed.name == name).unwrap().bytes.clone();
    let mut files = Vec::new();
    for size in [0u32, 1, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF] {
        let mut fit = of("ride.fit");
        fit[4..8].copy_from_slice(&size.to_le_bytes());
        files.push(("ride.fit", fit));
    }
    for word in [
        "NaN",
        "inf",
        "-inf",
        "1e400",
        "1989-12-31T00:00:00Z",
        "2106-02-07T06:28:16Z",
        "9999-12-31T23:59:59Z",
        "-009999-01-01T00:00:00Z",
        "0",
        "",
    ] {
        let row = format!("time,latitude,longitude,speed,power\n{word},{word},{word},{word},{word}\n");
        files.push((
            "ride.csv",
            format!("{row}2026-01-05T08:00:00Z,{word},{word},{word},{word}\n").into_bytes(),
        ));
        let point = |time: &str| {
            format!(
                "<trkpt lat='{word}' lon='{word}'><ele>{word}</ele><time>{time}</time><extensions><power>{word}</power>\
                 </extensions></trkpt>"
            )
        };
        let gpx = format!(
            "<gpx><trk><trkseg>{}{}</trkseg></trk></gpx>",
            point(word),
            point("2026-01-05T08:00:00Z")
        );
        files.push(("ride.gpx", gpx.into_bytes()));
    }
    watch::all(files.len(), "edges", move |item| {
        readers::check_bytes(files[item].0, &files[item].1);
    });
}

/// The program itself on each of them: an exit status, words that name the file, and memory far below what a file
/// held tenfold would take. `cargo run --release --example memory` has the same at full size.
#[cfg(target_os = "linux")]
#[test]
fn memory_stays_bounded_on_the_worst_files() {
    const MOST_MB: f64 = 100.0;
    let home = tempfile::tempdir().unwrap();
    for file in worst::all(SIZE) {
        let path = home.path().join(file.name);
        std::fs::write(&path, &file.bytes).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_stillair"))
            .args(["inspect", file.name])
            .current_dir(home.path())
            .env("RAYON_NUM_THREADS", "2")
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut most_mb: f64 = 0.0;
        let ended = loop {
            most_mb = most_mb.max(worst::high_water_mb(child.id()));
            match child.try_wait().unwrap() {
                Some(ended) => break ended,
                None => std::thread::sleep(Duration::from_millis(2)),
            }
        };
        let said = std::io::read_to_string(child.stderr.take().unwrap()).unwrap();
        assert!(
            matches!(ended.code(), Some(0 | 1)),
            "{}: {ended} {said}",
            file.name
        );
        assert!(
            ended.success() || said.contains(file.name),
            "{}: {said}",
            file.name
        );
        assert!(most_mb < MOST_MB, "{}, {}: {most_mb} MB", file.name, file.what);
    }
}
