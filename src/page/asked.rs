//! What the page asks for → a change of `test.toml`.

use crate::error::Fault;
use crate::test_day::edit::{Edit, List, Stretches};
use serde::Deserialize;

/// As the script sends it. A pass is named by its start, a place in a list counts from 0.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Asked {
    LeaveOut {
        start_s: f64,
        reason: String,
    },
    Cut {
        start_s: Option<f64>,
        from_m: f64,
        to_m: f64,
        reason: Option<String>,
    },
    Window {
        start_s: Option<f64>,
        from_m: f64,
        to_m: f64,
    },
    Ends {
        list: Stretches,
        place: usize,
        from_m: f64,
        to_m: f64,
    },
    /// As they were typed.
    Air {
        temperature_c: String,
        pressure_hpa: String,
        relative_humidity_percent: String,
    },
    Metar {
        report: String,
    },
    Remove {
        list: OfList,
        place: usize,
    },
    /// `field` as the page was given it; `value` as it was typed.
    Set {
        field: String,
        value: String,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OfList {
    Cuts,
    Windows,
    Excludes,
    Air,
}

/// Names of fields are `table.key`, or `list.place.key` in a list.
pub const FIELDS: [(&str, &str); 3] = [
    ("rider", "total_mass_kg"),
    ("tyres", "crr"),
    ("bike", "drivetrain_efficiency"),
];
const OF_SETUPS: [&str; 3] = ["total_mass_kg", "crr", "drivetrain_efficiency"];
const OF_AIR: [&str; 6] = [
    "temperature_c",
    "pressure_hpa",
    "sea_level_pressure_hpa",
    "relative_humidity_percent",
    "wind_speed_m_s",
    "wind_from_deg",
];
/// Longer words are no reason but a mistake.
const LONGEST_REASON: usize = 300;
const LONGEST_REPORT: usize = 500;

impl Asked {
    /// # Errors
    /// A number that is none, a stretch without a length, a field that is not on the page.
    pub fn edit(self) -> Result<Edit, Fault> {
        Ok(match self {
            Asked::LeaveOut { start_s, reason } => Edit::LeaveOut {
                start_s: finite(start_s)?,
                reason: worded(&reason)?,
            },
            Asked::Cut {
                start_s,
                from_m,
                to_m,
                reason,
            } => {
                let [from_m, to_m] = ends(from_m, to_m)?;
                Edit::Cut {
                    start_s: start_s.map(finite).transpose()?,
                    from_m,
                    to_m,
                    reason: match reason.filter(|reason| !reason.trim().is_empty()) {
                        Some(reason) => Some(worded(&reason)?),
                        None => None,
                    },
                }
            }
            Asked::Window {
                start_s,
                from_m,
                to_m,
            } => {
                let [from_m, to_m] = ends(from_m, to_m)?;
                Edit::Window {
                    start_s: start_s.map(finite).transpose()?,
                    from_m,
                    to_m,
                }
            }
            Asked::Ends {
                list,
                place,
                from_m,
                to_m,
            } => {
                let [from_m, to_m] = ends(from_m, to_m)?;
                Edit::Ends {
                    list,
                    place,
                    from_m,
                    to_m,
                }
            }
            Asked::Air {
                temperature_c,
                pressure_hpa,
                relative_humidity_percent,
            } => Edit::Air {
                temperature_c: typed(&temperature_c)?,
                pressure_hpa: typed(&pressure_hpa)?,
                relative_humidity_percent: typed(&relative_humidity_percent)?,
            },
            Asked::Metar { report } => Edit::Metar {
                report: reported(&report)?,
            },
            Asked::Remove { list, place } => Edit::Remove {
                list: match list {
                    OfList::Cuts => List::Cuts,
                    OfList::Windows => List::Windows,
                    OfList::Excludes => List::Excludes,
                    OfList::Air => List::Air,
                },
                place,
            },
            Asked::Set { field, value } => set(&field, typed(&value)?)?,
        })
    }
}

fn set(field: &str, value: f64) -> Result<Edit, Fault> {
    let unknown = || Fault::new(format!("there is no field '{field}'"), "Load the page again.");
    let parts: Vec<&str> = field.split('.').collect();
    match parts.as_slice() {
        [table, key] => {
            let (table, key) = FIELDS
                .into_iter()
                .find(|known| known == &(*table, *key))
                .ok_or_else(unknown)?;
            Ok(Edit::Number { table, key, value })
        }
        [list, place, key] => {
            let (list, keys) = match *list {
                "setup" => (List::Setups, OF_SETUPS.as_slice()),
                "air" => (List::Air, OF_AIR.as_slice()),
                _ => return Err(unknown()),
            };
            Ok(Edit::NumberOf {
                list,
                place: place.parse().map_err(|_| unknown())?,
                key: keys
                    .iter()
                    .find(|known| *known == key)
                    .copied()
                    .ok_or_else(unknown)?,
                value,
            })
        }
        _ => Err(unknown()),
    }
}

/// Also with a comma, as many people write it.
fn typed(text: &str) -> Result<f64, Fault> {
    let value = text.trim().replace(',', ".").replace('−', "-").parse();
    value.ok().filter(|value: &f64| value.is_finite()).ok_or_else(|| {
        Fault::new(
            format!("'{}' is no number", text.trim()),
            "Type a number, such as 83.2.",
        )
    })
}

fn finite(value: f64) -> Result<f64, Fault> {
    if value.is_finite() {
        return Ok(value);
    }
    Err(Fault::new("a number is none", "Load the page again."))
}

/// Whichever end was named first.
fn ends(from_m: f64, to_m: f64) -> Result<[f64; 2], Fault> {
    let [low, high] = [finite(from_m.min(to_m))?, finite(from_m.max(to_m))?];
    if high - low < 1.0 {
        return Err(Fault::new(
            "the stretch is shorter than a metre",
            "Mark a longer one.",
        ));
    }
    Ok([low, high])
}

fn reported(report: &str) -> Result<String, Fault> {
    // A report that was copied out of lines is one line here.
    let report = report.split_whitespace().collect::<Vec<_>>().join(" ");
    if report.is_empty() || report.chars().count() > LONGEST_REPORT {
        return Err(Fault::new(
            "there is no report, or more than one",
            "Copy one METAR of a station nearby, such as METAR XXXX 020820Z 24003KT 19/09 Q1013.",
        ));
    }
    Ok(report)
}

fn worded(reason: &str) -> Result<String, Fault> {
    match reason.trim() {
        "" => Err(Fault::new(
            "no reason is given",
            "Say why in a few words: they are written into test.toml.",
        )),
        long if long.chars().count() > LONGEST_REASON => Err(Fault::new(
            "the reason is very long",
            format!("Say it in {LONGEST_REASON} characters."),
        )),
        reason => Ok(reason.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Edit, String> {
        let asked: Asked = serde_json::from_str(text).map_err(|error| error.to_string())?;
        asked.edit().map_err(|fault| fault.to_string())
    }

    #[test]
    fn what_is_asked_for_becomes_a_change() {
        assert_eq!(
            read(r#"{"do":"cut","start_s":null,"from_m":520,"to_m":400.5,"reason":" "}"#),
            Ok(Edit::Cut {
                start_s: None,
                from_m: 400.5,
                to_m: 520.0,
                reason: None
            })
        );
        assert_eq!(
            read(r#"{"do":"set","field":"rider.total_mass_kg","value":" 83,2 "}"#),
            Ok(Edit::Number {
                table: "rider",
                key: "total_mass_kg",
                value: 83.2
            })
        );
        assert_eq!(
            read(r#"{"do":"metar","report":"METAR XXXX 020820Z\n 24003KT 19/09 Q1013 "}"#),
            Ok(Edit::Metar {
                report: "METAR XXXX 020820Z 24003KT 19/09 Q1013".to_string()
            })
        );
        assert_eq!(
            read(r#"{"do":"set","field":"air.1.wind_speed_m_s","value":"2"}"#),
            Ok(Edit::NumberOf {
                list: List::Air,
                place: 1,
                key: "wind_speed_m_s",
                value: 2.0
            })
        );
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        for text in [
            r#"{"do":"cut","start_s":null,"from_m":400,"to_m":400.5,"reason":null}"#,
            r#"{"do":"cut","start_s":null,"from_m":400,"to_m":null,"reason":null}"#,
            r#"{"do":"leave-out","start_s":1,"reason":"  "}"#,
            r#"{"do":"set","field":"rider.total_mass_kg","value":"heavy"}"#,
            r#"{"do":"set","field":"rider.total_mass_kg","value":"NaN"}"#,
            r#"{"do":"set","field":"course.start","value":"3"}"#,
            r#"{"do":"set","field":"setup.0.name","value":"3"}"#,
            r#"{"do":"set","field":"setup.-1.crr","value":"3"}"#,
            r#"{"do":"remove","list":"setups","place":0}"#,
            r#"{"do":"air","temperature_c":"","pressure_hpa":"1000","relative_humidity_percent":"50"}"#,
            r#"{"do":"metar","report":" \n "}"#,
            r#"{"do":"format","disk":0}"#,
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }
}
