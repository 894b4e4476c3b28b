//! `[[air]]`: what was measured of the air, as typed.

use super::quantity::{HUMIDITY, PRESSURE, Quantity, SEA_LEVEL_PRESSURE, TEMPERATURE, capitalised, plain};
use super::section::Section;
use super::{AirReading, Measured, Pressure, WindReading};

/// Of a wind written without an uncertainty, each way: a hand-held meter beside the road sees one place
/// and a few minutes (common practice, no published source).
const WIND_UNCERTAINTY_M_S: f64 = 1.0;

/// The readings, and a sentence for each default among their uncertainties.
pub(super) fn read(sections: &[Section]) -> (Vec<AirReading>, Vec<String>) {
    let mut assumptions = Vec::new();
    let readings: Vec<AirReading> = sections
        .iter()
        .map(|section| reading(section, &mut assumptions))
        .collect();
    check_times(sections, &readings);
    (readings, assumptions)
}

fn reading(section: &Section, assumptions: &mut Vec<String>) -> AirReading {
    let at_road = measured(section, &PRESSURE, assumptions);
    let at_sea_level = measured(section, &SEA_LEVEL_PRESSURE, assumptions);
    if section.has(PRESSURE.key) && section.has(SEA_LEVEL_PRESSURE.key) {
        section.fault(
            SEA_LEVEL_PRESSURE.key,
            "two pressures in one reading",
            "Keep pressure_hpa (a barometer at the road) or sea_level_pressure_hpa (a weather report), not both.",
        );
    }
    let reading = AirReading {
        line: section.line,
        time_s: section.time("time"),
        temperature_c: measured(section, &TEMPERATURE, assumptions),
        pressure: at_road
            .map(|hpa| Pressure::AtRoad { hpa })
            .or(at_sea_level.map(|hpa| Pressure::SeaLevel { hpa })),
        relative_humidity_percent: measured(section, &HUMIDITY, assumptions),
        metar: section.long_text("metar"),
        wind: wind(section, assumptions),
    };
    check_contents(section);
    reading
}

fn measured(section: &Section, quantity: &Quantity, assumptions: &mut Vec<String>) -> Option<Measured> {
    let typed = section.quantity(quantity);
    if section.has(quantity.uncertainty_key) && !section.has(quantity.key) {
        section.fault(
            quantity.uncertainty_key,
            format!("an uncertainty without its {}", quantity.name),
            format!("Write {} beside it, or remove it.", quantity.key),
        );
    }
    let value = typed.value?;
    if typed.uncertainty.is_none() {
        let sentence = format!(
            "{} as in test.toml, ± {}{} by default.",
            capitalised(quantity.name),
            plain(quantity.uncertainty),
            quantity.unit
        );
        if !assumptions.contains(&sentence) {
            assumptions.push(sentence);
        }
    }
    Some(Measured {
        value,
        standard_uncertainty: typed.uncertainty.unwrap_or(quantity.uncertainty),
        given: true,
    })
}

/// The three keys of a wind: the same in `[[air]]` and in `[[block]]`.
pub(super) fn wind(section: &Section, assumptions: &mut Vec<String>) -> Option<WindReading> {
    let keys = ["wind_speed_m_s", "wind_from_deg", "wind_standard_uncertainty_m_s"];
    if !keys.iter().any(|key| section.has(key)) {
        return None;
    }
    let speed = section.number_within(keys[0], 0.0, 40.0, "Write the wind speed at rider height in m/s.");
    let from = section.number_within(
        keys[1],
        0.0,
        360.0,
        "Write where the wind comes from, in degrees from true north, 0 to 360.",
    );
    let uncertainty = section.number_within(
        keys[2],
        0.0,
        20.0,
        "Write one standard deviation in m/s, zero or positive.",
    );
    // Calm air comes from nowhere.
    let calm = speed == Some(0.0);
    if !section.has(keys[0]) || !(section.has(keys[1]) || calm) {
        let missing = if section.has(keys[0]) { keys[1] } else { keys[0] };
        section.fault(
            missing,
            format!("the wind is given in part: {missing} is missing"),
            "Write both wind_speed_m_s and wind_from_deg, or neither.",
        );
        return None;
    }
    if !section.has(keys[2]) {
        let sentence = format!("Wind as in test.toml, ± {WIND_UNCERTAINTY_M_S} m/s each way by default.");
        if !assumptions.contains(&sentence) {
            assumptions.push(sentence);
        }
    }
    Some(WindReading {
        speed_m_s: speed?,
        from_deg: from.or(calm.then_some(0.0))?,
        standard_uncertainty_m_s: uncertainty.unwrap_or(WIND_UNCERTAINTY_M_S),
    })
}

/// A METAR stands instead of what it contains, and a reading must hold something.
fn check_contents(section: &Section) {
    let in_metar = [
        TEMPERATURE.key,
        PRESSURE.key,
        SEA_LEVEL_PRESSURE.key,
        HUMIDITY.key,
    ];
    if section.has("metar") {
        for key in in_metar.iter().filter(|key| section.has(key)) {
            section.fault(
                key,
                format!("both metar and {key} in one reading"),
                "A METAR stands instead of temperature, pressure and humidity: keep one of the two, or write a second [[air]] with its time.",
            );
        }
    } else if !in_metar.iter().any(|key| section.has(key)) && !section.has("wind_speed_m_s") {
        section.fault(
            "",
            "this reading holds no measurement",
            "Write temperature_c, pressure_hpa and relative_humidity_percent, or metar, or the wind; or remove it.",
        );
    }
}

/// Several readings are told apart by their times; a METAR carries its own.
fn check_times(sections: &[Section], readings: &[AirReading]) {
    if sections.len() < 2 {
        return;
    }
    for (index, (section, reading)) in sections.iter().zip(readings).enumerate() {
        if !section.has("time") && !section.has("metar") {
            section.fault(
                "",
                "this reading has no time, and it is not the only one",
                "Write time = … in each [[air]]; between readings the air is interpolated.",
            );
        }
        let earlier = readings.iter().take(index);
        if let Some(time_s) = reading.time_s
            && let Some(other) = earlier.into_iter().find(|other| other.time_s == Some(time_s))
        {
            section.fault(
                "time",
                format!("the same time as the reading of line {}", other.line),
                "Put what was measured at one time into one [[air]], or change one of the times.",
            );
        }
    }
}
