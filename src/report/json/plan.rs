//! A day before it is ridden.

use super::{SCHEMA, number};
use crate::plan::choose::{Alternative, LEAST_GAIN};
use crate::plan::propose::{Proposal, Purpose};
use crate::plan::{ExpectedApart, chance_to_resolve};
use crate::test_day::Hold;
use serde_json::{Value, json};
use std::path::PathBuf;

/// `written`: the files; `cautions`: one a line.
pub fn plan(proposal: &Proposal, written: &[PathBuf], cautions: &str) -> Value {
    let chosen = &proposal.choice.chosen;
    let compares = proposal.purpose != Purpose::TwoSpeed;
    let name = |setup: usize| proposal.setups.get(setup).map(|setup| &setup.name);
    let blocks: Vec<Value> = proposal
        .blocks
        .iter()
        .enumerate()
        .map(|(block, said)| {
            json!({
                "setup": said.setup,
                "passes": said.passes,
                "power_w": number(proposal.powers_w[block]),
                "before": said.before,
            })
        })
        .collect();
    let setups: Vec<Value> = proposal
        .setups
        .iter()
        .enumerate()
        .map(|(place, setup)| {
            let cda_m2 = match proposal.apart {
                Some(apart) => Some(apart.cda_standard_uncertainty_m2),
                None => proposal
                    .expected
                    .cda_standard_uncertainty_m2
                    .get(place)
                    .copied()
                    .flatten(),
            };
            let apart = |of: fn(&ExpectedApart) -> f64| proposal.apart.as_ref().map_or(Value::Null, |a| number(of(a)));
            json!({
                "name": setup.name,
                "ballast_ml": number(setup.ballast_ml),
                "same_as": setup.same_as,
                "expected_cda_standard_uncertainty_m2": cda_m2.map_or(Value::Null, number),
                "expected_crr_standard_uncertainty": apart(|a| a.crr_standard_uncertainty),
                "expected_crr_by_rides_alone_standard_uncertainty": apart(|a| a.crr_by_rides_alone_standard_uncertainty),
            })
        })
        .collect();
    let comparisons: Vec<Value> = proposal
        .expected
        .pairs
        .iter()
        .filter(|_| compares)
        .map(|pair| {
            json!({
                "setup": name(pair.setup),
                "baseline": name(pair.baseline),
                "expected_standard_uncertainty_percent": number(pair.standard_uncertainty_percent),
                "median_standard_uncertainty_percent": number(pair.median_standard_uncertainty_percent),
                "chance_to_resolve": number(chance_to_resolve(pair, proposal.difference_percent)),
            })
        })
        .collect();
    let entries: Vec<Value> = proposal
        .entries
        .iter()
        .map(|of| {
            json!({
                "direction": of.direction,
                "power_w": number(of.power_w),
                "entry_speed_m_s": number(of.entry.speed_m_s),
                "run_up_m": number(of.entry.run_up_m),
            })
        })
        .collect();
    let gates = proposal.place.gates_deg(proposal.shape);
    json!({
        "schema": SCHEMA,
        "course": {
            "shape": proposal.shape,
            "length_m": number(proposal.place.road.length_m),
            "climb_m": number(proposal.place.climb_m()),
            "start": gates.map(|(start, _)| start),
            "finish": gates.and_then(|(_, finish)| finish),
        },
        "setups": setups,
        "blocks": blocks,
        "expected_standard_uncertainty_percent": if compares { number(chosen.weighed.uncertainty_percent) } else { Value::Null },
        "difference_percent": number(proposal.difference_percent),
        "chance_to_resolve": chosen.weighed.chance.map_or(Value::Null, number),
        "duration_s": number(proposal.expected.duration_s),
        "ballast_ml": number(proposal.setups.iter().map(|setup| setup.ballast_ml).fold(0.0, f64::max)),
        "comparisons": comparisons,
        "hold": match proposal.planned.hold { Hold::Power => "power", Hold::Speed => "speed" },
        "holds": proposal.holds.map(|holds| json!({
            "power": {"expected_standard_uncertainty_percent": number(holds.power_percent)},
            "speed": {"expected_standard_uncertainty_percent": number(holds.speed_percent)},
        })),
        "entries": entries,
        "within_time": proposal.choice.within_time,
        "alternatives": proposal.choice.alternatives.iter().map(|other| alternative(other, compares)).collect::<Vec<_>>(),
        "enough_blocks_each": proposal.choice.enough_each,
        "enough_means_gain_below_percent": 100.0 * LEAST_GAIN,
        "seed": proposal.planned.seed,
        "written": written,
        "assumptions": proposal.assumptions,
        "warnings": proposal.warnings,
        "cautions": cautions.lines().collect::<Vec<_>>(),
    })
}

fn alternative(other: &Alternative, compares: bool) -> Value {
    json!({
        "shape": other.candidate.shape,
        "blocks": other.candidate.order.len(),
        "passes": other.candidate.passes,
        "expected_standard_uncertainty_percent": if compares { number(other.weighed.uncertainty_percent) } else { Value::Null },
        "chance_to_resolve": other.weighed.chance.map_or(Value::Null, number),
        "duration_s": number(other.weighed.duration_s),
    })
}
