//! How well days with a known truth are told: the tables of docs/limits.md are this program's output.
//!
//!     cargo run --release --example coverage -- 200
//!
//! The number is that of the days a row. Seeds are fixed, so the same version prints the same numbers.

use rayon::prelude::*;
use stillair::simulate::{DayPlan, loop_plan, one_way_plan, out_and_back_plan, ride_day};
use stillair::study::{Compared, compare};
use stillair::verdict::Call;

type Plan = fn(u64, &str, f64) -> DayPlan;

const ROWS: [(&str, Plan, &str); 7] = [
    ("one way, 2 km climb", one_way_plan, "ABBAAB"),
    ("one way, 2 km climb", one_way_plan, "AAABBB"),
    ("out and back, 1.5 km", out_and_back_plan, "ABBA"),
    ("out and back, 1.5 km", out_and_back_plan, "ABBABAAB"),
    ("out and back, 1.5 km", out_and_back_plan, "AAAABBBB"),
    ("loop, 1.8 km", loop_plan, "ABBA"),
    ("loop, 1.8 km", loop_plan, "ABBABAAB"),
];
/// In turns, so that a row holds null tests too.
const TRUE_PERCENT: [f64; 4] = [0.0, -3.0, 0.0, 6.0];

/// What one day said of a known truth.
struct Told {
    true_percent: f64,
    off_percent: f64,
    held_ratio: bool,
    half_width_percent: f64,
    resolved: bool,
    baseline_off_percent: f64,
    held_baseline: bool,
}

fn told(plan: &DayPlan, true_percent: f64) -> Result<Told, String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let written = ride_day(plan).write_folder(folder.path(), false);
    written.map_err(|error| error.to_string())?;
    let day = compare(folder.path(), &|_, _| {}).map_err(|error| error.to_string())?;
    judged(&day, plan, true_percent).ok_or_else(|| "no interval".to_string())
}

fn judged(day: &Compared, plan: &DayPlan, true_percent: f64) -> Option<Told> {
    let finding = day.findings.first()?;
    let [low, high] = finding.cda_change_percent.interval_90?;
    let (cda, _, [from, to]) = day.setups.first()?.cda_m2?;
    let true_cda = plan.setups.first()?.cda_m2;
    Some(Told {
        true_percent,
        off_percent: finding.cda_change_percent.value - true_percent,
        held_ratio: (low..=high).contains(&true_percent),
        half_width_percent: 0.5 * (high - low),
        resolved: finding.call != Call::NotResolved,
        baseline_off_percent: 100.0 * (cda / true_cda - 1.0),
        held_baseline: (from..=to).contains(&true_cda),
    })
}

fn main() {
    let days: u64 = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(40);
    println!(
        "| course | order | days | ratio: rms error | bias | 90 % interval held it | its median half-width | false verdicts of null tests | CdA: rms error | held |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for (name, plan, order) in ROWS {
        let all: Vec<Result<Told, String>> = (0..days)
            .into_par_iter()
            .map(|number| {
                let percent = TRUE_PERCENT[(number % 4) as usize];
                told(&plan(9000 + number, order, percent), percent)
            })
            .collect();
        for fault in all.iter().filter_map(|one| one.as_ref().err()) {
            eprintln!("{name}, {order}: {fault}");
        }
        let good: Vec<&Told> = all.iter().filter_map(|one| one.as_ref().ok()).collect();
        println!("| {name} | {order} | {}", row(&good));
    }
}

fn row(days: &[&Told]) -> String {
    let mean =
        |value: &dyn Fn(&Told) -> f64| days.iter().map(|day| value(day)).sum::<f64>() / days.len() as f64;
    let mut widths: Vec<f64> = days.iter().map(|day| day.half_width_percent).collect();
    widths.sort_by(f64::total_cmp);
    let null = days.iter().filter(|day| day.true_percent == 0.0);
    let wrong = null.clone().filter(|day| day.resolved).count();
    format!(
        "{} | {:.1} % | {:+.1} % | {:.2} | {:.1} % | {wrong} of {} | {:.0} % | {:.2} |",
        days.len(),
        mean(&|day| day.off_percent.powi(2)).sqrt(),
        mean(&|day| day.off_percent),
        mean(&|day| f64::from(u8::from(day.held_ratio))),
        widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN),
        null.count(),
        mean(&|day| day.baseline_off_percent.powi(2)).sqrt(),
        mean(&|day| f64::from(u8::from(day.held_baseline))),
    )
}
