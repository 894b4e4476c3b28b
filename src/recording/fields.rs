//! The one table of what devices and exports call a quantity, and the units they give it in.

use super::Sample;
use crate::units::{
    KELVIN_AT_0_C, M_PER_FOOT, M_PER_MILE, M_S_PER_KM_H, M_S_PER_KNOT, PA_PER_HPA, PA_PER_INHG,
};
use std::collections::HashMap;
use std::sync::OnceLock;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Quantity {
    /// A moment: ISO 8601, unix seconds, or seconds since the start.
    Time,
    /// Seconds since the start, and nothing else.
    Elapsed,
    Latitude,
    Longitude,
    Altitude,
    Distance,
    Speed,
    Power,
    Cadence,
    HeartRate,
    Temperature,
    Pressure,
}

/// A name's quantity, and its rank: where a file has two names for one quantity, the higher one is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Known {
    pub quantity: Quantity,
    pub rank: u8,
}

/// value · `factor` + `offset` is SI (degrees for positions, °C for temperature, as `Sample` has them).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Conversion {
    pub factor: f64,
    pub offset: f64,
}

impl Conversion {
    pub(super) const NONE: Conversion = Conversion {
        factor: 1.0,
        offset: 0.0,
    };

    pub(super) fn apply(self, value: f64) -> f64 {
        value * self.factor + self.offset
    }
}

/// Names without case, blanks and punctuation. Rank 2: the wide form that FIT calls `enhanced_`, or a name that
/// can mean one thing only; 1: the plain form.
const NAMES: &[(Quantity, u8, &[&str])] = &[
    (
        Quantity::Time,
        2,
        &[
            "timestamp",
            "datetime",
            "utctime",
            "unixtime",
            "epoch",
            "timeutc",
            "utc",
            "timeiso8601",
        ],
    ),
    (Quantity::Time, 1, &["time"]),
    (
        Quantity::Elapsed,
        1,
        &[
            "elapsed",
            "elapsedtime",
            "timeelapsed",
            "secs",
            "seconds",
            "sec",
            "timeoffset",
        ],
    ),
    (
        Quantity::Latitude,
        1,
        &["latitude", "lat", "positionlat", "poslat", "latitudedegrees"],
    ),
    (
        Quantity::Longitude,
        1,
        &[
            "longitude",
            "lon",
            "lng",
            "long",
            "positionlong",
            "poslong",
            "longitudedegrees",
        ],
    ),
    (Quantity::Altitude, 2, &["enhancedaltitude"]),
    (
        Quantity::Altitude,
        1,
        &["altitude", "alt", "elevation", "ele", "height", "altitudemeters"],
    ),
    (
        Quantity::Distance,
        1,
        &["distance", "dist", "distancemeters", "totaldistance"],
    ),
    (Quantity::Speed, 2, &["enhancedspeed"]),
    (
        Quantity::Speed,
        1,
        &["speed", "velocity", "spd", "groundspeed", "kph", "kmh", "mph"],
    ),
    (
        Quantity::Power,
        1,
        &["power", "watts", "watt", "powerinwatts", "pwr"],
    ),
    (Quantity::Cadence, 1, &["cadence", "cad", "rpm"]),
    (
        Quantity::HeartRate,
        1,
        &["heartrate", "hr", "heartratebpm", "hrm", "bpm", "pulse"],
    ),
    (
        Quantity::Temperature,
        1,
        &[
            "temperature",
            "temp",
            "atemp",
            "airtemperature",
            "ambienttemperature",
        ],
    ),
    (Quantity::Pressure, 2, &["absolutepressure"]),
    (
        Quantity::Pressure,
        1,
        &[
            "pressure",
            "airpressure",
            "barometricpressure",
            "ambientpressure",
            "baro",
        ],
    ),
];

/// A unit's name, factor and offset: value · factor + offset.
type Unit = (&'static str, f64, f64);

/// Units without case and punctuation, for each quantity.
const UNITS: &[(Quantity, &[Unit])] = &[
    (Quantity::Time, TIME_UNITS),
    (Quantity::Elapsed, TIME_UNITS),
    (Quantity::Latitude, ANGLE_UNITS),
    (Quantity::Longitude, ANGLE_UNITS),
    (Quantity::Altitude, LENGTH_UNITS),
    (Quantity::Distance, LENGTH_UNITS),
    (
        Quantity::Speed,
        &[
            ("ms", 1.0, 0.0),
            ("mps", 1.0, 0.0),
            ("ms1", 1.0, 0.0),
            ("kmh", M_S_PER_KM_H, 0.0),
            ("kph", M_S_PER_KM_H, 0.0),
            ("kmph", M_S_PER_KM_H, 0.0),
            ("mph", M_PER_MILE / 3600.0, 0.0),
            ("mih", M_PER_MILE / 3600.0, 0.0),
            ("kn", M_S_PER_KNOT, 0.0),
            ("kt", M_S_PER_KNOT, 0.0),
            ("knots", M_S_PER_KNOT, 0.0),
        ],
    ),
    (
        Quantity::Power,
        &[
            ("w", 1.0, 0.0),
            ("watts", 1.0, 0.0),
            ("watt", 1.0, 0.0),
            ("kw", 1000.0, 0.0),
        ],
    ),
    (
        Quantity::Cadence,
        &[("rpm", 1.0, 0.0), ("revmin", 1.0, 0.0), ("1min", 1.0, 0.0)],
    ),
    (
        Quantity::HeartRate,
        &[("bpm", 1.0, 0.0), ("1min", 1.0, 0.0), ("beatsmin", 1.0, 0.0)],
    ),
    (
        Quantity::Temperature,
        &[
            ("c", 1.0, 0.0),
            ("°c", 1.0, 0.0),
            ("degc", 1.0, 0.0),
            ("celsius", 1.0, 0.0),
            ("f", 5.0 / 9.0, -160.0 / 9.0),
            ("°f", 5.0 / 9.0, -160.0 / 9.0),
            ("degf", 5.0 / 9.0, -160.0 / 9.0),
            ("fahrenheit", 5.0 / 9.0, -160.0 / 9.0),
            ("k", 1.0, -KELVIN_AT_0_C),
        ],
    ),
    (
        Quantity::Pressure,
        &[
            ("pa", 1.0, 0.0),
            ("hpa", PA_PER_HPA, 0.0),
            ("mbar", PA_PER_HPA, 0.0),
            ("mb", PA_PER_HPA, 0.0),
            ("kpa", 1000.0, 0.0),
            ("inhg", PA_PER_INHG, 0.0),
        ],
    ),
];

const TIME_UNITS: &[Unit] = &[
    ("s", 1.0, 0.0),
    ("sec", 1.0, 0.0),
    ("secs", 1.0, 0.0),
    ("seconds", 1.0, 0.0),
    ("utc", 1.0, 0.0),
    ("unix", 1.0, 0.0),
    ("ms", 1e-3, 0.0),
    ("msec", 1e-3, 0.0),
    ("milliseconds", 1e-3, 0.0),
    ("min", 60.0, 0.0),
];

/// FIT semicircles: 2³¹ of them make 180°.
const ANGLE_UNITS: &[Unit] = &[
    ("deg", 1.0, 0.0),
    ("degrees", 1.0, 0.0),
    ("°", 1.0, 0.0),
    ("semicircles", 180.0 / 2_147_483_648.0, 0.0),
    ("rad", 180.0 / std::f64::consts::PI, 0.0),
];

const LENGTH_UNITS: &[Unit] = &[
    ("m", 1.0, 0.0),
    ("meters", 1.0, 0.0),
    ("metres", 1.0, 0.0),
    ("km", 1000.0, 0.0),
    ("ft", M_PER_FOOT, 0.0),
    ("feet", M_PER_FOOT, 0.0),
    ("mi", M_PER_MILE, 0.0),
    ("mile", M_PER_MILE, 0.0),
    ("miles", M_PER_MILE, 0.0),
];

/// A name that already says its unit.
fn unit_in_name(name: &str) -> Option<&'static str> {
    match name {
        "kph" | "kmh" => Some("kmh"),
        "mph" => Some("mph"),
        "watts" | "watt" | "powerinwatts" => Some("w"),
        "altitudemeters" | "distancemeters" => Some("m"),
        "latitudedegrees" | "longitudedegrees" => Some("deg"),
        "seconds" | "secs" | "sec" => Some("s"),
        _ => None,
    }
}

/// The quantity a bare name stands for, in any letter case and punctuation.
pub(super) fn lookup(name: &str) -> Option<Known> {
    static TABLE: OnceLock<HashMap<&'static str, Known>> = OnceLock::new();
    let table = TABLE.get_or_init(|| {
        let rows = NAMES.iter().flat_map(|(quantity, rank, names)| {
            names.iter().map(|name| {
                (
                    *name,
                    Known {
                        quantity: *quantity,
                        rank: *rank,
                    },
                )
            })
        });
        rows.collect()
    });
    table.get(plain(name).as_str()).copied()
}

/// The conversion to SI of a quantity in a unit; `None` where the unit is not understood.
pub(super) fn conversion(quantity: Quantity, unit: &str) -> Option<Conversion> {
    let unit = plain(unit);
    if unit.is_empty() {
        return Some(Conversion::NONE);
    }
    let (_, rows) = UNITS.iter().find(|(of, _)| *of == quantity)?;
    let (_, factor, offset) = rows.iter().find(|(name, _, _)| *name == unit)?;
    Some(Conversion {
        factor: *factor,
        offset: *offset,
    })
}

/// What the header of a column says.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Header {
    Known {
        known: Known,
        conversion: Conversion,
        unit_written: bool,
    },
    /// The quantity is known, the unit is not.
    StrangeUnit {
        quantity: Quantity,
        unit: String,
    },
    Unknown {
        name: String,
        unit: String,
    },
}

/// Reads a column header such as "speed (km/h)", "Speed [m/s]", "power_w", "alt_ft", "distance km".
pub(super) fn header(text: &str) -> Header {
    let text = text.trim();
    if let Some((name, unit)) = bracketed(text) {
        return match lookup(name) {
            Some(known) => match conversion(known.quantity, unit) {
                Some(conversion) => Header::Known {
                    known,
                    conversion,
                    unit_written: !plain(unit).is_empty(),
                },
                None => Header::StrangeUnit {
                    quantity: known.quantity,
                    unit: unit.to_string(),
                },
            },
            None => Header::Unknown {
                name: name.to_string(),
                unit: unit.to_string(),
            },
        };
    }
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || "_-./:".contains(c))
        .collect();
    for split in (1..=words.len()).rev() {
        let (name, unit) = (words[..split].concat(), words[split..].concat());
        let Some(known) = lookup(&name) else { continue };
        let written = if unit.is_empty() {
            unit_in_name(&plain(&name)).unwrap_or("")
        } else {
            &unit
        };
        if let Some(conversion) = conversion(known.quantity, written) {
            return Header::Known {
                known,
                conversion,
                unit_written: !written.is_empty(),
            };
        }
    }
    Header::Unknown {
        name: text.to_string(),
        unit: String::new(),
    }
}

pub(super) fn bracketed(text: &str) -> Option<(&str, &str)> {
    let open = text.find(['(', '['])?;
    let unit = text.get(open + 1..)?.trim_end().strip_suffix([')', ']'])?;
    Some((text.get(..open)?.trim(), unit.trim()))
}

/// Lower case, without blanks and punctuation. The degree sign stays: it is all there is to some units.
pub(super) fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| c.is_alphanumeric() || *c == '°')
        .flat_map(char::to_lowercase)
        .collect()
}

impl Sample {
    /// Puts a value in SI into its place; one that cannot be is missing.
    pub(super) fn put(&mut self, quantity: Quantity, value: f64) {
        let value = Some(value).filter(|value| value.is_finite());
        match quantity {
            Quantity::Time | Quantity::Elapsed => {}
            Quantity::Latitude => self.latitude_deg = value.filter(|degrees| degrees.abs() <= 90.0),
            Quantity::Longitude => self.longitude_deg = value.and_then(wrapped_longitude_deg),
            Quantity::Altitude => self.altitude_m = value,
            Quantity::Distance => self.distance_m = value,
            Quantity::Speed => self.speed_m_s = value,
            Quantity::Power => self.power_w = value,
            Quantity::Cadence => self.cadence_rpm = value,
            Quantity::HeartRate => self.heart_rate_bpm = value,
            Quantity::Temperature => self.temperature_c = value,
            Quantity::Pressure => self.pressure_pa = value,
        }
    }
}

/// −180 ≤ longitude < 180, as GPX 1.1 has it (its XSD, code S); 180 itself is met in files.
fn wrapped_longitude_deg(degrees: f64) -> Option<f64> {
    if (-180.0..180.0).contains(&degrees) {
        return Some(degrees);
    }
    ((-360.0..=360.0).contains(&degrees)).then(|| (degrees + 180.0).rem_euclid(360.0) - 180.0)
}

#[cfg(test)]
mod tests;
