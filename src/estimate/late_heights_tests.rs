use super::*;
use crate::estimate::made::ridden_over;
use crate::simulate::{DayPlan, one_way_plan};

#[test]
fn explore() {
    for (hills, end) in [(1.0, 0.0), (4.0, 0.0), (4.0, 0.02)] {
        for lag_s in [0.0, 2.0, 5.0] {
            let mut all = vec![];
            for seed in 0..6 {
                let mut plan: DayPlan = one_way_plan(8300 + seed, "ABBAAB", -3.0);
                for hill in &mut plan.course.hills { hill.amplitude *= hills; }
                if end > 0.0 { plan.course.hills.push(crate::simulate::Wave{amplitude:end,length_m:4000.0,phase_rad:-1.57}); plan.course.mean_gradient=0.02;}
                plan.sensors.altitude_lag_s = lag_s;
                let (day, course) = ridden_over(&plan);
                let level = course.line.length_m() / course.length_m();
                let l = lag(&day.rides, &day.setups, course.profile.as_ref().unwrap(), level).unwrap();
                all.push((l.lag_s, l.standard_uncertainty_s));
            }
            println!("hills {hills} {end} lag {lag_s}: {}", all.iter().map(|(a,b)| format!("{a:.2}±{b:.2}")).collect::<Vec<_>>().join(" "));
        }
    }
}
