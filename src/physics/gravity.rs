//! Normal gravity at a latitude and height.

/// WGS 84 (NIMA TR8350.2, chapter 4): gravity at the equator [m/s²], Somigliana's constant, first
/// eccentricity squared, equatorial radius [m], flattening, and m = ω²a²b/GM.
const EQUATOR_M_S2: f64 = 9.7803253359;
const SOMIGLIANA: f64 = 0.00193185265241;
const ECCENTRICITY_SQUARED: f64 = 0.00669437999013;
const EQUATORIAL_RADIUS_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257223563;
const CENTRIFUGAL_RATIO: f64 = 0.00344978650684;

/// Normal gravity [m/s²] of WGS 84 at a geodetic latitude [deg] and a height above the ellipsoid [m].
///
/// Somigliana's closed form on the ellipsoid, and the free-air change to second order in height:
/// within 2e-8 of the closed form up to 5000 m. Height above sea level serves as well: the geoid is
/// at most some 100 m away, 3e-5 of gravity. Local anomalies (1e-4) are left out.
pub fn gravity_m_s2(latitude_deg: f64, height_m: f64) -> f64 {
    let sin_squared = latitude_deg.to_radians().sin().powi(2);
    let on_ellipsoid =
        EQUATOR_M_S2 * (1.0 + SOMIGLIANA * sin_squared) / (1.0 - ECCENTRICITY_SQUARED * sin_squared).sqrt();
    let height = height_m / EQUATORIAL_RADIUS_M;
    let linear = 2.0 * (1.0 + FLATTENING + CENTRIFUGAL_RATIO - 2.0 * FLATTENING * sin_squared);
    on_ellipsoid * (1.0 - linear * height + 3.0 * height * height)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WGS 84, Somigliana; boule 0.6.0 and own algebra agree (L, D).
    #[test]
    fn on_the_ellipsoid_gravity_is_that_of_the_tables() {
        for (latitude, expected) in [
            (0.0, 9.7803253359),
            (15.0, 9.783784962353002),
            (30.0, 9.793247269215295),
            (40.0, 9.801696862804876),
            (45.0, 9.80619776937321),
            (50.0, 9.810702135598998),
            (52.0, 9.812474077900655),
            (60.0, 9.819176953114335),
            (90.0, 9.832184937858958),
        ] {
            let found = gravity_m_s2(latitude, 0.0);
            assert!((found - expected).abs() < 1e-9, "{latitude}: {found}");
            assert_eq!(found, gravity_m_s2(-latitude, 0.0));
        }
    }

    /// Closed form at height from boule 0.6.0 (L).
    #[test]
    fn at_height_gravity_is_that_of_the_closed_form() {
        for (latitude, height, expected) in [
            (45.0, 500.0, 9.80465515),
            (45.0, 1000.0, 9.80311290),
            (45.0, 2000.0, 9.80002947),
            (0.0, 1000.0, 9.77723826),
            (55.0, 5000.0, 9.79966684),
        ] {
            let found = gravity_m_s2(latitude, height);
            assert!((found - expected).abs() < 2e-7, "{latitude}, {height}: {found}");
        }
        // Printed to four decimals in a vendor's documentation of WGS 84 gravity (S).
        assert_eq!(format!("{:.4}", gravity_m_s2(55.0, 5000.0)), "9.7997");
    }
}
