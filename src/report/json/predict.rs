//! What a test day is worth over an event.

use super::{SCHEMA, estimated, number, worth};
use crate::report::terminal::{Foretold, assumptions};
use serde_json::{Value, json};

pub fn predict(told: &Foretold) -> Value {
    let predicted = &told.prediction.predicted;
    let name = |place: usize| &told.compared.setups[told.prediction.setups[place]].name;
    let setups: Vec<Value> = predicted
        .times
        .iter()
        .enumerate()
        .map(|(place, times)| {
            json!({
                "name": name(place),
                "time_s": estimated(&times.time_s),
                "mean_speed_m_s": number(times.mean_speed_m_s),
            })
        })
        .collect();
    let comparisons: Vec<Value> = predicted
        .changes
        .iter()
        .zip(&told.prediction.multiplied_s)
        .map(|(change, multiplied)| {
            json!({
                "setup": name(change.setup),
                "baseline": name(change.baseline),
                "time_change_s": estimated(&change.time_change_s),
                "watts_at_equal_time": worth(&change.watts_at_equal_time),
                "test_times_length_s": multiplied.map_or(Value::Null, number),
            })
        })
        .collect();
    let cleaned = told.road.cleaned.map(|cleaned| {
        json!({
            "climb_as_recorded_m": number(cleaned.raw_climb_m),
            "taken_out": cleaned.taken_out,
            "filled_in": cleaned.without,
            "smoothing_m": number(cleaned.smoothing_m),
        })
    });
    json!({
        "schema": SCHEMA,
        "event": {
            "length_m": number(told.road.length_m),
            "climb_m": number(told.road.climb_m),
            "heights": cleaned,
        },
        "power_w": number(told.conditions.power_w),
        "level_power_w": number(predicted.level_power_w),
        "air_density_kg_m3": number(told.conditions.around.air_density_kg_m3),
        "setups": setups,
        "comparisons": comparisons,
        "assumptions": assumptions(told),
        "warnings": told.compared.warnings,
    })
}
