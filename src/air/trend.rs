//! How the air warms over a day, as a straight line: by the recording unit's thermometer, or by the readings.

/// The air's warming, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warming {
    pub k_per_h: f64,
    pub standard_uncertainty_k_per_h: f64,
    pub known_by: KnownBy,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KnownBy {
    /// Readings at different times in `[[air]]`.
    Readings,
    UnitThermometer,
    Nothing,
}

/// Clear mornings warm by 1 to 2 K an hour from sunrise to noon, dull days hardly (common practice, no published
/// source); the pressure's weather, some 1 hPa/h, is worth 0.3 K/h of density and stands in it.
const UNKNOWN_K_PER_H: f64 = 1.5;
/// The sun on the unit climbs too, and the steps of the thermometer are 1 K (judgement).
const UNIT_K_PER_H: f64 = 0.5;
const PRESSURE_K_PER_H: f64 = 0.3;
/// A unit comes warm out of the house and warms where it stands: on 16 real rides it took 10 to 20 minutes of
/// riding to come within 1 K of where it stayed.
const SETTLES_S: f64 = 900.0;
const BIN_S: f64 = 600.0;
/// A line through less than this tells nothing of a day.
const SHORTEST_S: f64 = 2400.0;

impl Warming {
    /// Nobody looked.
    pub fn unknown() -> Warming {
        Warming {
            k_per_h: 0.0,
            standard_uncertainty_k_per_h: UNKNOWN_K_PER_H,
            known_by: KnownBy::Nothing,
        }
    }

    /// By readings with this standard uncertainty over so many hours. Half of it belongs to the reading, the other
    /// half to a thermometer that is off all day (judgement).
    pub(super) fn by_readings(k_per_h: f64, standard_uncertainty_k: f64, hours: f64) -> Warming {
        let of_ends = 0.5 * standard_uncertainty_k * std::f64::consts::SQRT_2 / hours;
        Warming {
            k_per_h,
            standard_uncertainty_k_per_h: of_ends.hypot(PRESSURE_K_PER_H),
            known_by: KnownBy::Readings,
        }
    }
}

/// The line through what a unit's thermometer showed while it was ridden. `rides`: of each recording the times
/// (unix s, increasing) and temperatures (°C) while it moved. `None` where that is too short a time.
pub fn by_unit(rides: &[Vec<(f64, f64)>]) -> Option<Warming> {
    let bins: Vec<(f64, f64)> = rides.iter().flat_map(|ride| settled_bins(ride)).collect();
    let count = bins.len() as f64;
    let middle = |value: fn(&(f64, f64)) -> f64| bins.iter().map(value).sum::<f64>() / count;
    let (time_s, temperature_c) = (middle(|b| b.0), middle(|b| b.1));
    let first_s = bins.iter().map(|b| b.0).fold(f64::INFINITY, f64::min);
    let last_s = bins.iter().map(|b| b.0).fold(f64::NEG_INFINITY, f64::max);
    if bins.len() < 4 || last_s - first_s < SHORTEST_S {
        return None;
    }
    let squares: f64 = bins.iter().map(|b| (b.0 - time_s).powi(2)).sum();
    let products: f64 = bins.iter().map(|b| (b.0 - time_s) * (b.1 - temperature_c)).sum();
    let slope = products / squares;
    let left: f64 = bins
        .iter()
        .map(|b| (b.1 - temperature_c - slope * (b.0 - time_s)).powi(2))
        .sum();
    let of_line = 3600.0 * (left / (count - 2.0) / squares).sqrt();
    Some(Warming {
        k_per_h: 3600.0 * slope,
        standard_uncertainty_k_per_h: of_line.hypot(UNIT_K_PER_H),
        known_by: KnownBy::UnitThermometer,
    })
}

/// Means over ten minutes of riding each, from when the thermometer has settled.
fn settled_bins(ride: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let Some((start_s, _)) = ride.first() else {
        return Vec::new();
    };
    let from_s = start_s + SETTLES_S;
    let mut bins: Vec<(usize, f64, f64, f64)> = Vec::new();
    for (time_s, temperature_c) in ride.iter().filter(|(time_s, _)| *time_s >= from_s) {
        let number = ((time_s - from_s) / BIN_S) as usize;
        match bins.last_mut() {
            Some(bin) if bin.0 == number => {
                bin.1 += time_s - from_s;
                bin.2 += temperature_c;
                bin.3 += 1.0;
            }
            _ => bins.push((number, time_s - from_s, *temperature_c, 1.0)),
        }
    }
    bins.iter()
        .map(|(_, times, temperatures, count)| (from_s + times / count, temperatures / count))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whole degrees each second, from the house at 22 °C, that is left with 5 min of memory.
    fn ride(k_per_h: f64, hours: f64) -> Vec<(f64, f64)> {
        (0..(3600.0 * hours) as usize)
            .map(|second| {
                let t = second as f64;
                let air = 10.0 + k_per_h * t / 3600.0;
                (1e9 + t, (air + 12.0 * (-t / 300.0).exp()).round())
            })
            .collect()
    }

    #[test]
    fn a_unit_out_of_the_house_tells_the_warming_of_the_air() {
        for k_per_h in [-1.0, 0.0, 1.5, 3.0] {
            let warming = by_unit(&[ride(k_per_h, 3.0)]).unwrap();
            assert!((warming.k_per_h - k_per_h).abs() < 0.3, "{k_per_h}: {warming:?}");
            assert!(warming.standard_uncertainty_k_per_h >= UNIT_K_PER_H);
        }
        // With the first quarter of an hour it would cool by far more than it warms.
        let raw = ride(1.5, 0.25);
        assert!(raw[0].1 - raw[raw.len() - 1].1 > 10.0);
    }

    #[test]
    fn a_short_ride_and_one_without_a_thermometer_tell_nothing() {
        assert_eq!(by_unit(&[ride(1.5, 0.6)]), None);
        assert_eq!(by_unit(&[]), None);
        assert_eq!(by_unit(&[Vec::new()]), None);
    }

    #[test]
    fn readings_at_both_ends_tell_it_by_what_each_may_be_off() {
        // Half of 1 K each, √2 for two, over 2 h: 0.354 K/h; with the pressure's 0.3.
        let warming = Warming::by_readings(2.0, 1.0, 2.0);
        assert!((warming.standard_uncertainty_k_per_h - 0.354f64.hypot(0.3)).abs() < 1e-3);
    }
}
