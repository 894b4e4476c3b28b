//! JSON of several days: each of them, and all together.

use super::{Map, SCHEMA, Value, compare, comparison, estimated, json, number};
use crate::study::{Compared, Days, Pair, Together};

/// `days` holds what `compare` gives of a single one; `together` is `null` with fewer than two.
pub fn compare_days(found: &Days) -> Value {
    json!({
        "schema": SCHEMA,
        "days": found.days.iter().map(compare).collect::<Vec<_>>(),
        "together": found.together.as_ref().map_or(Value::Null, |t| together(t, &found.days)),
    })
}

fn together(together: &Together, days: &[Compared]) -> Value {
    let setups: Vec<Value> = together
        .setups
        .iter()
        .zip(&together.ridden)
        .map(|(setup, ridden)| {
            let mut map = Map::new();
            map.insert("name".into(), json!(setup.name));
            map.insert("days".into(), ridden.days.iter().map(|day| day + 1).collect());
            map.insert("blocks".into(), json!(ridden.blocks));
            if let Some(chance) = ridden.chance_lowest {
                map.insert("chance_lowest".into(), number(chance));
            }
            Value::Object(map)
        })
        .collect();
    json!({
        "folders": days.iter().map(|d| d.surveyed.folder.display().to_string()).collect::<Vec<_>>(),
        "setups": setups,
        "comparisons": together.pairs.iter().map(|p| pair(p, together)).collect::<Vec<_>>(),
        "day_to_day_percent": together.day_to_day_percent.map_or(Value::Null, number),
        "warnings": together.warnings,
    })
}

/// The keys of a single day's comparison, but for the stopwatch, and how the days stand.
fn pair(pair: &Pair, together: &Together) -> Value {
    let Value::Object(mut map) = comparison(&pair.finding, None, &together.setups) else {
        return Value::Null;
    };
    map.remove("stopwatch");
    let days = pair.days.iter().map(|of| {
        let mut day = Map::new();
        day.insert("day".into(), json!(of.day + 1));
        day.insert("cda_change_percent".into(), estimated(&of.cda_change_percent));
        Value::Object(day)
    });
    map.insert("days".into(), days.collect());
    let agreement = pair.agreement.map_or(Value::Null, |a| {
        json!({
            "holds": a.holds(),
            "spread_percent": number(100.0 * a.spread),
            "chi_squared": number(a.chi_squared),
            "degrees_of_freedom": a.degrees_of_freedom,
            "chance_of_more": number(a.chance_of_more),
        })
    });
    map.insert("agreement".into(), agreement);
    Value::Object(map)
}
