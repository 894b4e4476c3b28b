//! What a planned day would show.

use super::{SCHEMA, number};
use crate::plan::rehearse::{Looked, Rehearsal, Share, Verdicts};
use serde_json::{Value, json};

pub fn rehearse(rehearsal: &Rehearsal) -> Value {
    let not_analysed: Vec<Value> = rehearsal
        .not_analysed
        .iter()
        .map(|(day, reason)| json!({"day": day, "reason": reason}))
        .collect();
    let (rms, rms_uncertainty) = rehearsal.rms_error_percent;
    let (bias, bias_uncertainty) = rehearsal.bias_percent;
    json!({
        "schema": SCHEMA,
        "days": rehearsal.days,
        "seed": rehearsal.seed,
        "difference_percent": number(rehearsal.difference_percent),
        "rms_error_percent": number(rms),
        "rms_error_standard_uncertainty_percent": number(rms_uncertainty),
        "bias_percent": {"value": number(bias), "standard_uncertainty": number(bias_uncertainty)},
        "stated_standard_uncertainty_percent":
            rehearsal.stated_standard_uncertainty_percent.map_or(Value::Null, number),
        "expected_standard_uncertainty_percent":
            rehearsal.expected_standard_uncertainty_percent.map_or(Value::Null, number),
        "coverage_90": value(&rehearsal.coverage_90),
        "coverage_90_interval_90": rehearsal.coverage_90.interval_90(),
        "right_verdicts": value(&rehearsal.right_verdicts),
        "right_verdicts_interval_90": rehearsal.right_verdicts.interval_90(),
        "false_verdicts": value(&rehearsal.false_verdicts),
        "false_verdicts_interval_90": rehearsal.false_verdicts.interval_90(),
        "with_difference": verdicts(&rehearsal.with_difference),
        "without_difference": verdicts(&rehearsal.without_difference),
        "looked_after_every_block": rehearsal.looked.as_ref().map(looked),
        "not_analysed": not_analysed,
        "simulated": rehearsal.simulated,
    })
}

fn looked(looked: &Looked) -> Value {
    json!({
        "right_verdicts": value(&looked.right_verdicts),
        "right_verdicts_interval_90": looked.right_verdicts.interval_90(),
        "false_verdicts": value(&looked.false_verdicts),
        "false_verdicts_interval_90": looked.false_verdicts.interval_90(),
        "mean_blocks_with_difference": number(looked.blocks_with_difference),
        "mean_blocks_without_difference": number(looked.blocks_without_difference),
        "planned_blocks": looked.planned_blocks,
    })
}

fn value(share: &Share) -> Value {
    share.value().map_or(Value::Null, number)
}

fn verdicts(verdicts: &Verdicts) -> Value {
    json!({
        "lower_drag": verdicts.lower_drag,
        "higher_drag": verdicts.higher_drag,
        "not_resolved": verdicts.not_resolved,
    })
}
