//! The program against independent libraries, live, on random points (the same at every run).
//! The libraries are pinned in tests/reference/requirements.txt; answers are of kind L of the sources.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use geo::{Bearing, Distance, Geodesic, Point};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use stillair::air::atmosphere::{geopotential_height_m, standard_pressure_pa, standard_temperature_k};
use stillair::air::density::moist_air_density_kg_m3;
use stillair::air::metar::decode;
use stillair::estimate::student::t_quantile;
use stillair::estimate::welch::welch;
use stillair::physics::gravity_m_s2;

fn random(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

/// Ask tests/reference/oracle.py. Without its environment the check fails: it is never skipped.
pub(crate) fn ask(command: &str, cases: &[Value]) -> Vec<Value> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join(".target/reference-venv/bin/python");
    assert!(
        python.exists(),
        "{} is missing: run tests/reference/make_venv",
        python.display()
    );
    let mut oracle = Command::new(python)
        .arg(root.join("tests/reference/oracle.py"))
        .arg(command)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // Dropping standard input at the end of the statement closes it.
    oracle
        .stdin
        .take()
        .unwrap()
        .write_all(json!(cases).to_string().as_bytes())
        .unwrap();
    let output = oracle.wait_with_output().unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let answers: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answers.len(), cases.len());
    answers
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// CoolProp 8.0.0 describes moist air by virial coefficients, CIPM-2007 by a fit to measurements; over
/// all the weather a rider meets they are 2 to 4e-5 apart.
#[test]
fn density_of_moist_air_is_that_of_coolprop() {
    let mut random = random(1);
    let cases: Vec<[f64; 3]> = (0..300)
        .map(|_| {
            [
                random.random_range(60_000.0..108_000.0),
                random.random_range(273.2..313.0),
                random.random_range(0.0..1.0),
            ]
        })
        .collect();
    let asked: Vec<Value> = cases.iter().map(|case| json!(case)).collect();
    for ([pressure, temperature, humidity], answer) in cases.into_iter().zip(ask("density", &asked)) {
        let found = moist_air_density_kg_m3(pressure, temperature, humidity);
        let relative = found / number(&answer) - 1.0;
        assert!(
            relative.abs() < 5e-5,
            "{pressure} {temperature} {humidity}: {relative}"
        );
    }
}

/// Below sea level ambiance 1.3.1 starts from its table's rounded pressure at −5 km, and so jumps by
/// 2.573e-7 of itself at 0 m (seen); the standard's formula is smooth there.
#[test]
fn the_standard_atmosphere_is_that_of_ambiance() {
    let mut random = random(2);
    let heights: Vec<f64> = (0..200).map(|_| random.random_range(-400.0..5000.0)).collect();
    let asked: Vec<Value> = heights.iter().map(|height| json!(height)).collect();
    for (height, answer) in heights.into_iter().zip(ask("isa", &asked)) {
        let geopotential = geopotential_height_m(height);
        let relative = standard_pressure_pa(geopotential) / number(&answer[0]) - 1.0;
        let jump = if height < 0.0 { 2.573e-7 } else { 0.0 };
        assert!((relative - jump).abs() < 1e-9, "{height}: {relative}");
        assert!(
            (standard_temperature_k(geopotential) - number(&answer[1])).abs() < 1e-6,
            "{height}"
        );
    }
}

#[test]
fn gravity_is_that_of_boule() {
    let mut random = random(3);
    let cases: Vec<[f64; 2]> = (0..200)
        .map(|_| [random.random_range(-90.0..90.0), random.random_range(0.0..4000.0)])
        .collect();
    let asked: Vec<Value> = cases.iter().map(|case| json!(case)).collect();
    for ([latitude, height], answer) in cases.into_iter().zip(ask("gravity", &asked)) {
        let found = gravity_m_s2(latitude, height);
        assert!(
            (found - number(&answer)).abs() < 2e-7,
            "{latitude} {height}: {found} {answer}"
        );
    }
}

/// Lines of a metre to some kilometres, some of them across the antimeridian.
#[test]
fn distances_and_bearings_are_those_of_geographiclib() {
    let mut random = random(4);
    let cases: Vec<[f64; 4]> = (0..300)
        .map(|index| {
            let latitude: f64 = random.random_range(-70.0..70.0);
            let longitude = match index % 10 {
                0 => 179.999_99,
                _ => random.random_range(-180.0..180.0),
            };
            let reach: f64 = 10f64.powf(random.random_range(-5.0..-1.0));
            let east = longitude + reach * random.random_range(0.1..1.0);
            let other = if east >= 180.0 { east - 360.0 } else { east };
            [
                latitude,
                longitude,
                latitude + reach * random.random_range(-1.0..1.0),
                other,
            ]
        })
        .collect();
    let asked: Vec<Value> = cases.iter().map(|case| json!(case)).collect();
    for (case, answer) in cases.into_iter().zip(ask("geodesic", &asked)) {
        let (from, to) = (Point::new(case[1], case[0]), Point::new(case[3], case[2]));
        let distance = number(&answer[0]);
        assert!((Geodesic.distance(from, to) - distance).abs() < 1e-8, "{case:?}");
        let turn = (Geodesic.bearing(from, to) - number(&answer[1])).rem_euclid(360.0);
        // In metres at the far end: the azimuth of a short line is only as good as its ends.
        let sideways = turn.min(360.0 - turn).to_radians() * distance;
        assert!(sideways < 1e-7, "{case:?}: {sideways}");
    }
}

fn random_report(random: &mut ChaCha8Rng) -> String {
    let time = format!(
        "{:02}{:02}{:02}Z",
        random.random_range(1..29),
        random.random_range(0..24),
        random.random_range(0..60)
    );
    let knots = random.random_range(1..40);
    let wind = match random.random_range(0..5) {
        0 => "00000KT".to_string(),
        1 => format!("VRB{:02}KT", random.random_range(1..6)),
        2 => format!(
            "{:03}{:02}MPS",
            10 * random.random_range(1..37),
            random.random_range(1..20)
        ),
        3 => format!(
            "{:03}{knots:02}G{:02}KT",
            10 * random.random_range(1..37),
            knots + 11
        ),
        _ => format!("{:03}{knots:02}KT", 10 * random.random_range(1..37)),
    };
    let sky = [
        "9999 FEW030",
        "CAVOK",
        "6000 -RA BKN010 OVC025",
        "0800 R24/1200U FG VV002",
    ][random.random_range(0..4)];
    let air: i32 = random.random_range(-25..40);
    let degrees = |value: i32| format!("{}{:02}", if value < 0 { "M" } else { "" }, value.abs());
    let dew = match random.random_range(0..8) {
        0 => "//".to_string(),
        _ => degrees(air - random.random_range(0..15)),
    };
    let pressure = match random.random_bool(0.7) {
        true => format!("Q{:04}", random.random_range(960..1050)),
        false => format!("A{:04}", random.random_range(2850..3100)),
    };
    let tail = [" NOSIG", " RMK AO2 SLP128", " TEMPO 4000 SHRA", ""][random.random_range(0..4)];
    format!("EHAM {time} {wind} {sky} {}/{dew} {pressure}{tail}", degrees(air))
}

/// The Python package metar 2.0.2: a decoder with no line in common with the crate used here.
#[test]
fn weather_reports_read_as_another_decoder_reads_them() {
    let mut random = random(5);
    let mut reports: Vec<String> = (0..200).map(|_| random_report(&mut random)).collect();
    reports.push("METAR KDEN 151453Z 20015G25KT 10SM FEW100 27/05 A3015 RMK SLP128 T02670050".to_string());
    let asked: Vec<Value> = reports.iter().map(|report| json!(report)).collect();
    for (report, answer) in reports.iter().zip(ask("metar", &asked)) {
        let found = decode(report).unwrap();
        assert_eq!(found.temperature_c, answer["temperature_c"].as_f64(), "{report}");
        assert_eq!(found.dew_point_c, answer["dew_point_c"].as_f64(), "{report}");
        // Inches of mercury: the two constants differ by 3e-6.
        let hpa = found.qnh_pa.unwrap() / 100.0;
        assert!(
            (hpa - number(&answer["pressure_hpa"])).abs() < 0.01,
            "{report}: {hpa}"
        );
        let wind = found.wind.unwrap();
        assert!((wind.speed_m_s - number(&answer["wind_m_s"])).abs() < 1e-4 * wind.speed_m_s.max(1.0));
        // It calls a calm a wind of 0 m/s from 0°.
        if wind.speed_m_s > 0.0 {
            assert_eq!(wind.from_deg, answer["wind_from_deg"].as_f64(), "{report}");
        }
        let stamp = [found.day, found.hour, found.minute].map(|part| json!(part));
        assert_eq!(
            stamp,
            ["day", "hour", "minute"].map(|part| answer[part].clone()),
            "{report}"
        );
    }
}

#[test]
fn welch_and_student_are_those_of_scipy() {
    let mut random = random(6);
    let cases: Vec<[Vec<f64>; 2]> = (0..100)
        .map(|_| {
            let spread = 10f64.powf(random.random_range(-3.0..0.0));
            let (count_a, count_b) = (random.random_range(2..9), random.random_range(2..9));
            let a = (0..count_a)
                .map(|_| 0.30 + 0.01 * random.random_range(-1.0..1.0))
                .collect();
            let b = (0..count_b)
                .map(|_| 0.29 + spread * random.random_range(-1.0..1.0))
                .collect();
            [a, b]
        })
        .collect();
    let asked: Vec<Value> = cases.iter().map(|case| json!(case)).collect();
    for ([a, b], answer) in cases.iter().zip(ask("welch", &asked)) {
        let found = welch(a, b).unwrap();
        let near = |x: f64, y: f64| (x - y).abs() < 1e-9 * y.abs().max(1e-3);
        assert!(near(found.difference, number(&answer[0])));
        assert!(near(found.standard_uncertainty, number(&answer[1])));
        assert!(near(found.degrees_of_freedom, number(&answer[2])));
    }

    let cases: Vec<[f64; 2]> = (0..300)
        .map(|_| {
            [
                random.random_range(0.0005..0.9995),
                10f64.powf(random.random_range(-0.2..7.0)),
            ]
        })
        .collect();
    let asked: Vec<Value> = cases.iter().map(|case| json!(case)).collect();
    for ([probability, freedom], answer) in cases.into_iter().zip(ask("student", &asked)) {
        let found = t_quantile(probability, freedom).unwrap();
        let expected = number(&answer);
        assert!(
            (found - expected).abs() < 1e-8 * (1.0 + expected.abs()),
            "{probability} {freedom}: {found} {expected}"
        );
    }
}
