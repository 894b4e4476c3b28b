//! Laps of a track, whole days.
use super::*;
use crate::simulate::{DayPlan, ride_day, track_plan};
use crate::test_day::parse;

fn surveyed(plan: &DayPlan, with_course: bool) -> Result<Surveyed> {
    let ridden = ride_day(plan);
    let day = parse(Path::new("test.toml"), &ridden.test_toml(with_course)).unwrap();
    let gathered = gather_recordings(day, ridden.recordings).unwrap();
    passes_gathered(gathered, Path::new("day"))
}

#[test]
fn look() {
    for seed in 0..6 {
        for with in [true, false] {
            let plan = track_plan(seed, "ABBA", -3.0);
            match surveyed(&plan, with) {
                Ok(s) => {
                    println!(
                        "{seed} {with} found {} passes, length {:.1}, near {:?}",
                        s.ridden.passes.len(),
                        s.ridden.course.length_m(),
                        s.ridden
                            .near_passes
                            .iter()
                            .map(|n| n.reason.clone())
                            .collect::<Vec<_>>()
                    );
                    if s.ridden.passes.len() == 32 {
                        let t = std::time::Instant::now();
                        let c = compare_surveyed(s).unwrap();
                        println!(
                            "   {:?} {:?} {:?} {:?} {:?}",
                            c.setups[0].cda_m2,
                            c.findings[0].cda_change_percent,
                            c.speed_scales.measured,
                            t.elapsed(),
                            c.passes
                                .iter()
                                .filter(|p| p.flags.iter().any(|f| f.starts_with("dist")))
                                .count()
                        );
                        println!("   {:?}", c.basis.joint.strengths);
                        println!(
                            "   {:?}",
                            c.warnings.iter().map(|w| w.kind.clone()).collect::<Vec<_>>()
                        );
                    }
                }
                Err(e) => println!("{seed} {with} {e}"),
            }
        }
    }
}
