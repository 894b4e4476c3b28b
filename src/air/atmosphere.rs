//! The standard atmosphere, ISO 2533:1975, below 11 km, and sea-level pressure brought to the road.

const SEA_LEVEL_K: f64 = 288.15;
const SEA_LEVEL_PA: f64 = 101_325.0;
const LAPSE_K_PER_M: f64 = 0.0065;
const STANDARD_GRAVITY_M_S2: f64 = 9.80665;
const GAS_CONSTANT_J_KG_K: f64 = 287.05287;
const NOMINAL_RADIUS_M: f64 = 6_356_766.0;
/// g/(R L), about 5.2559.
const EXPONENT: f64 = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT_J_KG_K * LAPSE_K_PER_M);

/// Geopotential height of a geometric one. [m]
pub fn geopotential_height_m(height_m: f64) -> f64 {
    NOMINAL_RADIUS_M * height_m / (NOMINAL_RADIUS_M + height_m)
}

/// Standard temperature at a geopotential height. [K]
pub fn standard_temperature_k(geopotential_m: f64) -> f64 {
    SEA_LEVEL_K - LAPSE_K_PER_M * geopotential_m
}

/// Standard pressure at a geopotential height. [Pa]
pub fn standard_pressure_pa(geopotential_m: f64) -> f64 {
    SEA_LEVEL_PA * (standard_temperature_k(geopotential_m) / SEA_LEVEL_K).powf(EXPONENT)
}

/// What a barometer reads at a geopotential height where the sea-level pressure is QNH. [Pa]
///
/// QNH is by definition (ICAO) the pressure at the station, reduced along the standard atmosphere; this
/// is its inverse. The Smithsonian form some weather libraries use differs by 0.2 to 0.3 hPa.
pub fn pressure_from_qnh_pa(qnh_pa: f64, geopotential_m: f64) -> f64 {
    let n = 1.0 / EXPONENT;
    let root = qnh_pa.powf(n) - SEA_LEVEL_PA.powf(n) * LAPSE_K_PER_M * geopotential_m / SEA_LEVEL_K;
    root.powf(EXPONENT)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 2533; ambiance 1.3.1 and fluids 1.3.1 agree to 2e-7 (L), and algebra (D).
    #[test]
    fn pressure_is_that_of_the_standard() {
        for (height, pascals) in [
            (0.0, 101325.0),
            (500.0, 95460.8353365313),
            (1000.0, 89874.56291621955),
            (1500.0, 84555.99407375645),
            (2000.0, 79495.20193405099),
        ] {
            assert!((standard_pressure_pa(height) - pascals).abs() < 0.01);
        }
        for (height, pascals) in [
            (500.0, 95461.29),
            (1000.0, 89876.28),
            (1500.0, 84559.67),
            (2000.0, 79501.41),
        ] {
            let found = standard_pressure_pa(geopotential_height_m(height));
            assert!((found - pascals).abs() < 0.01, "{height}: {found}");
        }
        assert!((EXPONENT - 5.2558798).abs() < 1e-7);
    }

    /// ICAO's definition inverted (M+, algebra D).
    #[test]
    fn a_sea_level_pressure_comes_up_to_the_road() {
        for (qnh, height, hpa) in [
            (1013.25, 500.0, 954.6083533653126),
            (1000.0, 2000.0, 784.0682310165068),
            (1005.0, 1500.0, 838.4350070337736),
            (1010.0, 1000.0, 895.796462092788),
            (1013.0, 500.0, 954.370135512187),
            (1030.0, 800.0, 936.266567306702),
        ] {
            let found = pressure_from_qnh_pa(qnh * 100.0, height) / 100.0;
            assert!((found - hpa).abs() < 1e-6, "{qnh}, {height}: {found}");
        }
    }

    /// MetPy tests/calc/test_basic.py, altimeter to station pressure (S): the Smithsonian convention,
    /// 0.19 to 0.27 hPa away from ICAO's.
    #[test]
    fn the_other_convention_is_a_third_of_a_hectopascal_away() {
        for (qnh, height, hpa) in [
            (1000.0, 2000.0, 784.262996),
            (1005.0, 1500.0, 838.651657),
            (1010.0, 1000.0, 896.037821),
            (1013.0, 500.0, 954.639265),
        ] {
            let found = pressure_from_qnh_pa(qnh * 100.0, height) / 100.0;
            assert!((found - hpa).abs() < 0.35);
        }
    }
}
