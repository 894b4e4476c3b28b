//! What the rides told of their sensors, and what was done about it.

use super::number;
use crate::study::Compared;
use serde_json::{Value, json};

pub fn sensors(compared: &Compared) -> Value {
    let recordings = compared.surveyed.streams.iter().zip(&compared.power_delays);
    let delays: Vec<Value> = recordings
        .map(|(streams, delay)| {
            json!({
                "file": streams.name(),
                "value": number(delay.delay_s),
                "standard_uncertainty": number(delay.standard_uncertainty_s),
                "applied": number(delay.applied_s),
            })
        })
        .collect();
    let profile = compared.surveyed.ridden.course.profile.as_ref();
    let lag = profile.and_then(|profile| profile.lag).map(|lag| {
        json!({
            "value": number(lag.lag_s),
            "standard_uncertainty": number(lag.standard_uncertainty_s),
            "applied": number(lag.applied_s),
        })
    });
    let scales = &compared.speed_scales;
    let measured = scales.measured.map(|(scale, standard_uncertainty)| {
        json!({"value": number(scale), "standard_uncertainty": number(standard_uncertainty)})
    });
    json!({
        "power_delay_s": delays,
        "altitude_lag_s": lag,
        "speed_scale": {
            "measured": measured,
            "applied": scales.factors.iter().map(|factor| number(*factor)).collect::<Vec<_>>(),
        },
    })
}
