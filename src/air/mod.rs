//! Weather and position → density and wind at the road.

pub mod density;

pub mod atmosphere;

pub mod log_law;

pub mod metar;

mod typed;

mod fill;

mod settle;

mod trend;

pub use settle::settle;
pub use trend::{KnownBy, Warming, by_unit};

/// The air at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirState {
    pub temperature_c: f64,
    pub density_kg_m3: f64,
    pub density_standard_uncertainty_kg_m3: f64,
    /// Where the air moves *to*, at rider height.
    pub wind_east_m_s: f64,
    pub wind_north_m_s: f64,
    /// Each way; `UNKNOWN_WIND_M_S` when nothing is known.
    pub wind_standard_uncertainty_m_s: f64,
}

/// Standard uncertainty, each way, of a wind nobody has looked at. A choice: METHOD's prior.
pub const UNKNOWN_WIND_M_S: f64 = 2.0;

/// What the density rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Temperature and pressure were typed.
    Measured,
    /// At least one of temperature and pressure comes from an airport's report.
    Metar,
    MeasuredTemperature,
    MeasuredPressure,
    /// Thermometer and barometer of the recording unit.
    Unit,
    UnitThermometer,
    StandardAtmosphere,
}

impl Source {
    pub fn as_text(self) -> &'static str {
        match self {
            Source::Measured => "measured",
            Source::Metar => "METAR",
            Source::MeasuredTemperature => "measured temperature, pressure not measured",
            Source::MeasuredPressure => "measured pressure, temperature not measured",
            Source::Unit => "unit's thermometer and barometer",
            Source::UnitThermometer => "unit's thermometer and standard pressure",
            Source::StandardAtmosphere => "standard atmosphere",
        }
    }
}

/// The air of one moment of the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knot {
    pub time_s: f64,
    pub state: AirState,
}

/// The air of the whole day: at least one knot, in order of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Air {
    pub knots: Vec<Knot>,
    pub source: Source,
    /// Over the ride; followed already by the knots, as far as it is known.
    pub warming: Warming,
}

impl Air {
    /// The same air all day.
    pub fn steady(state: AirState, source: Source) -> Self {
        Air {
            knots: vec![Knot { time_s: 0.0, state }],
            source,
            warming: Warming::unknown(),
        }
    }

    /// Linear between the knots, held beyond the first and the last. `time_s`: unix seconds.
    pub fn at(&self, time_s: f64) -> AirState {
        let after = self.knots.partition_point(|knot| knot.time_s <= time_s);
        let later = self.knots.get(after);
        let earlier = after.checked_sub(1).and_then(|index| self.knots.get(index));
        match (earlier, later) {
            (Some(a), Some(b)) => {
                let share = (time_s - a.time_s) / (b.time_s - a.time_s);
                between(&a.state, &b.state, share)
            }
            (Some(only), None) | (None, Some(only)) => only.state,
            // No knot at all cannot come from `settle`: nothing is known then.
            (None, None) => nothing_known(),
        }
    }
}

fn between(a: &AirState, b: &AirState, share: f64) -> AirState {
    let mix = |from: f64, to: f64| from + share * (to - from);
    AirState {
        temperature_c: mix(a.temperature_c, b.temperature_c),
        density_kg_m3: mix(a.density_kg_m3, b.density_kg_m3),
        density_standard_uncertainty_kg_m3: mix(
            a.density_standard_uncertainty_kg_m3,
            b.density_standard_uncertainty_kg_m3,
        ),
        wind_east_m_s: mix(a.wind_east_m_s, b.wind_east_m_s),
        wind_north_m_s: mix(a.wind_north_m_s, b.wind_north_m_s),
        wind_standard_uncertainty_m_s: mix(a.wind_standard_uncertainty_m_s, b.wind_standard_uncertainty_m_s),
    }
}

fn nothing_known() -> AirState {
    AirState {
        temperature_c: 15.0,
        density_kg_m3: 1.225,
        density_standard_uncertainty_kg_m3: 0.1,
        wind_east_m_s: 0.0,
        wind_north_m_s: 0.0,
        wind_standard_uncertainty_m_s: UNKNOWN_WIND_M_S,
    }
}

/// What the ride itself knows of its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RideSite {
    /// Unix seconds.
    pub start_s: f64,
    pub end_s: f64,
    pub latitude_deg: f64,
    pub height_m: Option<f64>,
    /// Median of the recording unit's thermometer during the ride.
    pub unit_temperature_c: Option<f64>,
    /// Median of the unit's barometer.
    pub unit_pressure_pa: Option<f64>,
    /// By the unit's thermometer over the ride.
    pub unit_warming: Option<Warming>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn state(density: f64, east: f64) -> AirState {
        AirState {
            temperature_c: 15.0,
            density_kg_m3: density,
            density_standard_uncertainty_kg_m3: 0.01,
            wind_east_m_s: east,
            wind_north_m_s: 0.0,
            wind_standard_uncertainty_m_s: 1.0,
        }
    }

    #[test]
    fn between_readings_the_air_changes_evenly_and_beyond_them_it_stays() {
        let air = Air {
            knots: vec![
                Knot {
                    time_s: 100.0,
                    state: state(1.2, 0.0),
                },
                Knot {
                    time_s: 200.0,
                    state: state(1.1, 4.0),
                },
            ],
            source: Source::Measured,
            warming: Warming::unknown(),
        };
        assert_eq!(air.at(0.0), state(1.2, 0.0));
        assert_eq!(air.at(100.0), state(1.2, 0.0));
        let middle = air.at(125.0);
        assert!((middle.density_kg_m3 - 1.175).abs() < 1e-12 && (middle.wind_east_m_s - 1.0).abs() < 1e-12);
        assert_eq!(air.at(200.0), state(1.1, 4.0));
        assert_eq!(air.at(1e9), state(1.1, 4.0));
        assert_eq!(
            Air::steady(state(1.0, 0.0), Source::Metar).at(-5.0),
            state(1.0, 0.0)
        );
    }
}
