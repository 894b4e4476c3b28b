//! A day with an air-speed column and notes, from the folder to the answer.

use assert_cmd::Command;
use std::path::Path;
use stillair::simulate::{AirSpeedTruth, DayPlan, Files, Format, demo_plan, ride_day};

/// Out and back, ABBA, one table a block with an air-speed column; the power meter drifts and is zeroed.
fn plan() -> DayPlan {
    let mut plan = demo_plan().with_order("ABBA", 2);
    plan.format = Format::Csv;
    plan.files = Files::PerBlock;
    plan.sensors.power_drift_w_per_h = 6.0;
    plan.sensors.power_zeroed = true;
    plan.sensors.air_speed = Some(AirSpeedTruth {
        scale_error: 0.03,
        noise_m_s: 0.15,
        resolution_m_s: 0.01,
    });
    plan
}

/// The day in `folder`, with a note in every block that a set-up was ridden in.
fn write(folder: &Path) {
    ride_day(&plan()).write_folder(folder, false).unwrap();
    let toml = folder.join("test.toml");
    let text = std::fs::read_to_string(&toml).unwrap();
    let notes = "passes = 2\nwind_speed_m_s = 1.0\nwind_from_deg = 300\ntotal_mass_kg = 83.1\ntyre_pressure_bar = 5.5\n";
    std::fs::write(&toml, text.replace("passes = 2\n", notes)).unwrap();
}

fn stillair(words: &[&str], folder: &Path) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words).current_dir(folder);
    command
}

#[test]
fn a_day_with_notes_and_an_air_speed_column_is_compared() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    write(&folder);
    let compared = stillair::study::compare(&folder, &|_, _| ()).unwrap();
    assert_eq!(compared.passes.iter().filter(|p| p.kept).count(), 8);
    for words in [
        "Air speed of channel 'air speed' is known for 100 %",
        "Wind read before 4 blocks",
        "Total mass weighed before 4 blocks",
        "Zero of the power meter read 5 times",
        "is taken out of 8 of 8 passes",
        "Tyre pressure as noted: 5.5 bar before block 1, 2, 3, 4.",
        "Air-speed factor (true over recorded) 1 ± 0.05, a default (factor).",
    ] {
        let found = compared.assumptions.iter().any(|a| a.contains(words));
        assert!(found, "{words}: {:#?}", compared.assumptions);
    }
    let kinds: Vec<&str> = compared.warnings.iter().map(|w| w.kind.as_str()).collect();
    for kind in [
        "no air speed",
        "air speed unit",
        "power zero",
        "tyre pressure",
        "rollout",
        "speed scale of set-ups",
    ] {
        assert!(!kinds.contains(&kind), "{:#?}", compared.warnings);
    }
    // The demonstration's jacket has 6 % less drag.
    let [low, high] = compared.findings[0].cda_change_percent.interval_90.unwrap();
    assert!(low < -6.0 && -6.0 < high, "{low} {high}");
}

#[test]
fn inspect_lists_the_channel_and_keeps_it_apart_from_the_ground_speed() {
    let home = tempfile::tempdir().unwrap();
    write(&home.path().join("day"));
    let output = stillair(&["inspect", "day/ride-01.csv", "--json"], home.path())
        .output()
        .unwrap();
    assert!(output.status.success());
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let text = json["channels"].to_string();
    assert!(
        text.contains("\"air speed (m/s)\"") && text.contains("\"speed\""),
        "{text}"
    );
}

#[test]
fn a_recording_without_the_channel_is_told_and_the_rest_is_used() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    write(&folder);
    let second = folder.join("ride-02.csv");
    let text = std::fs::read_to_string(&second).unwrap();
    std::fs::write(&second, text.replacen("air speed (m/s)", "yaw (deg)", 1)).unwrap();
    let compared = stillair::study::compare(&folder, &|_, _| ()).unwrap();
    let told: Vec<&str> = compared
        .warnings
        .iter()
        .filter(|w| w.kind == "no air speed")
        .map(|w| w.message.as_str())
        .collect();
    assert_eq!(
        told,
        ["ride-02.csv: there is no channel 'air speed'; its other channels are 'yaw (deg)'"]
    );
    // Six of the eight passes; passes differ in time by some per cent.
    let known = compared.assumptions.iter().find_map(|a| {
        a.split_once("is known for ")?
            .1
            .split_once(" %")?
            .0
            .parse::<f64>()
            .ok()
    });
    assert!((72.0..=78.0).contains(&known.unwrap()), "{known:?}");
}

#[test]
fn every_fault_of_the_notes_is_told_at_once() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    write(&folder);
    let toml = folder.join("test.toml");
    let text = std::fs::read_to_string(&toml).unwrap();
    let wrong = text
        .replacen("channel = ", "chanel = ", 1)
        .replacen("tyre_pressure_bar = 5.5", "tyre_pressure_bar = 80", 1)
        .replacen("wind_from_deg = 300\n", "", 1);
    std::fs::write(&toml, wrong).unwrap();
    let output = stillair(&["compare", "day"], home.path()).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stderr).unwrap();
    for words in [
        "air_speed.chanel",
        "Did you mean channel?",
        "air_speed.channel",
        "block.tyre_pressure_bar",
        "It looks like psi",
        "block.wind_from_deg",
    ] {
        assert!(said.contains(words), "{words} in {said}");
    }
}
