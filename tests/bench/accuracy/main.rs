//! How well days of a known truth are told: docs/accuracy.md is this program's output.
//!
//!     cargo run --release --example accuracy -- 1000 --write
//!
//! The number is that of the days a row. Each day is drawn from its number alone, so the same version prints
//! the same numbers on any machine, and every row and every estimate sees the same days.
//! `--time` instead tells where the time of a day goes.

mod drawn;
mod judged;
mod page;
mod timed;

use drawn::{Course, Drawn};
use indicatif::ProgressBar;
use judged::Judged;
use rayon::prelude::*;
use std::time::Instant;

/// What is ridden: course and order of the blocks. One pass a block one way, two out and back, four on the loop.
const ROWS: [(Course, &str); 7] = [
    (Course::OneWay, "ABBAAB"),
    (Course::OneWay, "AAABBB"),
    (Course::OutAndBack, "ABBA"),
    (Course::OutAndBack, "ABBABAAB"),
    (Course::OutAndBack, "AAABBB"),
    (Course::Loop, "ABBA"),
    (Course::Loop, "AAABBB"),
];
const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/accuracy.md");

/// All days of one course and order; a day that could not be answered holds the reason.
struct Row {
    course: Course,
    order: &'static str,
    days: Vec<Result<Judged, String>>,
}

fn row(course: Course, order: &'static str, days: u64) -> Row {
    let start = Instant::now();
    // On standard error, and only on a terminal.
    let bar = ProgressBar::new(days);
    let judged: Vec<_> = (0..days)
        .into_par_iter()
        .map(|number| judged::judge(&Drawn::new(course, order, number)))
        .inspect(|_| bar.inc(1))
        .collect();
    bar.finish_and_clear();
    let seconds = start.elapsed().as_secs_f64();
    eprintln!("{}, {order}: {days} days in {seconds:.1} s", course.name());
    Row {
        course,
        order,
        days: judged,
    }
}

fn main() -> std::io::Result<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let days: u64 = words.iter().find_map(|word| word.parse().ok()).unwrap_or(100);
    let asked = |option: &str| words.iter().any(|word| word == option);
    if asked("--time") {
        timed::print(&ROWS, days);
        return Ok(());
    }
    let rows: Vec<Row> = ROWS
        .iter()
        .map(|&(course, order)| row(course, order, days))
        .collect();
    let page = page::page(&rows, days);
    if asked("--write") {
        std::fs::write(PAGE, &page)?;
    }
    print!("{page}");
    Ok(())
}
