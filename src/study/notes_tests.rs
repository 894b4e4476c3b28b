//! An air-speed channel and notes of a day, from files to the passes.

use super::cutting::Cutting;
use super::power_zero::PowerZeros;
use super::weather::airs;
use super::*;
use crate::estimate::cells::PassRide;
use crate::simulate::{AirSpeedTruth, DayPlan, Format, loop_plan, out_and_back_plan, ride_day};
use crate::test_day::{Measured, WindReading};

/// A test day on disk, its test.toml changed.
struct Day {
    _home: tempfile::TempDir,
    folder: std::path::PathBuf,
}

impl Day {
    fn of(plan: &DayPlan, change: impl FnOnce(String) -> String) -> Day {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("day");
        ride_day(plan).write_folder(&folder, true).unwrap();
        let toml = folder.join("test.toml");
        let text = std::fs::read_to_string(&toml).unwrap();
        std::fs::write(&toml, change(text)).unwrap();
        Day { _home: home, folder }
    }

    fn compared(&self) -> Compared {
        compare(&self.folder, &|_, _| ()).unwrap()
    }

    /// The passes as the estimate gets them.
    fn rides(&self) -> Vec<PassRide> {
        let surveyed = passes(&self.folder, &|_, _| ()).unwrap();
        let test_toml = self.folder.join("test.toml");
        let assigned = assign::assign(&surveyed.test_day, &surveyed.ridden, &test_toml).unwrap();
        let (airs, _) = airs(&surveyed, &test_toml).unwrap();
        let zeros = PowerZeros::of(&surveyed.test_day, &surveyed.streams, &surveyed.ridden, &assigned);
        let scales = SpeedScales::of(&surveyed, &assigned);
        let streams = zeros.corrected(&surveyed.streams);
        let cutting = Cutting {
            assigned: &assigned,
            airs: &airs,
            zeros: &zeros,
            speed_scales: &scales,
            on_track: None,
        };
        cutting.rides(&surveyed, &streams).0
    }
}

/// Writes lines into each [[block]] in turn.
fn noted(text: String, notes: &[&str]) -> String {
    let mut parts = text.split("[[block]]\n");
    let head = parts.next().unwrap().to_string();
    let blocks = parts.zip(notes.iter().chain(std::iter::repeat(&"")));
    blocks.fold(head, |text, (block, note)| {
        format!("{text}[[block]]\n{note}\n{block}")
    })
}

fn drag_areas(of: &Compared) -> Vec<f64> {
    of.passes
        .iter()
        .filter_map(|p| p.cda_m2.map(|(cda, _)| cda))
        .collect()
}

fn warning<'a>(of: &'a Compared, kind: &str) -> Option<&'a str> {
    of.warnings
        .iter()
        .find(|w| w.kind == kind)
        .map(|w| w.message.as_str())
}

fn says(of: &Compared, words: &str) -> bool {
    of.assumptions.iter().any(|a| a.contains(words))
}

fn still_day(order: &str) -> DayPlan {
    let mut plan = out_and_back_plan(41, order, -6.0).ideal();
    plan.course.bends.clear();
    plan.course.bearing_deg = 90.0;
    plan
}

const SENSOR: AirSpeedTruth = AirSpeedTruth {
    scale_error: 0.04,
    noise_m_s: 0.02,
    resolution_m_s: 0.01,
};

#[test]
fn air_speed_reaches_the_steps_of_every_pass_from_every_format() {
    for format in [Format::Csv, Format::Fit, Format::Gpx] {
        let mut plan = still_day("AB");
        plan.format = format;
        plan.wind.mean_east_m_s = -2.0;
        plan.sensors.air_speed = Some(SENSOR);
        let with_factor = |text: String| {
            // What undoes the sensor's error of 4 %.
            let factor = "[air_speed]\nfactor = 0.9615\nfactor_standard_uncertainty = 0.02\n";
            text.replacen("[air_speed]\n", factor, 1)
        };
        let day = Day::of(&plan, with_factor);
        let rides = day.rides();
        assert_eq!(rides.len(), 4);
        for ride in &rides {
            let scale = ride.air_speed_scale_standard_uncertainty.unwrap();
            assert!((scale - 0.02 / 0.9615).abs() < 1e-9);
            // The air comes from the east, 2 m/s against who rides there.
            let (mut time_s, mut sum) = (0.0, 0.0);
            for step in ride.cells.iter().flat_map(|cell| &cell.steps) {
                let ground = 0.5 * (step.start_speed_m_s + step.end_speed_m_s);
                sum += (step.air_speed_m_s - ground) * step.duration_s;
                time_s += step.duration_s;
                let headwind = 2.0 * step.bearing_rad.sin();
                let off = step.air_speed_m_s - ground - headwind;
                assert!(off.abs() < 0.15, "{format:?}: {off}");
            }
            let eastward = ride.cells[0].steps[0].bearing_rad.sin() > 0.0;
            let mean = sum / time_s;
            let expected = if eastward { 2.0 } else { -2.0 };
            // 130 samples of 0.02 m/s noise: 0.002; GPX and FIT round speed and air to 0.001 and 0.01.
            assert!((mean - expected).abs() < 0.01, "{format:?}: {mean}");
        }
        let compared = day.compared();
        assert!(says(
            &compared,
            "Air speed of channel 'air speed' is known for 100 % of the time"
        ));
        let unit = warning(&compared, "air speed unit");
        assert_eq!(unit.is_some(), format == Format::Gpx, "{unit:?}");
    }
}

#[test]
fn without_the_table_there_is_no_air_speed_and_the_answer_is_the_same() {
    let mut plan = still_day("ABBA");
    plan.format = Format::Csv;
    let without = Day::of(&plan, |text| text);
    plan.sensors.air_speed = Some(SENSOR);
    let with = Day::of(&plan, |text| text);
    let unasked = Day::of(&plan, |text| {
        text.replace("[air_speed]", "[rider]")
            .replacen("[rider]\nchannel", "# channel", 1)
    });
    for ride in without.rides().iter().chain(&unasked.rides()) {
        assert_eq!(ride.air_speed_scale_standard_uncertainty, None);
        let mut steps = ride.cells.iter().flat_map(|cell| &cell.steps);
        assert!(steps.all(|step| step.air_speed_m_s.is_nan()));
    }
    // The column is not taken for the ground speed: the drag areas are those of the day without a sensor.
    assert_eq!(drag_areas(&with.compared()), drag_areas(&without.compared()));
    assert_eq!(drag_areas(&unasked.compared()), drag_areas(&without.compared()));
}

#[test]
fn notes_reach_the_passes_of_their_block() {
    let day = Day::of(&still_day("AB"), |text| {
        noted(
            text,
            &[
                "wind_speed_m_s = 2.0\nwind_from_deg = 90\ntotal_mass_kg = 84.5\nrollout_m = 2.1",
                "",
            ],
        )
    });
    let rides = day.rides();
    let blocks: Vec<usize> = rides.iter().map(|ride| ride.block).collect();
    assert_eq!(blocks, [0, 0, 1, 1]);
    for ride in &rides[..2] {
        let wind = ride.wind_reading.unwrap();
        assert!((wind.wind_east_m_s + 2.0).abs() < 1e-12 && wind.wind_north_m_s.abs() < 1e-12);
        assert_eq!(wind.wind_standard_uncertainty_m_s, 1.0);
        // Once for both passes, when the first began: to the second in which the gate was crossed.
        let began_s = rides[0].middle_s - 0.5 * rides[0].duration_s();
        assert!((wind.time_s - began_s).abs() < 1e-3, "{}", wind.time_s - began_s);
        let mass = Measured {
            value: 84.5,
            standard_uncertainty: 0.3,
            given: true,
        };
        assert_eq!(ride.total_mass_kg, Some(mass));
        assert_eq!(ride.wheel_radius_m, Some(2.1 / std::f64::consts::TAU));
    }
    for ride in &rides[2..] {
        assert_eq!(
            (ride.wind_reading, ride.total_mass_kg, ride.wheel_radius_m),
            (None, None, None)
        );
        assert!(!ride.power_zero_noted);
    }
    let compared = day.compared();
    for words in [
        "Wind read before one block;",
        "Total mass weighed before one block.",
        "Rollout measured before one block: used as rolling radius",
    ] {
        assert!(says(&compared, words), "{words}: {:#?}", compared.assumptions);
    }
}

/// The compass of names.md: from φ the air moves to −U sin φ, −U cos φ.
#[test]
fn a_wind_is_read_as_where_it_comes_from() {
    let to = |from_deg: f64| {
        WindReading {
            speed_m_s: 2.0,
            from_deg,
            standard_uncertainty_m_s: 1.0,
        }
        .east_north_m_s()
    };
    for (from_deg, [east, north]) in [(0.0, [0.0, -2.0]), (90.0, [-2.0, 0.0]), (225.0, [2f64.sqrt(); 2])] {
        let [e, n] = to(from_deg);
        assert!(
            (e - east).abs() < 1e-12 && (n - north).abs() < 1e-12,
            "{from_deg}: {e} {n}"
        );
    }
}

#[test]
fn a_mass_before_every_block_is_the_same_as_one_in_the_set_up() {
    let mut plan = still_day("ABBA");
    plan.setups[1].total_mass_kg += 4.0;
    let in_setup = Day::of(&plan, |text| text).compared();
    let bare = |text: String| text.replace("total_mass_kg = 87.0\n", "");
    let in_blocks = Day::of(&plan, |text| {
        noted(
            bare(text),
            &["", "total_mass_kg = 87.0", "total_mass_kg = 87.0", ""],
        )
    });
    let in_blocks = in_blocks.compared();
    let forgotten = Day::of(&plan, bare).compared();
    assert_eq!(drag_areas(&in_setup), drag_areas(&in_blocks));
    let change = |of: &Compared| of.findings[0].pass_average_percent.value;
    assert!((change(&in_setup) - change(&in_blocks)).abs() < 1e-9);
    assert!(
        (change(&in_setup) - change(&forgotten)).abs() > 0.3,
        "{}",
        change(&forgotten)
    );
    let joint = |of: &Compared| of.findings[0].cda_change_percent.value;
    assert!((joint(&in_setup) - joint(&in_blocks)).abs() < 1e-9);
    // The stopwatch knows of the mass as well: 4 kg more to bring up to speed and over the hills.
    let mass_s = |of: &Compared| {
        let account = &of.stopwatches[0].as_ref().unwrap().account;
        account.time_change_s(crate::verdict::Cause::Mass)
    };
    assert!((mass_s(&in_setup) - mass_s(&in_blocks)).abs() < 1e-3);
    assert!(
        mass_s(&in_blocks) > 0.05 && mass_s(&forgotten).abs() < 1e-9,
        "{}",
        mass_s(&in_blocks)
    );
}

#[test]
fn a_drifting_power_meter_is_set_right_by_readings_of_its_zero() {
    let mut plan = loop_plan(42, "ABBA", -6.0).ideal();
    let sound = Day::of(&plan, |text| text).compared();
    // 0.5 W a minute.
    plan.sensors.power_drift_w_per_h = 30.0;
    plan.sensors.power_zeroed = true;
    let day = Day::of(&plan, |text| text);
    let corrected = day.compared();
    let kept: Vec<bool> = day.rides().iter().map(|ride| ride.power_zero_noted).collect();
    assert_eq!(kept, [true; 16]);
    let unknown = |text: String| {
        let lines = text.lines().filter(|line| !line.starts_with("power_zero_nm"));
        lines.collect::<Vec<_>>().join("\n")
    };
    let left = Day::of(&plan, unknown).compared();
    let worst = |of: &Compared| {
        let pairs = drag_areas(of).into_iter().zip(drag_areas(&sound));
        pairs.map(|(a, b)| (a / b - 1.0).abs()).fold(0.0, f64::max)
    };
    // Zeroed half a minute before the first gate, read at it: a quarter of a watt of 235, at most.
    let (with, without) = (worst(&corrected), worst(&left));
    assert!(with < 0.003 && without > 0.02, "{with} {without}");
    assert!(says(&corrected, "Zero of the power meter read 5 times"));
    assert!(says(&corrected, "taken out of 16 of 16 passes"));
    assert_eq!(warning(&corrected, "power zero"), None);
}

#[test]
fn passes_after_the_last_reading_of_the_zero_are_told() {
    let day = Day::of(&still_day("ABBA"), |text| {
        noted(text, &["", "", "power_zero_nm = 0.4", ""])
    });
    let noted: Vec<bool> = day.rides().iter().map(|ride| ride.power_zero_noted).collect();
    assert_eq!(noted, [true, true, true, true, false, false, false, false]);
    let said = day.compared();
    assert!(
        warning(&said, "power zero")
            .unwrap()
            .starts_with("4 of 8 passes come after")
    );
}

#[test]
fn tyres_that_differ_between_set_ups_are_remarked_upon() {
    let day = |notes: [&str; 4]| Day::of(&still_day("ABBA"), |text| noted(text, &notes)).compared();
    let (hard, soft) = (
        "tyre_pressure_bar = 6.0\nrollout_m = 2.105",
        "tyre_pressure_bar = 5.0\nrollout_m = 2.115",
    );
    let differ = day([hard, soft, soft, hard]);
    let pressure = warning(&differ, "tyre pressure").unwrap();
    assert!(
        pressure.contains("5.0 bar with 'set-up B' and at 6.0 bar with 'set-up A'"),
        "{pressure}"
    );
    // 2.115 / 2.105 is 0.475 % more, which the wheels of this day deny.
    let rollout = warning(&differ, "speed scale of set-ups").unwrap();
    assert!(
        rollout.contains("longer with 'set-up B' than with 'set-up A', by the rollouts and"),
        "{rollout}"
    );
    assert!(says(
        &differ,
        "Tyre pressure as noted: 6 bar before block 1, 4; 5 bar before block 2, 3."
    ));
    // What differs within a set-up alone, or is known of one only, says nothing of the comparison.
    for notes in [[hard, hard, soft, soft], [hard, "", "", soft], [hard; 4]] {
        let alike = day(notes);
        assert_eq!(warning(&alike, "tyre pressure"), None, "{notes:?}");
        assert_eq!(warning(&alike, "speed scale of set-ups"), None, "{notes:?}");
    }
}

#[test]
fn a_channel_that_is_in_no_recording_stops_the_work() {
    let mut plan = still_day("A");
    plan.format = Format::Csv;
    plan.sensors.air_speed = Some(SENSOR);
    let day = Day::of(&plan, |text| {
        text.replace("channel = \"air speed\"", "channel = \"wind\"")
    });
    let error = compare(&day.folder, &|_, _| ()).unwrap_err();
    let said = error.to_string();
    assert!(
        said.contains("no channel 'wind'; its other channels are 'air speed (m/s)'"),
        "{said}"
    );
    assert!(said.contains(", air_speed.channel:"), "{said}");
}
