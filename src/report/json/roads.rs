//! Roads as test courses.

use super::{SCHEMA, number};
use crate::course::roads::Place;
use crate::plan::roads::{HOUR_S, Ranking, TestRoad};
use serde_json::{Value, json};
use std::path::PathBuf;

pub fn roads(ranking: &Ranking, files: &[PathBuf]) -> Value {
    let stretches: Vec<Value> = ranking
        .roads
        .iter()
        .enumerate()
        .map(|(index, road)| stretch(index, road, files.get(index)))
        .collect();
    json!({
        "schema": SCHEMA,
        "recordings": ranking.recordings,
        "test": {
            "duration_s": HOUR_S,
            "power_w": number(ranking.asked.power_w),
            "cda_m2": number(ranking.asked.cda_m2),
            "total_mass_kg": number(ranking.total_mass_kg),
        },
        "stretches": stretches,
        "refused": ranking.refused,
        "warnings": ranking.warnings,
    })
}

fn maybe(value: Option<f64>) -> Value {
    value.map_or(Value::Null, number)
}

fn stretch(index: usize, road: &TestRoad, file: Option<&PathBuf>) -> Value {
    let seen = &road.candidate.seen;
    let points = &road.candidate.points;
    let at = |index: usize| {
        points
            .get(index)
            .map(|point| [point.latitude_deg, point.longitude_deg])
    };
    let places = |all: &[Place]| -> Vec<Value> {
        all.iter()
            .map(|place| json!({"along_m": number(place.along_m), "times": place.times}))
            .collect()
    };
    json!({
        "rank": index + 1,
        "expected_standard_uncertainty_percent": number(road.standard_uncertainty_percent),
        "undisturbed_standard_uncertainty_percent": number(road.undisturbed_standard_uncertainty_percent),
        "lost_pass_share": number(road.lost_share),
        "shape": road.shape,
        "passes_per_block": road.passes_per_block,
        "duration_s": number(road.duration_s),
        "length_m": number(road.road.length_m),
        "gradient_percent": maybe(road.gradient.map(|g| 100.0 * g)),
        "gradient_spread_percent": maybe(road.slope_spread.map(|g| 100.0 * g)),
        "has_heights": road.road.has_heights,
        "start": at(0),
        "finish": at(points.len().saturating_sub(1)),
        "bearing_deg": maybe(road.bearing_deg),
        "wind_along_share": number(road.along_share),
        "tightest_bend_radius_m": number(seen.tightest_radius_m),
        "turning_deg": number(seen.turning_deg),
        "passes_forward": seen.forward,
        "passes_reverse": seen.reverse,
        "recordings": seen.recordings,
        "passes_stopped": seen.passes_stopped,
        "passes_braked": seen.passes_braked,
        "stops": places(&seen.stops),
        "braking": places(&seen.braking),
        "ridden_speed_m_s": maybe(seen.speed_m_s),
        "speed_spread_percent": maybe(seen.speed_spread.map(|s| 100.0 * s)),
        "ridden_power_w": maybe(seen.power_w),
        "power_spread_percent": maybe(seen.power_spread.map(|s| 100.0 * s)),
        "file": file.map(|file| file.display().to_string()),
    })
}
