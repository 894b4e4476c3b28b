//! Where the road is: position, bearing, height and slope at each metre along its centre line.

use super::measured::Measured;
use super::plan::{CourseTruth, Shape, Wave};
use super::track::Track;
use std::f64::consts::TAU;

/// Metres between the nodes of the centre line: between two of them the road is straight, and at a radius of
/// 200 m the chord misses the arc by 0.6 mm.
const NODE_M: f64 = 1.0;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RoadPoint {
    pub latitude_deg: f64,
    /// May lie beyond ±180: wrapped only when a sensor writes it.
    pub longitude_deg: f64,
    pub bearing_rad: f64,
    pub elevation_m: f64,
    /// Climb per road length in the direction of growing `s`.
    pub sin_slope: f64,
    /// Times the Crr of the tyres.
    pub crr_factor: f64,
    /// Of a track, to the left.
    pub curve_per_m: f64,
}

pub(super) struct Road {
    course: CourseTruth,
    track: Option<Track>,
    measured: Option<Measured>,
    hills: Vec<Wave>,
    bends: Vec<Wave>,
    /// `s` of the first node.
    first_m: f64,
    node_m: f64,
    /// Latitude, longitude in degrees.
    nodes: Vec<[f64; 2]>,
}

/// Metres per radian of latitude and of longitude on WGS 84 at a latitude (meridian radius, and prime
/// vertical radius times its cosine).
pub(super) fn metres_per_radian(latitude_deg: f64) -> [f64; 2] {
    let (a, e2) = (6_378_137.0, 0.006_694_379_990_13);
    let (sin, cos) = latitude_deg.to_radians().sin_cos();
    let w = 1.0 - e2 * sin * sin;
    [a * (1.0 - e2) / w.powf(1.5), a / w.sqrt() * cos]
}

/// East and north in metres from one place to another nearby, both `[latitude, longitude]` in degrees.
pub(super) fn offset_m(from_deg: [f64; 2], to_deg: [f64; 2]) -> [f64; 2] {
    let scale = metres_per_radian(0.5 * (from_deg[0] + to_deg[0]));
    let longitude = wrapped_longitude(to_deg[1] - from_deg[1]);
    [
        longitude.to_radians() * scale[1],
        (to_deg[0] - from_deg[0]).to_radians() * scale[0],
    ]
}

/// The place that lies `[east, north]` metres away.
pub(super) fn moved(from_deg: [f64; 2], offset: [f64; 2]) -> [f64; 2] {
    let rough = from_deg[0] + (offset[1] / metres_per_radian(from_deg[0])[0]).to_degrees();
    let scale = metres_per_radian(0.5 * (from_deg[0] + rough));
    [
        from_deg[0] + (offset[1] / scale[0]).to_degrees(),
        from_deg[1] + (offset[0] / scale[1]).to_degrees(),
    ]
}

/// Into −180 ≤ longitude < 180.
pub(super) fn wrapped_longitude(longitude_deg: f64) -> f64 {
    (longitude_deg + 180.0).rem_euclid(360.0) - 180.0
}

impl Road {
    pub fn new(course: &CourseTruth) -> Self {
        let is_loop = course.shape == Shape::Loop;
        let measured = Measured::of(&course.measured, is_loop);
        let lap = course.length_m.max(NODE_M);
        let whole = |wave: &Wave, step: f64| {
            let waves = (lap / wave.length_m / step).round().max(1.0) * step;
            Wave {
                length_m: lap / waves,
                ..*wave
            }
        };
        let (hills, bends) = if is_loop {
            // An even number of waves makes the lap symmetric about its middle: only then does it close.
            (
                course.hills.iter().map(|w| whole(w, 1.0)).collect(),
                course.bends.iter().map(|w| whole(w, 2.0)).collect(),
            )
        } else {
            (course.hills.clone(), course.bends.clone())
        };
        let beyond = course.lead_in_m.max(course.run_out_m) + course.approach_m + 50.0;
        let (first_m, last_m) = if is_loop {
            (0.0, lap)
        } else {
            (-beyond, lap + beyond)
        };
        let track = course.track.filter(|_| is_loop);
        let (hills, bends) = match track {
            Some(_) => (Vec::new(), Vec::new()),
            None => (hills, bends),
        };
        let mut road = Road {
            course: course.clone(),
            track: track.map(|truth| Track::of(&truth, lap)),
            measured,
            hills,
            bends,
            first_m,
            node_m: NODE_M,
            nodes: Vec::new(),
        };
        road.lay(last_m);
        road
    }

    /// Walks the bearing from the start gate to both ends.
    fn lay(&mut self, last_m: f64) {
        let start = [self.course.latitude_deg, self.course.longitude_deg];
        let back = (-self.first_m / NODE_M).ceil() as usize;
        let ahead = (last_m / NODE_M).ceil() as usize;
        if self.is_loop() {
            self.node_m = last_m / ahead as f64;
        }
        let mut nodes = Vec::with_capacity(back + ahead + 1);
        let mut place = start;
        for k in 0..back {
            place = self.walk(place, -(k as f64) * self.node_m, -self.node_m);
            nodes.push(place);
        }
        nodes.reverse();
        nodes.push(start);
        place = start;
        for k in 0..ahead {
            place = self.walk(place, k as f64 * self.node_m, self.node_m);
            nodes.push(place);
        }
        self.first_m = -(back as f64) * self.node_m;
        if self.is_loop() {
            let laid_m = ground_m(&nodes);
            spread_closing_error(&mut nodes);
            if self.measured.is_some() {
                scale(&mut nodes, laid_m);
            }
        }
        self.nodes = nodes;
    }

    fn walk(&self, place: [f64; 2], s: f64, step: f64) -> [f64; 2] {
        let middle = s + 0.5 * step;
        let slope = self.sin_slope(middle);
        let flat = step * (1.0 - slope * slope).sqrt();
        let (sin, cos) = self.bearing_rad(middle).sin_cos();
        moved(place, [flat * sin, flat * cos])
    }

    pub fn is_loop(&self) -> bool {
        self.course.shape == Shape::Loop
    }

    pub fn length_m(&self) -> f64 {
        self.course.length_m
    }

    pub fn bearing_rad(&self, s: f64) -> f64 {
        if let Some(track) = &self.track {
            return self.course.bearing_deg.to_radians() - track.turned_rad(s);
        }
        if let Some(measured) = &self.measured {
            return measured.bearing_rad(s);
        }
        let turning = if self.is_loop() {
            -TAU * s / self.course.length_m
        } else {
            0.0
        };
        let swing = |s: f64| self.bends.iter().map(|w| sine(w, s)).sum::<f64>();
        self.course.bearing_deg.to_radians() + turning + swing(s) - swing(0.0)
    }

    pub fn sin_slope(&self, s: f64) -> f64 {
        if let Some(measured) = &self.measured {
            return measured.sin_slope(s);
        }
        self.mean_slope() + self.hills.iter().map(|w| sine(w, s)).sum::<f64>()
    }

    fn mean_slope(&self) -> f64 {
        if self.is_loop() {
            0.0
        } else {
            self.course.mean_gradient
        }
    }

    /// The integral of `sin_slope` from the start gate.
    pub fn elevation_m(&self, s: f64) -> f64 {
        if let Some(measured) = &self.measured {
            return self.course.elevation_m + measured.climb_m(s);
        }
        let hill = |w: &Wave| {
            let scale = w.amplitude * w.length_m / TAU;
            scale * (w.phase_rad.cos() - (TAU * s / w.length_m + w.phase_rad).cos())
        };
        self.course.elevation_m + self.mean_slope() * s + self.hills.iter().map(hill).sum::<f64>()
    }

    /// The centre line at `s` metres from the start gate; on a loop `s` counts on over the laps.
    pub fn at(&self, s: f64) -> RoadPoint {
        let on_line = self.course_m(s);
        let along = ((on_line - self.first_m) / self.node_m).max(0.0);
        let index = (along as usize).min(self.nodes.len().saturating_sub(2));
        let part = along - index as f64;
        let place = match (self.nodes.get(index), self.nodes.get(index + 1)) {
            (Some(a), Some(b)) => [a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])],
            _ => [self.course.latitude_deg, self.course.longitude_deg],
        };
        RoadPoint {
            latitude_deg: place[0],
            longitude_deg: place[1],
            bearing_rad: self.bearing_rad(s),
            elevation_m: self.elevation_m(s),
            sin_slope: self.sin_slope(s),
            crr_factor: self.crr_factor(s),
            curve_per_m: self.track.map_or(0.0, |track| track.curve_per_m(s)),
        }
    }

    /// `s` from the start gate; on a loop within the lap.
    fn course_m(&self, s: f64) -> f64 {
        if self.is_loop() {
            s.rem_euclid(self.course.length_m)
        } else {
            s
        }
    }

    fn crr_factor(&self, s: f64) -> f64 {
        let s = self.course_m(s);
        let here = self.course.surfaces.iter().find(|a| a.from_m <= s && s < a.to_m);
        here.map_or(1.0, |surface| surface.crr_factor)
    }

    /// Nobody rides faster here; `None` where nothing slows.
    pub fn limit_m_s(&self, s: f64) -> Option<f64> {
        let s = self.course_m(s);
        let places = self.course.slow_places.iter();
        let here = places.filter(|place| place.from_m <= s && s <= place.to_m);
        here.map(|place| place.speed_m_s).reduce(f64::min)
    }
}

fn sine(wave: &Wave, s: f64) -> f64 {
    wave.amplitude * (TAU * s / wave.length_m + wave.phase_rad).sin()
}

/// On a curved earth the lap misses its start by area · tan(latitude) / radius, a few centimetres; a measured one by
/// what its lengths and bearings are off.
fn spread_closing_error(nodes: &mut [[f64; 2]]) {
    let (Some(&first), Some(&last)) = (nodes.first(), nodes.last()) else {
        return;
    };
    let steps = (nodes.len() - 1) as f64;
    for (k, node) in nodes.iter_mut().enumerate() {
        let part = k as f64 / steps;
        node[0] += part * (first[0] - last[0]);
        node[1] += part * (first[1] - last[1]);
    }
}

fn ground_m(nodes: &[[f64; 2]]) -> f64 {
    let step_m = |pair: &[[f64; 2]]| {
        let [east, north] = offset_m(pair[0], pair[1]);
        east.hypot(north)
    };
    nodes.windows(2).map(step_m).sum()
}

/// Closing a lap made it longer or shorter on the ground than it was measured: about its start, to the same length.
fn scale(nodes: &mut [[f64; 2]], length_m: f64) {
    let ratio = length_m / ground_m(nodes);
    let Some(&first) = nodes.first() else {
        return;
    };
    for node in nodes.iter_mut() {
        let [east, north] = offset_m(first, *node);
        *node = moved(first, [ratio * east, ratio * north]);
    }
}

#[cfg(test)]
mod tests {
    use super::super::plans::{loop_plan, out_and_back_plan};
    use super::*;
    use geo::{Distance, Geodesic, Point};

    fn geodesic_m(a: [f64; 2], b: [f64; 2]) -> f64 {
        Geodesic.distance(Point::new(a[1], a[0]), Point::new(b[1], b[0]))
    }

    #[test]
    fn local_metres_agree_with_geodesics() {
        // REFERENCES 4, ride-scale lines (L, geographiclib 2.1).
        for (a, b, metres) in [
            ([45.0, 7.0], [45.0, 7.0127], 1_001.354_804_669),
            ([45.0, 7.0], [45.009, 7.0], 1_000.186_788_187),
            ([52.0, 5.0], [52.001, 5.001], 130.755_461_901),
            ([10.0, 179.9995], [10.0, -179.9995], 109.639_364_066),
        ] {
            let [east, north] = offset_m(a, b);
            assert!((east.hypot(north) / metres - 1.0).abs() < 1e-7);
        }
    }

    #[test]
    fn moving_there_and_measuring_back_agree() {
        let start = [-38.2, 179.999];
        let place = moved(start, [420.0, -310.0]);
        let [east, north] = offset_m(start, place);
        assert!((east - 420.0).abs() < 1e-4 && (north + 310.0).abs() < 1e-4);
        assert!((geodesic_m(start, place) - 420f64.hypot(310.0)).abs() < 1e-3);
    }

    #[test]
    fn centre_line_is_as_long_as_it_says() {
        let road = Road::new(&out_and_back_plan(3, "AB", -3.0).course);
        let mut length = 0.0;
        let step = 0.5;
        for k in 0..(road.length_m() / step) as usize {
            let (a, b) = (road.at(k as f64 * step), road.at((k + 1) as f64 * step));
            let flat = geodesic_m(
                [a.latitude_deg, a.longitude_deg],
                [b.latitude_deg, b.longitude_deg],
            );
            length += flat.hypot(b.elevation_m - a.elevation_m);
        }
        assert!((length / road.length_m() - 1.0).abs() < 1e-5, "{length}");
    }

    #[test]
    fn a_lap_closes_in_place_height_and_direction() {
        let road = Road::new(&loop_plan(5, "AB", -3.0).course);
        let (a, b) = (road.at(0.0), road.at(road.length_m() - 1e-7));
        let gap = geodesic_m(
            [a.latitude_deg, a.longitude_deg],
            [b.latitude_deg, b.longitude_deg],
        );
        assert!(gap < 1e-5, "{gap}");
        assert!((a.elevation_m - b.elevation_m).abs() < 1e-6);
        assert!((a.bearing_rad - b.bearing_rad - TAU).abs() < 1e-6);
        let length: f64 = road
            .nodes
            .windows(2)
            .map(|pair| geodesic_m(pair[0], pair[1]))
            .sum();
        assert!((length / road.length_m() - 1.0).abs() < 2e-4, "{length}");
    }

    #[test]
    fn height_is_the_integral_of_slope() {
        let road = Road::new(&out_and_back_plan(4, "AB", -3.0).course);
        let step = 0.1;
        let climbed: f64 = (0..10_000)
            .map(|k| road.sin_slope((f64::from(k) + 0.5) * step) * step)
            .sum();
        let height = road.elevation_m(1000.0) - road.elevation_m(0.0);
        assert!((climbed - height).abs() < 1e-6);
    }
}
