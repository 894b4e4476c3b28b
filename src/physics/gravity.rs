//! Normal gravity at a latitude and height.

/// WGS 84 (NIMA TR8350.2): semi-axes and linear eccentricity [m], GM [m³/s²], rate of rotation [rad/s].
const EQUATORIAL_RADIUS_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257223563;
const POLAR_RADIUS_M: f64 = EQUATORIAL_RADIUS_M * (1.0 - FLATTENING);
const GRAVITATION_M3_S2: f64 = 3_986_004.418e8;
const ROTATION_RAD_S: f64 = 7.292115e-5;

/// Normal gravity [m/s²] of WGS 84 at a geodetic latitude [deg] and a height above the ellipsoid [m].
///
/// The closed form in ellipsoidal coordinates (Li and Götze, *Ellipsoid, geoid, gravity, geodesy, and
/// geophysics*, Geophysics 66:1660-1668, 2001); on the ellipsoid it is Somigliana's, and the free-air
/// change with height is in it. A series to second order in height is 3e-8 off at 3000 m near the equator.
/// Height above sea level serves as well: the geoid is at most some 100 m away, 3e-5 of gravity. Local
/// anomalies (1e-4) are left out.
pub fn gravity_m_s2(latitude_deg: f64, height_m: f64) -> f64 {
    let (a, b) = (EQUATORIAL_RADIUS_M, POLAR_RADIUS_M);
    let eccentricity_squared = a * a - b * b;
    let eccentricity = eccentricity_squared.sqrt();
    let (sin, cos) = latitude_deg.to_radians().sin_cos();
    // Distances from the axis and from the equator's plane.
    let normal = a * a / (a * cos).hypot(b * sin);
    let axis = (normal + height_m) * cos;
    let plane = (normal * (b / a) * (b / a) + height_m) * sin;

    // Ellipsoidal coordinates of the point: polar semi-axis u of the confocal ellipsoid, reduced latitude.
    let sum = (axis * axis + plane * plane) / eccentricity_squared;
    let difference = (axis * axis - plane * plane) / eccentricity_squared;
    let cos_squared = 0.5 + 0.5 * sum - (0.25 + 0.25 * sum * sum - 0.5 * difference).sqrt();
    let sin_squared = 1.0 - cos_squared;
    let u = (axis * axis + plane * plane - eccentricity_squared * cos_squared).sqrt();

    let angle = |axis_m: f64| (eccentricity / axis_m).atan();
    let q0 = 0.5 * ((1.0 + 3.0 * b * b / eccentricity_squared) * angle(b) - 3.0 * b / eccentricity);
    let q = 3.0 * (1.0 + u * u / eccentricity_squared) * (1.0 - u / eccentricity * angle(u)) - 1.0;
    let outer = u * u + eccentricity_squared;
    let rotation_squared = ROTATION_RAD_S * ROTATION_RAD_S;
    let flattened = rotation_squared * a * a * eccentricity * q / (outer * q0);
    let weight = ((u * u + eccentricity_squared * sin_squared) / outer).sqrt();
    (GRAVITATION_M3_S2 / outer + flattened * (0.5 * sin_squared - 1.0 / 6.0)
        - rotation_squared * u * cos_squared)
        / weight
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
            assert!((found - expected).abs() < 1e-8, "{latitude}, {height}: {found}");
        }
        // Printed to four decimals in a vendor's documentation of WGS 84 gravity (S).
        assert_eq!(format!("{:.4}", gravity_m_s2(55.0, 5000.0)), "9.7997");
    }
}
