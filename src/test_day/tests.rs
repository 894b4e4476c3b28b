//! What a user may write, and what is said when it is wrong.

use super::*;
use crate::error::Fault;
use std::path::Path;

pub(super) fn day(text: &str) -> TestDay {
    parse(Path::new("test.toml"), text).unwrap_or_else(|error| panic!("{error}\nin\n{text}"))
}

pub(super) fn faults(text: &str) -> Vec<Fault> {
    match parse(Path::new("test.toml"), text) {
        Ok(day) => panic!("accepted:\n{text}\nas {day:?}"),
        Err(error) => error.faults,
    }
}

/// The text has exactly one fault, at this place, whose sentence holds all these words.
pub(super) fn one_fault(text: &str, place: &str, words: &[&str]) {
    let faults = faults(text);
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert_eq!(faults[0].place.as_deref(), Some(place), "{faults:#?}");
    let said = faults[0].to_string();
    for word in words {
        assert!(said.contains(word), "no {word:?} in {said}");
    }
}

pub(super) fn measured(value: f64, standard_uncertainty: f64, given: bool) -> Measured {
    Measured {
        value,
        standard_uncertainty,
        given,
    }
}

/// The example of the interface description, with every table.
const WHOLE: &str = r#"title = "Two helmets on the reservoir road"
smallest_difference_percent = 1.5
[rider]
total_mass_kg = 82.0                 # as ridden
total_mass_standard_uncertainty_kg = 0.3
[bike]
drivetrain_efficiency = 0.976
wheel_radius_m = 0.336
wheel_inertia_kg_m2 = 0.14
[tyres]
crr = 0.0045
crr_standard_uncertainty = 0.0007
[[air]]
time = 2026-05-02T08:10:00Z
temperature_c = 19.0
pressure_hpa = 1002.3
relative_humidity_percent = 55
wind_speed_m_s = 1.5
wind_from_deg = 240
wind_standard_uncertainty_m_s = 0.8
[course]
shape = "out-and-back"
start = [-43.90, 170.50]
finish = [-43.88, 170.52]
[[setup]]
name = "vented helmet"
[[setup]]
name = "closed helmet"
total_mass_kg = 82.2
differs = ["cda", "crr"]
[[block]]
setup = "vented helmet"
passes = 4
[[block]]
setup = "closed helmet"
from = 2026-05-02T09:00:00Z
to = 2026-05-02T11:30:00+02:00
[[block]]
setup = "none"
passes = 1
[[exclude]]
start_time = 2026-05-02T09:14:22Z
reason = "overtaken by a lorry"
[[exclude]]
number = 7
[[window]]
start_time = 2026-05-02T09:20:10Z
from_m = 120
to_m = 1380
"#;

// 2026-05-02T00:00:00Z by `date -u -d 2026-05-02 +%s`.
const MIDNIGHT: f64 = 1_777_680_000.0;

#[test]
fn the_whole_format_is_read() {
    let day = day(WHOLE);
    assert_eq!(day.title.as_deref(), Some("Two helmets on the reservoir road"));
    assert_eq!(day.smallest_difference_percent, 1.5);
    let [vented, closed] = day.setups.as_slice() else {
        panic!("{:?}", day.setups)
    };
    assert_eq!(vented.total_mass_kg, measured(82.0, 0.3, true));
    assert_eq!(vented.drivetrain_efficiency, measured(0.976, 0.005, true));
    assert_eq!(vented.crr, measured(0.0045, 0.0007, true));
    assert_eq!(vented.differs, Differs::Cda);
    assert_eq!(closed.total_mass_kg, measured(82.2, 0.3, true));
    assert_eq!(closed.wheel_radius_m, measured(0.336, 0.002, true));
    assert_eq!(closed.differs, Differs::Both);

    let air = &day.air[0];
    assert_eq!(
        (air.line, air.time_s),
        (13, Some(MIDNIGHT + 8.0 * 3600.0 + 600.0))
    );
    assert_eq!(air.temperature_c, Some(measured(19.0, 1.0, true)));
    let hpa = measured(1002.3, 1.0, true);
    assert_eq!(air.pressure, Some(Pressure::AtRoad { hpa }));
    assert_eq!(air.relative_humidity_percent, Some(measured(55.0, 10.0, true)));
    let wind = air.wind.unwrap();
    assert_eq!(
        (wind.speed_m_s, wind.from_deg, wind.standard_uncertainty_m_s),
        (1.5, 240.0, 0.8)
    );

    let course = day.course.unwrap();
    assert_eq!((course.line, course.shape), (21, Some(Shape::OutAndBack)));
    assert_eq!(course.start_deg, Some([-43.90, 170.50]));
    assert_eq!(course.finish_deg, Some([-43.88, 170.52]));

    let blocks: Vec<_> = day
        .blocks
        .iter()
        .map(|block| (block.setup, block.extent))
        .collect();
    let times = Extent::Times {
        from_s: MIDNIGHT + 9.0 * 3600.0,
        to_s: MIDNIGHT + 9.5 * 3600.0,
    };
    assert_eq!(
        blocks,
        [
            (Some(0), Extent::Passes(4)),
            (Some(1), times),
            (None, Extent::Passes(1))
        ]
    );
    assert_eq!(day.excludes[0].reason, "overtaken by a lorry");
    assert_eq!(
        day.excludes[0].pass,
        PassRef::StartTime(MIDNIGHT + 9.0 * 3600.0 + 862.0)
    );
    assert_eq!(day.excludes[1].pass, PassRef::Number(7));
    assert_eq!(
        (day.windows[0].from_m, day.windows[0].to_m),
        (Some(120.0), Some(1380.0))
    );
}

#[test]
fn byte_order_mark_and_carriage_returns_change_nothing() {
    let plain = day(WHOLE);
    let dressed = day(&format!("\u{FEFF}{}", WHOLE.replace('\n', "\r\n")));
    assert_eq!(plain, dressed);
    one_fault(
        "\u{FEFF}# remark\r\n[rider]\r\ntotal_mass_kg = 0\r\n",
        "line 3, rider.total_mass_kg",
        &["0 kg"],
    );
}

#[test]
fn nothing_written_means_the_stated_defaults() {
    for day in [day(""), without_file()] {
        let setup = &day.setups[0];
        assert_eq!((day.setups.len(), setup.name.as_str()), (1, "as ridden"));
        assert_eq!(setup.total_mass_kg, measured(83.0, 5.0, false));
        assert_eq!(setup.drivetrain_efficiency, measured(0.976, 0.005, false));
        assert_eq!(setup.wheel_radius_m, measured(0.336, 0.002, false));
        assert_eq!(setup.wheel_inertia_kg_m2, measured(0.14, 0.02, false));
        assert_eq!(setup.crr, measured(0.0045, 0.0010, false));
        assert_eq!(day.power_scale, measured(1.0, 0.015, false));
        let said = day.assumptions.join(" ");
        for number in [
            "83 ± 5 kg",
            "0.976 ± 0.005",
            "0.336 ± 0.002 m",
            "0.14 ± 0.02",
            "0.0045 ± 0.001",
            "1.5 %",
            "as ridden",
        ] {
            assert!(said.contains(number), "no {number} in {said}");
        }
    }
}

#[test]
fn what_the_user_settles_is_no_assumption() {
    let day = day(r#"
        [rider]
        total_mass_kg = 82
        total_mass_standard_uncertainty_kg = 0.3
        [bike]
        power_at = "hub"
        power_meter_scale_standard_uncertainty = 0.01
        drivetrain_efficiency_standard_uncertainty = 0.001
        wheel_radius_m = 0.34
        wheel_radius_standard_uncertainty_m = 0.001
        wheel_inertia_kg_m2 = 0.12
        wheel_inertia_standard_uncertainty_kg_m2 = 0.01
        [tyres]
        crr = 0.004
        crr_standard_uncertainty = 0.0005
        [[setup]]
        name = "a"
        [[block]]
        setup = "a"
        passes = 2"#);
    assert_eq!(day.setups[0].drivetrain_efficiency, measured(1.0, 0.001, false));
    assert_eq!(day.power_scale, measured(1.0, 0.01, true));
    assert_eq!(day.assumptions.len(), 1, "{:?}", day.assumptions);
    assert!(day.assumptions[0].contains("Drivetrain efficiency 1 ± 0.001, a default"));
}

#[test]
fn uncertainties_of_written_values_have_stated_defaults() {
    let day = day("[rider]\ntotal_mass_kg = 82\n[tyres]\ncrr = 0.004\n");
    assert_eq!(day.setups[0].total_mass_kg, measured(82.0, 0.5, true));
    assert_eq!(day.setups[0].crr, measured(0.004, 0.0007, true));
    let said = day.assumptions.join(" ");
    assert!(
        said.contains("Total mass as in test.toml, ± 0.5 kg by default"),
        "{said}"
    );
    assert!(
        said.contains("rolling resistance as in test.toml, ± 0.0007 by default"),
        "{said}"
    );
}

#[test]
fn the_mass_of_the_profile_replaces_the_default_only() {
    let day_without = without_file().with_rider_mass(74.0);
    assert_eq!(day_without.setups[0].total_mass_kg, measured(84.0, 3.0, false));
    let said = day_without.assumptions.join(" ");
    assert!(
        said.contains("84 ± 3 kg") && said.contains("74 kg of the recording's profile"),
        "{said}"
    );
    assert!(!said.contains("83 ± 5"), "{said}");

    let weighed = day("[rider]\ntotal_mass_kg = 82\n");
    assert_eq!(weighed.clone().with_rider_mass(74.0), weighed);
    assert_eq!(without_file().with_rider_mass(0.0), without_file());
    assert_eq!(without_file().with_rider_mass(f64::NAN), without_file());

    let mixed =
        day("[[setup]]\nname = \"a\"\n[[setup]]\nname = \"b\"\ntotal_mass_kg = 90\n").with_rider_mass(60.0);
    assert_eq!(mixed.setups[0].total_mass_kg.value, 70.0);
    assert_eq!(mixed.setups[1].total_mass_kg.value, 90.0);
}

#[test]
fn unknown_names_are_told_with_the_nearest_known_one() {
    one_fault("titel = \"x\"", "line 1, titel", &["Did you mean title?"]);
    one_fault(
        "[rider]\ntotal_mas_kg = 82",
        "line 2, rider.total_mas_kg",
        &["Did you mean total_mass_kg?"],
    );
    one_fault(
        "[bike]\ncrr = 0.004",
        "line 2, bike.crr",
        &["belongs into [tyres]"],
    );
    one_fault(
        "[[setups]]\nname = \"a\"",
        "line 1, setups",
        &["Did you mean setup?"],
    );
    one_fault(
        "[bike]\ncolour = \"red\"",
        "line 2, bike.colour",
        &["Remove it", "wheel_radius_m"],
    );
    one_fault(
        "[rider.bottles]\nfull = 2",
        "line 1, rider.bottles",
        &["no key of this name"],
    );
}

#[test]
fn wrong_types_are_named_with_what_is_expected() {
    one_fault(
        "[rider]\ntotal_mass_kg = \"82\"",
        "line 2, rider.total_mass_kg",
        &["the text \"82\"", "total_mass_kg = 82, without quotes"],
    );
    one_fault(
        "[rider]\ntotal_mass_kg = \"82,5\"",
        "line 2, rider.total_mass_kg",
        &["total_mass_kg = 82.5"],
    );
    one_fault(
        "[rider]\ntotal_mass_kg = true",
        "line 2, rider.total_mass_kg",
        &["true where a number is expected"],
    );
    one_fault(
        "[rider]\ntotal_mass_kg = nan",
        "line 2, rider.total_mass_kg",
        &["not a finite number"],
    );
    one_fault("rider = 82", "line 1, rider", &["[rider]"]);
    one_fault("[setup]\nname = \"a\"", "line 1, setup", &["[[setup]]"]);
    one_fault(
        "[[rider]]\ntotal_mass_kg = 82",
        "line 1, rider",
        &["a list of tables"],
    );
    one_fault(
        "title = 5",
        "line 1, title",
        &["the number 5 where text is expected"],
    );
    one_fault(
        "[[setup]]\nname = [\"a\"]",
        "line 2, setup.name",
        &["a list of one"],
    );
}

#[test]
fn wrong_units_are_recognised() {
    one_fault(
        "[[air]]\npressure_hpa = 100230",
        "line 2, air.pressure_hpa",
        &["looks like Pa", "write 1002.3"],
    );
    one_fault(
        "[[air]]\ntemperature_c = 292",
        "line 2, air.temperature_c",
        &["looks like kelvin"],
    );
    one_fault(
        "[rider]\ntotal_mass_kg = 820",
        "line 2, rider.total_mass_kg",
        &["820 kg is not a plausible total mass"],
    );
    one_fault(
        "[bike]\ndrivetrain_efficiency = 97.6",
        "line 2, bike.drivetrain_efficiency",
        &["write 0.976"],
    );
    one_fault(
        "[bike]\nwheel_radius_m = 336",
        "line 2, bike.wheel_radius_m",
        &["millimetres", "write 0.336"],
    );
    one_fault("[tyres]\ncrr = 4.5", "line 2, tyres.crr", &["write 0.0045"]);
    one_fault(
        "[bike]\npower_meter_scale_standard_uncertainty = 1.5",
        "line 2, bike.power_meter_scale_standard_uncertainty",
        &["0.015 for 1.5 %"],
    );
    one_fault(
        "smallest_difference_percent = 0",
        "line 1, smallest_difference_percent",
        &["percent"],
    );
}

#[test]
fn uncertainties_are_not_negative_and_not_alone() {
    one_fault(
        "[rider]\ntotal_mass_kg = 82\ntotal_mass_standard_uncertainty_kg = -1",
        "line 3, rider.total_mass_standard_uncertainty_kg",
        &["negative"],
    );
    one_fault(
        "[rider]\ntotal_mass_standard_uncertainty_kg = 0.3",
        "line 2, rider.total_mass_standard_uncertainty_kg",
        &["without the mass"],
    );
    one_fault(
        "[[air]]\nwind_speed_m_s = 1\nwind_from_deg = 10\ntemperature_standard_uncertainty_c = 1",
        "line 4, air.temperature_standard_uncertainty_c",
        &["without its air temperature"],
    );
}

#[test]
fn a_drivetrain_loss_behind_a_hub_meter_is_questioned() {
    one_fault(
        "[bike]\npower_at = \"hub\"\ndrivetrain_efficiency = 0.976",
        "line 3, bike.drivetrain_efficiency",
        &["at the hub"],
    );
    one_fault(
        "[bike]\npower_at = \"chain\"",
        "line 2, bike.power_at",
        &["\"crank\""],
    );
    let hub = day("[bike]\npower_at = \"hub\"");
    assert_eq!(hub.setups[0].drivetrain_efficiency, measured(1.0, 0.002, false));
}

#[test]
fn set_ups_have_names_of_their_own() {
    one_fault(
        "[[setup]]\nname = \"a\"\n[[setup]]\nname = \"a\"",
        "line 4, setup.name",
        &["used twice (also in line 1)"],
    );
    one_fault("[[setup]]\ncrr = 0.004", "line 1, setup.name", &["has no name"]);
    one_fault(
        "[[setup]]\nname = \"none\"",
        "line 2, setup.name",
        &["kept for blocks"],
    );
    one_fault("[[setup]]\nname = \" \"", "line 2, setup.name", &["empty"]);
    one_fault(
        "[[setup]]\nname = \"a\\tb\"",
        "line 2, setup.name",
        &["control character (U+0009)"],
    );
    assert_eq!(
        day("[[setup]]\nname = \"Čapka № 2 🚴 <b>\"").setups[0].name,
        "Čapka № 2 🚴 <b>"
    );
}

#[test]
fn a_null_test_names_the_set_up_it_is_the_same_as() {
    let text = "[[setup]]\nname = \"a\"\n[[setup]]\nname = \"b\"\nsame_as = \"a\"\n[[setup]]\nname = \"c\"\nsame_as = \"b\"";
    let same_as: Vec<_> = day(text).setups.iter().map(|setup| setup.same_as).collect();
    assert_eq!(same_as, [None, Some(0), Some(0)]);
    one_fault(
        "[[setup]]\nname = \"alpha\"\n[[setup]]\nname = \"b\"\nsame_as = \"alpah\"",
        "line 5, setup.same_as",
        &["Did you mean \"alpha\"?"],
    );
    one_fault(
        "[[setup]]\nname = \"a\"\nsame_as = \"a\"",
        "line 3, setup.same_as",
        &["the same as itself"],
    );
    one_fault(
        "[[setup]]\nname = \"a\"\ndiffers = [\"mass\"]",
        "line 3, setup.differs",
        &["[\"cda\"]"],
    );
}

#[test]
fn blocks_name_a_known_set_up_and_an_extent() {
    let block =
        |body: &str| format!("[[setup]]\nname = \"open\"\n[[setup]]\nname = \"closed\"\n[[block]]\n{body}");
    one_fault(
        &block("setup = \"cosed\"\npasses = 2"),
        "line 6, block.setup",
        &["Did you mean \"closed\"?", "\"open\" and \"closed\""],
    );
    one_fault(&block("passes = 2"), "line 5, block.setup", &["names no set-up"]);
    one_fault(
        &block("setup = \"open\"\npasses = 0"),
        "line 7, block.passes",
        &["0 is not a count"],
    );
    one_fault(
        &block("setup = \"open\"\npasses = 2.5"),
        "line 7, block.passes",
        &["2.5 is not a count"],
    );
    one_fault(&block("setup = \"open\""), "line 5, block", &["how many passes"]);
    let (from, to) = ("from = 2026-05-02T09:00:00Z", "to = 2026-05-02T08:00:00Z");
    one_fault(
        &block(&format!("setup = \"open\"\n{from}\n{to}")),
        "line 8, block.to",
        &["ends before it begins"],
    );
    one_fault(
        &block(&format!("setup = \"open\"\npasses = 2\n{from}")),
        "line 7, block.passes",
        &["both"],
    );
    one_fault(
        &block(&format!("setup = \"open\"\n{from}")),
        "line 5, block.to",
        &["from is given without to"],
    );
    let second = "setup = \"open\"\nfrom = 2026-05-02T08:00:00Z\nto = 2026-05-02T09:00:00Z\n[[block]]\nsetup = \"closed\"\nfrom = 2026-05-02T08:59:00Z\nto = 2026-05-02T10:00:00Z";
    one_fault(
        &block(second),
        "line 11, block.from",
        &["overlaps the block of line 5"],
    );
}

#[test]
fn several_set_ups_without_blocks_are_read() {
    let day = day("[[setup]]\nname = \"a\"\n[[setup]]\nname = \"b\"");
    assert_eq!((day.setups.len(), day.blocks.len()), (2, 0));
}

#[test]
fn exclusions_and_windows_name_a_pass() {
    one_fault(
        "[[exclude]]\nreason = \"lorry\"",
        "line 1, exclude",
        &["does not say which pass"],
    );
    one_fault(
        "[[exclude]]\nnumber = 0",
        "line 2, exclude.number",
        &["not a count"],
    );
    one_fault(
        "[[exclude]]\nnumber = 2\nstart_time = 2026-05-02T09:00:00Z",
        "line 2, exclude.number",
        &["both start_time and number"],
    );
    one_fault(
        "[[window]]\nfrom_m = 500\nto_m = 400",
        "line 3, window.to_m",
        &["500 m to 400 m is empty"],
    );
    one_fault(
        "[[window]]\nfrom_m = 500\nto_m = 500",
        "line 3, window.to_m",
        &["is empty"],
    );
    one_fault(
        "[[window]]\nfrom_m = -5",
        "line 2, window.from_m",
        &["zero or more"],
    );
    one_fault("[[window]]\nnumber = 2", "line 1, window", &["no ends"]);
    one_fault(
        "[[window]]\nto_m = 5\n[[window]]\nto_m = 6",
        "line 3, window",
        &["the first is in line 1"],
    );
    assert_eq!(day("[[window]]\nto_m = 900").windows[0].pass, None);
}

#[test]
fn a_cut_has_two_ends_and_there_may_be_many() {
    one_fault(
        "[[cut]]\nto_m = 5",
        "line 1, cut",
        &["one end only", "[[window]]"],
    );
    one_fault(
        "[[cut]]\nfrom_m = 9\nto_m = 5",
        "line 3, cut.to_m",
        &["cut from 9 m"],
    );
    one_fault("[[cut]]\nreason = \"rough\"", "line 1, cut", &["no ends"]);
    let two =
        day("[[cut]]\nfrom_m = 5\nto_m = 9\n[[cut]]\nnumber = 3\nfrom_m = 15\nto_m = 19\nreason = \"a dog\"");
    let seen: Vec<_> = two.cuts.iter().map(|c| (c.pass, c.from_m, c.to_m)).collect();
    assert_eq!(seen, [(None, 5.0, 9.0), (Some(PassRef::Number(3)), 15.0, 19.0)]);
}

#[test]
fn times_are_utc_unless_an_offset_is_written() {
    let start = |time: &str| day(&format!("[[exclude]]\nstart_time = {time}")).excludes[0].pass;
    let nine = PassRef::StartTime(MIDNIGHT + 9.0 * 3600.0);
    for time in [
        "2026-05-02T09:00:00",
        "2026-05-02 09:00:00Z",
        "2026-05-02T11:00:00+02:00",
        "\"2026-05-02T09:00:00\"",
        "\"2026-05-02 11:00+02:00\"",
    ] {
        assert_eq!(start(time), nine, "{time}");
    }
    one_fault(
        "[[exclude]]\nstart_time = 09:00:00",
        "line 2, exclude.start_time",
        &["has no date"],
    );
    one_fault(
        "[[exclude]]\nstart_time = 2026-05-02",
        "line 2, exclude.start_time",
        &["no time of day"],
    );
    one_fault(
        "[[exclude]]\nstart_time = 3",
        "line 2, exclude.start_time",
        &["the number 3 where a time"],
    );
}

#[test]
fn readings_of_the_air_do_not_contradict_themselves() {
    one_fault(
        "[[air]]\npressure_hpa = 1000\nsea_level_pressure_hpa = 1013",
        "line 3, air.sea_level_pressure_hpa",
        &["two pressures"],
    );
    one_fault(
        "[[air]]\nmetar = \"XXXX 020820Z 24003KT 19/09 Q1013\"\ntemperature_c = 19",
        "line 3, air.temperature_c",
        &["both metar and temperature_c"],
    );
    one_fault(
        "[[air]]\nwind_speed_m_s = 2",
        "line 1, air.wind_from_deg",
        &["given in part"],
    );
    one_fault(
        "[[air]]\ntemperature_c = 9\nwind_from_deg = 20",
        "line 1, air.wind_speed_m_s",
        &["given in part"],
    );
    one_fault(
        "[[air]]\nwind_speed_m_s = -2\nwind_from_deg = 20",
        "line 2, air.wind_speed_m_s",
        &["outside 0 to 40"],
    );
    one_fault(
        "[[air]]\nwind_speed_m_s = 2\nwind_from_deg = 400",
        "line 3, air.wind_from_deg",
        &["0 to 360"],
    );
    one_fault(
        "[[air]]\ntime = 2026-05-02T09:00:00Z",
        "line 1, air",
        &["no measurement"],
    );
    let timed = "[[air]]\ntime = 2026-05-02T09:00:00Z\ntemperature_c = 19\n";
    one_fault(
        &format!("{timed}[[air]]\ntemperature_c = 20"),
        "line 4, air",
        &["has no time"],
    );
    one_fault(
        &format!("{timed}{timed}"),
        "line 5, air.time",
        &["same time as the reading of line 1"],
    );
}

#[test]
fn a_metar_may_run_over_lines_and_carry_a_wind_beside_it() {
    let day =
        day("[[air]]\nmetar = \"\"\"METAR XXXX 020820Z\n 24003KT 19/09 Q1013\"\"\"\nwind_speed_m_s = 0\n");
    assert_eq!(
        day.air[0].metar.as_deref(),
        Some("METAR XXXX 020820Z 24003KT 19/09 Q1013")
    );
    assert_eq!(day.air[0].wind.map(|wind| wind.speed_m_s), Some(0.0));
}

#[test]
fn gates_lie_on_earth_and_fit_the_shape() {
    let course = |body: &str| format!("[course]\n{body}");
    one_fault(
        &course("start = [170.50, -43.90]"),
        "line 2, course.start",
        &["swapped", "[-43.9, 170.5]"],
    );
    one_fault(
        &course("start = [95, 200]"),
        "line 2, course.start",
        &["not on Earth"],
    );
    one_fault(
        &course("start = [95]"),
        "line 2, course.start",
        &["a list of one"],
    );
    one_fault(
        &course("start = \"here\""),
        "line 2, course.start",
        &["the text \"here\""],
    );
    one_fault(
        &course("shape = \"out and bck\""),
        "line 2, course.shape",
        &["Did you mean \"out-and-back\"?"],
    );
    one_fault(
        &course("shape = \"spiral\""),
        "line 2, course.shape",
        &["\"loop\""],
    );
    one_fault(
        &course("shape = \"one-way\"\nstart = [-43.9, 170.5]"),
        "line 3, course.start",
        &["without a finish"],
    );
    one_fault(
        &course("finish = [-43.9, 170.5]"),
        "line 2, course.finish",
        &["without a start"],
    );
    let start = "start = [-43.9, 170.5]\n";
    // 0.0001° of latitude is 11.1 m, 0.00004° is 4.4 m.
    one_fault(
        &course(&format!("shape = \"loop\"\n{start}finish = [-43.8999, 170.5]")),
        "line 4, course.finish",
        &["11 m from its start"],
    );
    one_fault(
        &course(&format!("shape = \"one-way\"\n{start}finish = [-43.9, 170.5]")),
        "line 4, course.finish",
        &["0.0 m apart"],
    );
    one_fault(
        &course(&format!("{start}finish = [43.9, 170.5]")),
        "line 3, course.finish",
        &["km apart"],
    );
    let near = day(&course(&format!(
        "shape = \"loop\"\n{start}finish = [-43.89996, 170.5]"
    )));
    assert_eq!(near.course.unwrap().shape, Some(Shape::Loop));
}

#[test]
fn all_faults_come_at_once_in_the_order_of_lines() {
    let found = faults(
        "titel = \"x\"\n[tyres]\ncrr = 4.5\n[rider]\ntotal_mass_kg = 0\n[[block]]\nsetup = \"x\"\npasses = 0\n",
    );
    let places: Vec<&str> = found.iter().filter_map(|fault| fault.place.as_deref()).collect();
    assert_eq!(
        places,
        [
            "line 1, titel",
            "line 3, tyres.crr",
            "line 5, rider.total_mass_kg",
            "line 7, block.setup",
            "line 8, block.passes"
        ]
    );
}

#[test]
fn text_that_is_not_toml_is_told_by_line_and_column() {
    one_fault(
        "title = \"x\"\n[rider]\ntotal_mass_kg = 82,5\n",
        "line 3, column 19",
        &["not TOML", "decimal point"],
    );
    one_fault("title = Two helmets\n", "line 1, column 9", &["straight quotes"]);
    one_fault(
        "[rider]\ntotal_mass_kg = 82\n[rider]\n",
        "line 3, column 2",
        &["Keep one of the two"],
    );
}

#[test]
fn commas_and_units_in_numbers_are_told_how_to_write_them() {
    one_fault(
        "[course]\nstart = [-43,9, 170,5]",
        "line 2, course.start",
        &["a list of 4", "Decimals take a point."],
    );
    one_fault(
        "[rider]\ntotal_mass_kg = 82 kg\n",
        "line 2, column 17",
        &["Write the number alone"],
    );
}

#[test]
fn files_that_cannot_be_read_are_named() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(read(folder.path()).unwrap(), without_file());
    let file = folder.path().join("test.toml");
    std::fs::write(&file, "title = \"caf\u{e9}\"\n").unwrap();
    assert_eq!(read(folder.path()).unwrap().title.as_deref(), Some("café"));
    std::fs::write(&file, b"# one\ntitle = \"caf\xe9\"\n").unwrap();
    let error = read(folder.path()).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("test.toml: line 2: this is not text in UTF-8"),
        "{error}"
    );
    let error = read(&folder.path().join("absent")).unwrap_err();
    assert!(error.to_string().contains("there is no such folder"), "{error}");
    let error = read(&file).unwrap_err();
    assert!(error.to_string().contains("this is not a folder"), "{error}");
    std::fs::rename(&file, folder.path().join("Test.TOML")).unwrap();
    let error = read(folder.path()).unwrap_err();
    assert!(error.to_string().contains("Rename it to test.toml"), "{error}");
}

proptest::proptest! {
    /// Whatever stands in the file, the answer is a day or faults, never a panic.
    #[test]
    fn no_text_makes_it_panic(text in ".{0,200}", cut in 0..WHOLE.len(), junk in "[\\[\\]={}\",.0-9a-z\n-]{0,12}") {
        let _ = parse(Path::new("test.toml"), &text);
        let whole: String = WHOLE.chars().take(cut).chain(junk.chars()).chain(WHOLE.chars().skip(cut)).collect();
        if let Ok(day) = parse(Path::new("test.toml"), &whole) {
            proptest::prop_assert!(!day.setups.is_empty());
        }
    }
}
