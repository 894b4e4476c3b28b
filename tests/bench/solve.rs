//! What the joint estimate of a day of 16 passes costs on one core:
//!
//!     cargo run --release --example solve
//!
//! `parts`: what passes contribute, which is kept while a window moves or a pass is left out. `solve`: everything else.

use std::path::Path;
use std::sync::LazyLock;
use std::time::Instant;
use stillair::estimate::cells::Shift;
use stillair::estimate::disturbed::disturbances;
use stillair::estimate::joint::explore::{Told, explore};
use stillair::estimate::joint::{joint, model, settle};
use stillair::page::desk::Desk;
use stillair::page::show;
use stillair::simulate::{TrueDay, out_and_back_plan, ride_day};
use stillair::study::{compare_surveyed, gather_recordings, passes_gathered, prepared};
use stillair::test_day::edit::Edit;
use stillair::test_day::parse;

const TIMES: usize = 20;

/// Time that this thread has run, where the system tells it: others on the machine do not count.
fn on_this_core_s() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|text| text.split(' ').next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(|| STARTED.elapsed().as_secs_f64(), |ns| 1e-9 * ns)
}

static STARTED: LazyLock<Instant> = LazyLock::new(Instant::now);

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = Path::new("day");
    let ridden = ride_day(&out_and_back_plan(11, "ABBABAAB", -4.0));
    let test_day = parse(&folder.join("test.toml"), &ridden.test_toml(true))?;
    let surveyed = passes_gathered(gather_recordings(test_day, ridden.recordings.clone())?, folder)?;
    let kept = surveyed.clone();
    let profile = surveyed.ridden.course.profile.clone();
    let prepared = prepared(surveyed)?;
    let (day, rolling) = (prepared.day(), &prepared.rolling);
    let told = Told::default();
    let mut spent: Vec<(&str, f64)> = Vec::new();
    let mut time = |name: &'static str, work: &mut dyn FnMut()| {
        work();
        let start = on_this_core_s();
        for _ in 0..TIMES {
            work();
        }
        spent.push((name, 1e3 * (on_this_core_s() - start) / TIMES as f64));
    };
    let shift = Shift::default();
    let model_of = || model(&day, profile.as_ref(), rolling, &shift).ok_or("no model");
    let built = model_of()?;
    let settled = settle(&built, &told, None).ok_or("not settled")?;
    let cda_m2: Vec<f64> = (0..day.rides.len())
        .map(|pass| built.log_cda(&settled.point, pass).exp())
        .collect();
    time("what passes contribute", &mut || {
        let _ = model_of();
    });
    time("settle", &mut || {
        let _ = settle(&built, &told, None);
    });
    time("disturbed stretches", &mut || {
        let _ = disturbances(&day, &cda_m2, rolling.shift, settled.log_gust_q.exp());
    });
    time("explore", &mut || {
        let _ = explore(&built, &settled.point, settled.log_gust_q, &told);
    });
    time("joint estimate, all of it", &mut || {
        let _ = joint(&day, profile.as_ref(), rolling, &told);
    });
    time("the whole answer, once passes are found", &mut || {
        let _ = compare_surveyed(kept.clone());
    });
    time("up to the joint estimate", &mut || {
        let _ = stillair::study::prepared(kept.clone());
    });
    time("a copy of the day", &mut || {
        let _ = kept.clone();
    });
    for (name, ms) in spent {
        println!("{name}: {ms:.1} ms");
    }
    under_the_pointer(&ridden)
}

/// An end of a stretch is pulled along the course: from what is asked for to the answer with its drawing, as sent.
fn under_the_pointer(ridden: &TrueDay) -> Result<(), Box<dyn std::error::Error>> {
    const TRIES: usize = 200;
    let home = tempfile::tempdir()?;
    ridden.write_folder(home.path(), true)?;
    let desk = Desk::open(home.path(), &|_, _| ())?;
    let mut ms = Vec::with_capacity(TRIES);
    let mut drawing_ms = 0.0;
    for place in 0..TRIES {
        let edit = Edit::Cut {
            start_s: None,
            from_m: 300.0,
            to_m: 350.0 + 2.0 * place as f64,
            reason: None,
        };
        let start = Instant::now();
        let compared = desk.with(&edit)?;
        let answered = Instant::now();
        let parts: usize = show::tried(&compared)
            .into_iter()
            .map(|(_, html)| html.into_string().len())
            .sum();
        drawing_ms += 1e3 * answered.elapsed().as_secs_f64() / TRIES as f64;
        ms.push(1e3 * start.elapsed().as_secs_f64());
        assert!(parts > 0);
    }
    ms.sort_by(f64::total_cmp);
    println!(
        "under the pointer, by the clock on the wall: median {:.1} ms, 95th percentile {:.1} ms; {drawing_ms:.1} ms of it \
         for the drawing",
        ms[TRIES / 2],
        ms[TRIES * 95 / 100]
    );
    Ok(())
}
