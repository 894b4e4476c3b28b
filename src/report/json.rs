//! JSON as docs and outside programs read it.

mod days;
mod joined;
mod plan;
mod predict;
mod rehearse;
mod roads;
mod sensors;

pub use days::compare_days;
pub use plan::plan;
pub use predict::predict;
pub use rehearse::rehearse;
pub use roads::roads;

use crate::course::{Course, NearPass, Pass};
use crate::recording::Recording;
use crate::streams::{SpeedSource, Streams};
use crate::study::{Compared, PassResult, Stopwatched, Surveyed};
use crate::test_day::Setup;
use crate::units::utc_text;
use crate::verdict::{About, Cause, Estimated, Finding, Line, Looks, NullTest, Says, Worth};
use serde_json::{Map, Value, json};

const SCHEMA: u32 = 1;

/// A number, or `null` where there is none: JSON has no NaN.
fn number(value: f64) -> Value {
    serde_json::Number::from_f64(value).map_or(Value::Null, Value::Number)
}

fn interval(interval: Option<[f64; 2]>) -> Value {
    match interval {
        Some([low, high]) if low.is_finite() && high.is_finite() => json!([low, high]),
        _ => Value::Null,
    }
}

fn with_uncertainty(value: f64, standard_uncertainty: f64) -> Value {
    json!({"value": number(value), "standard_uncertainty": number(standard_uncertainty)})
}

fn estimated(e: &Estimated) -> Value {
    json!({
        "value": number(e.value),
        "standard_uncertainty": e.standard_uncertainty.map_or(Value::Null, number),
        "interval_90": interval(e.interval_90),
    })
}

fn worth(w: &Worth) -> Map<String, Value> {
    let mut map = Map::new();
    map.insert("value".into(), number(w.value));
    map.insert("interval_90".into(), interval(w.interval_90));
    map
}

pub fn passes(surveyed: &Surveyed) -> Value {
    let passes: Vec<Value> = surveyed
        .ridden
        .passes
        .iter()
        .map(|p| Value::Object(pass(p, surveyed, &p.flags)))
        .collect();
    json!({
        "schema": SCHEMA,
        "course": course(&surveyed.ridden.course),
        "passes": passes,
        "near_passes": near_passes(surveyed),
        "likely_blocks": surveyed.ridden.likely_blocks,
        "joined": joined::joined(surveyed),
        "faults": faults(surveyed),
        "warnings": surveyed.warnings,
    })
}

pub fn compare(compared: &Compared) -> Value {
    let surveyed = &compared.surveyed;
    json!({
        "schema": SCHEMA,
        "title": surveyed.test_day.title,
        "course": course(&surveyed.ridden.course),
        "air": {
            "density_kg_m3": number(compared.air.density_kg_m3),
            "standard_uncertainty": number(compared.air.density_standard_uncertainty_kg_m3),
            "source": compared.air_source,
        },
        "passes": compared.passes.iter().map(|p| compared_pass(p, compared)).collect::<Vec<_>>(),
        "near_passes": near_passes(surveyed),
        "setups": setups(compared),
        "comparisons": comparisons(compared),
        "budget": budget(compared),
        "fit": {
            "ended": compared.fit.ended,
            "sentence": compared.fit.sentence,
            "crr_held": compared.rolling.held,
            "cda_crr_correlation": compared.rolling.correlation.map_or(Value::Null, number),
            "gust_q_m2_s": number(compared.basis.joint.strengths.gust_q_m2_s),
            "wind_wander_m_s": number(compared.basis.joint.strengths.wander_sd_m_s),
            "wind_memory_s": number(compared.basis.joint.strengths.wander_memory_s),
            "block_standard_deviation": number(compared.basis.joint.strengths.block_sd),
            "pass_standard_deviation": number(compared.basis.joint.strengths.pass_sd),
        },
        "sensors": sensors::sensors(compared),
        "assumptions": compared.assumptions,
        "joined": joined::joined(surveyed),
        "faults": faults(surveyed),
        "warnings": compared.warnings,
    })
}

fn course(course: &Course) -> Value {
    json!({
        "shape": course.shape,
        "found": course.found,
        "length_m": number(course.length_m()),
        "climb_m": course.climb_m().map_or(Value::Null, number),
        "start": course.line.start_deg(),
        "finish": course.line.finish_deg(),
        "roll_backs": course.roll_backs,
        "lap_mark_places": course.lap_mark_places.iter().map(|place| json!({
            "position": [place.latitude_deg, place.longitude_deg],
            "marks": place.marks,
            "distance_m": place.distance_m.map_or(Value::Null, number),
        })).collect::<Vec<_>>(),
    })
}

fn pass(pass: &Pass, surveyed: &Surveyed, flags: &[String]) -> Map<String, Value> {
    let file = surveyed.streams[pass.recording].name();
    let value = json!({
        "number": pass.number,
        "file": file,
        "direction": pass.direction,
        "start_time": utc_text(pass.start_s, 3),
        "end_time": utc_text(pass.end_s, 3),
        "crossing_standard_uncertainty_s": number(pass.crossing_standard_uncertainty_s),
        "duration_s": number(pass.duration_s()),
        "ridden_m": number(pass.ridden_m),
        "entry_speed_m_s": number(pass.entry_speed_m_s),
        "exit_speed_m_s": number(pass.exit_speed_m_s),
        "mean_power_w": number(pass.mean_power_w),
        "flags": flags,
    });
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

fn compared_pass(result: &PassResult, compared: &Compared) -> Value {
    let surveyed = &compared.surveyed;
    let mut map = pass(&surveyed.ridden.passes[result.pass], surveyed, &result.flags);
    map.insert("block".into(), json!(result.block));
    let setup = result.setup.map(|s| surveyed.test_day.setups[s].name.as_str());
    map.insert("setup".into(), json!(setup.or(result.block.map(|_| "none"))));
    map.insert(
        "cda_m2".into(),
        result.cda_m2.map_or(Value::Null, |(v, u)| with_uncertainty(v, u)),
    );
    map.insert(
        "still_air_time_s".into(),
        result.still_air_time_s.map_or(Value::Null, number),
    );
    map.insert("kept".into(), json!(result.kept));
    if let Some(seen) = &result.judged {
        let [(east, east_u), (north, north_u)] = seen.wind_m_s;
        map.insert(
            "wind".into(),
            json!({
                "east_m_s": with_uncertainty(east, east_u),
                "north_m_s": with_uncertainty(north, north_u),
                "headwind_standard_uncertainty_m_s": number(seen.headwind_standard_uncertainty_m_s),
            }),
        );
        let without = compared.findings.first().map_or(Value::Null, |f| {
            let change = seen.change_without[f.setup] - seen.change_without[f.baseline];
            let ratio = 1.0 + f.cda_change_percent.value / 100.0;
            number(100.0 * (ratio * change.exp() - 1.0))
        });
        map.insert(
            "left_out".into(),
            json!({
                "off_percent": number(100.0 * seen.off.exp_m1()),
                "studentised": number(seen.studentised),
                "cda_change_percent_without": without,
            }),
        );
    }
    if let Some(e) = &result.elevation {
        map.insert(
            "elevation".into(),
            json!({
                "along_m": e.along_m, "virtual_m": e.virtual_m, "shared_m": e.shared_m,
                "left_over_m": e.left_over_m.map(number),
            }),
        );
    }
    Value::Object(map)
}

fn near_passes(surveyed: &Surveyed) -> Vec<Value> {
    let near = |n: &NearPass| {
        json!({
            "file": surveyed.streams[n.recording].name(),
            "start_time": utc_text(n.start_s, 0),
            "direction": n.direction,
            "reason": n.reason,
        })
    };
    surveyed.ridden.near_passes.iter().map(near).collect()
}

fn setups(compared: &Compared) -> Vec<Value> {
    compared
        .setups
        .iter()
        .map(|s| {
            let cda = s.cda_m2.map_or(Value::Null, |(value, uncertainty, interval_90)| {
                json!({
                    "value": number(value), "standard_uncertainty": number(uncertainty),
                    "interval_90": interval(Some(interval_90)),
                })
            });
            let mut map = Map::new();
            map.insert("name".into(), json!(s.name));
            map.insert("cda_m2".into(), cda);
            map.insert("crr".into(), with_uncertainty(s.crr.0, s.crr.1));
            let rms = s.yaw.map_or(Value::Null, |yaw| number(yaw.rms_deg));
            map.insert("yaw_rms_deg".into(), rms);
            let unknown = s.yaw.map_or(Value::Null, |yaw| number(yaw.unknown_deg));
            map.insert("yaw_standard_uncertainty_deg".into(), unknown);
            map.insert("yaw_range_deg".into(), interval(s.yaw.map(|yaw| yaw.range_deg)));
            map.insert("blocks".into(), json!(s.blocks));
            map.insert("passes".into(), json!(s.passes));
            if let Some(chance) = s.chance_lowest {
                map.insert("chance_lowest".into(), number(chance));
            }
            Value::Object(map)
        })
        .collect()
}

fn comparisons(compared: &Compared) -> Vec<Value> {
    let accounts = compared.stopwatches.iter().map(Option::as_ref);
    compared
        .findings
        .iter()
        .zip(accounts.chain(std::iter::repeat(None)))
        .map(|(finding, account)| comparison(finding, account, &compared.surveyed.test_day.setups))
        .collect()
}

/// Seconds a pass; positive: the set-up was slower. The lines add up to the raw change.
fn stopwatch(account: &Stopwatched) -> Value {
    let line = |line: &Line| {
        let mut map = Map::new();
        map.insert("cause".into(), json!(line.cause.as_text()));
        map.insert("time_change_s".into(), number(line.time_change_s));
        if line.cause == Cause::SetUp {
            map.insert("interval_90".into(), interval(account.setup_interval_90_s));
        }
        Value::Object(map)
    };
    json!({
        "raw_time_change_s": number(account.account.raw_time_change_s),
        "change_percent_if_all_drag": account.change_if_all_drag_percent.map_or(Value::Null, number),
        "wind_known": account.wind_known,
        "lines": account.account.lines.iter().map(line).collect::<Vec<_>>(),
    })
}

fn comparison(finding: &Finding, account: Option<&Stopwatched>, names: &[Setup]) -> Value {
    let mut watts = Map::new();
    watts.insert("speed_m_s".into(), number(finding.speed_m_s));
    watts.extend(worth(&finding.watts));
    let mut value = json!({
        "setup": names[finding.setup].name,
        "baseline": names[finding.baseline].name,
        "about": match finding.about {
            About::Drag => json!(["cda"]),
            About::Rolling => json!(["crr"]),
            About::Both => json!(["cda", "crr"]),
        },
        "cda_change_percent": estimated(&finding.cda_change_percent),
        "crr_change_percent": finding.crr_change_percent.as_ref().map_or(Value::Null, estimated),
        "resistance_change_percent":
            finding.resistance_change_percent.as_ref().map_or(Value::Null, estimated),
        "interval_90_all_pairs_percent": interval(finding.interval_90_all_pairs_percent),
        "cda_change_m2": estimated(&finding.cda_change_m2),
        "watts_at": watts,
        "seconds_per_40_km": worth(&finding.seconds_per_40_km),
        "probability_lower": finding.probability_lower.map_or(Value::Null, number),
        "verdict": finding.call.as_text(),
        "more_blocks_to_resolve": finding.more_blocks_to_resolve,
        "known_to_be_small": finding.known_to_be_small,
        "null_test": finding.null_test.is_some(),
        "null_test_says": finding.null_test.as_ref().map_or(Value::Null, null_test),
        "stopwatch": account.map_or(Value::Null, stopwatch),
        "pass_average": {"cda_change_percent": estimated(&finding.pass_average_percent)},
    });
    if let (Value::Object(map), Some(seen)) = (&mut value, &finding.looks) {
        map.insert("looks".into(), looks(seen));
    }
    value
}

fn looks(looks: &Looks) -> Value {
    json!({
        "planned": looks.planned,
        "done": looks.done,
        "level_percent": number(looks.level_percent),
        "interval_percent": interval(looks.interval_percent),
        "more_blocks": match looks.says {
            Says::Resolved | Says::Small => json!(0),
            Says::More(more) => json!(more),
            Says::Hardly(_) | Says::NotResolved => Value::Null,
        },
        "says": looks.says.in_words(),
    })
}

fn null_test(test: &NullTest) -> Value {
    json!({
        "agrees": test.agrees(),
        "change_percent": number(test.change_percent),
        "standard_uncertainty_percent": test.standard_uncertainty_percent.map_or(Value::Null, number),
        "chance_of_more": test.chance_of_more.map_or(Value::Null, number),
        "sentence": test.in_words(),
    })
}

fn budget(compared: &Compared) -> Vec<Value> {
    let baseline = compared.findings.first().map_or(0, |f| f.baseline);
    let setup = compared.findings.first().map(|f| f.setup);
    compared
        .budget
        .iter()
        .map(|line| {
            let change = setup.map_or(Value::Null, |s| {
                number(100.0 * (line.effect_log_ratio[s] - line.effect_log_ratio[baseline]).abs())
            });
            json!({
                "input": line.input,
                "setup": line.of_setup.and_then(|s| compared.setups.get(s)).map(|s| s.name.as_str()),
                "standard_uncertainty": number(line.standard_uncertainty),
                "unit": line.unit,
                "effect_cda_m2": number(line.effect_cda_m2[baseline].abs()),
                "among_the_unknowns": line.inside,
                "effect_change_percent": change,
            })
        })
        .collect()
}

fn faults(surveyed: &Surveyed) -> Vec<Value> {
    surveyed.faults.iter().map(fault).collect()
}

fn fault(fault: &crate::error::Fault) -> Value {
    json!({
        "file": fault.file.as_ref().map(|f| f.display().to_string()),
        "place": fault.place,
        "what": fault.what,
        "next_step": fault.next_step,
    })
}

/// What one recording holds.
pub fn inspect(recording: &Recording, streams: Option<&Streams>, stretches: Option<&Surveyed>) -> Value {
    let channels: Vec<Value> = super::table::channels(recording)
        .into_iter()
        .map(|(name, unit, count)| json!({"name": name, "unit": unit, "samples": count}))
        .collect();
    let mut value = json!({
        "schema": SCHEMA,
        "file": recording.file.display().to_string(),
        "format": format!("{:?}", recording.format),
        "device": recording.device,
        "samples": recording.samples.len(),
        "channels": channels,
        "lap_marks": recording.lap_marks_s.iter().map(|t| utc_text(*t, 0)).collect::<Vec<_>>(),
        "sessions": recording.sessions.iter().map(|s| json!({
            "start_time": utc_text(s.start_s, 0), "end_time": utc_text(s.end_s, 0), "sport": s.sport,
        })).collect::<Vec<_>>(),
        "faults": recording.faults.iter().map(fault).collect::<Vec<_>>(),
    });
    let Value::Object(map) = &mut value else {
        return value;
    };
    if let Some(s) = streams {
        map.insert("start_time".into(), json!(utc_text(s.start_s(), 0)));
        map.insert("end_time".into(), json!(utc_text(s.end_s(), 0)));
        map.insert("nominal_interval_s".into(), number(s.nominal_interval_s));
        let gap = |g: &crate::streams::Gap| json!({"start_time": utc_text(g.start_s, 0), "duration_s": number(g.end_s - g.start_s), "paused": g.paused});
        map.insert("gaps".into(), s.gaps.iter().map(gap).collect());
        let repair = |r: &crate::streams::Repair| {
            json!({
                "kind": r.kind, "start_time": utc_text(r.start_s, 0), "end_time": utc_text(r.end_s, 0),
                "samples": r.samples, "message": r.message,
            })
        };
        map.insert("repairs".into(), s.repairs.iter().map(repair).collect());
        map.insert("speed_source".into(), json!(speed_source(s.speed_source)));
        let check = s.speed_check.map_or(Value::Null, |c| {
            json!({
                "ratio": number(c.ratio), "standard_uncertainty": number(c.standard_uncertainty),
                "length_m": number(c.length_m),
            })
        });
        map.insert("speed_over_positions".into(), check);
    }
    if let Some(found) = stretches {
        map.insert("stretch".into(), course(&found.ridden.course));
        map.insert("passes".into(), json!(found.ridden.passes.len()));
    }
    value
}

pub fn speed_source(source: SpeedSource) -> &'static str {
    match source {
        SpeedSource::WheelSensor => "wheel sensor",
        SpeedSource::Unit => "the unit's own speed",
        SpeedSource::Distance => "the unit's distance",
        SpeedSource::Positions => "positions",
        SpeedSource::None => "none",
    }
}
