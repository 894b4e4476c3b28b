//! Roads as test courses, the best first.

use super::super::table::table;
use super::super::words::wrapped;
use crate::plan::roads::{Ranking, TestRoad};
use crate::test_day::Shape;
use crate::units::M_S_PER_KM_H;
use std::path::PathBuf;

const HEADER: [&str; 12] = [
    "", "± %", "shape", "m", "slope %", "bend m", "turns °", "way °", "ridden", "spoilt", "km/h ±", "W ±",
];

pub fn roads(ranking: &Ranking, files: &[PathBuf], width: usize) -> String {
    let mut text = vec![wrapped(
        &format!(
            "{} roads as test courses, from {} recordings; ± is the standard uncertainty to expect of the ratio of two \
             set-ups after an hour: A B B A at {:.0} W, {:.2} m² and {:.1} kg, turns and changes included.",
            ranking.roads.len(),
            ranking.recordings,
            ranking.asked.power_w,
            ranking.asked.cda_m2,
            ranking.total_mass_kg
        ),
        width,
    )];
    let rows = ranking
        .roads
        .iter()
        .enumerate()
        .map(|(index, road)| row(index + 1, road))
        .collect();
    text.push(table(&HEADER, &[2], rows, width));
    text.push(wrapped(
        "slope: mean from start to finish ± its spread along the road. bend: radius of the tightest one. way: from start \
         to finish, from true north. ridden: passes there + back. spoilt: of these, with a stop or braking; their \
         expected share widens ±. km/h and W: of old passes, ± spread within a pass in percent.",
        width,
    ));
    if ranking.roads.iter().any(|road| !road.road.has_heights) {
        text.push(wrapped(
            "A slope of '?': no altitudes were recorded there, and the road is taken as level.",
            width,
        ));
    }
    if ranking.refused > 0 {
        text.push(wrapped(
            &format!(
                "{} more stretches were looked at and are no test course: stops or braking in most passes, a \
                 bend too tight for the speed, a descent above 60 km/h, or no test of four blocks in an hour.",
                ranking.refused
            ),
            width,
        ));
    }
    text.push(wrapped(
        "Whether one can turn round safely at the ends is unknown: look before you plan. Traffic, surface and junctions \
         are known only as far as they made you stop or brake.",
        width,
    ));
    let course = match files {
        [] => "road-01.gpx, which --write DIR writes".to_string(),
        [first, ..] => first.display().to_string(),
    };
    text.push(wrapped(
        &format!("Next: stillair plan FOLDER --course {course}"),
        width,
    ));
    text.join("\n\n")
}

fn row(rank: usize, road: &TestRoad) -> Vec<String> {
    let seen = &road.candidate.seen;
    let shape = match road.shape {
        Shape::Loop => "loop",
        Shape::OneWay => "one way",
        Shape::OutAndBack => "out and back",
    };
    let unknown = || "?".to_string();
    let slope = road.gradient.zip(road.slope_spread);
    let spread = |value: Option<f64>, spread: Option<f64>, unit: f64| {
        value.zip(spread).map_or_else(unknown, |(value, spread)| {
            format!("{:.0} ±{:.0}", value / unit, 100.0 * spread)
        })
    };
    vec![
        rank.to_string(),
        format!("{:.2}", road.standard_uncertainty_percent),
        shape.to_string(),
        format!("{:.0}", road.road.length_m),
        slope.map_or_else(unknown, |(mean, spread)| {
            format!("{:+.1} ±{:.1}", 100.0 * mean, 100.0 * spread)
        }),
        if seen.tightest_radius_m < 1000.0 {
            format!("{:.0}", seen.tightest_radius_m)
        } else {
            "-".to_string()
        },
        format!("{:.0}", seen.turning_deg),
        road.bearing_deg
            .map_or_else(|| "all".to_string(), |deg| format!("{deg:.0}")),
        format!("{}+{}", seen.forward, seen.reverse),
        (seen.passes_stopped + seen.passes_braked).to_string(),
        spread(seen.speed_m_s, seen.speed_spread, M_S_PER_KM_H),
        spread(seen.power_w, seen.power_spread, 1.0),
    ]
}
