//! An answer as it is shown: every number finite, no negative spread, no empty interval.

use serde_json::Value;
use stillair::report::html::{Told, report};
use stillair::report::{json, terminal};
use stillair::study::Compared;

/// As JSON, in the terminal and as a document.
pub fn shown(compared: &Compared) {
    let answer = json::compare(compared);
    number(&answer, "answer");
    words(&terminal::compare(compared, 80), "terminal");
    let told = Told {
        compared,
        files: &[],
        private: false,
        folder: "day",
        cautions: "",
    };
    let document = report(&told);
    // A fault quotes what stands in the file, whatever that is.
    if compared.surveyed.faults.is_empty() {
        words(&document, "document");
    }
}

fn words(text: &str, place: &str) {
    for line in text.lines() {
        let mut words = line.split(|c: char| !c.is_alphanumeric());
        assert!(
            !words.any(|word| ["NaN", "inf"].contains(&word)),
            "{place}: {line}"
        );
    }
}

/// JSON has no word for what is not a number and shows it as null, so a null beside an interval is wrong too.
fn number(value: &Value, place: &str) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                number(value, &format!("{place}.{name}"));
                if name.contains("uncertainty") || name.ends_with("_standard_deviation") {
                    assert!(
                        value.as_f64().is_none_or(|spread| spread >= 0.0),
                        "{place}.{name}: {value}"
                    );
                }
                if name.contains("interval") && !value.is_null() {
                    ordered(value, fields.get("value"), &format!("{place}.{name}"));
                }
            }
        }
        Value::Array(values) => values.iter().for_each(|value| number(value, place)),
        Value::Number(number) => assert!(number.as_f64().is_some_and(f64::is_finite), "{place}: {number}"),
        Value::String(text) if !place.ends_with(".faults.what") => words(text, place),
        Value::String(_) | Value::Bool(_) | Value::Null => {}
    }
}

fn ordered(interval: &Value, value: Option<&Value>, place: &str) {
    let ends: Vec<f64> = interval
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_f64)
        .collect();
    let [low, high] = ends[..] else {
        panic!("{place}: {interval}")
    };
    assert!(low < high, "{place}: {interval}");
    if let Some(value) = value {
        let inside = value.as_f64().is_some_and(|value| (low..=high).contains(&value));
        assert!(inside, "{place}: {value} outside {interval}");
    }
}
