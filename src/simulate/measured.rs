//! A road as it was measured, piece by piece.

use super::plan::RoadPiece;
use std::f64::consts::TAU;

/// Slope is that of each piece; bearing turns evenly from the middle of one piece to the middle of the next.
pub(super) struct Measured {
    is_loop: bool,
    /// Ends of the pieces, metres from the start gate: one more than pieces.
    edges_m: Vec<f64>,
    sin_slopes: Vec<f64>,
    /// At `edges_m`, from the start gate.
    climbs_m: Vec<f64>,
    /// Of the pieces, without jumps from one to the next.
    bearings_rad: Vec<f64>,
}

impl Measured {
    /// `None` without pieces. Of a loop the climb that does not close is taken off evenly along the lap.
    pub fn of(pieces: &[RoadPiece], is_loop: bool) -> Option<Measured> {
        let first = pieces.first()?;
        let (mut edges_m, mut climbs_m) = (vec![0.0], vec![0.0]);
        let (mut along_m, mut climb_m) = (0.0, 0.0);
        let mut sin_slopes: Vec<f64> = pieces
            .iter()
            .map(|p| p.gradient / p.gradient.hypot(1.0))
            .collect();
        if is_loop {
            let length_m: f64 = pieces.iter().map(|p| p.length_m).sum();
            let rise_m: f64 = pieces
                .iter()
                .zip(&sin_slopes)
                .map(|(p, sin)| p.length_m * sin)
                .sum();
            for sin in &mut sin_slopes {
                *sin -= rise_m / length_m;
            }
        }
        let mut bearings_rad: Vec<f64> = Vec::with_capacity(pieces.len());
        for (piece, sin) in pieces.iter().zip(&sin_slopes) {
            along_m += piece.length_m;
            climb_m += piece.length_m * sin;
            edges_m.push(along_m);
            climbs_m.push(climb_m);
            let before = bearings_rad.last().copied().unwrap_or(first.bearing_rad);
            bearings_rad.push(before + turn_rad(before, piece.bearing_rad));
        }
        Some(Measured {
            is_loop,
            edges_m,
            sin_slopes,
            climbs_m,
            bearings_rad,
        })
    }

    fn length_m(&self) -> f64 {
        self.edges_m.last().copied().unwrap_or(0.0)
    }

    /// Within the lap, and the laps before it.
    fn in_lap(&self, s: f64) -> (f64, f64) {
        let laps = if self.is_loop {
            (s / self.length_m()).floor()
        } else {
            0.0
        };
        (s - laps * self.length_m(), laps)
    }

    fn piece(&self, s: f64) -> usize {
        let after = self.edges_m.partition_point(|edge| *edge <= s);
        after.saturating_sub(1).min(self.sin_slopes.len() - 1)
    }

    fn is_beyond(&self, s: f64) -> bool {
        !(0.0..=self.length_m()).contains(&s)
    }

    /// Level beyond the gates.
    pub fn sin_slope(&self, s: f64) -> f64 {
        let (s, _) = self.in_lap(s);
        if self.is_beyond(s) {
            return 0.0;
        }
        self.sin_slopes[self.piece(s)]
    }

    /// Height above the start gate.
    pub fn climb_m(&self, s: f64) -> f64 {
        let s = self.in_lap(s).0.clamp(0.0, self.length_m());
        let piece = self.piece(s);
        self.climbs_m[piece] + self.sin_slopes[piece] * (s - self.edges_m[piece])
    }

    /// Clockwise from true north; on a loop it counts on over the laps.
    pub fn bearing_rad(&self, s: f64) -> f64 {
        let (s, laps) = self.in_lap(s);
        let last = self.bearings_rad.len() - 1;
        let (first_rad, last_rad) = (self.bearings_rad[0], self.bearings_rad[last]);
        // From the last piece of a lap to the first of the next one, by the way that is nearer.
        let seam_rad = turn_rad(last_rad, first_rad);
        let lap_rad = ((last_rad + seam_rad - first_rad) / TAU).round() * TAU;
        let middle = |k: usize| 0.5 * (self.edges_m[k] + self.edges_m[k + 1]);
        let before = |k: usize| match (k, self.is_loop) {
            (0, true) => (middle(last) - self.length_m(), last_rad - lap_rad),
            (0, false) => (middle(0), first_rad),
            _ => (middle(k - 1), self.bearings_rad[k - 1]),
        };
        let after = |k: usize| match (k == last, self.is_loop) {
            (true, true) => (middle(0) + self.length_m(), first_rad + lap_rad),
            (true, false) => (middle(last), last_rad),
            _ => (middle(k + 1), self.bearings_rad[k + 1]),
        };
        let k = self.piece(s);
        let here = (middle(k), self.bearings_rad[k]);
        let (from, to) = if s < here.0 {
            (before(k), here)
        } else {
            (here, after(k))
        };
        let part = if to.0 > from.0 {
            (s - from.0) / (to.0 - from.0)
        } else {
            0.0
        };
        laps * lap_rad + from.1 + part.clamp(0.0, 1.0) * (to.1 - from.1)
    }
}

/// The smaller turn from one bearing to another.
fn turn_rad(from_rad: f64, to_rad: f64) -> f64 {
    (to_rad - from_rad + 0.5 * TAU).rem_euclid(TAU) - 0.5 * TAU
}

#[cfg(test)]
mod tests {
    use super::super::plan::{CourseTruth, Shape};
    use super::super::plans::loop_plan;
    use super::super::road::{Road, offset_m};
    use super::*;

    fn piece(length_m: f64, gradient: f64, bearing_deg: f64) -> RoadPiece {
        RoadPiece {
            length_m,
            gradient,
            bearing_rad: f64::to_radians(bearing_deg),
        }
    }

    /// A straight road of one slope ends where the plane says: closed form.
    #[test]
    fn a_straight_slope_is_itself_and_level_beyond_its_gates() {
        let road = Measured::of(&[piece(600.0, 0.03, 40.0), piece(400.0, -0.01, 40.0)], false).unwrap();
        let sin = |t: f64| t / t.hypot(1.0);
        assert!((road.climb_m(600.0) - 600.0 * sin(0.03)).abs() < 1e-9);
        assert!((road.climb_m(2000.0) - 600.0 * sin(0.03) - 400.0 * sin(-0.01)).abs() < 1e-9);
        assert_eq!((road.sin_slope(-1.0), road.sin_slope(1001.0)), (0.0, 0.0));
        assert_eq!(road.climb_m(-50.0), 0.0);
        for s in [-100.0, 0.0, 500.0, 700.0, 1200.0] {
            assert!((road.bearing_rad(s) - 40f64.to_radians()).abs() < 1e-12);
        }
    }

    /// Four sides of a square that is 15 m and 4 m of height from closing, ridden clockwise over north.
    #[test]
    fn a_lap_that_does_not_close_is_closed() {
        let sides = [
            (300.0, 0.01, 0.0),
            (300.0, 0.0, 90.0),
            (300.0, 0.0, 180.0),
            (315.0, 0.0033, 270.0),
        ];
        let mut measured = Vec::new();
        for (length_m, gradient, bearing_deg) in sides {
            measured.extend((0..10).map(|_| piece(0.1 * length_m, gradient, bearing_deg)));
        }
        let course = CourseTruth {
            shape: Shape::Loop,
            length_m: 1215.0,
            measured,
            ..loop_plan(5, "AB", 0.0).course
        };
        let road = Road::new(&course);
        let (a, b) = (road.at(0.0), road.at(1215.0 - 1e-7));
        let gap = offset_m(
            [a.latitude_deg, a.longitude_deg],
            [b.latitude_deg, b.longitude_deg],
        );
        assert!(gap[0].hypot(gap[1]) < 1e-3, "{gap:?}");
        assert!((a.elevation_m - b.elevation_m).abs() < 1e-6);
        assert!((b.bearing_rad - a.bearing_rad - TAU).abs() < 1e-6);
        assert!((road.at(1215.0 + 40.0).bearing_rad - road.at(40.0).bearing_rad - TAU).abs() < 1e-9);
        let step = |k: u32| {
            let (a, b) = (road.at(f64::from(k)), road.at(f64::from(k + 1)));
            let [east, north] = offset_m(
                [a.latitude_deg, a.longitude_deg],
                [b.latitude_deg, b.longitude_deg],
            );
            east.hypot(north)
        };
        let ground_m: f64 = (0..1215).map(step).sum();
        // Rounded by what the slopes take, below 1 in 20,000, and by chords across the nodes at corners.
        assert!((ground_m / 1215.0 - 1.0).abs() < 1e-3, "{ground_m}");
    }
}
