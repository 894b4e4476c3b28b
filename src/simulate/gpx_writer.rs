//! A recording as GPX 1.1: one track, a segment for each stretch of running timer.

use super::unit::AIR_SPEED;
use crate::recording::{Recording, Sample};
use crate::units::utc_text;
use std::fmt::Write;

/// The text of the file. What GPX has no element for stands in `extensions`, in a name space of its own.
pub(super) fn text(recording: &Recording) -> String {
    let mut out = String::from(concat!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n",
        "<gpx version=\"1.1\" creator=\"stillair simulation\"",
        " xmlns=\"http://www.topografix.com/GPX/1/1\"",
        " xmlns:ride=\"urn:stillair:simulated-ride:1\">\n",
        "  <trk>\n    <name>Simulated ride</name>\n    <type>cycling</type>\n    <trkseg>\n",
    ));
    let mut restarts = recording
        .timer_events
        .iter()
        .filter(|event| event.running)
        .map(|event| event.time_s)
        .peekable();
    for (index, sample) in recording.samples.iter().enumerate() {
        let mut breaks = false;
        while restarts.next_if(|t| *t <= sample.time_s).is_some() {
            breaks = true;
        }
        if breaks && index > 0 {
            out.push_str("    </trkseg>\n    <trkseg>\n");
        }
        let air_speed = recording.extra.iter().find(|channel| channel.name == AIR_SPEED);
        let air_speed_m_s = air_speed.and_then(|channel| channel.values.get(index).copied().flatten());
        point(&mut out, sample, air_speed_m_s);
    }
    out.push_str("    </trkseg>\n  </trk>\n</gpx>\n");
    out
}

fn point(out: &mut String, sample: &Sample, air_speed_m_s: Option<f64>) {
    let (Some(latitude), Some(longitude)) = (sample.latitude_deg, sample.longitude_deg) else {
        return; // GPX has no point without a place.
    };
    // Writing into a String cannot fail.
    let _ = write!(out, "      <trkpt lat=\"{latitude:.7}\" lon=\"{longitude:.7}\">");
    if let Some(altitude) = sample.altitude_m {
        let _ = write!(out, "<ele>{altitude:.1}</ele>");
    }
    let decimals = if sample.time_s.fract() == 0.0 { 0 } else { 3 };
    let _ = write!(out, "<time>{}</time>", utc_text(sample.time_s, decimals));
    out.push_str("<extensions>");
    for (name, value, decimals) in [
        ("power", sample.power_w, 0),
        ("cadence", sample.cadence_rpm, 0),
        ("temperature", sample.temperature_c, 0),
        ("speed", sample.speed_m_s, 3),
        ("air_speed", air_speed_m_s, 2),
    ] {
        if let Some(value) = value {
            let _ = write!(out, "<ride:{name}>{value:.decimals$}</ride:{name}>");
        }
    }
    out.push_str("</extensions></trkpt>\n");
}
