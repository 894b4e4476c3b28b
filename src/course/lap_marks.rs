//! Places where the lap button was pressed time and again: offered as gates.

use super::LapMarkPlace;
use super::ground::{Plane, length, minus};
use super::located::Located;
use super::track::Track;
use crate::streams::Streams;

/// Presses within this of each other mean the same place: 3 s at 10 m/s.
const SAME_PLACE_M: f64 = 30.0;
/// A place is on the course when it is this near to its line.
const ON_COURSE_M: f64 = 20.0;

/// Most marked first. A single press is no place.
pub fn places(located: &Located, plane: &Plane, tracks: &[Track], streams: &[Streams]) -> Vec<LapMarkPlace> {
    let mut groups: Vec<Vec<[f64; 2]>> = Vec::new();
    for track in tracks {
        let (Some(&first), Some(&last)) = (track.time_s.first(), track.time_s.last()) else {
            continue;
        };
        let marks = streams.get(track.recording).map_or(&[][..], |s| &s.lap_marks_s);
        for &mark in marks.iter().filter(|&&mark| mark >= first && mark <= last) {
            let at = track.at_time(mark);
            match groups
                .iter_mut()
                .find(|group| length(minus(middle(group), at)) < SAME_PLACE_M)
            {
                Some(group) => group.push(at),
                None => groups.push(vec![at]),
            }
        }
    }
    groups.retain(|group| group.len() >= 2);
    groups.sort_by_key(|group| std::cmp::Reverse(group.len()));
    groups
        .iter()
        .map(|group| {
            let at = middle(group);
            let [latitude_deg, longitude_deg] = plane.unproject(at);
            let place = located
                .line
                .nearest(at, None)
                .filter(|place| place.off_m <= ON_COURSE_M);
            LapMarkPlace {
                latitude_deg,
                longitude_deg,
                marks: group.len(),
                distance_m: place.map(|p| p.distance_m),
            }
        })
        .collect()
}

fn middle(group: &[[f64; 2]]) -> [f64; 2] {
    let count = group.len().max(1) as f64;
    [
        group.iter().map(|p| p[0]).sum::<f64>() / count,
        group.iter().map(|p| p[1]).sum::<f64>() / count,
    ]
}
