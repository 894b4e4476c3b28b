//! Where a day is planned: a stretch found in a recording, a route, or a length and a slope.

use crate::course::{Course, geodesic_m};
use crate::error::{Fault, Result};
use crate::event::{EventRoad, road_of};
use crate::recording::{self, RoutePoint, read_route};
use crate::study;
use crate::test_day::Shape;
use crate::verdict::Stretch;
use std::f64::consts::TAU;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// A route whose ends are nearer to each other than this closes.
const CLOSES_M: f64 = 50.0;
/// Way out and way back are the same road where they are nearer to each other than this: both sides of a road.
const SAME_ROAD_M: f64 = 25.0;
/// A ride without a stretch ridden twice is a road as it is up to this length; longer ones are somebody's whole ride.
const LONGEST_M: f64 = 10_000.0;
const SHORTEST_M: f64 = 200.0;

/// The place of a test, before it is decided how it is ridden.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// `None`: one way and out and back are both possible.
    pub shape: Option<Shape>,
    /// From gate to gate; of a loop one lap.
    pub road: EventRoad,
    /// Empty where only a length and a slope are known.
    pub points: Vec<RoutePoint>,
    /// Where it comes from, a full sentence.
    pub source: String,
    /// The file, where its points are taken as they stand.
    pub whole_file: Option<PathBuf>,
}

impl Place {
    /// A straight road of one slope.
    pub fn of_length(length_m: f64, gradient_percent: f64, bearing_deg: f64) -> Place {
        let gradient = gradient_percent / 100.0;
        Place {
            shape: None,
            road: EventRoad {
                stretches: vec![Stretch {
                    length_m,
                    gradient,
                    bearing_rad: bearing_deg.to_radians(),
                }],
                length_m,
                climb_m: (length_m * gradient / gradient.hypot(1.0)).max(0.0),
                cleaned: None,
                has_heights: true,
            },
            points: Vec::new(),
            whole_file: None,
            source: format!(
                "A straight road of {length_m:.0} m and {gradient_percent:+.1} % towards {bearing_deg:.0}°, as given."
            ),
        }
    }

    /// A level lap of a length that leads through all bearings alike.
    pub fn of_lap(length_m: f64) -> Place {
        const CORNERS: usize = 24;
        let stretch = |corner: usize| Stretch {
            length_m: length_m / CORNERS as f64,
            gradient: 0.0,
            bearing_rad: TAU * corner as f64 / CORNERS as f64,
        };
        Place {
            shape: Some(Shape::Loop),
            road: EventRoad {
                stretches: (0..CORNERS).map(stretch).collect(),
                length_m,
                climb_m: 0.0,
                cleaned: None,
                has_heights: true,
            },
            points: Vec::new(),
            whole_file: None,
            source: format!("A level loop of {length_m:.0} m, taken as round, as given."),
        }
    }

    /// Whether this is the road of that very file, taken as it stands.
    pub fn is_file(&self, file: &Path) -> bool {
        let same =
            |own: &PathBuf| matches!((own.canonicalize(), file.canonicalize()), (Ok(a), Ok(b)) if a == b);
        self.whole_file.as_ref().is_some_and(same)
    }

    /// The stretch that was ridden more than once in a recording, or the whole of a route.
    ///
    /// # Errors
    /// The file cannot be read, goes nowhere, or is a long ride in which no stretch was ridden twice.
    pub fn of_file(file: &Path) -> Result<Place> {
        let name = file.file_name().map_or_else(
            || file.display().to_string(),
            |n| n.to_string_lossy().into_owned(),
        );
        if let Some(surveyed) = study::inspect(file).ok().and_then(|seen| seen.surveyed) {
            let course = &surveyed.ridden.course;
            let times = surveyed.ridden.passes.len();
            return of_points(
                file,
                points_of(course),
                Some(course.shape),
                format!("The stretch that was ridden {times} times in {name}."),
                None,
            );
        }
        let points = read_route(file)?;
        let (points, shape) = as_course(points);
        let whole = match shape {
            Some(Shape::Loop) => format!("{name} from its first to its last point, which closes: a loop."),
            Some(_) => format!("{name} as far as its turning point, since it comes back on the same road."),
            None => format!("{name} from its first to its last point."),
        };
        // A GPX without times is read as a route again; a recording in the folder would be one of the day's rides.
        let as_it_stands = shape != Some(Shape::OutAndBack) && recording::read(file).is_err();
        of_points(
            file,
            points,
            shape,
            whole,
            as_it_stands.then(|| file.to_path_buf()),
        )
    }

    /// Start and finish, latitude and longitude in degrees; a loop has no finish. `None` where no place is known.
    pub fn gates_deg(&self, shape: Shape) -> Option<([f64; 2], Option<[f64; 2]>)> {
        let at = |point: &RoutePoint| [point.latitude_deg, point.longitude_deg];
        let (first, last) = (self.points.first()?, self.points.last()?);
        Some((at(first), (shape != Shape::Loop).then(|| at(last))))
    }

    /// Height gained from start to finish, falls taken off. [m]
    pub fn climb_m(&self) -> f64 {
        let stretches = self.road.stretches.iter();
        stretches
            .map(|s| s.length_m * s.gradient / s.gradient.hypot(1.0))
            .sum()
    }
}

fn of_points(
    file: &Path,
    points: Vec<RoutePoint>,
    shape: Option<Shape>,
    source: String,
    whole_file: Option<PathBuf>,
) -> Result<Place> {
    let road = road_of(&points).filter(|road| road.length_m >= SHORTEST_M);
    let Some(road) = road else {
        let what =
            format!("the road in it is shorter than {SHORTEST_M:.0} m, too short to tell set-ups apart");
        return Err(Fault::new(what, "Choose a stretch of 1 to 3 km.")
            .in_file(file)
            .into());
    };
    if shape.is_none() && road.length_m > LONGEST_M {
        let what = format!(
            "it is {:.1} km long and no stretch of it was found that was ridden more than once",
            road.length_m / 1000.0
        );
        let next = "Draw a route of the stretch to be ridden and give that, or give --length and --gradient.";
        return Err(Fault::new(what, next).in_file(file).into());
    }
    Ok(Place {
        shape,
        road,
        points,
        source,
        whole_file,
    })
}

fn points_of(course: &Course) -> Vec<RoutePoint> {
    let line = &course.line;
    line.distance_m
        .iter()
        .zip(line.latitude_deg.iter().zip(&line.longitude_deg))
        .map(|(along_m, (latitude_deg, longitude_deg))| RoutePoint {
            latitude_deg: *latitude_deg,
            longitude_deg: *longitude_deg,
            altitude_m: course.profile.as_ref().map(|p| p.elevation_at(*along_m)),
        })
        .collect()
}

/// A drawn way that ends where it began is a loop, or, where it comes back on the same road, its half.
fn as_course(mut points: Vec<RoutePoint>) -> (Vec<RoutePoint>, Option<Shape>) {
    let apart = |a: &RoutePoint, b: &RoutePoint| {
        geodesic_m(
            [a.latitude_deg, a.longitude_deg],
            [b.latitude_deg, b.longitude_deg],
        )
    };
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return (points, None);
    };
    let far = points
        .iter()
        .map(|point| apart(first, point))
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let Some((turn, _)) = far.filter(|(_, metres)| *metres > 2.0 * CLOSES_M) else {
        return (points, None);
    };
    if apart(first, last) > CLOSES_M {
        return (points, None);
    }
    let (out, back) = points.split_at(turn + 1);
    let comes_back = back.iter().all(|point| {
        let ends = out.windows(2);
        ends.map(|pair| off_m(point, &pair[0], &pair[1]))
            .fold(f64::INFINITY, f64::min)
            < SAME_ROAD_M
    });
    if comes_back {
        points.truncate(turn + 1);
        (points, Some(Shape::OutAndBack))
    } else {
        (points, Some(Shape::Loop))
    }
}

/// Distance of a point from the straight line between two others, on a plane: good to a per mille over a few km.
fn off_m(point: &RoutePoint, a: &RoutePoint, b: &RoutePoint) -> f64 {
    const METRES_A_DEGREE: f64 = 111_195.0;
    let shrunk = a.latitude_deg.to_radians().cos();
    let from_a = |p: &RoutePoint| {
        [
            (p.longitude_deg - a.longitude_deg) * METRES_A_DEGREE * shrunk,
            (p.latitude_deg - a.latitude_deg) * METRES_A_DEGREE,
        ]
    };
    let ([px, py], [bx, by]) = (from_a(point), from_a(b));
    let squared = bx * bx + by * by;
    let share = if squared > 0.0 {
        ((px * bx + py * by) / squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (px - share * bx).hypot(py - share * by)
}

/// A track without times, which is a route and no recording.
pub fn gpx_text(name: &str, points: &[RoutePoint]) -> String {
    let mut out = String::from(concat!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n",
        "<gpx version=\"1.1\" creator=\"stillair\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n",
    ));
    let escaped = name
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;");
    // Writing into a String cannot fail.
    let _ = writeln!(out, "  <trk>\n    <name>{escaped}</name>\n    <trkseg>");
    for point in points {
        let _ = write!(
            out,
            "      <trkpt lat=\"{:.7}\" lon=\"{:.7}\">",
            point.latitude_deg, point.longitude_deg
        );
        if let Some(metres) = point.altitude_m {
            let _ = write!(out, "<ele>{metres:.2}</ele>");
        }
        out.push_str("</trkpt>\n");
    }
    out.push_str("    </trkseg>\n  </trk>\n</gpx>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// East and north of a place in metres, by a degree of 111.2 km.
    fn points(at_m: &[(f64, f64)]) -> Vec<RoutePoint> {
        let point = |(east, north): &(f64, f64)| RoutePoint {
            latitude_deg: 0.0 + north / 111_195.0,
            longitude_deg: 170.0 + east / 111_195.0,
            altitude_m: Some(100.0 + 0.01 * east),
        };
        at_m.iter().map(point).collect()
    }

    fn of(at_m: &[(f64, f64)]) -> Result<Place> {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("way.gpx");
        std::fs::write(&file, gpx_text("A way & back", &points(at_m))).unwrap();
        Place::of_file(&file)
    }

    #[test]
    fn a_route_says_by_its_ends_what_it_is() {
        let line: Vec<(f64, f64)> = (0..=15).map(|k| (100.0 * f64::from(k), 0.0)).collect();
        let open = of(&line).unwrap();
        assert_eq!((open.shape, open.points.len()), (None, 16));
        assert!(
            (open.road.length_m - 1500.0).abs() < 15.0,
            "{}",
            open.road.length_m
        );
        assert!((open.climb_m() - 15.0).abs() < 0.2, "{}", open.climb_m());
        // The other side of the road on the way back.
        let back = line.iter().rev().map(|(east, _)| (*east, 8.0));
        let there_and_back: Vec<_> = line.iter().copied().chain(back).collect();
        let folded = of(&there_and_back).unwrap();
        assert_eq!(folded.shape, Some(Shape::OutAndBack));
        assert!((folded.road.length_m - 1500.0).abs() < 20.0);
        let square = [(0.0, 0.0), (500.0, 0.0), (500.0, 500.0), (0.0, 500.0), (0.0, 0.0)];
        let lap = of(&square).unwrap();
        assert_eq!(lap.shape, Some(Shape::Loop));
        assert_eq!(lap.gates_deg(Shape::Loop).unwrap().1, None);
        assert!(open.gates_deg(Shape::OneWay).unwrap().1.is_some());
        let short = of(&[(0.0, 0.0), (100.0, 0.0)]).unwrap_err();
        assert!(short.to_string().contains("shorter than 200 m"), "{short}");
        let long = of(&[(0.0, 0.0), (30_000.0, 0.0)]).unwrap_err();
        assert!(long.to_string().contains("30."), "{long}");
    }

    #[test]
    fn what_is_written_is_read_as_the_same_road() {
        let way = points(&[(0.0, 0.0), (400.0, 300.0), (900.0, 300.0)]);
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("course.gpx");
        std::fs::write(&file, gpx_text("<here>", &way)).unwrap();
        for (read, written) in read_route(&file).unwrap().iter().zip(&way) {
            assert!((read.latitude_deg - written.latitude_deg).abs() < 1e-7);
            assert!((read.longitude_deg - written.longitude_deg).abs() < 1e-7);
            assert!((read.altitude_m.unwrap() - written.altitude_m.unwrap()).abs() < 0.006);
        }
        assert!(crate::recording::read(&file).is_err());
    }

    #[test]
    fn a_length_and_a_slope_are_a_road() {
        let place = Place::of_length(1500.0, 2.0, 90.0);
        assert!((place.climb_m() - 29.994).abs() < 1e-3, "{}", place.climb_m());
        assert_eq!(place.gates_deg(Shape::OneWay), None);
    }
}
