//! Against the full reader, field by field.

use super::*;
use crate::recording::fit_writer::{FitWriter, Kind, with_frame};
use crate::recording::{fit_file, fit_stream};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;

const TINY: &[u8] = include_bytes!("../../../fixtures/recordings/tiny.fit");

/// What the full reader makes of the same bytes, without the fields that a look leaves out.
fn full(bytes: &[u8]) -> Option<Vec<Sample>> {
    let recording = fit_file::read(Path::new("a.fit"), bytes.to_vec()).ok()?;
    let bare = recording.samples.iter().map(|sample| Sample {
        cadence_rpm: None,
        heart_rate_bpm: None,
        temperature_c: None,
        pressure_pa: None,
        ..*sample
    });
    Some(bare.collect())
}

/// The same samples or none; says whether there were any.
fn agrees(bytes: &[u8], what: &str) -> bool {
    let Some(lean) = samples(bytes) else { return false };
    let full = full(bytes).unwrap_or_default();
    assert_eq!(lean.len(), full.len(), "{what}");
    for (row, (lean, full)) in lean.iter().zip(&full).enumerate() {
        assert_eq!(lean, full, "{what}, row {row}");
    }
    true
}

#[test]
fn the_published_check_of_the_sum() {
    assert_eq!(crc16(b"123456789"), 0xBB3D);
    assert_eq!(crc16(TINY), fit_stream::crc16(TINY));
}

#[test]
fn the_small_file() {
    assert!(agrees(TINY, "tiny"));
}

#[test]
fn fetched_rides() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(".target/rides/one-rider");
    let Ok(files) = std::fs::read_dir(&folder) else {
        panic!("{} is missing: run tests/fetch_rides", folder.display());
    };
    let read = files.filter(|file| {
        let file = file.as_ref().unwrap().path();
        agrees(&std::fs::read(&file).unwrap(), &file.display().to_string())
    });
    assert!(read.count() >= 10);
}

/// A file with everything that the lean reader claims to know, and fields that it steps over.
fn made(rng: &mut ChaCha8Rng) -> Vec<u8> {
    let big_endian = rng.random();
    let mut writer = FitWriter::new(big_endian);
    let all = [
        (0, 4, Kind::S32),
        (1, 4, Kind::S32),
        (2, 2, Kind::U16),
        (78, 4, Kind::U32),
        (5, 4, Kind::U32),
        (6, 2, Kind::U16),
        (73, 4, Kind::U32),
        (7, 2, Kind::U16),
        (4, 1, Kind::U8),
        (3, 1, Kind::U8),
        (200, 5, Kind::Byte),
    ];
    let mut define = |writer: &mut FitWriter, local: u8, with_time: bool| {
        let mut fields: Vec<_> = all.iter().copied().filter(|_| rng.random_bool(0.7)).collect();
        if with_time {
            let at = rng.random_range(0..=fields.len());
            fields.insert(at, (253, 4, Kind::U32));
        }
        let developer = [(1, 2, 0), (9, 3, 0)];
        let developer = &developer[..rng.random_range(0..=2)];
        writer.developer_field(0, 1, 0x84, "wind", "m/s");
        writer.define_with_developer(local, 20, &fields, developer);
        let size = fields.iter().map(|field| usize::from(field.1)).sum::<usize>();
        let extra = developer.iter().map(|field| usize::from(field.1)).sum::<usize>();
        let time_at = fields.iter().position(|field| field.0 == 253);
        let before = time_at.map(|at| fields[..at].iter().map(|field| usize::from(field.1)).sum());
        (size + extra, before)
    };
    let shapes: Vec<(usize, Option<usize>)> = (0..3)
        .map(|local| define(&mut writer, local, local == 0))
        .collect();
    let mut seconds: u32 = rng.random_range(900_000_000..1_100_000_000);
    let mut last = false;
    for _ in 0..rng.random_range(20..200) {
        let local = if last { rng.random_range(0..3) } else { 0 };
        let (size, time_at): (usize, Option<usize>) = shapes[local];
        seconds += rng.random_range(0..9);
        // Bytes of all ones are missing values: often enough to matter.
        let mut data: Vec<u8> = (0..size)
            .map(|_| if rng.random_bool(0.3) { 0xFF } else { rng.random() })
            .collect();
        if let Some(at) = time_at {
            let stamp = if big_endian {
                seconds.to_be_bytes()
            } else {
                seconds.to_le_bytes()
            };
            data[at..at + 4].copy_from_slice(&stamp);
            writer.data_bytes(0, &data);
            last = true;
        } else {
            writer.data_bytes(0x80 | (local as u8) << 5 | (seconds & 31) as u8, &data);
        }
    }
    writer.finish()
}

/// Some hundreds of made files; `cargo run --release --example archive -- check` takes ten thousand.
#[test]
fn made_files() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for number in 0..300 {
        assert!(
            agrees(&made(&mut rng), &format!("made {number}")),
            "made {number}"
        );
    }
}

/// Changed bytes, under a sum that holds again: whatever they mean, the two readers agree, or the lean one passes.
#[test]
fn changed_files() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let mut kept = 0;
    for number in 0..3000 {
        let whole = if number % 4 == 0 {
            TINY.to_vec()
        } else {
            made(&mut rng)
        };
        let body = &whole[usize::from(whole[0])..whole.len() - 2];
        let mut body = body.to_vec();
        for _ in 0..rng.random_range(1..4) {
            let at = rng.random_range(0..body.len());
            body[at] = rng.random();
        }
        kept += usize::from(agrees(&with_frame(&body), &format!("changed {number}")));
    }
    assert!(kept > 300, "{kept}");
}

#[test]
fn damage_is_left_to_the_full_reader() {
    for length in 0..TINY.len() {
        assert!(samples(&TINY[..length]).is_none(), "{length}");
    }
    let mut flipped = TINY.to_vec();
    for bit in 0..TINY.len() * 8 {
        flipped[bit / 8] ^= 1 << (bit % 8);
        agrees(&flipped, &format!("bit {bit}"));
        flipped[bit / 8] ^= 1 << (bit % 8);
    }
    assert!(samples(&[TINY, TINY].concat()).is_none(), "chained");
}
