//! A file → where a road goes: any recording, and GPX tracks or routes without times.

use super::{Format, Recording, bounds::MAX_REWORKED_BYTES, guard::guarded, gz, sniff};
use crate::error::{Error, Fault, Result};
use std::path::Path;

/// One point of a road. Degrees, and metres where the file has a height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoutePoint {
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    pub altitude_m: Option<f64>,
}

/// The points of a file in the order of the way: of a recording, of a track without times, or of a route.
///
/// # Errors
/// The file cannot be read, or has fewer than two positions.
pub fn read_route(path: &Path) -> Result<Vec<RoutePoint>> {
    let mut points = match super::read(path) {
        Ok(recording) => ridden(&recording),
        Err(error) => {
            let bytes = gz::read_bounded(path)?;
            let content = gz::unpacked(bytes)
                .map_err(|fault| Error::from(fault.in_file(path)))?
                .bytes;
            match sniff::format_of(path, &content) {
                Ok(Format::Gpx) if content.len() <= MAX_REWORKED_BYTES => drawn(&content).ok_or(error)?,
                _ => return Err(error),
            }
        }
    };
    points.retain(|point| point.latitude_deg.abs() <= 90.0 && point.longitude_deg.abs() <= 180.0);
    if points.len() < 2 {
        return Err(Fault::new(
            "has no positions, so it does not say where the road goes",
            "Use a GPX route or track of the event, or a recording with positions; `--flat 40km` needs no file.",
        )
        .in_file(path)
        .into());
    }
    Ok(points)
}

fn ridden(recording: &Recording) -> Vec<RoutePoint> {
    let positions = recording.samples.iter().filter_map(|sample| {
        Some(RoutePoint {
            latitude_deg: sample.latitude_deg?,
            longitude_deg: sample.longitude_deg?,
            altitude_m: sample.altitude_m,
        })
    });
    positions.collect()
}

/// Track points, or, where there are none, route points. `None` where the document makes no sense.
fn drawn(content: &[u8]) -> Option<Vec<RoutePoint>> {
    let document = guarded(|| gpx::read(content))?.ok()?;
    let point = |from: &gpx::Waypoint| RoutePoint {
        latitude_deg: from.point().y(),
        longitude_deg: from.point().x(),
        altitude_m: from.elevation.filter(|metres| metres.is_finite()),
    };
    let segments = document.tracks.iter().flat_map(|track| &track.segments);
    let tracked: Vec<RoutePoint> = segments.flat_map(|s| s.points.iter().map(point)).collect();
    if !tracked.is_empty() {
        return Some(tracked);
    }
    let routes = document.routes.iter();
    Some(routes.flat_map(|route| route.points.iter().map(point)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<RoutePoint>> {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("event.gpx");
        std::fs::write(&file, text).unwrap();
        read_route(&file)
    }

    const HEAD: &str = "<gpx version=\"1.1\" creator=\"hand\" xmlns=\"http://www.topografix.com/GPX/1/1\">";

    #[test]
    fn a_route_and_a_track_without_times_are_read() {
        let route = read(&format!(
            "{HEAD}<rte><rtept lat=\"-43.9\" lon=\"170.5\"><ele>310.5</ele></rtept><rtept lat=\"-43.8\" lon=\"170.6\"/></rte></gpx>"
        ))
        .unwrap();
        assert_eq!(
            route[0],
            RoutePoint {
                latitude_deg: -43.9,
                longitude_deg: 170.5,
                altitude_m: Some(310.5)
            }
        );
        assert_eq!((route.len(), route[1].altitude_m), (2, None));
        let track = read(&format!(
            "{HEAD}<trk><trkseg><trkpt lat=\"1\" lon=\"2\"/><trkpt lat=\"1\" lon=\"2.5\"/></trkseg></trk></gpx>"
        ));
        assert_eq!(track.unwrap()[1].longitude_deg, 2.5);
    }

    #[test]
    fn a_recording_is_a_road_too_and_a_single_point_is_none() {
        let ridden = read(&format!(
            "{HEAD}<trk><trkseg><trkpt lat=\"1\" lon=\"2\"><time>2026-05-02T08:10:00Z</time></trkpt>\
             <trkpt lat=\"1\" lon=\"2.1\"><time>2026-05-02T08:20:00Z</time></trkpt></trkseg></trk></gpx>"
        ));
        assert_eq!(ridden.unwrap().len(), 2);
        let one = read(&format!(
            "{HEAD}<rte><rtept lat=\"-43.9\" lon=\"170.5\"/></rte></gpx>"
        ));
        assert!(one.unwrap_err().faults[0].what.contains("no positions"));
    }
}
