//! The rows as the page docs/accuracy.md.

use super::Row;
use super::drawn::Odd;
use super::judged::{Interval, Judged, Ratio};
use std::fmt::Write;
use std::process::Command;

/// Which days a table is of.
type Pick = fn(&Judged) -> bool;

const SPLITS: [(&str, Pick); 3] = [
    ("All days", |_| true),
    ("Wind as the estimate assumes it", |day| day.odd.is_none()),
    ("Wind that the estimate does not assume", |day| day.odd.is_some()),
];

pub fn page(rows: &[Row], days: u64) -> String {
    let mut out = heading(days);
    for (title, pick) in SPLITS {
        let _ = write!(out, "\n## {title}\n\n{}", ratios(rows, pick));
    }
    let _ = write!(
        out,
        "\n## Each kind of wind\nOf the ratio: root mean square error, and how often the 90 % interval held the truth.\n\n{}",
        kinds(rows)
    );
    let _ = write!(
        out,
        "\n## Drag area of the baseline\nThe joint estimate's, with its combined uncertainty.\n\n{}",
        baselines(rows)
    );
    let _ = write!(out, "\n## Days without an answer\n\n{}", failures(rows));
    out
}

fn heading(days: u64) -> String {
    let share = 100.0 * (0.9 * 0.1 / days as f64).sqrt();
    let square = 100.0 / (2.0 * days as f64).sqrt();
    format!(
        "# Accuracy

How well this program tells the truth of days that its own simulator rode: {days} days for each course and order, drawn afresh.
Regression: stillair {version} at {commit}, `cargo run --release --example accuracy -- {days} --write`. The same numbers give the same days, and every row and every estimate sees the same {days}.

**The days.** Each letter is one mounting, ridden once one way, twice out and back, four laps on the loop. The true change of drag area is in turn 0, −1, −5, −15, 0, +1, +5, +15 %. Drawn for each day:

| what | from |
|---|---|
| mean wind, each of east and north | 1.2 m/s · N(0, 1) |
| its wander, each way; its memory | 0.1 to 0.8 m/s; 5 to 40 min, both log-uniform |
| gusts along, gusts across | 0.15 to 0.8 m/s each, log-uniform; memory 5 s |
| position from mounting to mounting | 0.3 to 1.5 % of CdA, log-uniform; from pass to pass half of it |
| true Crr | 0.0045 + 0.0007 · N(0, 1); `test.toml` says 0.0045 ± 0.0007 |
| true mass | 83 kg + 0.5 kg · N(0, 1); `test.toml` says 83 ± 0.5 kg |
| power meter | scale off by 1.5 % · N(0, 1), said to be 1 ± 1.5 %; drift 1.5 W/h · N(0, 1) |
| barometer, speed, positions | as of an ordinary unit (`SensorTruth::ordinary`) |
| place, bearing, hills, bends | at random for each day |

Neither wind nor gates are written in `test.toml`. On a third of the days the wind is one that the estimate does not assume, in turn: a spectrum that falls as f^(−5/3), a mean wind that turns steadily by 20 to 60 °/h, one that grows steadily by 0.3 to 1 m/s an hour in some direction, shelter along the course of depth 0.3 to 0.6 (waves of 300 to 2000 m).

**The estimates.** *Joint* is the program's answer. *Average of passes* stands beside it (`pass_average` in the JSON). *Joint, told the strengths* is the first again, told how strong the wander (and how long its memory), the gusts and the changes of position are, as drawn: what it costs not to know them. Where the spectrum has no two scales nothing is told.

**The columns.** Error: of the ratio of the two drag areas, in percent of the true ratio. Half-width: the median, of the 90 % interval, in percent of the ratio. False calls: days without a true difference that were called lower or higher drag. Wrong sign: days with a difference that were called the other way. Called right: at a true difference of 5 %, and of 15 %.
{days} days tell a share near 0.90 to ± {share:.1} % and a root mean square to ± {square:.0} % (one standard deviation); the smaller tables less.
",
        version = env!("CARGO_PKG_VERSION"),
        commit = commit(),
    )
}

/// The commit that the sources stand at, `-dirty` where something in them is not committed.
fn commit() -> String {
    let git = Command::new("git")
        .args(["describe", "--always", "--dirty"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output();
    match git {
        Ok(output) if output.status.success() => String::from_utf8_lossy(&output.stdout).trim().to_string(),
        _ => "an unknown commit".to_string(),
    }
}

fn good(row: &Row, pick: Pick) -> Vec<&Judged> {
    let answered = row.days.iter().filter_map(|day| day.as_ref().ok());
    answered.filter(|day| pick(day)).collect()
}

/// Names of the estimates, in order, as the first answered day has them.
fn estimate_names(row: &Row) -> Vec<&'static str> {
    let first = row.days.iter().find_map(|day| day.as_ref().ok());
    first.map_or_else(Vec::new, |day| day.ratios.iter().map(|r| r.estimate).collect())
}

/// One estimate on many days: the day, and what the estimate said.
fn said<'a>(days: &[&'a Judged], estimate: &str) -> Vec<(&'a Judged, &'a Ratio)> {
    let of = |day: &&'a Judged| {
        let ratio = day.ratios.iter().find(|ratio| ratio.estimate == estimate)?;
        Some((*day, ratio))
    };
    days.iter().filter_map(of).collect()
}

fn ratios(rows: &[Row], pick: Pick) -> String {
    let mut out = String::from(
        "| course | order | estimate | days | rms error | bias | 90 % interval held it | half-width | false calls | wrong sign | called right: 5 % | 15 % |\n|---|---|---|---|---|---|---|---|---|---|---|---|\n",
    );
    for row in rows {
        let days = good(row, pick);
        for estimate in estimate_names(row) {
            let said = said(&days, estimate);
            let _ = writeln!(
                out,
                "| {} | {} | {estimate} | {}",
                row.course.name(),
                row.order,
                ratio_cells(&said)
            );
        }
    }
    out
}

fn ratio_cells(said: &[(&Judged, &Ratio)]) -> String {
    let off: Vec<f64> = said.iter().map(|(_, ratio)| ratio.off_percent).collect();
    let with_interval: Vec<(&Judged, &Interval)> = said
        .iter()
        .filter_map(|(day, ratio)| Some((*day, ratio.interval.as_ref()?)))
        .collect();
    let held = with_interval.iter().map(|(_, interval)| interval.held);
    let mut widths: Vec<f64> = with_interval.iter().map(|(_, i)| i.half_width_percent).collect();
    let count = |among: &dyn Fn(f64) -> bool, is: &dyn Fn(f64, i8) -> bool| {
        let days = with_interval.iter().filter(|(day, _)| among(day.change_percent));
        let hits = days.clone().filter(|(day, i)| is(day.change_percent, i.call));
        format!("{} of {}", hits.count(), days.count())
    };
    let right = |change: f64, call: i8| f64::from(call) * change > 0.0;
    let wrong = |change: f64, call: i8| f64::from(call) * change < 0.0;
    format!(
        "{} | {:.2} % | {:+.2} % | {} | {:.1} % | {} | {} | {} | {} |",
        said.len(),
        rms(&off),
        mean(&off),
        share(held),
        median(&mut widths),
        count(&|change| change == 0.0, &|_, call| call != 0),
        count(&|change| change != 0.0, &wrong),
        count(&|change| change.abs() == 5.0, &right),
        count(&|change| change.abs() == 15.0, &right),
    )
}

fn kinds(rows: &[Row]) -> String {
    let kinds: Vec<Option<Odd>> = std::iter::once(None)
        .chain(Odd::ALL.into_iter().map(Some))
        .collect();
    let mut out = String::from("| course | order | estimate |");
    for kind in &kinds {
        let _ = write!(out, " {} |", kind.map_or("as assumed", Odd::name));
    }
    let _ = writeln!(out, "\n|---|---|---|{}", "---|".repeat(kinds.len()));
    for row in rows {
        for estimate in estimate_names(row) {
            let _ = write!(out, "| {} | {} | {estimate} |", row.course.name(), row.order);
            for kind in &kinds {
                let days = good(row, |_| true);
                let of_kind: Vec<&Judged> = days.into_iter().filter(|day| day.odd == *kind).collect();
                let said = said(&of_kind, estimate);
                let off: Vec<f64> = said.iter().map(|(_, ratio)| ratio.off_percent).collect();
                let held = said
                    .iter()
                    .filter_map(|(_, ratio)| Some(ratio.interval.as_ref()?.held));
                let _ = write!(out, " {:.2} %, {} |", rms(&off), share(held));
            }
            out.push('\n');
        }
    }
    out
}

fn baselines(rows: &[Row]) -> String {
    let mut out = String::from(
        "| course | order | days | rms error | 90 % interval held it |\n|---|---|---|---|---|\n",
    );
    for row in rows {
        let days = good(row, |_| true);
        let given: Vec<(f64, bool)> = days.iter().filter_map(|day| day.baseline).collect();
        let off: Vec<f64> = given.iter().map(|(off, _)| *off).collect();
        let _ = writeln!(
            out,
            "| {} | {} | {} | {:.1} % | {} |",
            row.course.name(),
            row.order,
            given.len(),
            rms(&off),
            share(given.iter().map(|(_, held)| *held)),
        );
    }
    out
}

/// Days that could not be answered, and estimates that gave no interval, with the reason and how often.
fn failures(rows: &[Row]) -> String {
    let mut out = String::new();
    for row in rows {
        let mut reasons: Vec<(String, usize)> = Vec::new();
        let failed = row.days.iter().filter_map(|day| day.as_ref().err().cloned());
        let silent = row.days.iter().filter_map(|day| day.as_ref().ok());
        let silent = silent
            .flat_map(|day| &day.ratios)
            .filter(|r| r.interval.is_none());
        for reason in failed.chain(silent.map(|r| format!("no interval ({})", r.estimate))) {
            match reasons.iter_mut().find(|(known, _)| *known == reason) {
                Some((_, count)) => *count += 1,
                None => reasons.push((reason, 1)),
            }
        }
        for (reason, count) in reasons {
            let reason = reason.replace('\n', " ");
            let _ = writeln!(out, "* {}, {}: {count} × {reason}", row.course.name(), row.order);
        }
    }
    if out.is_empty() {
        out.push_str("None.\n");
    }
    out
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|value| value * value).sum::<f64>() / values.len() as f64).sqrt()
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Of true ones; a dash where there is nothing to count.
fn share(held: impl Iterator<Item = bool>) -> String {
    let all: Vec<bool> = held.collect();
    if all.is_empty() {
        return "–".to_string();
    }
    format!(
        "{:.2}",
        all.iter().filter(|held| **held).count() as f64 / all.len() as f64
    )
}
