//! The whole route on spoilt days: recording → streams → passes → answer.

use super::{change, seeds, sound, watch};
use rand::{Rng, RngCore, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use stillair::recording::{Recording, Sample, read_bytes};
use stillair::simulate::{Format, TrueDay, demo_plan, one_way_plan, ride_day};
use stillair::study::{compare_gathered, gather_recordings};
use stillair::test_day::parse;

const DAYS: usize = 600;

struct Day {
    name: &'static str,
    bytes: Vec<u8>,
    test_toml: String,
}

fn days() -> Vec<Day> {
    let written = |name, day: TrueDay| Day {
        name,
        bytes: seeds::written(&day),
        test_toml: day.test_toml(false),
    };
    let of = |format| {
        let mut plan = demo_plan().with_order("AB", 2);
        plan.format = format;
        ride_day(&plan)
    };
    vec![
        written("day/ride.fit", of(Format::Fit)),
        written("day/ride.gpx", of(Format::Gpx)),
        written("day/ride.csv", of(Format::Csv)),
        written("day/climb.fit", ride_day(&one_way_plan(3, "AB", -8.0))),
    ]
}

/// Bytes spoilt here and there, often enough to leave something of the day.
fn spoilt(day: &Day, random: &mut ChaCha8Rng) -> Option<Recording> {
    let bytes = change::spoilt(&day.bytes, &day.bytes, random);
    read_bytes(Path::new(day.name), &bytes).ok()
}

/// Samples that no damage of the file would give, and a sensor or a hand might.
fn strange(mut recording: Recording, random: &mut ChaCha8Rng) -> Recording {
    for _ in 0..random.random_range(1..=3) {
        let count = recording.samples.len();
        let from = random.random_range(0..count);
        let to = (from + random.random_range(1..=count)).min(count);
        let at = random.random_range(0..count);
        let one = recording.samples[at];
        let kind = random.random_range(0..10);
        let huge = [0.0, -1.0, 1e-300, 1e9, -1e15, 1e300][random.random_range(0..6)];
        let mut jitter = ChaCha8Rng::seed_from_u64(random.next_u64());
        let part = &mut recording.samples[from..to];
        for sample in part.iter_mut() {
            spoil_sample(sample, kind, huge, &one, &mut jitter);
        }
        match kind {
            8 => part.reverse(),
            9 => {
                let part = part.to_vec();
                recording.samples.extend(part);
                for channel in &mut recording.extra {
                    channel.values.resize(recording.samples.len(), None);
                }
            }
            _ => {}
        }
    }
    recording
}

fn spoil_sample(sample: &mut Sample, kind: usize, huge: f64, one: &Sample, random: &mut ChaCha8Rng) {
    match kind {
        0 => (sample.latitude_deg, sample.longitude_deg) = (one.latitude_deg, one.longitude_deg),
        1 => {
            sample.latitude_deg = Some(random.random_range(-90.0..=90.0));
            sample.longitude_deg = Some(random.random_range(-180.0..180.0));
        }
        2 => sample.altitude_m = Some(huge),
        3 => sample.distance_m = Some(huge),
        4 => sample.speed_m_s = Some(huge),
        5 => sample.power_w = Some(huge),
        6 => sample.time_s += huge,
        7 => sample.time_s = one.time_s,
        _ => {}
    }
}

#[test]
fn spoilt_days_are_answered_or_refused() {
    let days = days();
    let answered = std::sync::Arc::new(std::sync::atomic::AtomicUsize::new(0));
    let count = answered.clone();
    watch::all(DAYS, "spoilt days", move |item| {
        let mut random = ChaCha8Rng::seed_from_u64(item as u64);
        let day = &days[item % days.len()];
        let Some(mut recording) = spoilt(day, &mut random) else {
            return;
        };
        if random.random_bool(0.6) {
            recording = strange(recording, &mut random);
        }
        let folder = Path::new("day");
        let test_day = parse(&folder.join("test.toml"), &day.test_toml).unwrap();
        let found = gather_recordings(test_day, vec![recording])
            .and_then(|gathered| compare_gathered(gathered, folder));
        match found {
            Ok(compared) => {
                sound::shown(&compared);
                count.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            }
            Err(error) => {
                assert!(!error.faults.is_empty());
                for fault in &error.faults {
                    assert!(fault.file.is_some() && !fault.what.is_empty(), "{fault}");
                    assert!(fault.next_step.ends_with(['.', '?']), "{fault}");
                }
            }
        }
    });
    let answered = answered.load(std::sync::atomic::Ordering::Relaxed);
    assert!(
        (DAYS / 10..DAYS).contains(&answered),
        "{answered} of {DAYS} answered"
    );
}
