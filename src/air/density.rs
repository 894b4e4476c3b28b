//! Density of moist air, CIPM-2007.
//!
//! Picard, Davis, Gläser and Fujii, *Revised formula for the density of moist air (CIPM-2007)*,
//! Metrologia 45:149-155, 2008, doi 10.1088/0026-1394/45/2/004. Carbon dioxide 400 µmol/mol.
//! Stated for 600 to 1100 hPa and 15 to 27 °C; an independent mixture model (CoolProp) differs by
//! less than 5e-5 from 0 to 40 °C, so it is used there as well.

use crate::units::KELVIN_AT_0_C;

const GAS_CONSTANT: f64 = 8.314472;
const CARBON_DIOXIDE: f64 = 0.0004;
const MOLAR_MASS_AIR: f64 = (28.96546 + 12.011 * (CARBON_DIOXIDE - 0.0004)) * 1e-3;
const MOLAR_MASS_WATER: f64 = 18.01528e-3;

/// Density of moist air. [kg/m³]
///
/// `pressure_pa` is what a barometer reads at the road, not a sea-level value: at 400 m that mistake is
/// 5 % of drag. `relative_humidity` is a fraction, 0 to 1.
pub fn moist_air_density_kg_m3(pressure_pa: f64, temperature_k: f64, relative_humidity: f64) -> f64 {
    let vapour = relative_humidity * saturated_mole_fraction(pressure_pa, temperature_k);
    density(pressure_pa, temperature_k, vapour)
}

/// The same from a dew point. [kg/m³]
pub fn density_from_dew_point_kg_m3(pressure_pa: f64, temperature_k: f64, dew_point_k: f64) -> f64 {
    density(
        pressure_pa,
        temperature_k,
        saturated_mole_fraction(pressure_pa, dew_point_k),
    )
}

/// Relative humidity as a fraction from temperature and dew point.
pub fn relative_humidity(pressure_pa: f64, temperature_k: f64, dew_point_k: f64) -> f64 {
    saturated_mole_fraction(pressure_pa, dew_point_k) / saturated_mole_fraction(pressure_pa, temperature_k)
}

/// Vapour pressure at saturation over water. [Pa]
pub fn saturation_vapour_pressure_pa(temperature_k: f64) -> f64 {
    let t = temperature_k;
    (1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t).exp()
}

/// Mole fraction of vapour in saturated air: enhancement factor times vapour pressure over pressure.
fn saturated_mole_fraction(pressure_pa: f64, temperature_k: f64) -> f64 {
    let celsius = temperature_k - KELVIN_AT_0_C;
    let enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * celsius * celsius;
    enhancement * saturation_vapour_pressure_pa(temperature_k) / pressure_pa
}

fn compressibility(p: f64, temperature_k: f64, xv: f64) -> f64 {
    let t = temperature_k - KELVIN_AT_0_C;
    let ratio = p / temperature_k;
    1.0 - ratio
        * (1.58123e-6 - 2.9331e-8 * t
            + 1.1043e-10 * t * t
            + (5.707e-6 - 2.051e-8 * t) * xv
            + (1.9898e-4 - 2.376e-6 * t) * xv * xv)
        + ratio * ratio * (1.83e-11 - 0.765e-8 * xv * xv)
}

fn density(p: f64, temperature_k: f64, xv: f64) -> f64 {
    p * MOLAR_MASS_AIR / (compressibility(p, temperature_k, xv) * GAS_CONSTANT * temperature_k)
        * (1.0 - xv * (1.0 - MOLAR_MASS_WATER / MOLAR_MASS_AIR))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CIPM-2007 recomputed from its constants (D; no number printed in the paper was reachable), and
    /// CoolProp 8.0.0 HAPropsSI (L), an independent virial mixture.
    const TABLE: [(f64, f64, f64, f64, f64); 9] = [
        (20.0, 101325.0, 0.5, 1.1993138954744933, 1.1993592767723618),
        (22.0, 101325.0, 0.4, 1.1916590041276334, 1.191704222913605),
        (15.0, 101325.0, 0.0, 1.225521344728071, 1.2255674564767598),
        (15.0, 101325.0, 0.6, 1.2208544002268735, 1.2209001559757549),
        (20.0, 75000.0, 0.5, 0.8862765948558196, 0.8863054306356613),
        (25.0, 95000.0, 0.7, 1.1005793138593516, 1.1006198492383523),
        (5.0, 100000.0, 0.8, 1.249815326699387, 1.2498608939294134),
        (30.0, 98000.0, 0.3, 1.1209586707066912, 1.1210005523166233),
        (35.0, 101325.0, 0.6, 1.1313802719175816, 1.131424087261),
    ];

    #[test]
    fn density_is_that_of_the_formula_and_of_an_independent_one() {
        for (celsius, pressure, humidity, formula, independent) in TABLE {
            let found = moist_air_density_kg_m3(pressure, celsius + 273.15, humidity);
            assert!((found / formula - 1.0).abs() < 1e-7, "{celsius}: {found}");
            assert!((found / independent - 1.0).abs() < 5e-5, "{celsius}: {found}");
        }
    }

    #[test]
    fn a_dew_point_serves_as_well_as_a_humidity() {
        let found = density_from_dew_point_kg_m3(101325.0, 293.15, 283.15);
        assert!((found - 1.1990528).abs() < 1e-7, "{found}"); // D
        let humidity = relative_humidity(101325.0, 293.15, 283.15);
        assert!((moist_air_density_kg_m3(101325.0, 293.15, humidity) - found).abs() < 1e-14);
    }

    /// Relative sensitivities (D); the paper's rounded table has +1e-5 per Pa, −4e-3 per K, −9e-3 per
    /// unit of humidity (M+).
    #[test]
    fn density_answers_to_pressure_temperature_and_humidity() {
        let at = |p: f64, t: f64, h: f64| moist_air_density_kg_m3(p, t, h);
        let (p, t, h) = (101325.0, 293.15, 0.5);
        let middle = at(p, t, h);
        let per_pa = (at(p + 1.0, t, h) - at(p - 1.0, t, h)) / 2.0 / middle;
        let per_k = (at(p, t + 0.01, h) - at(p, t - 0.01, h)) / 0.02 / middle;
        let per_humidity = (at(p, t, h + 0.01) - at(p, t, h - 0.01)) / 0.02 / middle;
        assert!((per_pa / 9.916e-6 - 1.0).abs() < 1e-4);
        assert!((per_k / -3.692e-3 - 1.0).abs() < 2e-4);
        assert!((per_humidity / -8.73e-3 - 1.0).abs() < 1e-3);
    }

    /// OIML R 111-1 (2004), eq. E.3-1 (M+): 2e-4 relative within 900–1100 hPa, 10–30 °C, below 80 %.
    #[test]
    fn the_short_formula_of_legal_metrology_agrees() {
        for (celsius, hpa, percent) in [(12.0, 950.0, 40.0), (20.0, 1013.25, 50.0), (28.0, 1000.0, 70.0)] {
            let short = (0.34848 * hpa - 0.009 * percent * f64::exp(0.061 * celsius)) / (273.15 + celsius);
            let found = moist_air_density_kg_m3(hpa * 100.0, celsius + 273.15, percent / 100.0);
            assert!((found / short - 1.0).abs() < 2e-4, "{celsius}: {found} {short}");
        }
    }
}
