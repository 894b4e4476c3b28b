//! What one recording holds.

use super::super::json::speed_source;
use super::super::table::{channels, table};
use super::super::words::{count, listed, sentence, wrapped};
use super::course;
use crate::error::Error;
use crate::recording::Recording;
use crate::streams::{Repair, Streams};
use crate::study::Surveyed;
use crate::units::{clock_text, utc_text};

/// `found`: its repeated stretch, or why there is none.
pub fn inspect(recording: &Recording, streams: Option<&Streams>, found: &str, width: usize) -> String {
    let samples = recording.samples.len();
    let format = format!("{:?}", recording.format).to_uppercase();
    let mut head = format!(
        "{}: {format}, {}",
        recording.file.display(),
        count(samples, "sample")
    );
    if let Some(device) = &recording.device {
        head.push_str(&format!(", recorded by {device}"));
    }
    let mut parts = vec![wrapped(&format!("{head}."), width)];
    parts.extend(streams.map(|s| wrapped(&clock_line(s), width)));
    let rows = channels(recording)
        .into_iter()
        .map(|(name, unit, valid)| {
            let share = 100.0 * valid as f64 / samples.max(1) as f64;
            vec![name, unit, valid.to_string(), format!("{share:.1} %")]
        })
        .collect();
    parts.push(table(
        &["channel", "unit", "samples", "share"],
        &[0, 1],
        rows,
        width,
    ));
    if let Some(s) = streams {
        parts.push(wrapped(&speed_line(s), width));
        if !s.repairs.is_empty() {
            let lines: Vec<String> = s.repairs.iter().map(|r| listed(&repair_line(r), width)).collect();
            parts.push(format!("Taken out or set right:\n{}", some_of(&lines)));
        }
    }
    if !recording.lap_marks_s.is_empty() {
        let marks: Vec<String> = recording.lap_marks_s.iter().map(|t| clock_text(*t)).collect();
        parts.push(wrapped(
            &format!("Lap button (UTC): {}.", marks.join(", ")),
            width,
        ));
    }
    if !recording.faults.is_empty() {
        let lines: Vec<String> = recording
            .faults
            .iter()
            .map(|f| {
                let place = f.place.as_ref().map_or(String::new(), |p| format!("{p}: "));
                listed(&sentence(&format!("{place}{}. {}", f.what, f.next_step)), width)
            })
            .collect();
        parts.push(format!("Faults:\n{}", some_of(&lines)));
    }
    parts.push(wrapped(found, width));
    parts.join("\n\n")
}

fn clock_line(s: &Streams) -> String {
    let told = |paused: bool| {
        let lengths: Vec<f64> = s
            .gaps
            .iter()
            .filter(|g| g.paused == paused)
            .map(|g| g.end_s - g.start_s)
            .collect();
        match lengths.as_slice() {
            [] => "none".to_string(),
            some => format!("{} ({:.0} s in all)", some.len(), some.iter().sum::<f64>()),
        }
    };
    format!(
        "From {} to {}, a sample every {} s. Pauses: {}; holes: {}.",
        utc_text(s.start_s(), 0),
        utc_text(s.end_s(), 0),
        s.nominal_interval_s,
        told(true),
        told(false)
    )
}

fn speed_line(s: &Streams) -> String {
    let source = speed_source(s.speed_source);
    match s.speed_check {
        Some(check) => format!(
            "Speed from: {source}. Over {:.1} km its distance is {:.4} ± {:.4} of that between positions.",
            check.length_m / 1000.0,
            check.ratio,
            check.standard_uncertainty
        ),
        None => format!("Speed from: {source}; it could not be compared with positions."),
    }
}

/// Most messages hold their times already.
fn repair_line(repair: &Repair) -> String {
    let start = clock_text(repair.start_s);
    if repair.message.contains(&start) {
        return sentence(&repair.message);
    }
    format!("{start} to {} UTC: {}", clock_text(repair.end_s), repair.message)
}

/// The first of a long list; `--json` has them all.
fn some_of(lines: &[String]) -> String {
    const MOST: usize = 12;
    let mut text = lines.iter().take(MOST).cloned().collect::<Vec<_>>().join("\n");
    if lines.len() > MOST {
        text.push_str(&format!(
            "\n- … and {} more (all with --json)",
            lines.len() - MOST
        ));
    }
    text
}

/// Why there is no course in the file that is being shown.
pub fn no_stretch(error: &Error) -> String {
    let why: Vec<String> = error
        .faults
        .iter()
        .map(|f| format!("{}. {}", f.what, f.next_step))
        .collect();
    format!("No stretch to test on: {}", why.join(" "))
}

/// The course in one sentence, for `inspect`.
pub fn stretch(surveyed: &Surveyed) -> String {
    let passes = count(surveyed.ridden.passes.len(), "pass");
    format!(
        "Ridden more than once: {passes}. {}",
        course(surveyed, None, usize::MAX)
    )
}
