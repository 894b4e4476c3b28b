//! Whatever bytes come in, a recording or faults come out.

use super::{Recording, read_bytes};
use proptest::prelude::*;
use std::path::Path;

const TINY_FIT: &[u8] = include_bytes!("../../fixtures/recordings/tiny.fit");
const GPX: &[u8] = include_bytes!("../../fixtures/recordings/three-points.gpx");
const PACKED: &[u8] = include_bytes!("../../fixtures/recordings/three-points.gpx.gz");
const TCX: &[u8] = include_bytes!("../../fixtures/recordings/two-laps.tcx");
const CSV: &[u8] = include_bytes!("../../fixtures/recordings/semicolons.csv");
const ALL: [(&str, &[u8]); 5] = [
    ("a.fit", TINY_FIT),
    ("a.gpx", GPX),
    ("a.gpx.gz", PACKED),
    ("a.tcx", TCX),
    ("a.csv", CSV),
];

/// Reads, and checks what holds for every recording and every error.
fn check(name: &str, bytes: &[u8]) -> Option<Recording> {
    match read_bytes(Path::new(name), bytes) {
        Ok(recording) => {
            assert!(!recording.samples.is_empty());
            for sample in &recording.samples {
                assert!(sample.time_s.is_finite());
                assert!(sample.latitude_deg.is_none_or(|degrees| degrees.abs() <= 90.0));
                assert!(
                    sample
                        .longitude_deg
                        .is_none_or(|degrees| (-180.0..180.0).contains(&degrees))
                );
                let values = [
                    sample.altitude_m,
                    sample.distance_m,
                    sample.speed_m_s,
                    sample.power_w,
                ];
                assert!(values.into_iter().flatten().all(f64::is_finite));
            }
            for channel in &recording.extra {
                assert_eq!(channel.values.len(), recording.samples.len());
            }
            assert!(recording.faults.iter().all(|fault| fault.file.is_some()));
            Some(recording)
        }
        Err(error) => {
            assert!(!error.faults.is_empty());
            for fault in &error.faults {
                assert_eq!(fault.file.as_deref(), Some(Path::new(name)));
                assert!(
                    !fault.what.is_empty() && fault.next_step.ends_with('.'),
                    "{fault}"
                );
            }
            None
        }
    }
}

#[test]
fn every_fixture_cut_at_every_length() {
    for (name, bytes) in ALL {
        let whole = check(name, bytes).unwrap();
        for length in 0..bytes.len() {
            if let Some(cut) = check(name, &bytes[..length]) {
                assert!(cut.samples.len() <= whole.samples.len(), "{name} at {length}");
                // A number may be cut in its middle; the times before the last are whole.
                let before = cut.samples.len() - 1;
                for (cut, whole) in cut.samples.iter().zip(&whole.samples).take(before) {
                    assert_eq!(cut.time_s, whole.time_s, "{name} at {length}");
                }
            }
        }
    }
}

#[test]
fn every_bit_of_every_fixture_flipped() {
    for (name, bytes) in ALL {
        let mut flipped = bytes.to_vec();
        for bit in 0..bytes.len() * 8 {
            flipped[bit / 8] ^= 1 << (bit % 8);
            check(name, &flipped);
            flipped[bit / 8] ^= 1 << (bit % 8);
        }
    }
}

#[test]
fn a_flipped_bit_in_a_fit_file_never_goes_unnoticed() {
    // Every byte stands under the one checksum; a flip in it can only be an error, or a fault.
    let mut flipped = TINY_FIT.to_vec();
    for bit in 0..TINY_FIT.len() * 8 {
        flipped[bit / 8] ^= 1 << (bit % 8);
        if let Some(recording) = check("a.fit", &flipped) {
            assert!(!recording.faults.is_empty(), "bit {bit}");
        }
        flipped[bit / 8] ^= 1 << (bit % 8);
    }
}

proptest! {
    #[test]
    fn random_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..2000), which in 0usize..5) {
        check(ALL[which].0, &bytes);
    }

    #[test]
    fn random_fit_messages(body in proptest::collection::vec(any::<u8>(), 0..2000)) {
        check("a.fit", &super::fit_writer::with_frame(&body));
    }

    /// A sound definition of samples, with developer fields, then nonsense.
    #[test]
    fn random_fit_data(body in proptest::collection::vec(any::<u8>(), 0..600), sizes in any::<[u8; 4]>()) {
        use super::fit_writer::{FitWriter, Kind};
        let mut writer = FitWriter::new(sizes[0] % 2 == 0);
        writer.developer_field(0, 1, sizes[0], "wind", "m/s");
        let fields = [(253, 4, Kind::U32), (7, sizes[1], Kind::U16), (8, sizes[2], Kind::Byte)];
        writer.define_with_developer(0, 20, &fields, &[(1, sizes[3], 0)]);
        for part in body.chunks(60) {
            writer.data_bytes(0, part);
        }
        check("a.fit", &writer.finish());
    }

    #[test]
    fn fixtures_with_bytes_changed(
        which in 0usize..5,
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 1..12),
    ) {
        let (name, bytes) = ALL[which];
        let mut changed = bytes.to_vec();
        for (place, byte) in changes {
            let place = place.index(changed.len());
            changed[place] = byte;
        }
        check(name, &changed);
    }

    #[test]
    fn random_tables(text in "[a-z0-9;,.:\\-\"\n\tTZ ]{0,300}") {
        check("a.csv", format!("time;power (W);lat;lon\n{text}").as_bytes());
        check("a.csv", text.as_bytes());
    }

    #[test]
    fn random_markup(text in "(<|>|/|trkpt|time|ele| lat='|lon='1'|'|2026-01-05T08:00:00Z|&|;|\\[|<!--|[a-z0-9]){0,80}") {
        check("a.gpx", format!("<gpx version='1.1'><trk><trkseg>{text}").as_bytes());
        check("a.tcx", format!("<TrainingCenterDatabase><Lap><Track>{text}").as_bytes());
    }
}
