//! A test.toml that is wrong in itself, or does not fit the rides.

use super::workbench::{Bench, short_day, unwrapped};

fn bench() -> Bench {
    Bench::of(&short_day())
}

/// The line of `day/test.toml` that holds the text, from 1.
fn line_of(bench: &Bench, text: &str) -> usize {
    let toml = std::fs::read_to_string(bench.path("day/test.toml")).unwrap();
    1 + toml.lines().position(|line| line.contains(text)).unwrap()
}

fn place(bench: &Bench, line_with: &str, name: &str) -> String {
    format!("day/test.toml: line {}, {name}", line_of(bench, line_with))
}

#[test]
fn all_faults_of_a_file_come_at_once_in_the_order_of_the_file() {
    let bench = bench();
    bench.replace("total_mass_kg = 83.0", "total_mass_kg = 820");
    bench.replace("wheel_radius_m = 0.336", "wheel_radius_mm = 336");
    bench.replace("crr = 0.0045", "crr = \"0.0045\"");
    bench.replace("pressure_hpa = 1016.8", "pressure_hpa = 101680");
    let places = [
        place(&bench, "= 820", "rider.total_mass_kg"),
        place(&bench, "wheel_radius_mm", "bike.wheel_radius_mm"),
        place(&bench, "\"0.0045\"", "tyres.crr"),
        place(&bench, "101680", "air.pressure_hpa"),
    ];
    for command in ["compare", "passes"] {
        bench.run(&[command, "day"]).refuses(&[
            (&places[0], &["820"]),
            (&places[1], &["wheel_radius_m"]),
            (&places[2], &["crr = 0.0045"]),
            (&places[3], &["1016.8"]),
        ]);
    }
}

#[test]
fn a_mass_nobody_has_is_refused() {
    for mass in ["0", "820", "-83.0", "nan"] {
        let bench = bench();
        bench.replace("total_mass_kg = 83.0", &format!("total_mass_kg = {mass}"));
        let place = place(&bench, "total_mass_kg", "rider.total_mass_kg");
        bench.compare().refuses(&[(&place, &["kg"])]);
    }
}

#[test]
fn a_weather_report_in_an_unknown_form_is_refused() {
    let bench = bench();
    bench.edit(|text| {
        let kept: Vec<&str> = text
            .lines()
            .filter(|line| {
                !["temperature_c", "pressure_hpa", "relative_hum"]
                    .iter()
                    .any(|k| line.starts_with(k))
            })
            .collect();
        kept.join("\n")
            .replacen("[[air]]\n", "[[air]]\nmetar = \"sunny, a light breeze\"\n", 1)
    });
    let ran = bench.compare();
    let words = ["sunny, a light breeze", "not a METAR", "temperature_c"];
    ran.refuses(&[(&place(&bench, "[[air]]", "air.metar"), &words)]);
}

#[test]
fn a_start_gate_off_the_road_is_refused_with_its_distance() {
    let mut day = short_day();
    day.start_deg[0] += 0.01;
    let bench = Bench::new();
    day.write_folder(&bench.path("day"), true).unwrap();
    let ran = bench.compare();
    // A hundredth of a degree of latitude is 1.1 km; the road runs at an angle.
    ran.refuses(&[(
        &place(&bench, "[course]", "course.start"),
        &["the gate lies 9", "20 m at most", "latitude first"],
    )]);
}

#[test]
fn blocks_that_do_not_add_up_are_told_what_was_found() {
    let bench = bench();
    bench.replace("passes = 2", "passes = 3");
    let place = place(&bench, "[[block]]", "[[block]]");
    bench.compare().refuses(&[(
        &place,
        &["add up to 9 passes, but 8 were found", "stillair passes"],
    )]);
    bench.run(&["passes", "day"]).works();
}

#[test]
fn set_ups_without_blocks_are_told_to_write_some() {
    let bench = bench();
    bench.edit(|text| text.split("[[block]]").next().unwrap().to_string());
    bench
        .compare()
        .refuses(&[("day/test.toml", &["2 set-ups", "[[block]]"])]);
}

#[test]
fn what_names_no_pass_is_told_the_nearest() {
    let bench = bench();
    bench.append("[[exclude]]\nstart_time = 2026-05-16T06:20:00Z\nreason = \"a lorry\"");
    bench.append("[[window]]\npass = 99\nfrom_m = 100");
    let places = [
        place(&bench, "[[exclude]]", "[[exclude]]"),
        place(&bench, "[[window]]", "[[window]]"),
    ];
    bench.compare().refuses(&[
        (
            &places[0],
            &[
                "06:20:00Z",
                "the nearest starts at 2026-05-16T06:31:",
                "stillair passes",
            ],
        ),
        (&places[1], &["no pass 99", "8 were found"]),
    ]);
}

fn course_length_m(bench: &Bench) -> f64 {
    bench.run(&["passes", "day", "--json"]).json()["course"]["length_m"]
        .as_f64()
        .unwrap()
}

#[test]
fn a_window_that_begins_beyond_the_course_is_refused_with_its_length() {
    let bench = bench();
    let length = format!("which is {:.0} m long", course_length_m(&bench));
    bench.append("[[window]]\nfrom_m = 5000");
    let place = place(&bench, "[[window]]", "[[window]]");
    bench.compare().refuses(&[(&place, &[&length, "from_m"])]);
}

#[test]
fn a_window_that_ends_beyond_the_course_is_said_to_end_with_it() {
    let bench = bench();
    let words = format!(
        "ends at 5000 m, beyond the end of the course at {:.0} m",
        course_length_m(&bench)
    );
    bench.append("[[window]]\nto_m = 5000");
    let ran = bench.compare();
    assert!(unwrapped(&ran.works().stdout).contains(&words), "{}", ran.stdout);
}

#[test]
fn a_file_that_is_no_toml_is_refused_at_its_line() {
    let bench = bench();
    bench.append("[[block] \nsetup =");
    let line = line_of(&bench, "[[block] ");
    bench
        .compare()
        .refuses(&[(&format!("day/test.toml: line {line}, column 9"), &["not TOML"])]);
}
