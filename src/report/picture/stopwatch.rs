//! What made the difference that the stopwatch saw, of one pair.

use super::rows::{Mark, Row, Rows};
use super::{Picture, WIDTH};
use crate::report::terminal::letter;
use crate::report::words::signed;
use crate::study::Stopwatched;
use crate::verdict::{Cause, Finding};

pub fn stopwatch(finding: &Finding, seen: &Stopwatched) -> Picture {
    let account = &seen.account;
    let row = |name: &str, seconds: f64, sum: bool| Row {
        name: name.to_string(),
        said: format!("{} s", signed(seconds, 1)),
        mark: Mark::Bar { value: seconds, sum },
    };
    let told = account
        .lines
        .iter()
        .filter(|line| line.cause != Cause::Wind || seen.wind_known)
        .filter(|line| {
            // What the table has as nothing is nothing here too.
            let always = matches!(line.cause, Cause::SetUp | Cause::Uneven);
            always || signed(line.time_change_s, 1) != "0.0"
        });
    let mut rows: Vec<Row> = told
        .map(|line| match line.cause {
            Cause::SetUp => row("the set-up's drag area", line.time_change_s, false),
            cause => row(cause.as_text(), line.time_change_s, false),
        })
        .collect();
    rows.push(row("stopwatch", account.raw_time_change_s, true));
    let pair = [finding.baseline, finding.setup].map(letter);
    let said: Vec<String> = rows
        .iter()
        .map(|row| format!("{} {}", row.name, row.said))
        .collect();
    let rows = Rows {
        rows,
        zero: true,
        sides: Some(["faster", "slower"]),
        unit: "seconds a pass",
        ..Rows::default()
    };
    Picture {
        id: format!("picture-stopwatch-{}-{}", finding.baseline, finding.setup),
        title: format!("Stopwatch, from {} to {}", pair[0], pair[1]),
        told: format!("{}.", said.join("; ")),
        width: WIDTH,
        height: rows.height(),
        body: rows.draw(),
    }
}
