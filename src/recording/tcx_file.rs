//! TCX → a recording.

use super::fields;
use super::rows::{MAX_EXTRA_CHANNELS, Rows};
use super::xml::{self, Path as Open, Stop};
use super::{Format, Recording, Sample, Session, TimerEvent, text};
use crate::error::{Error, Fault, Result};
use quick_xml::events::BytesStart;
use std::path::Path;

pub(super) fn read(file: &Path, bytes: Vec<u8>) -> Result<Recording> {
    let content = text::decoded(bytes)?;
    let mut reader = Reader::new(file);
    match xml::walk(content.trim_start(), &mut reader) {
        Ok(()) => {}
        Err(Stop::Damage(fault)) => reader.recording.faults.push(fault),
        Err(Stop::Refused(fault)) => return Err(fault.into()),
    }
    reader.finish()
}

struct Reader {
    recording: Recording,
    rows: Rows,
    point: Option<Point>,
    lap_start_s: Option<f64>,
    first_lap: bool,
    sport: Option<String>,
    /// First and last time of the activity being read.
    activity: Option<(f64, f64)>,
    /// Last time of the track before, where this track continues the same lap.
    track_ended_s: Option<f64>,
    timeless: usize,
}

#[derive(Default)]
struct Point {
    time_s: Option<f64>,
    sample: Sample,
    extra: Vec<(String, f64)>,
}

impl xml::Visitor for Reader {
    fn open(&mut self, path: &Open, element: &BytesStart<'_>) {
        match path.above(0) {
            "Activity" => {
                self.sport = xml::attribute(element, "Sport");
                self.activity = None;
                self.first_lap = true;
            }
            "Lap" => {
                self.lap_start_s =
                    xml::attribute(element, "StartTime").and_then(|start| text::time_s(&start));
                self.track_ended_s = None;
            }
            "Trackpoint" => self.point = Some(Point::default()),
            _ => {}
        }
    }

    fn full(&self) -> bool {
        self.rows.full() || self.recording.marks_full()
    }

    fn close(&mut self, path: &Open) {
        match (path.above(0), path.above(1)) {
            ("Trackpoint", _) => self.end_point(),
            ("Track", _) => self.track_ended_s = self.rows.samples.last().map(|sample| sample.time_s),
            ("Lap", _) => self.first_lap = false,
            // The first lap starts with the ride, not with a press of the button.
            ("TriggerMethod", "Lap") if path.text() == "Manual" && !self.first_lap => {
                self.recording.lap_marks_s.extend(self.lap_start_s);
            }
            ("Activity", _) => self.end_activity(),
            ("Name", "Creator") if !path.text().is_empty() => {
                self.recording
                    .device
                    .get_or_insert_with(|| path.text().to_string());
            }
            (name, parent) => {
                if let Some(point) = &mut self.point {
                    point.take(name, parent, path.text());
                }
            }
        }
    }
}

impl Point {
    fn take(&mut self, name: &str, parent: &str, content: &str) {
        if (name, parent) == ("Time", "Trackpoint") {
            self.time_s = text::time_s(content);
            return;
        }
        let Some(value) = text::number(content) else {
            return;
        };
        // The heart rate's number sits in a child of its own.
        let name = if name == "Value" { parent } else { name };
        match fields::lookup(name) {
            Some(known) => self.sample.put(known.quantity, value),
            None if self.extra.len() < MAX_EXTRA_CHANNELS => self.extra.push((name.to_string(), value)),
            None => {}
        }
    }
}

impl Reader {
    fn new(file: &Path) -> Self {
        Reader {
            recording: Recording::empty(file, Format::Tcx),
            rows: Rows::default(),
            point: None,
            lap_start_s: None,
            first_lap: true,
            sport: None,
            activity: None,
            track_ended_s: None,
            timeless: 0,
        }
    }

    fn end_point(&mut self) {
        let Some(point) = self.point.take() else { return };
        let Some(time_s) = point.time_s else {
            self.timeless += 1;
            return;
        };
        // A lap with two tracks was interrupted in between.
        if let Some(stop_s) = self.track_ended_s.take() {
            let pause = [(stop_s, false), (time_s, true)];
            self.recording
                .timer_events
                .extend(pause.map(|(time_s, running)| TimerEvent { time_s, running }));
        }
        let (first, _) = self.activity.unwrap_or((time_s, time_s));
        self.activity = Some((first, time_s));
        self.rows.push(Sample {
            time_s,
            ..point.sample
        });
        for (name, value) in point.extra {
            self.rows.put_extra(&name, "", value);
        }
    }

    fn end_activity(&mut self) {
        if let Some((start_s, end_s)) = self.activity.take() {
            self.recording.sessions.push(Session {
                start_s,
                end_s,
                sport: self.sport.take(),
            });
        }
    }

    fn finish(mut self) -> Result<Recording> {
        self.end_activity();
        if self.timeless > 0 {
            let what = format!("{} track points have no time and are left out", self.timeless);
            self.recording
                .faults
                .push(Fault::new(what, "Nothing need be done; the rest is used."));
        }
        (self.recording.samples, self.recording.extra) = self.rows.finish()?;
        if self.recording.samples.is_empty() {
            let what = "holds no samples: no track point in it has a time";
            let mut faults = vec![Fault::new(
                what,
                "Choose the file of a ride, not of a course or a plan.",
            )];
            faults.append(&mut self.recording.faults);
            return Err(Error { faults });
        }
        Ok(self.recording)
    }
}

#[cfg(test)]
mod tests;
