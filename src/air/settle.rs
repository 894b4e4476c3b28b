//! What was typed, what the ride knows and what is standard, settled into the air of the day.

use std::path::Path;

use crate::air::atmosphere::{
    geopotential_height_m, pressure_from_qnh_pa, standard_pressure_pa, standard_temperature_k,
};
use crate::air::density::{moist_air_density_kg_m3, relative_humidity};
use crate::air::log_law::{RELATIVE_STANDARD_UNCERTAINTY, RIDER_HEIGHT_M, ROUGHNESS_M, ratio_to_10_m};
use crate::air::metar::{Observation, ReportedWind, decode};
use crate::air::{Air, AirState, Knot, RideSite, Source, UNKNOWN_WIND_M_S};
use crate::error::{Error, Fault, Result};
use crate::test_day::{AirReading, Measured, Pressure, WindReading};
use crate::units::{KELVIN_AT_0_C, PA_PER_HPA, clock_text, utc_text};
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

/// A value and its standard uncertainty at a time.
#[derive(Debug, Clone, Copy)]
struct Reading<const N: usize> {
    time_s: f64,
    value: [f64; N],
    standard_uncertainty: f64,
}

/// One list for each quantity, so that a reading of the wind alone does not unset the temperature.
#[derive(Default)]
struct Typed {
    temperature_k: Vec<Reading<1>>,
    pressure_pa: Vec<Reading<1>>,
    humidity: Vec<Reading<1>>,
    wind_m_s: Vec<Reading<2>>,
    from_metar: bool,
}

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
    if typed.humidity.is_empty() {
        let (value, standard_uncertainty) = HUMIDITY;
        typed.humidity.push(held(site, value, standard_uncertainty));
    }
    Ok((air_of(typed, site, source), warnings))
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
            self.typed.from_metar = true;
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
            self.typed.from_metar = true;
            self.take_sea_level(qnh_pa, METAR_PRESSURE_U_PA, time_s, &format!("{place}.metar"));
        }
        if let Some(wind) = observation.wind {
            self.typed.wind_m_s.push(at_rider_height(&wind, time_s));
        }
    }

    /// A typed value stands instead of the METAR's of the same table.
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
        let standard = standard_pressure_pa(geopotential_height_m(height_m));
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

/// Add a reading; one of the same moment gives way.
fn put<const N: usize>(list: &mut Vec<Reading<N>>, reading: Reading<N>) {
    list.retain(|other| other.time_s != reading.time_s);
    list.push(reading);
}

fn typed_wind(wind: &WindReading, time_s: f64) -> Reading<2> {
    let from = wind.from_deg.to_radians();
    Reading {
        time_s,
        value: [-wind.speed_m_s * from.sin(), -wind.speed_m_s * from.cos()],
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

fn source_of(typed: &Typed, site: &RideSite) -> Source {
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

fn held(site: &RideSite, value: f64, standard_uncertainty: f64) -> Reading<1> {
    Reading {
        time_s: site.start_s,
        value: [value],
        standard_uncertainty,
    }
}

fn fill_temperature(typed: &mut Typed, site: &RideSite, warnings: &mut Vec<Warning>) {
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
    typed.temperature_k.push(held(site, kelvin, uncertainty));
}

fn fill_pressure(typed: &mut Typed, site: &RideSite, warnings: &mut Vec<Warning>) {
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

/// A knot at every moment at which something was read.
fn air_of(mut typed: Typed, site: &RideSite, source: Source) -> Air {
    sort(&mut typed.temperature_k);
    sort(&mut typed.pressure_pa);
    sort(&mut typed.humidity);
    sort(&mut typed.wind_m_s);
    let scalars = [&typed.temperature_k, &typed.pressure_pa, &typed.humidity];
    let mut times: Vec<f64> = scalars
        .iter()
        .flat_map(|list| list.iter().map(|reading| reading.time_s))
        .chain(typed.wind_m_s.iter().map(|reading| reading.time_s))
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let knots = times
        .into_iter()
        .map(|time_s| Knot {
            time_s,
            state: state_at(&typed, site, time_s),
        })
        .collect();
    Air { knots, source }
}

fn sort<const N: usize>(list: &mut [Reading<N>]) {
    list.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
}

fn state_at(typed: &Typed, site: &RideSite, time_s: f64) -> AirState {
    // The lists of the three scalars are never empty here: they were filled.
    let unknown = held(site, f64::NAN, f64::NAN);
    let scalar = |list: &[Reading<1>]| interpolated(list, time_s).unwrap_or(unknown);
    let (temperature, pressure, humidity) = (
        scalar(&typed.temperature_k),
        scalar(&typed.pressure_pa),
        scalar(&typed.humidity),
    );
    let wind = interpolated(&typed.wind_m_s, time_s).unwrap_or(Reading {
        time_s,
        value: [0.0, 0.0],
        standard_uncertainty: UNKNOWN_WIND_M_S,
    });
    let density = |dp: f64, dt: f64, dh: f64| {
        moist_air_density_kg_m3(
            pressure.value[0] + dp,
            temperature.value[0] + dt,
            humidity.value[0] + dh,
        )
    };
    let half_change = |up: f64, down: f64| 0.5 * (up - down);
    let (up, ut, uh) = (
        pressure.standard_uncertainty,
        temperature.standard_uncertainty,
        humidity.standard_uncertainty,
    );
    let variance = half_change(density(up, 0.0, 0.0), density(-up, 0.0, 0.0)).powi(2)
        + half_change(density(0.0, ut, 0.0), density(0.0, -ut, 0.0)).powi(2)
        + half_change(density(0.0, 0.0, uh), density(0.0, 0.0, -uh)).powi(2);
    AirState {
        density_kg_m3: density(0.0, 0.0, 0.0),
        density_standard_uncertainty_kg_m3: variance.sqrt(),
        wind_east_m_s: wind.value[0],
        wind_north_m_s: wind.value[1],
        wind_standard_uncertainty_m_s: wind.standard_uncertainty,
    }
}

/// Linear between readings, held beyond them; `None` of an empty list.
fn interpolated<const N: usize>(list: &[Reading<N>], time_s: f64) -> Option<Reading<N>> {
    let after = list.partition_point(|reading| reading.time_s <= time_s);
    let earlier = after.checked_sub(1).and_then(|index| list.get(index));
    match (earlier, list.get(after)) {
        (Some(a), Some(b)) => {
            let share = (time_s - a.time_s) / (b.time_s - a.time_s);
            let mix = |from: f64, to: f64| from + share * (to - from);
            Some(Reading {
                time_s,
                value: std::array::from_fn(|i| mix(a.value[i], b.value[i])),
                standard_uncertainty: mix(a.standard_uncertainty, b.standard_uncertainty),
            })
        }
        (only, other) => only.or(other).copied(),
    }
}

#[cfg(test)]
#[path = "settle_tests.rs"]
mod tests;
