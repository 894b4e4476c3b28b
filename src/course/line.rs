//! The course as a line on the ground: distance, position and bearing along it.

use super::ground::{Plane, cross, dot, geodesic_m, minus};

/// A polyline from start to finish. All vectors have the same length, at least 2.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    pub latitude_deg: Vec<f64>,
    pub longitude_deg: Vec<f64>,
    /// Horizontal distance from the start, on the ellipsoid.
    pub distance_m: Vec<f64>,
    /// Travel bearing from true north of the piece that starts at each node (the last repeats).
    pub bearing_rad: Vec<f64>,
    /// The same nodes in the day's plane.
    pub(super) nodes: Vec<[f64; 2]>,
}

impl Line {
    /// `nodes` in the plane, at least two, no two neighbours equal.
    pub(super) fn through(plane: &Plane, nodes: Vec<[f64; 2]>) -> Line {
        let degrees: Vec<[f64; 2]> = nodes.iter().map(|&node| plane.unproject(node)).collect();
        let mut distance_m = vec![0.0];
        for pair in degrees.windows(2) {
            let last = distance_m[distance_m.len() - 1];
            distance_m.push(last + geodesic_m(pair[0], pair[1]));
        }
        let mut bearing_rad: Vec<f64> = nodes
            .windows(2)
            .map(|pair| {
                let step = minus(pair[1], pair[0]);
                step[0].atan2(step[1])
            })
            .collect();
        bearing_rad.push(bearing_rad.last().copied().unwrap_or(0.0));
        Line {
            latitude_deg: degrees.iter().map(|d| d[0]).collect(),
            longitude_deg: degrees.iter().map(|d| d[1]).collect(),
            distance_m,
            bearing_rad,
            nodes,
        }
    }

    /// Of places that are known, all of one length; the plane does not matter to whoever asks for none of it.
    #[cfg(test)]
    pub(crate) fn of_parts(
        latitude_deg: Vec<f64>,
        longitude_deg: Vec<f64>,
        distance_m: Vec<f64>,
        bearing_rad: Vec<f64>,
    ) -> Line {
        let nodes = vec![[0.0; 2]; latitude_deg.len()];
        Line {
            latitude_deg,
            longitude_deg,
            distance_m,
            bearing_rad,
            nodes,
        }
    }

    pub fn length_m(&self) -> f64 {
        self.distance_m.last().copied().unwrap_or(0.0)
    }

    pub fn start_deg(&self) -> [f64; 2] {
        [self.latitude_deg[0], self.longitude_deg[0]]
    }

    pub fn finish_deg(&self) -> [f64; 2] {
        let last = self.latitude_deg.len() - 1;
        [self.latitude_deg[last], self.longitude_deg[last]]
    }

    /// The nodes in metres east and north of the start.
    pub fn east_north_m(&self) -> Vec<[f64; 2]> {
        let start = self.nodes[0];
        self.nodes.iter().map(|node| minus(*node, start)).collect()
    }

    /// Bearing from start to finish at a distance from the start.
    pub fn bearing_at_rad(&self, distance_m: f64) -> f64 {
        self.bearing_rad[self.piece_at(distance_m)]
    }

    fn piece_at(&self, distance_m: f64) -> usize {
        let after = self.distance_m.partition_point(|&d| d <= distance_m);
        after.clamp(1, self.distance_m.len() - 1) - 1
    }

    /// The point of the plane at a distance from the start.
    pub(super) fn point_at(&self, distance_m: f64) -> [f64; 2] {
        let piece = self.piece_at(distance_m);
        let (from, to) = (self.nodes[piece], self.nodes[piece + 1]);
        let span = self.distance_m[piece + 1] - self.distance_m[piece];
        let share = if span > 0.0 {
            (distance_m - self.distance_m[piece]) / span
        } else {
            0.0
        };
        [
            from[0] + share * (to[0] - from[0]),
            from[1] + share * (to[1] - from[1]),
        ]
    }

    pub(super) fn reversed(&self, plane: &Plane) -> Line {
        Line::through(plane, self.nodes.iter().rev().copied().collect())
    }

    /// The part from one distance to another.
    pub(super) fn between(&self, from_m: f64, to_m: f64, plane: &Plane) -> Line {
        // Nodes closer to an end than this would leave it a bearing made of noise.
        const LEAST_PIECE_M: f64 = 8.0;
        let inner = self.distance_m.iter().zip(&self.nodes);
        let inner = inner.filter(|(d, _)| **d > from_m + LEAST_PIECE_M && **d < to_m - LEAST_PIECE_M);
        let mut nodes = vec![self.point_at(from_m)];
        nodes.extend(inner.map(|(_, &node)| node));
        nodes.push(self.point_at(to_m));
        Line::through(plane, nodes)
    }

    /// The nearest place on the line.
    ///
    /// `near_m`, where given, limits the search to that range along the line, so that a road which
    /// comes close to itself does not confuse the progress of a rider.
    pub(super) fn nearest(&self, point: [f64; 2], near_m: Option<(f64, f64)>) -> Option<Place> {
        let (from, to) = near_m.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
        let first = self.distance_m.partition_point(|&d| d < from).saturating_sub(1);
        let mut best: Option<Place> = None;
        for piece in first..self.nodes.len() - 1 {
            if self.distance_m[piece] > to {
                break;
            }
            let along = minus(self.nodes[piece + 1], self.nodes[piece]);
            let offset = minus(point, self.nodes[piece]);
            let size = dot(along, along);
            let share = if size > 0.0 {
                (dot(offset, along) / size).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let off = (offset[0] - share * along[0]).hypot(offset[1] - share * along[1]);
            if best.is_none_or(|place| off < place.off_m) {
                let span = self.distance_m[piece + 1] - self.distance_m[piece];
                best = Some(Place {
                    distance_m: self.distance_m[piece] + share * span,
                    off_m: off,
                    left_m: if size > 0.0 {
                        cross(along, offset) / size.sqrt()
                    } else {
                        0.0
                    },
                });
            }
        }
        best
    }
}

/// Where a point lies beside a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Along the line, from its start.
    pub distance_m: f64,
    /// To the nearest point of the line.
    pub off_m: f64,
    /// Square to the nearest piece, or to its extension beyond an end; positive to the left.
    pub left_m: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn corner() -> Line {
        Line::through(
            &Plane::at(45.0, 7.0),
            vec![[0.0, 0.0], [0.0, 100.0], [100.0, 100.0]],
        )
    }

    #[test]
    fn a_line_knows_its_length_bearings_and_the_place_beside_it() {
        let line = corner();
        assert!((line.length_m() - 200.0).abs() < 0.01);
        assert!(line.bearing_at_rad(50.0).abs() < 1e-9, "north first");
        assert!(
            (line.bearing_at_rad(150.0) - std::f64::consts::FRAC_PI_2).abs() < 1e-9,
            "then east"
        );
        let place = line.nearest([60.0, 103.0], None).unwrap();
        assert!((place.distance_m - 160.0).abs() < 0.01);
        assert!((place.left_m - 3.0).abs() < 1e-9 && (place.off_m - 3.0).abs() < 1e-9);
        let point = line.point_at(150.0);
        assert!((point[0] - 50.0).abs() < 0.01 && (point[1] - 100.0).abs() < 1e-9);
    }

    #[test]
    fn a_search_near_a_distance_does_not_jump_to_another_part_of_the_road() {
        let line = corner();
        let place = line.nearest([60.0, 90.0], Some((0.0, 90.0))).unwrap();
        assert!(place.distance_m < 100.1, "{place:?}");
        assert_eq!(line.nearest([0.0, 0.0], Some((500.0, 600.0))), None);
    }

    #[test]
    fn beyond_an_end_the_offset_is_measured_from_the_extended_road() {
        let place = corner().nearest([-2.0, -30.0], None).unwrap();
        assert_eq!(place.distance_m, 0.0);
        assert!((place.left_m - 2.0).abs() < 1e-9 && place.off_m > 30.0);
    }
}
