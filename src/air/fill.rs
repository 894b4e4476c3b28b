//! What nobody measured: from the recording unit, else from the standard atmosphere, and said.

use crate::air::atmosphere::{geopotential_height_m, standard_pressure_pa, standard_temperature_k};
use crate::air::typed::{Reading, Typed, held};
use crate::air::{RideSite, Source, Warming};
use crate::units::{KELVIN_AT_0_C, PA_PER_HPA};
use crate::warning::Warning;

// Standard uncertainties of what nobody measured. All are choices, stated in the warnings and docs.
/// Weather moves the barometer by about this about the standard at a height. [Pa]
const STANDARD_PRESSURE_U_PA: f64 = 1000.0;
/// Seasons and climates about the standard temperature. [K]
const STANDARD_TEMPERATURE_U_K: f64 = 8.0;
/// Sun and the rider's heat on the unit. [K]
const UNIT_TEMPERATURE_U_K: f64 = 3.0;
const UNIT_PRESSURE_U_PA: f64 = 300.0;
const HUMIDITY: (f64, f64) = (0.50, 0.20);

pub(super) fn source_of(typed: &Typed, site: &RideSite) -> Source {
    let temperature = !typed.temperature_k.is_empty();
    let pressure = !typed.pressure_pa.is_empty();
    match (temperature, pressure) {
        _ if typed.from_metar => Source::Metar,
        (true, true) => Source::Measured,
        (true, false) => Source::MeasuredTemperature,
        (false, true) => Source::MeasuredPressure,
        (false, false) => match (site.unit_temperature_c, site.unit_pressure_pa) {
            (Some(_), Some(_)) => Source::Unit,
            (Some(_), None) => Source::UnitThermometer,
            (None, _) => Source::StandardAtmosphere,
        },
    }
}

pub(super) fn fill_temperature(typed: &mut Typed, site: &RideSite, warnings: &mut Vec<Warning>) {
    if !typed.temperature_k.is_empty() {
        return;
    }
    let (kelvin, uncertainty, message) = match site.unit_temperature_c {
        Some(celsius) => (
            celsius + KELVIN_AT_0_C,
            UNIT_TEMPERATURE_U_K,
            format!(
                "no air temperature was given: the recording unit's thermometer is used ({celsius:.1} °C ± {UNIT_TEMPERATURE_U_K:.0} K), which feels sun and body heat; 1 K moves every CdA by 0.4 %"
            ),
        ),
        None => {
            let kelvin = standard_temperature_k(geopotential_height_m(site.height_m.unwrap_or(0.0)));
            (
                kelvin,
                STANDARD_TEMPERATURE_U_K,
                format!(
                    "no air temperature is known: the standard atmosphere's is used ({:.1} °C ± {STANDARD_TEMPERATURE_U_K:.0} K); 1 K moves every CdA by 0.4 %",
                    kelvin - KELVIN_AT_0_C
                ),
            )
        }
    };
    warnings.push(Warning::new(
        "thermometer",
        message,
        "Write temperature_c in [[air]], read in the shade, or a METAR.",
    ));
    // A median of the ride belongs to its middle.
    typed.temperature_k.push(Reading {
        time_s: 0.5 * (site.start_s + site.end_s),
        ..held(site, kelvin, uncertainty)
    });
}

pub(super) fn fill_pressure(typed: &mut Typed, site: &RideSite, warnings: &mut Vec<Warning>) {
    if !typed.pressure_pa.is_empty() {
        return;
    }
    let (pascals, uncertainty, whose) = match (site.unit_pressure_pa, site.height_m) {
        (Some(pascals), _) => (pascals, UNIT_PRESSURE_U_PA, "the recording unit's barometer's"),
        (None, Some(height_m)) => (
            standard_pressure_pa(geopotential_height_m(height_m)),
            STANDARD_PRESSURE_U_PA,
            "the standard atmosphere's at that altitude",
        ),
        // Where people ride: most roads lie below 1000 m, which is 110 hPa.
        (None, None) => (99_000.0, 4000.0, "a guess, for want of an altitude,"),
    };
    warnings.push(Warning::new(
        "pressure",
        format!(
            "no air pressure was given: {whose} is used ({:.0} hPa ± {:.0} hPa); 1 hPa moves every CdA by 0.1 %",
            pascals / PA_PER_HPA,
            uncertainty / PA_PER_HPA
        ),
        "Write pressure_hpa (at the road), sea_level_pressure_hpa or a METAR in [[air]].",
    ));
    typed.pressure_pa.push(held(site, pascals, uncertainty));
}

pub(super) fn fill_humidity(typed: &mut Typed, site: &RideSite) {
    if typed.humidity.is_empty() {
        let (value, standard_uncertainty) = HUMIDITY;
        typed.humidity.push(held(site, value, standard_uncertainty));
    }
}

/// Readings of the temperature that are spread over at least this share of the ride tell how it changed.
const SPREAD: f64 = 0.6;

/// How the air warmed over the ride. Where the readings do not tell, the temperatures are made to follow the unit's
/// thermometer, whose level may be off while its change is not.
pub(super) fn follow_warming(typed: &mut Typed, site: &RideSite) -> Warming {
    let readings = &mut typed.temperature_k;
    readings.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let (Some(first), Some(last)) = (readings.first().copied(), readings.last().copied()) else {
        return Warming::unknown();
    };
    let spread_s = last.time_s - first.time_s;
    let ride_s = site.end_s - site.start_s;
    if ride_s > 0.0 && spread_s >= SPREAD * ride_s {
        let hours = spread_s / 3600.0;
        let uncertainty_k = first.standard_uncertainty.max(last.standard_uncertainty);
        return Warming::by_readings((last.value[0] - first.value[0]) / hours, uncertainty_k, hours);
    }
    let Some(warming) = site.unit_warming else {
        return Warming::unknown();
    };
    let count = readings.len() as f64;
    let kelvin = readings.iter().map(|r| r.value[0]).sum::<f64>() / count;
    let read_s = readings.iter().map(|r| r.time_s).sum::<f64>() / count;
    let read_s = read_s.clamp(site.start_s, site.end_s);
    let at = |time_s: f64| Reading {
        time_s,
        value: [kelvin + warming.k_per_h * (time_s - read_s) / 3600.0],
        standard_uncertainty: first.standard_uncertainty,
    };
    *readings = vec![at(site.start_s), at(site.end_s)];
    warming
}
