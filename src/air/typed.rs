//! What was typed of each quantity of the air, and the knots made of it.

use crate::air::density::moist_air_density_kg_m3;
use crate::air::{Air, AirState, Knot, RideSite, Source, UNKNOWN_WIND_M_S, Warming};
use crate::units::KELVIN_AT_0_C;

/// A value and its standard uncertainty at a time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading<const N: usize> {
    pub(super) time_s: f64,
    pub(super) value: [f64; N],
    pub(super) standard_uncertainty: f64,
}

/// One list for each quantity, so that a reading of the wind alone does not unset the temperature.
#[derive(Default)]
pub(super) struct Typed {
    pub(super) temperature_k: Vec<Reading<1>>,
    pub(super) pressure_pa: Vec<Reading<1>>,
    pub(super) humidity: Vec<Reading<1>>,
    pub(super) wind_m_s: Vec<Reading<2>>,
    pub(super) from_metar: bool,
}

/// Add a reading; one of the same moment gives way.
pub(super) fn put<const N: usize>(list: &mut Vec<Reading<N>>, reading: Reading<N>) {
    list.retain(|other| other.time_s != reading.time_s);
    list.push(reading);
}

/// What holds from the start of the ride on.
pub(super) fn held(site: &RideSite, value: f64, standard_uncertainty: f64) -> Reading<1> {
    Reading {
        time_s: site.start_s,
        value: [value],
        standard_uncertainty,
    }
}

/// A knot at every moment at which something was read.
pub(super) fn air_of(mut typed: Typed, site: &RideSite, source: Source, warming: Warming) -> Air {
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
    Air {
        knots,
        source,
        warming,
    }
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
        temperature_c: temperature.value[0] - KELVIN_AT_0_C,
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
