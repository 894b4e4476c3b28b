//! Real-shaped files: small, and of every format that is read.

use flate2::{Compression, write::GzEncoder};
use std::fmt::Write as _;
use std::io::Write as _;
use stillair::recording::Recording;
use stillair::simulate::{Format, TrueDay, demo_plan, ride_day};

/// A file by name, as it lies in somebody's folder.
pub struct Seed {
    pub name: &'static str,
    pub bytes: Vec<u8>,
}

/// Some seconds of a ride in every format, plain and packed.
pub fn recordings() -> Vec<Seed> {
    let mut all: Vec<Seed> = [
        ("ride.fit", Format::Fit),
        ("ride.gpx", Format::Gpx),
        ("ride.csv", Format::Csv),
    ]
    .into_iter()
    .map(|(name, format)| Seed {
        name,
        bytes: written(&some_seconds(format)),
    })
    .collect();
    all.push(Seed {
        name: "ride.tcx",
        bytes: tcx(&some_seconds(Format::Gpx).recordings[0]).into_bytes(),
    });
    for (name, packed) in [("ride.fit.gz", 0), ("ride.gpx.gz", 1), ("ride.csv.gz", 2)] {
        let bytes = pack(&all[packed].bytes);
        all.push(Seed { name, bytes });
    }
    for (name, bytes) in [
        (
            "tiny.fit",
            &include_bytes!("../../../fixtures/recordings/tiny.fit")[..],
        ),
        (
            "three-points.gpx",
            include_bytes!("../../../fixtures/recordings/three-points.gpx"),
        ),
        (
            "two-laps.tcx",
            include_bytes!("../../../fixtures/recordings/two-laps.tcx"),
        ),
        (
            "semicolons.csv",
            include_bytes!("../../../fixtures/recordings/semicolons.csv"),
        ),
    ] {
        all.push(Seed {
            name,
            bytes: bytes.to_vec(),
        });
    }
    all
}

pub fn pack(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

/// A short day with the recording cut to 40 samples around a lap mark.
fn some_seconds(format: Format) -> TrueDay {
    let mut plan = demo_plan().with_order("AB", 2);
    plan.format = format;
    let mut day = ride_day(&plan);
    let recording = &mut day.recordings[0];
    let middle = recording.samples.len() / 2;
    let kept = middle - 20..middle + 20;
    recording.samples = recording.samples[kept.clone()].to_vec();
    for channel in &mut recording.extra {
        channel.values = channel.values[kept.clone()].to_vec();
    }
    day
}

/// The bytes of the day's one recording.
pub fn written(day: &TrueDay) -> Vec<u8> {
    let home = tempfile::tempdir().unwrap();
    let files = day.write_files(home.path()).unwrap();
    std::fs::read(&files[0]).unwrap()
}

/// A recording as TCX: one lap, one track.
pub fn tcx(recording: &Recording) -> String {
    let stamp = |time_s: f64| stillair::units::utc_text(time_s, 3);
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<TrainingCenterDatabase xmlns:x=\"urn:extension\">\n<Activities>\
         <Activity Sport=\"Biking\">\n",
    );
    let _ = writeln!(
        out,
        "<Lap StartTime=\"{}\"><TriggerMethod>Manual</TriggerMethod><Track>",
        stamp(recording.samples[0].time_s)
    );
    for sample in &recording.samples {
        let _ = write!(out, "<Trackpoint><Time>{}</Time>", stamp(sample.time_s));
        if let (Some(latitude), Some(longitude)) = (sample.latitude_deg, sample.longitude_deg) {
            let _ = write!(
                out,
                "<Position><LatitudeDegrees>{latitude:.7}</LatitudeDegrees><LongitudeDegrees>{longitude:.7}\
                 </LongitudeDegrees></Position>"
            );
        }
        for (name, value) in [
            ("AltitudeMeters", sample.altitude_m),
            ("DistanceMeters", sample.distance_m),
            ("Cadence", sample.cadence_rpm),
        ] {
            if let Some(value) = value {
                let _ = write!(out, "<{name}>{value:.1}</{name}>");
            }
        }
        let _ = writeln!(
            out,
            "<Extensions><x:TPX><x:Speed>{:.3}</x:Speed><x:Watts>{:.0}</x:Watts></x:TPX></Extensions></Trackpoint>",
            sample.speed_m_s.unwrap_or(0.0),
            sample.power_w.unwrap_or(0.0)
        );
    }
    out + "</Track></Lap></Activity></Activities></TrainingCenterDatabase>\n"
}

/// Reports of the air, each whole.
pub const REPORTS: [&str; 5] = [
    "METAR XXXX 020850Z 24008G15KT 210V270 9999 FEW030 14/07 Q1016=",
    "SPECI XXXX 020920Z AUTO VRB02KT CAVOK M02/M05 Q0998 NOSIG",
    "XXXX 020953Z 31010KT 10SM CLR 23/12 A3001 RMK AO2 SLP168 T02280117",
    "XXXX 021000Z 05004MPS 0300 FG VV001 01/01 Q1030 BECMG 3000",
    "METAR COR XXXX 021030Z 00000KT 9999 // ////// 18/11 Q1021",
];

/// A `test.toml` with a table of every kind.
pub const TEST_TOML: &str = include_str!("../../fuzz/seeds/test_toml/whole.toml");
