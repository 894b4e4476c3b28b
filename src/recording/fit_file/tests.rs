use super::*;
use crate::recording::fit_part::FIT_EPOCH_UNIX_S;
use crate::recording::fit_writer::{FitWriter, Kind, with_frame};
use crate::recording::read_bytes;

const GOLDEN: &[u8] = include_bytes!("../../../fixtures/recordings/tiny.fit");

fn read_ok(bytes: &[u8]) -> Recording {
    read_bytes(Path::new("ride.fit"), bytes).unwrap_or_else(|error| panic!("{error}"))
}

fn faults(recording: &Recording) -> String {
    recording
        .faults
        .iter()
        .map(|fault| format!("{fault}\n"))
        .collect()
}

/// A record at `second` after 1 000 000 000 with position, altitude, speed, power.
fn ride(records: u32) -> FitWriter {
    let mut writer = FitWriter::new(false);
    writer.define(
        0,
        20,
        &[
            (253, 4, Kind::U32),
            (2, 2, Kind::U16),
            (6, 2, Kind::U16),
            (7, 2, Kind::U16),
        ],
    );
    for second in 0..records {
        writer.data(
            0,
            &[
                1_000_000_000 + i64::from(second),
                3100,
                9000,
                200 + i64::from(second % 50),
            ],
        );
    }
    writer
}

/// REFERENCES 7.2, code L: times, values and what is missing were recomputed with an independent decoder.
#[test]
fn golden_file_reads_as_an_independent_decoder_reads_it() {
    let recording = read_ok(GOLDEN);
    assert_eq!(faults(&recording), "");
    let from = FIT_EPOCH_UNIX_S as f64 + 1e9;
    let times: Vec<f64> = recording
        .samples
        .iter()
        .map(|sample| sample.time_s - from)
        .collect();
    assert_eq!(times, [0.0, 30.0, 31.0, 32.0, 37.0, 68.0, 69.0]);
    assert_eq!(crate::units::utc_text(from, 0), "2021-09-08T01:46:40Z");

    let first = recording.samples[0];
    assert_eq!(first.latitude_deg, Some(45.0));
    // 3117 / 5 − 500: rounding of one subtraction.
    assert!((first.altitude_m.unwrap() - 123.4).abs() < 1e-12);
    assert_eq!((first.speed_m_s, first.power_w), (Some(11.111), Some(250.0)));
    let second = Sample {
        time_s: from + 30.0,
        ..Sample::default()
    };
    assert_eq!(recording.samples[1], second);
    for compressed in &recording.samples[2..6] {
        let expected = (Some(124.0), Some(10.5), Some(240.0));
        assert_eq!(
            (compressed.altitude_m, compressed.speed_m_s, compressed.power_w),
            expected
        );
    }
    let last = recording.samples[6];
    let altitude = last.altitude_m.unwrap();
    assert!((altitude + 12.6).abs() < 1e-9, "{altitude}");
    assert_eq!((last.speed_m_s, last.power_w), (Some(9.876), Some(321.0)));
}

#[test]
fn every_truncation_yields_the_samples_before_the_cut() {
    let whole = read_ok(GOLDEN).samples;
    let mut most = 0;
    for length in 0..GOLDEN.len() {
        match read_bytes(Path::new("ride.fit"), &GOLDEN[..length]) {
            Ok(cut) => {
                assert_eq!(cut.samples, whole[..cut.samples.len()], "{length}");
                assert!(cut.samples.len() >= most, "{length}");
                assert!(!cut.faults.is_empty(), "a cut at {length} went unnoticed");
                most = cut.samples.len();
            }
            Err(error) => assert!(most == 0 && !error.faults.is_empty(), "{length}: {error}"),
        }
    }
    assert_eq!(most, 7);
}

#[test]
fn both_byte_orders_give_the_same() {
    let write = |big_endian| {
        let mut writer = FitWriter::new(big_endian);
        writer.define(
            3,
            20,
            &[
                (253, 4, Kind::U32),
                (0, 4, Kind::S32),
                (78, 4, Kind::U32),
                (91, 4, Kind::U32),
            ],
        );
        writer.data(3, &[1_000_000_000, -881_661_342, 2_500, 100_200]);
        writer.finish()
    };
    let (little, big) = (read_ok(&write(false)), read_ok(&write(true)));
    assert_eq!(little.samples, big.samples);
    let sample = little.samples[0];
    // −881 661 342 semicircles are −73.9° (code S), to half a semicircle.
    assert!((sample.latitude_deg.unwrap() + 73.9).abs() < 4.2e-8);
    assert_eq!(
        (sample.altitude_m, sample.pressure_pa),
        (Some(0.0), Some(100_200.0))
    );
}

#[test]
fn the_wide_form_wins_where_both_are_written() {
    let mut writer = FitWriter::new(false);
    let fields = [
        (253, 4, Kind::U32),
        (6, 2, Kind::U16),
        (73, 4, Kind::U32),
        (2, 2, Kind::U16),
        (78, 4, Kind::U32),
    ];
    writer.define(0, 20, &fields);
    writer.data(0, &[1_000_000_000, 5000, 9000, 2600, 2605]);
    writer.data(0, &[1_000_000_001, 5000, 0xFFFF_FFFF, 2600, 0xFFFF_FFFF]);
    let recording = read_ok(&writer.finish());
    assert_eq!(
        (recording.samples[0].speed_m_s, recording.samples[0].altitude_m),
        (Some(9.0), Some(21.0))
    );
    // The wide one is invalid: the plain one is all there is.
    assert_eq!(
        (recording.samples[1].speed_m_s, recording.samples[1].altitude_m),
        (Some(5.0), Some(20.0))
    );
    assert!(recording.extra.is_empty());
}

#[test]
fn developer_fields_stay_apart_from_native_ones_of_the_same_number_and_name() {
    let mut writer = FitWriter::new(false);
    writer.developer_field(0, 7, 132, "power", "W");
    writer.developer_field(0, 9, 136, "air_speed", "m/s");
    writer.define_with_developer(
        1,
        20,
        &[(253, 4, Kind::U32), (7, 2, Kind::U16)],
        &[(7, 2, 0), (9, 4, 0)],
    );
    writer.data_bytes(
        1,
        &[
            &1_000_000_000u32.to_le_bytes()[..],
            &250u16.to_le_bytes(),
            &99u16.to_le_bytes(),
            &7.5f32.to_le_bytes(),
        ]
        .concat(),
    );
    let recording = read_ok(&writer.finish());
    assert_eq!(faults(&recording), "");
    assert_eq!(recording.samples[0].power_w, Some(250.0));
    let extra: Vec<_> = recording
        .extra
        .iter()
        .map(|c| (c.name.as_str(), c.units.as_str(), c.values[0]))
        .collect();
    assert_eq!(
        extra,
        [
            ("power (developer field 0/7)", "W", Some(99.0)),
            ("air_speed", "m/s", Some(7.5))
        ]
    );
}

#[test]
fn chained_files_are_one_recording() {
    let two = [ride(3).finish(), ride(2).finish()].concat();
    let recording = read_ok(&two);
    assert_eq!((recording.samples.len(), faults(&recording).as_str()), (5, ""));
}

#[test]
fn damage_between_chained_files_costs_only_what_it_hits() {
    let mut first = ride(40).finish();
    let middle = first.len() / 2;
    for byte in &mut first[middle..middle + 9] {
        *byte = 0x0A; // a local message type that was never defined
    }
    let recording = read_ok(&[first, ride(2).finish()].concat());
    assert!(recording.samples.len() > 15, "{}", recording.samples.len());
    assert!(
        faults(&recording).contains("checksum is wrong"),
        "{}",
        faults(&recording)
    );
    assert!(
        faults(&recording).contains("reading stopped"),
        "{}",
        faults(&recording)
    );
}

#[test]
fn a_wrong_checksum_is_told_and_the_samples_are_kept() {
    let mut bytes = ride(10).finish();
    let end = bytes.len();
    bytes[end - 1] ^= 0x55;
    let recording = read_ok(&bytes);
    assert_eq!(recording.samples.len(), 10);
    assert_eq!(recording.faults.len(), 1);
    assert_eq!(recording.faults[0].place, Some(format!("byte {}", end - 2)));
    assert_eq!(recording.faults[0].file.as_deref(), Some(Path::new("ride.fit")));
}

#[test]
fn a_recording_that_was_never_closed_is_read_to_its_end() {
    for cut in [0, 2] {
        let mut bytes = ride(10).finish();
        bytes[4..8].fill(0);
        bytes.truncate(bytes.len() - cut);
        let recording = read_ok(&bytes);
        assert_eq!(recording.samples.len(), 10, "{cut}");
        assert!(
            faults(&recording).contains("never closed"),
            "{}",
            faults(&recording)
        );
    }
}

#[test]
fn a_size_left_over_from_an_earlier_moment_does_not_end_the_recording() {
    let mut bytes = ride(10).finish();
    let early = u32::try_from(ride(4).finish().len() - 16).unwrap();
    bytes[4..8].copy_from_slice(&early.to_le_bytes());
    let recording = read_ok(&bytes);
    assert_eq!(recording.samples.len(), 10);
    assert!(
        faults(&recording).contains("ends inside the data"),
        "{}",
        faults(&recording)
    );
}

#[test]
fn padding_is_left_out_and_told() {
    let mut bytes = ride(10).finish();
    bytes.extend([0; 100]);
    let recording = read_ok(&bytes);
    assert_eq!(recording.samples.len(), 10);
    assert!(
        faults(&recording).contains("100 zero bytes"),
        "{}",
        faults(&recording)
    );
}

#[test]
fn invented_times_after_damage_are_left_out() {
    let mut writer = ride(30);
    writer.data(0, &[300_000_000, 3100, 9000, 200]);
    writer.data(0, &[3_000_000_000, 3100, 9000, 200]);
    let sound = writer.finish();
    // In a sound file odd times are the recorder's own, and stay.
    assert_eq!(read_ok(&sound).samples.len(), 32);
    let mut damaged = sound;
    let end = damaged.len();
    damaged[end - 2] ^= 1;
    let recording = read_ok(&damaged);
    assert_eq!(recording.samples.len(), 30);
    assert!(
        faults(&recording).contains("2 samples read from damaged data"),
        "{}",
        faults(&recording)
    );
}

#[test]
fn manual_laps_timer_events_sessions_and_rider() {
    let mut writer = ride(3);
    // lap: timestamp, start_time, total_elapsed_time (ms), lap_trigger
    writer.define(
        1,
        19,
        &[
            (253, 4, Kind::U32),
            (2, 4, Kind::U32),
            (7, 4, Kind::U32),
            (24, 1, Kind::Enum),
        ],
    );
    writer.data(1, &[1_000_000_100, 1_000_000_000, 60_500, 0]); // manual
    for trigger in 1..=7 {
        writer.data(1, &[1_000_000_200, 1_000_000_100, 60_000, trigger]); // time, distance, position ... session_end
    }
    // event: timestamp, event, event_type
    writer.define(
        2,
        21,
        &[(253, 4, Kind::U32), (0, 1, Kind::Enum), (1, 1, Kind::Enum)],
    );
    for (second, event, kind) in [
        (0, 0, 0),
        (50, 0, 4),
        (60, 0, 0),
        (70, 0, 1),
        (71, 36, 3),
        (90, 0, 9),
    ] {
        writer.data(2, &[1_000_000_000 + second, event, kind]);
    }
    // session: timestamp, start_time, total_elapsed_time, sport (2 is cycling)
    writer.define(
        3,
        18,
        &[
            (253, 4, Kind::U32),
            (2, 4, Kind::U32),
            (7, 4, Kind::U32),
            (5, 1, Kind::Enum),
        ],
    );
    writer.data(3, &[1_000_000_090, 1_000_000_000, 90_000, 2]);
    writer.data(3, &[1_000_000_190, 1_000_000_100, 90_000, 2]);
    // user_profile: weight in 0.1 kg
    writer.define(4, 3, &[(4, 2, Kind::U16)]);
    writer.data(4, &[725]);
    let recording = read_ok(&writer.finish());
    let from = FIT_EPOCH_UNIX_S as f64 + 1e9;
    assert_eq!(recording.lap_marks_s, [from + 60.5]);
    let events: Vec<_> = recording
        .timer_events
        .iter()
        .map(|e| (e.time_s - from, e.running))
        .collect();
    assert_eq!(
        events,
        [
            (0.0, true),
            (50.0, false),
            (60.0, true),
            (70.0, false),
            (90.0, false)
        ]
    );
    assert_eq!(recording.sessions.len(), 2);
    assert_eq!(
        (recording.sessions[0].start_s, recording.sessions[0].end_s),
        (from, from + 90.0)
    );
    assert_eq!(recording.sessions[0].sport.as_deref(), Some("cycling"));
    assert_eq!(recording.rider_mass_kg, Some(72.5));
}

#[test]
fn a_paired_wheel_sensor_is_seen_and_nothing_is_claimed_without_evidence() {
    // device_info: device_type (1), source_type (25: 1 is antplus, 5 is local). 11 bike_power, 120 heart_rate,
    // 121 bike_speed_cadence, 123 bike_speed
    let paired = |devices: &[i64]| {
        let mut writer = ride(1);
        writer.define(
            1,
            23,
            &[(253, 4, Kind::U32), (1, 1, Kind::U8), (25, 1, Kind::Enum)],
        );
        for device in devices {
            writer.data(1, &[1_000_000_000, *device, 1]);
        }
        read_ok(&writer.finish()).wheel_sensor
    };
    assert_eq!(paired(&[]), None);
    assert_eq!(paired(&[120, 123]), Some(true));
    assert_eq!(paired(&[11, 121]), Some(true));
    assert_eq!(paired(&[120]), Some(false));
    // A power meter may sit in the hub and count the wheel.
    assert_eq!(paired(&[11, 120]), None);
}

#[test]
fn a_meter_in_one_leg_is_told_by_its_share_and_only_by_that() {
    // Field 30 of a record, left_right_balance: 128 says that the rest is the right leg's share in percent.
    let reads_one_leg = |shares: &[i64]| {
        let mut writer = FitWriter::new(false);
        writer.define(
            0,
            20,
            &[(253, 4, Kind::U32), (7, 2, Kind::U16), (30, 1, Kind::U8)],
        );
        for second in 0..60 {
            let share = shares[second as usize % shares.len()];
            writer.data(0, &[1_000_000_000 + second, 200, share]);
        }
        read_ok(&writer.finish()).one_leg_power
    };
    assert!(reads_one_leg(&[128 + 100]));
    assert!(reads_one_leg(&[128]), "nothing on the right");
    assert!(reads_one_leg(&[100]));
    assert!(!reads_one_leg(&[128 + 51, 128 + 48]));
    assert!(!reads_one_leg(&[255]), "no value");
    assert!(!reads_one_leg(&[128 + 100, 128 + 51]));
    assert!(!read_ok(&ride(60).finish()).one_leg_power);
}

#[test]
fn packed_speed_and_distance_count_on_past_the_roll_over() {
    let mut writer = FitWriter::new(false);
    writer.define(0, 20, &[(253, 4, Kind::U32), (8, 3, Kind::Byte)]);
    // 10.24 m/s is 1024; the counter goes 4000, 64 (160 on, past 4096): 10 m.
    let pack = |counter: u32| (1024u32 | (counter << 12)).to_le_bytes();
    for (second, counter) in [(0u32, 4000u32), (1, 64)] {
        let time = (1_000_000_000 + second).to_le_bytes();
        writer.data_bytes(0, &[&time[..], &pack(counter)[..3]].concat());
    }
    let recording = read_ok(&writer.finish());
    let got: Vec<_> = recording
        .samples
        .iter()
        .map(|s| (s.speed_m_s, s.distance_m))
        .collect();
    assert_eq!(got, [(Some(10.24), Some(250.0)), (Some(10.24), Some(260.0))]);
}

#[test]
fn a_file_without_records_holds_no_samples() {
    let mut writer = FitWriter::new(false);
    writer.define(0, 3, &[(4, 2, Kind::U16)]);
    writer.data(0, &[725]);
    for bytes in [writer.finish(), with_frame(&[])] {
        let error = read_bytes(Path::new("plan.fit"), &bytes).unwrap_err();
        assert!(error.to_string().contains("holds no samples"), "{error}");
    }
}

#[test]
fn a_field_of_impossible_size_is_missing_and_the_rest_is_read() {
    let mut writer = FitWriter::new(false);
    writer.define(0, 20, &[(253, 4, Kind::U32), (7, 3, Kind::U16), (3, 1, Kind::U8)]);
    writer.data_bytes(
        0,
        &[&1_000_000_000u32.to_le_bytes()[..], &[1, 2, 3], &[140]].concat(),
    );
    let recording = read_ok(&writer.finish());
    assert_eq!(
        (recording.samples[0].power_w, recording.samples[0].heart_rate_bpm),
        (None, Some(140.0))
    );
}

#[test]
fn checksum_of_the_catalogue() {
    // CRC-16/ARC check value (REFERENCES 7.2, code S)
    assert_eq!(fit_stream::crc16(b"123456789"), 0xBB3D);
}

#[test]
fn a_developer_field_that_nothing_describes_does_not_end_the_reading() {
    let mut writer = FitWriter::new(false);
    writer.define_with_developer(
        1,
        20,
        &[(253, 4, Kind::U32), (7, 2, Kind::U16)],
        &[(3, 4, 0), (5, 1, 2)],
    );
    for second in 0..5u32 {
        let time = (1_000_000_000 + second).to_le_bytes();
        writer.data_bytes(
            1,
            &[&time[..], &250u16.to_le_bytes(), &[1, 2, 3, 4], &[9]].concat(),
        );
    }
    // A description that comes late holds from there on.
    writer.developer_field(2, 5, 2, "late", "");
    writer.data_bytes(
        1,
        &[
            &1_000_000_005u32.to_le_bytes()[..],
            &251u16.to_le_bytes(),
            &[1, 2, 3, 4],
            &[9],
        ]
        .concat(),
    );
    let recording = read_ok(&writer.finish());
    assert_eq!(recording.samples.len(), 6);
    assert_eq!(recording.samples[5].power_w, Some(251.0));
    assert!(
        faults(&recording).contains("2 developer fields come without a description"),
        "{}",
        faults(&recording)
    );
    let [late] = &recording.extra[..] else {
        panic!("{:?}", recording.extra)
    };
    assert_eq!(
        (late.name.as_str(), late.values[4], late.values[5]),
        ("late", None, Some(9.0))
    );
}

#[test]
fn a_meter_in_one_crank_is_told_by_the_torque_of_the_other() {
    // Fields 43 and 44 of a record, torque effectiveness of the left and the right in half percents.
    let reads_one_leg = |sides: [i64; 2]| {
        let mut writer = FitWriter::new(false);
        writer.define(
            0,
            20,
            &[
                (253, 4, Kind::U32),
                (7, 2, Kind::U16),
                (43, 1, Kind::U8),
                (44, 1, Kind::U8),
            ],
        );
        for second in 0..60 {
            writer.data(0, &[1_000_000_000 + second, 200, sides[0], sides[1]]);
        }
        read_ok(&writer.finish()).one_leg_power
    };
    assert!(reads_one_leg([170, 0]) && reads_one_leg([0, 170]));
    assert!(!reads_one_leg([170, 160]));
    assert!(!reads_one_leg([0, 0]), "nothing said");
    assert!(reads_one_leg([170, 255]), "no value on the right");
    assert!(!reads_one_leg([255, 255]), "no value at all");
}
