//! A recording as a path over the day's plane.

use super::ground::{Plane, length, minus};
use super::measure;
use crate::streams::Streams;

/// Longer than this without a position, the path is not joined: a rider covers 300 m meanwhile.
const LONGEST_JOIN_S: f64 = 30.0;

/// The samples of one recording that have a position, in order of time.
#[derive(Debug, Clone)]
pub struct Track {
    pub recording: usize,
    pub time_s: Vec<f64>,
    pub at: Vec<[f64; 2]>,
    pub speed_m_s: Vec<f64>,
    /// True where the path is not joined to the sample before (a pause, a hole, the first sample).
    pub broken: Vec<bool>,
}

/// A position that implies more than this speed to get to is not joined either: no bicycle, a wrong position.
const FASTEST_M_S: f64 = 60.0;
/// Positions closer than this are not joined when a path is measured: wander would lengthen it.
const PATH_STEP_M: f64 = 10.0;

impl Track {
    /// The place at a moment, linear between positions; the nearest end outside the recording.
    pub fn at_time(&self, time_s: f64) -> [f64; 2] {
        let after = self
            .time_s
            .partition_point(|&t| t < time_s)
            .clamp(1, self.time_s.len() - 1);
        let (from, to) = (self.at[after - 1], self.at[after]);
        let share = (time_s - self.time_s[after - 1]) / (self.time_s[after] - self.time_s[after - 1]);
        let share = share.clamp(0.0, 1.0);
        [
            from[0] + share * (to[0] - from[0]),
            from[1] + share * (to[1] - from[1]),
        ]
    }

    /// Straight from the place at one moment to the place at another. [m]
    pub fn moved_m(&self, from_s: f64, to_s: f64) -> f64 {
        length(minus(self.at_time(to_s), self.at_time(from_s)))
    }

    /// Speed by positions over the two seconds around a moment. [m/s]
    pub fn speed_at(&self, time_s: f64) -> f64 {
        let first = self.time_s.first().copied().unwrap_or(time_s);
        let last = self.time_s.last().copied().unwrap_or(time_s);
        let (from, to) = ((time_s - 1.0).max(first), (time_s + 1.0).min(last));
        if to > from {
            self.moved_m(from, to) / (to - from)
        } else {
            0.0
        }
    }

    /// Length of the path between two moments, by positions. [m]
    pub fn path_m(&self, from_s: f64, to_s: f64) -> f64 {
        let mut last = self.at_time(from_s);
        let mut path = 0.0;
        let first = self.time_s.partition_point(|&t| t <= from_s);
        for index in first..self.time_s.partition_point(|&t| t < to_s) {
            let step = length(minus(self.at[index], last));
            if step >= PATH_STEP_M {
                path += step;
                last = self.at[index];
            }
        }
        path + length(minus(self.at_time(to_s), last))
    }
}

/// `None` when no recording has two positions.
pub fn tracks(streams: &[Streams]) -> Option<(Plane, Vec<Track>)> {
    let (mut latitudes, mut longitudes) = (Vec::new(), Vec::new());
    for s in streams {
        for (&lat, &lon) in s.latitude_deg.iter().zip(&s.longitude_deg) {
            if lat.is_finite() && lon.is_finite() {
                latitudes.push(lat);
                longitudes.push(lon);
            }
        }
    }
    if latitudes.len() < 2 {
        return None;
    }
    // The median sits where the rider spent the day, which is the course, and is a real longitude
    // even when the rides lie on both sides of the antimeridian.
    let middle = latitudes.len() / 2;
    latitudes.sort_by(f64::total_cmp);
    longitudes.sort_by(f64::total_cmp);
    let plane = Plane::at(latitudes[middle], longitudes[middle]);
    let tracks: Vec<Track> = streams
        .iter()
        .enumerate()
        .filter_map(|(recording, s)| {
            let track = across_holes(track(recording, s, &plane), s);
            (track.time_s.len() >= 2).then_some(track)
        })
        .collect();
    (!tracks.is_empty()).then_some((plane, tracks))
}

/// Holes shorter than this are a straight line in time already. [s]
const SHORT_HOLE_S: f64 = 2.5;

/// Where positions are missing between samples, the rider is where his wheel had taken him along the straight line.
fn across_holes(track: Track, s: &Streams) -> Track {
    let holes: Vec<usize> = (1..track.time_s.len())
        .filter(|&i| !track.broken[i] && track.time_s[i] - track.time_s[i - 1] > SHORT_HOLE_S)
        .collect();
    if holes.is_empty() {
        return track;
    }
    let mut filled = Track {
        recording: track.recording,
        time_s: vec![],
        at: vec![],
        speed_m_s: vec![],
        broken: vec![],
    };
    for i in 0..track.time_s.len() {
        if holes.contains(&i) {
            let (from_s, to_s) = (track.time_s[i - 1], track.time_s[i]);
            let within = s.index_at_or_after(from_s) + 1..s.index_at_or_after(to_s);
            let mut times_s = vec![from_s];
            times_s.extend_from_slice(s.time_s.get(within.clone()).unwrap_or_default());
            times_s.push(to_s);
            let ridden = measure::ridden_at(s, &times_s).unwrap_or_default();
            let whole_m = ridden.last().copied().unwrap_or(0.0);
            for (index, ridden_m) in within.zip(ridden.iter().skip(1)).filter(|_| whole_m > 0.0) {
                let share = ridden_m / whole_m;
                let (a, b) = (track.at[i - 1], track.at[i]);
                filled.time_s.push(s.time_s[index]);
                filled
                    .at
                    .push([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]);
                filled.speed_m_s.push(s.speed_m_s[index]);
                filled.broken.push(false);
            }
        }
        filled.time_s.push(track.time_s[i]);
        filled.at.push(track.at[i]);
        filled.speed_m_s.push(track.speed_m_s[i]);
        filled.broken.push(track.broken[i]);
    }
    filled
}

fn track(recording: usize, s: &Streams, plane: &Plane) -> Track {
    let mut track = Track {
        recording,
        time_s: vec![],
        at: vec![],
        speed_m_s: vec![],
        broken: vec![],
    };
    for index in 0..s.time_s.len() {
        let (lat, lon) = (s.latitude_deg[index], s.longitude_deg[index]);
        if !(lat.is_finite() && lon.is_finite()) {
            continue;
        }
        let time = s.time_s[index];
        let broken = track.time_s.last().is_none_or(|&before| {
            time - before > LONGEST_JOIN_S
                || s.gaps
                    .iter()
                    .any(|gap| gap.paused && gap.start_s < time && gap.end_s > before)
        });
        let at = plane.project(lat, lon);
        let jumped = track
            .time_s
            .last()
            .zip(track.at.last())
            .is_some_and(|(&before, &there)| length(minus(at, there)) > FASTEST_M_S * (time - before) + 50.0);
        track.time_s.push(time);
        track.at.push(at);
        track.speed_m_s.push(s.speed_m_s[index]);
        track.broken.push(broken || jumped);
    }
    track
}
