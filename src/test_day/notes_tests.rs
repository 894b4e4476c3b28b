//! Air speed and the notes of a day: what a user may write, and what is said when it is wrong.

use super::tests::{day, faults, measured, one_fault};
use super::*;

const SETUP: &str = "[[setup]]\nname = \"open\"\n";

/// A day of one set-up with one block that holds these notes; they begin in line 6.
fn block(notes: &str) -> String {
    format!("{SETUP}[[block]]\nsetup = \"open\"\npasses = 2\n{notes}")
}

fn notes(text: &str) -> Notes {
    day(&block(text)).blocks[0].notes
}

#[test]
fn the_notes_of_a_block_are_read() {
    let all = notes(
        "wind_speed_m_s = 1.5\nwind_from_deg = 240\nwind_standard_uncertainty_m_s = 0.8\ntotal_mass_kg = 82.4\n\
         total_mass_standard_uncertainty_kg = 0.1\npower_zero_nm = -0.3\nrollout_m = 2.105\ntyre_pressure_bar = 5.5",
    );
    let wind = WindReading {
        speed_m_s: 1.5,
        from_deg: 240.0,
        standard_uncertainty_m_s: 0.8,
    };
    assert_eq!(
        all,
        Notes {
            wind: Some(wind),
            total_mass_kg: Some(measured(82.4, 0.1, true)),
            power_zero_nm: Some(-0.3),
            rollout_m: Some(2.105),
            tyre_pressure_bar: Some(5.5),
        }
    );
    assert_eq!(notes(""), Notes::default());
}

#[test]
fn a_wind_beside_a_block_means_what_it_means_in_air() {
    let text = block("wind_speed_m_s = 1.5\nwind_from_deg = 240");
    let read = day(&text);
    assert_eq!(read.blocks[0].notes.wind.unwrap().standard_uncertainty_m_s, 1.0);
    let sentence = "Wind as in test.toml, ± 1 m/s each way by default.";
    assert_eq!(read.assumptions.iter().filter(|a| *a == sentence).count(), 1);
    one_fault(
        &block("wind_speed_m_s = 1.5"),
        "line 3, block.wind_from_deg",
        &["given in part"],
    );
    one_fault(
        &block("wind_speed_m_s = 1.5\nwind_from_deg = 361"),
        "line 7, block.wind_from_deg",
        &["0 to 360"],
    );
}

#[test]
fn a_mass_before_a_block_takes_the_uncertainty_of_its_scale() {
    let rider = "[rider]\ntotal_mass_kg = 82\ntotal_mass_standard_uncertainty_kg = 0.2\n";
    let known = day(&format!("{rider}{}", block("total_mass_kg = 81.5")));
    assert_eq!(
        known.blocks[0].notes.total_mass_kg,
        Some(measured(81.5, 0.2, true))
    );
    assert_eq!(known.setups[0].total_mass_kg, measured(82.0, 0.2, true));
    one_fault(
        &block("total_mass_standard_uncertainty_kg = 0.2"),
        "line 6, block.total_mass_standard_uncertainty_kg",
        &["without the mass"],
    );
    one_fault(
        &block("total_mass_kg = 815"),
        "line 6, block.total_mass_kg",
        &["write 81.5"],
    );
}

#[test]
fn masses_written_before_every_block_stand_instead_of_the_default() {
    let one = "[[block]]\nsetup = \"open\"\npasses = 2\ntotal_mass_kg = 81.0\n";
    let two = format!("{SETUP}{one}{}", one.replace("81.0", "80.0"));
    let weighed = day(&two);
    assert_eq!(weighed.setups[0].total_mass_kg, measured(80.5, 0.5, true));
    let said = |day: &TestDay, text: &str| day.assumptions.iter().any(|a| a.contains(text));
    assert!(said(&weighed, "80.5 kg in the mean") && said(&weighed, "± 0.5 kg by default"));
    assert!(!said(&weighed, "Total mass 83"), "{:?}", weighed.assumptions);
    // A profile in a recording knows less than a scale.
    let profiled = weighed.clone().with_rider_mass(60.0);
    assert_eq!(profiled.setups, weighed.setups);
    let partly = day(&format!("{two}[[block]]\nsetup = \"open\"\npasses = 2\n"));
    assert!(!partly.setups[0].total_mass_kg.given && said(&partly, "Total mass 83"));
}

#[test]
fn rollouts_written_before_every_block_stand_instead_of_the_default_radius() {
    let rolled = day(&block("rollout_m = 2.1"));
    let radius = rolled.setups[0].wheel_radius_m;
    // 2.1 m over 2π.
    assert!((radius.value - 0.334_225_380).abs() < 1e-9 && radius.standard_uncertainty == 0.002);
    assert!(
        !rolled.assumptions.iter().any(|a| a.contains("(wheel_radius_m)")),
        "{:?}",
        rolled.assumptions
    );
    let typed = day(&format!(
        "[bike]\nwheel_radius_m = 0.34\n{}",
        block("rollout_m = 2.1")
    ));
    assert_eq!(typed.setups[0].wheel_radius_m.value, 0.34);
}

#[test]
fn notes_in_other_units_are_recognised() {
    // 80 psi is 5.516 bar: common practice (a pump's double scale).
    one_fault(
        &block("tyre_pressure_bar = 80"),
        "line 6, block.tyre_pressure_bar",
        &["psi", "write 5.5158"],
    );
    one_fault(
        &block("tyre_pressure_bar = 550"),
        "line 6, block.tyre_pressure_bar",
        &["kPa", "write 5.5"],
    );
    one_fault(
        &block("rollout_m = 2105"),
        "line 6, block.rollout_m",
        &["millimetres", "write 2.105"],
    );
    one_fault(
        &block("rollout_m = 0.335"),
        "line 6, block.rollout_m",
        &["rolling radius", "write 2.10487"],
    );
    one_fault(
        &block("power_zero_nm = 33"),
        "line 6, block.power_zero_nm",
        &["33 N m is not a plausible"],
    );
}

#[test]
fn misspelt_and_misplaced_notes_are_told_all_at_once() {
    let text = block("tyre_presure_bar = 5\nrollout = 2.1\npower_zero = 0.1\nchannel = \"x\"\ncrr = 0.004");
    let found = faults(&text);
    let said: Vec<String> = found.iter().map(|fault| fault.next_step.clone()).collect();
    assert_eq!(
        said,
        [
            "Did you mean tyre_pressure_bar?",
            "Did you mean rollout_m?",
            "Did you mean power_zero_nm?",
            "It belongs into [air_speed].",
            "It belongs into [tyres].",
        ]
    );
    one_fault(
        "[tyres]\nrollout_m = 2.1",
        "line 2, tyres.rollout_m",
        &["belongs into [[block]]"],
    );
    one_fault(
        "[airspeed]\nchannel = \"x\"",
        "line 1, airspeed",
        &["Did you mean air_speed?"],
    );
}

#[test]
fn the_channel_of_the_air_speed_is_named_with_its_factor() {
    let read = day("[air_speed]\nchannel = \" air speed \"\n");
    let given = read.air_speed.unwrap();
    assert_eq!((given.line, given.channel.as_str()), (1, "air speed"));
    assert_eq!(given.factor, measured(1.0, 0.05, false));
    let sentence = "Air-speed factor (true over recorded) 1 ± 0.05, a default (factor).";
    assert!(
        read.assumptions.contains(&sentence.to_string()),
        "{:?}",
        read.assumptions
    );
    let typed = day("[air_speed]\nchannel = \"v\"\nfactor = 1.04\nfactor_standard_uncertainty = 0.02\n");
    assert_eq!(typed.air_speed.unwrap().factor, measured(1.04, 0.02, true));
    assert!(!typed.assumptions.iter().any(|a| a.contains("Air-speed")));
    let half = day("[air_speed]\nchannel = \"v\"\nfactor = 1.04\n");
    assert!(
        half.assumptions
            .contains(&"Air-speed factor as in test.toml, ± 0.05 by default.".to_string())
    );
    assert_eq!(day("").air_speed, None);
}

#[test]
fn an_air_speed_without_a_channel_or_with_an_odd_factor_is_a_fault() {
    one_fault(
        "[air_speed]\nfactor = 1.02",
        "line 1, air_speed.channel",
        &["which channel", "inspect"],
    );
    one_fault(
        "[air_speed]\nchannel = \"v\"\nfactor = 103",
        "line 3, air_speed.factor",
        &["write 1.03"],
    );
    one_fault(
        "[air_speed]\nchannel = \"v\"\nfactor = 0.2778",
        "line 3, air_speed.factor",
        &["km/h", "write 1."],
    );
    one_fault(
        "[air_speed]\nchannel = \"v\"\nfactor_standard_uncertainty = -1",
        "line 3, air_speed.factor_standard_uncertainty",
        &["negative"],
    );
    one_fault(
        "[[air_speed]]\nchannel = \"v\"",
        "line 1, air_speed",
        &["[air_speed] on a line of its own"],
    );
}

#[test]
fn delay_and_lag_are_taken_with_their_uncertainties() {
    let both = day(
        "[sensors]\npower_delay_s = 1.2\naltitude_lag_s = 2\naltitude_lag_standard_uncertainty_s = 0.4\n",
    );
    let known = |measured: Option<crate::test_day::Measured>| {
        let measured = measured.unwrap();
        (measured.value, measured.standard_uncertainty, measured.given)
    };
    assert_eq!(known(both.power_delay_s), (1.2, 0.3, true));
    assert_eq!(known(both.altitude_lag_s), (2.0, 0.4, true));
    let none = day("[sensors]\nas_recorded = []\n");
    assert_eq!((none.power_delay_s, none.altitude_lag_s), (None, None));
    one_fault(
        "[sensors]\npower_delay_s = 1200",
        "line 2, sensors.power_delay_s",
        &["milliseconds", "1.2"],
    );
    one_fault(
        "[sensors]\naltitude_lag_s = -1",
        "line 2, sensors.altitude_lag_s",
        &["lag of the altitude"],
    );
    one_fault(
        "[sensors]\npower_delay_standard_uncertainty_s = 0.2",
        "line 2, sensors.power_delay_standard_uncertainty_s",
        &["there is no power_delay_s beside it"],
    );
}

#[test]
fn what_is_to_be_left_as_recorded_is_named() {
    use crate::treatment::Treatment;
    let left = |text: &str| day(text).as_recorded;
    let one = left("[sensors]\nas_recorded = \"stuck power\"\n");
    assert!(one.leaves(Treatment::StuckPower) && !one.leaves(Treatment::DisturbedStretches));
    let all: Vec<String> = Treatment::ALL
        .iter()
        .map(|treatment| format!("\"{}\"", treatment.name()))
        .collect();
    let all = left(&format!("[sensors]\nas_recorded = [{}]\n", all.join(", ")));
    assert!(Treatment::ALL.iter().all(|treatment| all.leaves(*treatment)));
    assert!(
        Treatment::ALL
            .iter()
            .all(|treatment| !left("").leaves(*treatment))
    );
    one_fault(
        "[sensors]\nas_recorded = [\"stuck powers\"]",
        "line 2, sensors.as_recorded",
        &["stuck powers", "Did you mean \"stuck power\"?"],
    );
    one_fault(
        "[sensors]\nas_recorded = [\"everything\"]",
        "line 2, sensors.as_recorded",
        &["everything", "Known are \"stuck power\""],
    );
}

#[test]
fn a_speed_scale_is_read_for_all_and_for_one() {
    let of = |text: &str| day(text);
    let all = of("[sensors]\nspeed_scale = 0.993\nspeed_scale_standard_uncertainty = 0.001\n");
    let scale = all.speed_scale.unwrap();
    assert_eq!(
        (scale.value, scale.standard_uncertainty, scale.given),
        (0.993, 0.001, true)
    );
    let one = of(
        "[[setup]]\nname = \"a\"\n[[setup]]\nname = \"b\"\nspeed_scale = 1.007\n[[block]]\nsetup = \"a\"\npasses = 1\n",
    );
    assert_eq!(one.speed_scale, None);
    assert_eq!(one.setups[0].speed_scale, None);
    assert_eq!(one.setups[1].speed_scale.unwrap().standard_uncertainty, 0.002);
    assert!(
        one.assumptions
            .iter()
            .any(|a| a == "Speed scale as in test.toml, ± 0.002 by default.")
    );
    one_fault(
        "[sensors]\nspeed_scale = 99.3",
        "line 2, sensors.speed_scale",
        &["99.3", "0.993"],
    );
    one_fault(
        "[sensors]\nspeed_scale_standard_uncertainty = 0.001",
        "line 2, sensors.speed_scale_standard_uncertainty",
        &["without the scale"],
    );
}

#[test]
fn a_measured_lap_has_bends_of_a_usual_track_unless_they_are_written() {
    let lap = |text: &str| day(text).course.unwrap().lap.unwrap();
    let usual = lap("[course]\nshape = \"loop\"\nlap_length_m = 250.0\n");
    assert_eq!(
        (usual.length_m.value, usual.length_m.standard_uncertainty),
        (250.0, 1.0)
    );
    assert_eq!(
        (usual.bend_radius_m.value, usual.bend_radius_m.given),
        (22.5, false)
    );
    assert_eq!(usual.centre_of_mass_height_m.standard_uncertainty, 0.1);
    assert!(usual.is_track());
    let long = lap("[course]\nlap_length_m = 1800.0\n");
    assert!(!long.is_track());
    let said = day("[course]\nlap_length_m = 1800.0\n").assumptions;
    assert!(!said.iter().any(|a| a.contains("bends")), "{said:?}");
    assert!(lap("[course]\nlap_length_m = 800.0\nbend_radius_m = 40.0\n").is_track());
    for (text, place, words) in [
        (
            "[course]\nbend_radius_m = 23.0",
            "line 2, course.bend_radius_m",
            "without the length of the lap",
        ),
        (
            "[course]\nshape = \"one-way\"\nlap_length_m = 250.0",
            "line 3, course.lap_length_m",
            "only a loop has laps",
        ),
        (
            "[course]\nlap_length_m = 250.0\nbend_radius_m = 60.0",
            "line 3, course.bend_radius_m",
            "longer than 250 m",
        ),
        (
            "[course]\nlap_length_m = 0.25",
            "line 2, course.lap_length_m",
            "250",
        ),
    ] {
        one_fault(text, place, &[words]);
    }
}
