//! What was typed, what the ride knows and what is standard, settled into the air of the day.

use std::path::Path;

use crate::air::atmosphere::{geopotential_height_m, pressure_from_qnh_pa, standard_pressure_pa};
use crate::air::density::relative_humidity;
use crate::air::fill::{fill_humidity, fill_pressure, fill_temperature, follow_warming, source_of};
use crate::air::log_law::{RELATIVE_STANDARD_UNCERTAINTY, RIDER_HEIGHT_M, ROUGHNESS_M, ratio_to_10_m};
use crate::air::metar::{Observation, ReportedWind, decode};
use crate::air::typed::{Reading, Typed, air_of, put};
use crate::air::{Air, RideSite};
use crate::error::{Error, Fault, Result};
use crate::test_day::{AirReading, Measured, Pressure, WindReading};
use crate::units::{KELVIN_AT_0_C, PA_PER_HPA, clock_text, utc_text};
use crate::warning::Warning;

/// An airport is another place and another height, and its report is rounded to a degree. [K]
const METAR_TEMPERATURE_U_K: f64 = 1.5;
/// Rounded down to a whole hectopascal, and read elsewhere up to an hour before. [Pa]
const METAR_PRESSURE_U_PA: f64 = 120.0;
const METAR_HUMIDITY_U: f64 = 0.10;
/// The wind of another place: added to what the roughness leaves open. [m/s]
const METAR_WIND_U_M_S: f64 = 1.0;

/// A pressure at the road further than this from the standard is questioned: between the deepest and
/// the highest weather of a usual year lie about 25 hPa to either side; a sea-level value typed as one
/// at the road passes it from 210 m on.
const PRESSURE_QUESTIONED_PA: f64 = 2500.0;
/// Beyond this a "sea-level" pressure is likely one read at a height.
const SEA_LEVEL_QUESTIONED_PA: f64 = 5000.0;
/// A typed temperature this far from the unit's thermometer is questioned.
const TEMPERATURE_QUESTIONED_K: f64 = 12.0;
const STALE_S: f64 = 3.0 * 3600.0;
const DAY_S: f64 = 24.0 * 3600.0;

/// Density and wind at the road for the whole day.
///
/// What a reading leaves out is taken from the other readings, then from the recording unit, then from
/// the standard atmosphere (ISO 2533), and a warning says so. An airport's wind at 10 m is brought to
/// 1.2 m by the log law over open country, with a standard uncertainty of 30 % and 1 m/s more.
///
/// # Errors
/// All faults at once: a METAR that cannot be read or is of another day; a sea-level pressure where no
/// recording has an altitude; several readings of which one has no time.
pub fn settle(test_toml: &Path, readings: &[AirReading], site: &RideSite) -> Result<(Air, Vec<Warning>)> {
    let site = &usable(site);
    let mut gathering = Gathering {
        test_toml,
        site,
        typed: Typed::default(),
        faults: Vec::new(),
        warnings: Vec::new(),
    };
    for reading in readings {
        gathering.take(reading, readings.len() > 1);
    }
    if !gathering.faults.is_empty() {
        return Err(Error {
            faults: gathering.faults,
        });
    }
    let Gathering {
        mut typed,
        mut warnings,
        ..
    } = gathering;
    let source = source_of(&typed, site);
    fill_temperature(&mut typed, site, &mut warnings);
    fill_pressure(&mut typed, site, &mut warnings);
    fill_humidity(&mut typed, site);
    let warming = follow_warming(&mut typed, site);
    Ok((air_of(typed, site, source, warming), warnings))
}

/// What the ride knows, without what is no help: a median of nothing may be NaN, and a unit may store
/// its pressure reduced to the sea.
fn usable(site: &RideSite) -> RideSite {
    let known = |value: Option<f64>| value.filter(|value| value.is_finite());
    let height_m = known(site.height_m);
    let fits = |pascals: &f64| {
        height_m.is_none_or(|height_m| (pascals - standard_pa(height_m)).abs() <= PRESSURE_QUESTIONED_PA)
    };
    RideSite {
        height_m,
        unit_temperature_c: known(site.unit_temperature_c),
        unit_pressure_pa: known(site.unit_pressure_pa).filter(fits),
        ..*site
    }
}

/// Standard pressure at a geometric height.
fn standard_pa(height_m: f64) -> f64 {
    standard_pressure_pa(geopotential_height_m(height_m))
}

struct Gathering<'a> {
    test_toml: &'a Path,
    site: &'a RideSite,
    typed: Typed,
    faults: Vec<Fault>,
    warnings: Vec<Warning>,
}

impl Gathering<'_> {
    fn take(&mut self, reading: &AirReading, one_of_several: bool) {
        let place = format!("line {}, air", reading.line);
        let observation = match reading.metar.as_deref().map(decode) {
            None => None,
            Some(Ok(observation)) => Some(observation),
            Some(Err(fault)) => {
                self.faults
                    .push(fault.in_file(self.test_toml).at(format!("{place}.metar")));
                return;
            }
        };
        let Some(time_s) = self.time_of(reading, observation.as_ref(), one_of_several, &place) else {
            return;
        };
        if let Some(observation) = &observation {
            self.take_metar(observation, time_s, &place);
            // Values typed in the same table stand instead of the report's.
            self.typed.from_metar |= observation.temperature_c.is_some() && reading.temperature_c.is_none()
                || observation.qnh_pa.is_some() && reading.pressure.is_none();
        }
        self.take_typed(reading, time_s, &place);
    }

    fn time_of(
        &mut self,
        reading: &AirReading,
        observation: Option<&Observation>,
        one_of_several: bool,
        place: &str,
    ) -> Option<f64> {
        let middle = 0.5 * (self.site.start_s + self.site.end_s);
        let Some(observation) = observation else {
            if reading.time_s.is_none() && one_of_several {
                let fault = Fault::new(
                    "one of several readings has no time, so it is not known when it holds",
                    "Write time = 2026-05-02T08:10:00Z with each reading.",
                );
                self.faults.push(fault.in_file(self.test_toml).at(place));
                return None;
            }
            let time = reading.time_s.unwrap_or(middle);
            self.question_age(self.away_s(time), time, place, "reading");
            return Some(time);
        };
        let time = observation.time_s(reading.time_s.unwrap_or(middle));
        let away = time.map(|time| self.away_s(time));
        match (time, away) {
            (Some(time), Some(away)) if away <= DAY_S => {
                self.question_age(away, time, place, "METAR");
                Some(time)
            }
            _ => {
                let fault = Fault::new(
                    format!(
                        "the METAR is of the {:02}, {:02}:{:02} UTC, and the ride of {}",
                        observation.day,
                        observation.hour,
                        observation.minute,
                        utc_text(self.site.start_s, 0)
                    ),
                    "Use the report that was issued nearest to the ride.",
                );
                self.faults
                    .push(fault.in_file(self.test_toml).at(format!("{place}.metar")));
                None
            }
        }
    }

    /// Seconds between a moment and the ride.
    fn away_s(&self, time_s: f64) -> f64 {
        (self.site.start_s - time_s)
            .max(time_s - self.site.end_s)
            .max(0.0)
    }

    fn question_age(&mut self, away_s: f64, time_s: f64, place: &str, what: &str) {
        if away_s > STALE_S {
            self.warnings.push(Warning::new(
                "air-time",
                format!(
                    "{place}: the {what} of {} is {:.0} h away from the ride, which began at {}",
                    utc_text(time_s, 0),
                    away_s / 3600.0,
                    clock_text(self.site.start_s)
                ),
                "Use a reading nearer to the ride, or check its time and offset.",
            ));
        }
    }

    fn take_metar(&mut self, observation: &Observation, time_s: f64, place: &str) {
        if let Some(celsius) = observation.temperature_c {
            self.typed.temperature_k.push(Reading {
                time_s,
                value: [celsius + KELVIN_AT_0_C],
                standard_uncertainty: METAR_TEMPERATURE_U_K,
            });
            if let Some(dew) = observation.dew_point_c {
                let pressure = observation.qnh_pa.unwrap_or(101_325.0);
                let fraction = relative_humidity(pressure, celsius + KELVIN_AT_0_C, dew + KELVIN_AT_0_C);
                self.typed.humidity.push(Reading {
                    time_s,
                    value: [fraction.clamp(0.0, 1.0)],
                    standard_uncertainty: METAR_HUMIDITY_U,
                });
            }
        }
        if let Some(qnh_pa) = observation.qnh_pa {
            self.take_sea_level(qnh_pa, METAR_PRESSURE_U_PA, time_s, &format!("{place}.metar"));
        }
        if let Some(wind) = observation.wind {
            self.typed.wind_m_s.push(at_rider_height(&wind, time_s));
        }
    }

    fn take_typed(&mut self, reading: &AirReading, time_s: f64, place: &str) {
        if let Some(temperature) = reading.temperature_c {
            self.question_temperature(temperature.value, place);
            put(
                &mut self.typed.temperature_k,
                Reading {
                    time_s,
                    value: [temperature.value + KELVIN_AT_0_C],
                    standard_uncertainty: temperature.standard_uncertainty,
                },
            );
        }
        if let Some(Measured {
            value,
            standard_uncertainty,
            ..
        }) = reading.relative_humidity_percent
        {
            put(
                &mut self.typed.humidity,
                Reading {
                    time_s,
                    value: [value / 100.0],
                    standard_uncertainty: standard_uncertainty / 100.0,
                },
            );
        }
        match reading.pressure {
            Some(Pressure::AtRoad { hpa }) => {
                let pascals = hpa.value * PA_PER_HPA;
                self.question_pressure(pascals, place);
                put(
                    &mut self.typed.pressure_pa,
                    Reading {
                        time_s,
                        value: [pascals],
                        standard_uncertainty: hpa.standard_uncertainty * PA_PER_HPA,
                    },
                );
            }
            Some(Pressure::SeaLevel { hpa }) => {
                let (value, u) = (hpa.value * PA_PER_HPA, hpa.standard_uncertainty * PA_PER_HPA);
                self.take_sea_level(value, u, time_s, place);
            }
            None => {}
        }
        if let Some(wind) = reading.wind {
            put(&mut self.typed.wind_m_s, typed_wind(&wind, time_s));
        }
    }

    fn take_sea_level(&mut self, qnh_pa: f64, standard_uncertainty: f64, time_s: f64, place: &str) {
        let Some(height_m) = self.site.height_m else {
            let fault = Fault::new(
                "a sea-level pressure is given, but no recording has an altitude to bring it to",
                "Write pressure_hpa, what a barometer reads at the road.",
            );
            self.faults.push(fault.in_file(self.test_toml).at(place));
            return;
        };
        if (qnh_pa - 101_325.0).abs() > SEA_LEVEL_QUESTIONED_PA {
            self.warnings.push(Warning::new(
                "pressure",
                format!(
                    "{place}: {:.1} hPa is far from any usual sea-level pressure",
                    qnh_pa / PA_PER_HPA
                ),
                "If a barometer at the road showed it, write pressure_hpa instead of sea_level_pressure_hpa.",
            ));
        }
        put(
            &mut self.typed.pressure_pa,
            Reading {
                time_s,
                value: [pressure_from_qnh_pa(qnh_pa, geopotential_height_m(height_m))],
                standard_uncertainty,
            },
        );
    }

    fn question_pressure(&mut self, pascals: f64, place: &str) {
        let Some(height_m) = self.site.height_m else {
            return;
        };
        let standard = standard_pa(height_m);
        if (pascals - standard).abs() <= PRESSURE_QUESTIONED_PA {
            return;
        }
        let like_sea_level = (pascals - 101_325.0).abs() <= PRESSURE_QUESTIONED_PA;
        let next_step = if like_sea_level {
            "It looks like a sea-level value, as weather reports give: then write sea_level_pressure_hpa."
        } else {
            "Check the number, and the altitude of the recording."
        };
        self.warnings.push(Warning::new(
            "pressure",
            format!(
                "{place}: {:.1} hPa at the road does not fit its altitude of {height_m:.0} m, where the standard is {:.0} hPa; it is used as typed and moves every CdA by {:+.1} %",
                pascals / PA_PER_HPA,
                standard / PA_PER_HPA,
                100.0 * (standard / pascals - 1.0)
            ),
            next_step,
        ));
    }

    fn question_temperature(&mut self, celsius: f64, place: &str) {
        let Some(unit) = self.site.unit_temperature_c else {
            return;
        };
        if (celsius - unit).abs() > TEMPERATURE_QUESTIONED_K {
            self.warnings.push(Warning::new(
                "thermometer",
                format!("{place}: {celsius:.1} °C is typed, and the recording unit showed {unit:.1} °C"),
                "Check the number: a unit in the sun shows some degrees too much, not so many.",
            ));
        }
    }
}

fn typed_wind(wind: &WindReading, time_s: f64) -> Reading<2> {
    Reading {
        time_s,
        value: wind.east_north_m_s(),
        standard_uncertainty: wind.standard_uncertainty_m_s,
    }
}

/// A variable wind has no mean but still a size: its share in each direction becomes uncertainty.
fn at_rider_height(wind: &ReportedWind, time_s: f64) -> Reading<2> {
    let speed = wind.speed_m_s * ratio_to_10_m(RIDER_HEIGHT_M, ROUGHNESS_M);
    match wind.from_deg {
        Some(from_deg) => typed_wind(
            &WindReading {
                speed_m_s: speed,
                from_deg,
                standard_uncertainty_m_s: (RELATIVE_STANDARD_UNCERTAINTY * speed).hypot(METAR_WIND_U_M_S),
            },
            time_s,
        ),
        None => Reading {
            time_s,
            value: [0.0, 0.0],
            standard_uncertainty: (speed * std::f64::consts::FRAC_1_SQRT_2).hypot(METAR_WIND_U_M_S),
        },
    }
}

#[cfg(test)]
#[path = "settle_tests.rs"]
mod tests;
