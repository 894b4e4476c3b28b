//! Distances on the ellipsoid, and a plane for a day's rides.

use geo::{Distance, Geodesic, Point};

/// WGS 84 (NIMA TR8350.2): equatorial radius and first eccentricity squared.
const EQUATORIAL_RADIUS_M: f64 = 6_378_137.0;
const ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_13;

/// Geodesic length on WGS 84 in metres. A mean-radius sphere is off by 0.28 % east-west at 45°.
pub fn geodesic_m(from_deg: [f64; 2], to_deg: [f64; 2]) -> f64 {
    Geodesic.distance(
        Point::new(from_deg[1], from_deg[0]),
        Point::new(to_deg[1], to_deg[0]),
    )
}

/// Longitude difference in degrees, the short way round.
fn wrapped_deg(difference_deg: f64) -> f64 {
    (difference_deg + 180.0).rem_euclid(360.0) - 180.0
}

/// East and north of a reference point in metres, by the ellipsoid's radii of curvature there.
///
/// Used to see what lies beside what (gates, corridors, neighbours). Lengths are taken with
/// [`geodesic_m`]: a day's plane is some 0.03 % off at 2 km from its reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    latitude_deg: f64,
    longitude_deg: f64,
    east_m_per_deg: f64,
    north_m_per_deg: f64,
}

impl Plane {
    pub fn at(latitude_deg: f64, longitude_deg: f64) -> Plane {
        let sin = latitude_deg.to_radians().sin();
        let root = (1.0 - ECCENTRICITY_SQUARED * sin * sin).sqrt();
        let normal = EQUATORIAL_RADIUS_M / root;
        let meridian = EQUATORIAL_RADIUS_M * (1.0 - ECCENTRICITY_SQUARED) / root.powi(3);
        Plane {
            latitude_deg,
            longitude_deg,
            east_m_per_deg: normal * latitude_deg.to_radians().cos() * 1f64.to_radians(),
            north_m_per_deg: meridian * 1f64.to_radians(),
        }
    }

    pub fn project(&self, latitude_deg: f64, longitude_deg: f64) -> [f64; 2] {
        [
            wrapped_deg(longitude_deg - self.longitude_deg) * self.east_m_per_deg,
            (latitude_deg - self.latitude_deg) * self.north_m_per_deg,
        ]
    }

    /// Latitude and longitude in degrees.
    pub fn unproject(&self, point: [f64; 2]) -> [f64; 2] {
        [
            self.latitude_deg + point[1] / self.north_m_per_deg,
            wrapped_deg(self.longitude_deg + point[0] / self.east_m_per_deg),
        ]
    }
}

pub fn minus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

pub fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// Positive when `b` points to the left of `a`.
pub fn cross(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

pub fn length(a: [f64; 2]) -> f64 {
    // Metres on the ground need none of hypot's care for overflow, which took a quarter of the search for runs.
    dot(a, a).sqrt()
}

/// Unit vector; `None` for a vector too short to have a direction.
pub fn unit(a: [f64; 2]) -> Option<[f64; 2]> {
    let size = length(a);
    (size > 1e-9).then(|| [a[0] / size, a[1] / size])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plane_agrees_with_the_ellipsoid_at_its_reference_and_across_the_antimeridian() {
        for (lat, lon) in [(45.0, 7.0), (-43.9, 170.5), (10.0, 179.9995)] {
            let plane = Plane::at(lat, lon);
            let here = plane.project(lat, lon);
            let there = plane.project(lat + 0.0005, lon + 0.001);
            let flat = length(minus(there, here));
            let exact = geodesic_m([lat, lon], [lat + 0.0005, lon + 0.001]);
            assert!((flat / exact - 1.0).abs() < 2e-5, "{flat} {exact}");
            let back = plane.unproject(there);
            assert!((back[0] - lat - 0.0005).abs() < 1e-9);
            assert!(wrapped_deg(back[1] - lon - 0.001).abs() < 1e-9);
        }
        // REFERENCES: (10,179.9995)→(10,−179.9995) 109.639364066 m (GeographicLib 2.1).
        assert!((geodesic_m([10.0, 179.9995], [10.0, -179.9995]) - 109.639_364_066).abs() < 1e-6);
    }
}
