//! What looking after every block does on days of a known truth.
//!
//!     cargo run --release --example looks -- 1000
//!
//! The number is that of the days a row. Days are those of docs/accuracy.md, each drawn from its number alone.

#[allow(dead_code)] // The accuracy page needs all of it.
#[path = "../accuracy/drawn.rs"]
mod drawn;
mod watched;

use drawn::Course;
use rayon::prelude::*;
use std::io::Write;
use stillair::verdict::Call;
use watched::{Stopped, Watched, watched};

const ROWS: [(Course, &str); 3] = [
    (Course::OutAndBack, "ABBABAAB"),
    (Course::OutAndBack, "ABBA"),
    (Course::Loop, "ABBA"),
];
const CHANGES_PERCENT: [f64; 2] = [0.0, -5.0];

fn main() -> std::io::Result<()> {
    let mut words = std::env::args().skip(1);
    let days: u64 = words.find_map(|word| word.parse().ok()).unwrap_or(100);
    let mut out = std::io::stdout();
    writeln!(
        out,
        "| course, order | true change | days | looking by the rule | looking with the plain interval | one look at the end |"
    )?;
    writeln!(out, "|---|---|---|---|---|---|")?;
    for (course, order) in ROWS {
        for change_percent in CHANGES_PERCENT {
            let all: Vec<Result<Watched, String>> = (0..days)
                .into_par_iter()
                .map(|number| watched(course, order, number, change_percent))
                .collect();
            let told: Vec<&Watched> = all.iter().flatten().collect();
            for why in all.iter().filter_map(|day| day.as_ref().err()) {
                eprintln!("{}, {order}: {why}", course.name());
            }
            let cell = |stopped: fn(&Watched) -> Stopped| {
                let share = |is: &dyn Fn(Call) -> bool| {
                    let count = told.iter().filter(|day| is(stopped(day).call)).count();
                    100.0 * count as f64 / told.len() as f64
                };
                let blocks =
                    told.iter().map(|day| stopped(day).blocks as f64).sum::<f64>() / told.len() as f64;
                if change_percent == 0.0 {
                    format!(
                        "{:.1} % false, {blocks:.1} blocks",
                        share(&|call| call != Call::NotResolved)
                    )
                } else {
                    format!(
                        "{:.1} % right, {:.1} % wrong, {blocks:.1} blocks",
                        share(&|call| call == Call::LowerDrag),
                        share(&|call| call == Call::HigherDrag)
                    )
                }
            };
            writeln!(
                out,
                "| {}, {order} | {change_percent} % | {} | {} | {} | {} |",
                course.name(),
                told.len(),
                cell(|day| day.by_rule),
                cell(|day| day.by_plain),
                cell(|day| day.at_end)
            )?;
        }
    }
    Ok(())
}
