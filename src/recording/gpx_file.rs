//! GPX → a recording.
//!
//! The `gpx` crate gives the structure, but drops every `<extensions>` (where power lives) and refuses a whole file
//! for one odd element. A second pass over the XML reads the extensions, and stands in where the crate refuses.

use super::bounds::{MAX_EXTRA_VALUES, MAX_REWORKED_BYTES, MAX_SAMPLES, MAX_STRICT_POINTS};
use super::fields::{self, Quantity};
use super::guard::guarded;
use super::rows::{MAX_EXTRA_CHANNELS, Rows};
use super::xml::{self, Path as Open, Stop};
use super::{Format, Recording, Sample, Session, TimerEvent, text};
use crate::error::{Error, Fault, Result};
use quick_xml::events::BytesStart;
use std::path::Path;

pub(super) fn read(file: &Path, bytes: Vec<u8>) -> Result<Recording> {
    let text = text::decoded(bytes)?;
    let content = text.trim_start();
    let mut recording = Recording::empty(file, Format::Gpx);
    let mut pass = Pass::default();
    match xml::walk(content, &mut pass) {
        Ok(()) if content.len() > MAX_REWORKED_BYTES || pass.all_points() > MAX_STRICT_POINTS => {}
        Ok(()) => match structure(content) {
            Ok(tracks) => pass.take_structure(&tracks),
            Err(cause) => recording.faults.push(not_gpx(&cause)),
        },
        Err(Stop::Damage(fault)) => recording.faults.push(fault),
        Err(Stop::Refused(fault)) => return Err(fault.into()),
    }
    drop(text);
    recording.device = pass.creator.take();
    build(recording, pass)
}

fn not_gpx(cause: &str) -> Fault {
    Fault::new(
        format!(
            "has something that a strict reader of GPX refuses ({cause}); its track points were read all the same"
        ),
        "Compare the number of samples and the channels with what you expect.",
    )
}

/// The crate's reading; its panic, were there one, counts as a refusal.
fn structure(content: &str) -> std::result::Result<Vec<gpx::Track>, String> {
    match guarded(|| gpx::read(content.as_bytes())) {
        Some(Ok(gpx)) => Ok(gpx.tracks),
        Some(Err(cause)) => Err(cause.to_string()),
        None => Err("the document makes no sense".into()),
    }
}

/// One track point: what the standard gives it, and what its extensions add.
#[derive(Default)]
struct Point {
    segment: usize,
    time_s: Option<f64>,
    sample: Sample,
    /// Which of the pass's names, and what stands there.
    extra: Vec<(u16, f64)>,
}

/// Everything in document order, by local names, whatever the prefixes are.
#[derive(Default)]
struct Pass {
    points: Vec<Point>,
    segments: usize,
    route_points: usize,
    creator: Option<String>,
    kind: Option<String>,
    open: bool,
    /// Of channels with no name of ours.
    names: Vec<String>,
    extra_values: usize,
}

impl xml::Visitor for Pass {
    fn open(&mut self, path: &Open, element: &BytesStart<'_>) {
        match path.above(0) {
            "gpx" => self.creator = xml::attribute(element, "creator").filter(|name| !name.is_empty()),
            "trkseg" => self.segments += 1,
            "rtept" | "wpt" => self.route_points += 1,
            "trkpt" => {
                let mut point = Point {
                    segment: self.segments,
                    ..Point::default()
                };
                for (name, quantity) in [("lat", Quantity::Latitude), ("lon", Quantity::Longitude)] {
                    if let Some(degrees) = xml::attribute(element, name).and_then(|a| text::number(&a)) {
                        point.sample.put(quantity, degrees);
                    }
                }
                self.points.push(point);
                self.open = true;
            }
            _ => {}
        }
    }

    fn full(&self) -> bool {
        self.points.len() > MAX_SAMPLES || self.extra_values > MAX_EXTRA_VALUES
    }

    fn close(&mut self, path: &Open) {
        let name = path.above(0);
        if name == "trkpt" {
            self.open = false;
        } else if (name, path.above(1)) == ("type", "trk") {
            self.kind = Some(path.text().to_string()).filter(|kind| !kind.is_empty());
        } else if let Some(point) = self.points.last_mut().filter(|_| self.open)
            && let Some(value) = point.take(name, path)
            && let Some(place) = place_of(name, &mut self.names)
        {
            point.extra.push((place, value));
            self.extra_values += 1;
        }
    }
}

impl Point {
    /// Gives back a value that has no name of ours.
    fn take(&mut self, name: &str, path: &Open) -> Option<f64> {
        if (name, path.above(1)) == ("time", "trkpt") {
            self.time_s = text::time_s(path.text());
            return None;
        }
        // A decimal comma is met in the wild; nothing else in a point could mean it.
        let content = path.text();
        let value = text::number(content).or_else(|| text::number(&content.replacen(',', ".", 1)))?;
        match fields::lookup(name) {
            Some(known) => {
                self.sample.put(known.quantity, value);
                None
            }
            None => path.within("extensions").then_some(value),
        }
    }
}

fn place_of(name: &str, names: &mut Vec<String>) -> Option<u16> {
    let place = names.iter().position(|known| known == name).or_else(|| {
        (names.len() < MAX_EXTRA_CHANNELS).then(|| {
            names.push(name.to_string());
            names.len() - 1
        })
    })?;
    u16::try_from(place).ok()
}

impl Pass {
    fn all_points(&self) -> usize {
        self.points.len() + self.route_points
    }

    /// Puts the crate's values in place of ours. Where the counts differ, one of the two readings lost a point, and
    /// ours, which knows every `trkpt`, stays.
    fn take_structure(&mut self, tracks: &[gpx::Track]) {
        let segments = tracks.iter().flat_map(|track| &track.segments);
        let theirs: Vec<(usize, &gpx::Waypoint)> = segments
            .enumerate()
            .flat_map(|(segment, of)| of.points.iter().map(move |point| (segment + 1, point)))
            .collect();
        if theirs.len() != self.points.len() {
            return;
        }
        for (point, (segment, theirs)) in self.points.iter_mut().zip(theirs) {
            point.segment = segment;
            point.sample.put(Quantity::Latitude, theirs.point().y());
            point.sample.put(Quantity::Longitude, theirs.point().x());
            point.sample.altitude_m = theirs.elevation.filter(|metres| metres.is_finite());
            if let Some(speed) = theirs.speed {
                point.sample.put(Quantity::Speed, speed);
            }
            point.time_s = theirs.time.map(|time| {
                let moment = time::OffsetDateTime::from(time);
                moment.unix_timestamp() as f64 + f64::from(moment.nanosecond()) * 1e-9
            });
        }
    }
}

fn build(mut recording: Recording, pass: Pass) -> Result<Recording> {
    let count = pass.points.len();
    let mut rows = Rows::default();
    let mut before: Option<(usize, f64)> = None;
    for point in pass.points {
        let Some(time_s) = point.time_s else { continue };
        if let Some((segment, stop_s)) = before
            && segment != point.segment
        {
            let pause = [(stop_s, false), (time_s, true)];
            recording
                .timer_events
                .extend(pause.map(|(time_s, running)| TimerEvent { time_s, running }));
        }
        before = Some((point.segment, time_s));
        rows.push(Sample {
            time_s,
            ..point.sample
        });
        for (place, value) in point.extra {
            if let Some(name) = pass.names.get(usize::from(place)) {
                rows.put_extra(name, "", value);
            }
        }
    }
    (recording.samples, recording.extra) = rows.finish()?;
    let timeless = count - recording.samples.len();
    let (Some(first), Some(last)) = (recording.samples.first(), recording.samples.last()) else {
        let mut faults = vec![empty(count, pass.route_points)];
        faults.append(&mut recording.faults);
        return Err(Error { faults });
    };
    if timeless > 0 {
        let what = format!("{timeless} track points have no time and are left out");
        recording
            .faults
            .push(Fault::new(what, "Nothing need be done; the rest is used."));
    }
    recording.sessions.push(Session {
        start_s: first.time_s,
        end_s: last.time_s,
        sport: pass.kind,
    });
    Ok(recording)
}

fn empty(points: usize, route_points: usize) -> Fault {
    if points + route_points > 0 {
        return Fault::new(
            "is a route, not a recording: no track point in it has a time",
            "Export the ride itself, with its times.",
        );
    }
    Fault::new(
        "holds no samples: there is no track point in it",
        "Export the ride again as FIT, GPX, TCX or CSV.",
    )
}

#[cfg(test)]
mod tests;
