//! What a test day is worth over an event: the balance against an outside integrator, the interval against the truth,
//! and what `stillair predict` answers to what is typed.

use crate::joint_days::days::{Ridden, each_day, held_by_chance};
use crate::joint_days::drawn::Course;
use crate::outside::{ask, number};
use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use std::path::Path;
use stillair::event::{Conditions, EventRoad, Pacing, Rider, flat_road, predict};
use stillair::physics::{Rig, Surroundings};
use stillair::study;
use stillair::verdict::Stretch;

const AROUND: Surroundings = Surroundings {
    air_density_kg_m3: 1.2,
    gravity_m_s2: 9.81,
};

fn conditions(power_w: f64) -> Conditions {
    Conditions {
        power_w,
        pacing: Pacing::Constant,
        around: AROUND,
        wind_m_s: [0.0; 2],
    }
}

/// A hilly road of pieces of 100 to 400 m, up to 8 % steep, on all bearings.
fn hilly(random: &mut ChaCha8Rng) -> EventRoad {
    let stretches: Vec<Stretch> = (0..40)
        .map(|_| Stretch {
            length_m: random.random_range(100.0..400.0),
            gradient: random.random_range(-0.08..0.08),
            bearing_rad: random.random_range(0.0..std::f64::consts::TAU),
        })
        .collect();
    EventRoad {
        length_m: stretches.iter().map(|s| s.length_m).sum(),
        climb_m: 0.0,
        cleaned: None,
        has_heights: true,
        stretches,
    }
}

/// SciPy's `solve_ivp`, with time as the independent variable where ours has the way, from the balance as it is
/// written in METHOD: within 0.05 %.
#[test]
fn times_over_hilly_roads_are_those_of_solve_ivp() {
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let cases: Vec<(EventRoad, Rig, Conditions)> = (0..6)
        .map(|_| {
            let rig = Rig {
                cda_m2: random.random_range(0.2..0.45),
                crr: random.random_range(0.003..0.007),
                total_mass_kg: random.random_range(65.0..100.0),
                wheel_inertia_kg_m2: 0.14,
                wheel_radius_m: 0.336,
                drivetrain_efficiency: 0.976,
            };
            let with = Conditions {
                wind_m_s: [random.random_range(-3.0..3.0), random.random_range(-3.0..3.0)],
                ..conditions(random.random_range(180.0..320.0))
            };
            (hilly(&mut random), rig, with)
        })
        .collect();
    let asked: Vec<Value> = cases
        .iter()
        .map(|(road, rig, with)| {
            json!({
                "pieces": road.stretches.iter().map(|s| [s.length_m, s.gradient, s.bearing_rad]).collect::<Vec<_>>(),
                "cda": rig.cda_m2, "crr": rig.crr, "mass": rig.total_mass_kg,
                "inertia": rig.wheel_inertia_kg_m2, "radius": rig.wheel_radius_m,
                "efficiency": rig.drivetrain_efficiency, "power": with.power_w,
                "density": AROUND.air_density_kg_m3, "gravity": AROUND.gravity_m_s2,
                "air_to": with.wind_m_s, "entry": 2.0,
            })
        })
        .collect();
    for ((road, rig, with), answer) in cases.iter().zip(ask("ride", &asked)) {
        let rider = Rider {
            rigs: vec![*rig],
            power_scale: 1.0,
        };
        let found = predict(road, with, &rider, &[], &|_| ()).unwrap();
        let off = found.times[0].time_s.value / number(&answer) - 1.0;
        assert!(off.abs() < 5e-4, "{off}");
        // Much nearer than asked for: what is left is the other integrator's tolerance.
        assert!(off.abs() < 1e-6, "{off}");
    }
}

/// Days of a known truth: how often the interval of the time difference over 40 flat kilometres holds it.
#[test]
fn the_interval_of_a_time_difference_holds_the_truth() {
    const DAYS: u64 = 60;
    let held = each_day(7000..7000 + DAYS, Course::OutAndBack, "ABBAABBA", |_, drawn| {
        let truth: Vec<Rig> = drawn
            .plan
            .setups
            .iter()
            .map(|setup| Rig {
                cda_m2: setup.cda_m2,
                crr: setup.crr,
                total_mass_kg: setup.total_mass_kg,
                wheel_inertia_kg_m2: setup.wheel_inertia_kg_m2,
                wheel_radius_m: setup.wheel_radius_m,
                drivetrain_efficiency: setup.drivetrain_efficiency,
            })
            .collect();
        let rider = Rider {
            rigs: truth,
            power_scale: 1.0 / (1.0 + drawn.plan.sensors.power_scale_error),
        };
        let compared = Ridden::of(&drawn).answered();
        let (road, with) = (flat_road(40_000.0), conditions(250.0));
        let true_s = {
            // What the meter shows is not what the rider does.
            let with = Conditions {
                power_w: with.power_w * rider.power_scale,
                ..with
            };
            let seen = predict(&road, &with, &rider, &[], &|_| ()).unwrap();
            seen.changes[0].time_change_s.value
        };
        let change = study::predict(&compared, &road, &with, &|_| ())
            .unwrap()
            .predicted
            .changes[0]
            .time_change_s;
        let [low, high] = change.interval_90.unwrap();
        (low..=high).contains(&true_s)
    });
    let held = held.iter().filter(|held| **held).count();
    println!("held {held} of {DAYS}");
    assert!(held_by_chance(DAYS as usize).contains(&held), "{held}");
}

/// A saving of drag is worth least where the road is steep: seconds a kilometre on the flat, at 8 %, and a fast
/// descent of the same 8 %.
#[test]
fn seconds_a_kilometre_depend_on_the_slope() {
    let rig = |cda_m2| Rig {
        cda_m2,
        crr: 0.0045,
        total_mass_kg: 80.0,
        wheel_inertia_kg_m2: 0.14,
        wheel_radius_m: 0.336,
        drivetrain_efficiency: 0.976,
    };
    let rider = Rider {
        rigs: vec![rig(0.32), rig(0.30)],
        power_scale: 1.0,
    };
    let saved = |gradient: f64| {
        let mut road = flat_road(20_000.0);
        road.stretches[0].gradient = gradient;
        let found = predict(&road, &conditions(250.0), &rider, &[], &|_| ()).unwrap();
        -found.changes[0].time_change_s.value / 20.0
    };
    let (flat, up) = (saved(0.0), saved(0.08));
    assert!(flat > 1.5 && up < 0.5 * flat && up > 0.0, "{flat} {up}");
}

#[test]
fn harder_uphill_keeps_the_mean_power_and_is_faster_over_hills() {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let road = hilly(&mut random);
    let rider = Rider {
        rigs: vec![Rig {
            cda_m2: 0.3,
            crr: 0.0045,
            total_mass_kg: 80.0,
            wheel_inertia_kg_m2: 0.14,
            wheel_radius_m: 0.336,
            drivetrain_efficiency: 0.976,
        }],
        power_scale: 1.0,
    };
    let time_s = |pacing| {
        let with = Conditions {
            pacing,
            ..conditions(250.0)
        };
        let found = predict(&road, &with, &rider, &[], &|_| ()).unwrap();
        (found.times[0].time_s.value, found.level_power_w)
    };
    let (even_s, even_w) = time_s(Pacing::Constant);
    let (varied_s, level_w) = time_s(Pacing::HarderUphill { limit: 0.2 });
    assert_eq!(even_w, 250.0);
    assert!(
        varied_s < even_s && varied_s > 0.95 * even_s,
        "{varied_s} {even_s}"
    );
    // More time is spent uphill, so the level gets less than the mean.
    assert!((200.0..250.0).contains(&level_w), "{level_w}");
}

fn stillair(words: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words);
    command
}

fn demo(folder: &Path) -> String {
    let folder = folder.join("day").to_str().unwrap().to_string();
    stillair(&["demo", &folder]).assert().success();
    folder
}

#[test]
fn the_answer_names_times_differences_and_what_they_rest_on() {
    let home = tempfile::tempdir().unwrap();
    let folder = demo(home.path());
    let answer = stillair(&["predict", &folder, "--flat", "40km", "--power", "250", "--json"])
        .assert()
        .success()
        .stderr(is_empty());
    let found: Value = serde_json::from_slice(&answer.get_output().stdout).unwrap();
    assert_eq!(found["event"]["length_m"], json!(40_000.0));
    for setup in found["setups"].as_array().unwrap() {
        let [low, high] = [0, 1].map(|end| number(&setup["time_s"]["interval_90"][end]));
        let time = number(&setup["time_s"]["value"]);
        assert!(
            low < time && time < high && (3000.0..5000.0).contains(&time),
            "{setup}"
        );
    }
    let change = &found["comparisons"][0];
    let [low, high] = [0, 1].map(|end| number(&change["time_change_s"]["interval_90"][end]));
    // The demonstration's truth: 6 % less drag area.
    assert!(
        low < number(&change["time_change_s"]["value"]) && high < 0.0,
        "{change}"
    );
    assert!(number(&change["watts_at_equal_time"]["value"]) < 0.0);
    stillair(&["predict", &folder, "--flat", "40km", "--power", "250"])
        .assert()
        .success()
        .stdout(
            contains("faster")
                .and(contains("Still air"))
                .and(contains("90 %")),
        );
}

#[test]
fn what_cannot_be_done_is_said() {
    let home = tempfile::tempdir().unwrap();
    let folder = demo(home.path());
    for words in [
        &["--power", "250"][..],
        &["--flat", "40km"],
        &["--flat", "40", "--power", "250"],
        &["--flat", "40km", "--power", "250", "--event", "x.gpx"],
        &[
            "--flat",
            "40km",
            "--power",
            "250",
            "--wind",
            "3",
            "--wind-from",
            "90",
        ],
        &["--event", "x.gpx", "--power", "250", "--wind", "3"],
    ] {
        let all: Vec<&str> = ["predict", &folder]
            .into_iter()
            .chain(words.iter().copied())
            .collect();
        stillair(&all).assert().code(2).stdout(is_empty());
    }
    let nowhere = home.path().join("none.gpx");
    let nowhere = nowhere.to_str().unwrap();
    stillair(&["predict", &folder, "--event", nowhere, "--power", "250"])
        .assert()
        .code(1)
        .stdout(is_empty())
        .stderr(contains("none.gpx"));
    let steep = home.path().join("steep.gpx");
    std::fs::write(
        &steep,
        "<gpx version=\"1.1\" creator=\"hand\" xmlns=\"http://www.topografix.com/GPX/1/1\"><rte>\
         <rtept lat=\"10\" lon=\"20\"><ele>0</ele></rtept><rtept lat=\"10\" lon=\"20.02\"><ele>900</ele></rtept>\
         </rte></gpx>",
    )
    .unwrap();
    stillair(&[
        "predict",
        &folder,
        "--event",
        steep.to_str().unwrap(),
        "--power",
        "60",
    ])
    .assert()
    .code(1)
    .stdout(is_empty())
    .stderr(contains("comes to a stop").and(contains("more power")));
}
