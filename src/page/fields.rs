//! What was entered and can be tried otherwise: masses, tyres, drivetrain, air.

use crate::test_day::{AirReading, Measured, Pressure, Setup, TestDay};
use maud::{Markup, html};

struct Field {
    /// As `asked` knows it.
    name: String,
    label: String,
    unit: &'static str,
    step: &'static str,
    value: f64,
    standard_uncertainty: Option<f64>,
    given: bool,
}

/// Of everything that is asked of the rider once or for each set-up, and of each reading of the air.
pub fn fields(day: &TestDay) -> Markup {
    let bicycle = of_bicycle(day);
    let air: Vec<Field> = day
        .air
        .iter()
        .enumerate()
        .flat_map(|(place, reading)| of_air(place, reading, day.air.len()))
        .collect();
    html! {
        div class="fields" { @for field in bicycle.iter().chain(&air) { (one(field)) } }
        @for (place, report) in day.air.iter().enumerate().filter_map(|(place, one)| Some((place, one.metar.as_ref()?))) {
            p {
                (report) " "
                button type="button" id=(format!("remove-air-{place}")) data-remove="air" data-place=(place)
                    aria-label=(format!("Take away the report {report}")) { "take away" }
            }
        }
        @if day.air.is_empty() { (added_air()) }
        (added_report())
    }
}

/// The first reading; those after it need a time each, and are written in an editor.
fn added_air() -> Markup {
    let boxes = [
        ("temperature_c", "Temperature", "°C"),
        ("pressure_hpa", "Pressure at the road", "hPa"),
        ("relative_humidity_percent", "Humidity", "%"),
    ];
    html! {
        fieldset data-do="air" {
            legend { "The air, as read at the road" }
            div class="fields" {
                @for (name, label, unit) in boxes {
                    div class="field" {
                        label for=(format!("add-{name}")) { (label) }
                        span class="entry" {
                            input id=(format!("add-{name}")) name=(name) type="text" inputmode="decimal" autocomplete="off";
                            " " (unit)
                        }
                    }
                }
            }
            button type="button" id="add-air" { "Add this reading" }
        }
    }
}

fn added_report() -> Markup {
    html! {
        fieldset data-do="metar" {
            legend { "Or the report of a station nearby" }
            p class="field" {
                label for="add-report" { "METAR" }
                input id="add-report" name="report" type="text" maxlength="500" autocomplete="off" spellcheck="false";
            }
            button type="button" id="add-metar" { "Add this report" }
        }
    }
}

fn of_bicycle(day: &TestDay) -> Vec<Field> {
    type Of = fn(&Setup) -> Measured;
    let all: [(&str, &str, &str, &str, &str, Of); 3] = [
        ("rider", "total_mass_kg", "Rider and bicycle", "kg", "0.1", |s| {
            s.total_mass_kg
        }),
        ("tyres", "crr", "Rolling resistance", "", "0.0001", |s| s.crr),
        ("bike", "drivetrain_efficiency", "Drivetrain", "", "0.001", |s| {
            s.drivetrain_efficiency
        }),
    ];
    let mut fields = Vec::new();
    for (table, key, label, unit, step, of) in all {
        let field = |name: String, label: String, measured: Measured| Field {
            name,
            label,
            unit,
            step,
            value: measured.value,
            standard_uncertainty: Some(measured.standard_uncertainty),
            given: measured.given,
        };
        let alike = day
            .setups
            .windows(2)
            .all(|two| of(&two[0]).value == of(&two[1]).value);
        match day.setups.first() {
            Some(first) if alike => {
                fields.push(field(format!("{table}.{key}"), label.to_string(), of(first)))
            }
            _ => fields.extend(day.setups.iter().enumerate().map(|(place, setup)| {
                field(
                    format!("setup.{place}.{key}"),
                    format!("{label}, {}", setup.name),
                    of(setup),
                )
            })),
        }
    }
    fields
}

fn of_air(place: usize, reading: &AirReading, readings: usize) -> Vec<Field> {
    let which = if readings > 1 {
        format!(", reading {}", place + 1)
    } else {
        String::new()
    };
    let mut fields = Vec::new();
    let mut add = |key: &str, label: &str, unit, step, measured: Measured| {
        fields.push(Field {
            name: format!("air.{place}.{key}"),
            label: format!("{label}{which}"),
            unit,
            step,
            value: measured.value,
            standard_uncertainty: Some(measured.standard_uncertainty).filter(|u| *u > 0.0),
            given: measured.given,
        });
    };
    if let Some(temperature) = reading.temperature_c {
        add("temperature_c", "Temperature", "°C", "0.5", temperature);
    }
    match reading.pressure {
        Some(Pressure::AtRoad { hpa }) => add("pressure_hpa", "Pressure at the road", "hPa", "1", hpa),
        Some(Pressure::SeaLevel { hpa }) => {
            add("sea_level_pressure_hpa", "Pressure at sea level", "hPa", "1", hpa)
        }
        None => {}
    }
    if let Some(humidity) = reading.relative_humidity_percent {
        add("relative_humidity_percent", "Humidity", "%", "1", humidity);
    }
    if let Some(wind) = reading.wind {
        let given = |value, standard_uncertainty| Measured {
            value,
            standard_uncertainty,
            given: true,
        };
        add(
            "wind_speed_m_s",
            "Wind at rider height",
            "m/s",
            "0.1",
            given(wind.speed_m_s, wind.standard_uncertainty_m_s),
        );
        add(
            "wind_from_deg",
            "Wind comes from",
            "°",
            "5",
            given(wind.from_deg, 0.0),
        );
    }
    fields
}

fn one(field: &Field) -> Markup {
    let id = format!("field-{}", field.name.replace('.', "-"));
    html! {
        div class="field" {
            label for=(id) { (field.label) }
            span class="entry" {
                input id=(id) type="number" step=(field.step) value=(field.value) data-field=(field.name);
                @if !field.unit.is_empty() { " " (field.unit) }
            }
            span class="soft" {
                @if let Some(u) = field.standard_uncertainty { "± " (u) }
                @if !field.given { " as usual, not given" }
            }
        }
    }
}
