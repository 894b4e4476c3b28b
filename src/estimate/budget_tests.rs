//! Sensitivities of drag area against those of REFERENCES 9 (D): ρ 1.2, CdA 0.25, Crr 0.004, 80 kg, η 0.976,
//! 11.11 m/s, level, still air. They are rounded to the digit given and leave the bearings out (246 W is the
//! power without them); our balance has them, so their share is added where it shows.

use super::*;
use crate::air::density::moist_air_density_kg_m3;
use crate::course::Direction;
use crate::estimate::cells::PassRide;
use crate::estimate::made::{Truth, held, length_m, level, pass, setup};
use crate::estimate::plain::{Day, averages};
use crate::test_day::Setup;

const SPEED_M_S: f64 = 11.11;

fn ride(cda_m2: f64, setup_index: usize, direction: Direction) -> PassRide {
    let north = Truth {
        bearing_rad: 0.0,
        ..level(cda_m2, &|_| SPEED_M_S)
    };
    let mut truth = Truth {
        setup: setup_index,
        block: setup_index,
        direction,
        ..north
    };
    let mut ride = pass(&mut truth, &setup("any"));
    // Due north and back: then a wind from north is a head wind.
    for step in ride.cells.iter_mut().flat_map(|cell| &mut cell.steps) {
        step.bearing_rad = if direction == Direction::Forward {
            0.0
        } else {
            std::f64::consts::PI
        };
    }
    ride
}

fn with_day<T>(rides: &[PassRide], out_and_back: bool, then: impl FnOnce(&Day) -> T) -> T {
    let setups: Vec<Setup> = vec![setup("a"), setup("b")];
    let course_length_m = length_m(&level(0.25, &|_| SPEED_M_S));
    then(&Day {
        rides,
        setups: &setups,
        course_length_m,
        shape: if out_and_back {
            crate::test_day::Shape::OutAndBack
        } else {
            crate::test_day::Shape::OneWay
        },
    })
}

/// The slope at no shift, as derivatives are: a hundredth of the change, a hundred times its effect.
fn percent_of_cda(of: impl Fn(f64) -> Shift, change: f64) -> f64 {
    let rides = [ride(0.25, 0, Direction::Forward)];
    with_day(&rides, false, |day| {
        let moved = averages(day, &held(), &of(0.01 * change)).unwrap().setups[0]
            .as_ref()
            .unwrap()
            .cda_m2;
        100.0 * 100.0 * (moved / 0.25 - 1.0)
    })
}

fn neutral() -> Shift {
    Shift::default()
}

/// Bearings against the air: 0.188 N beside 18.5 N.
fn bearings() -> f64 {
    (0.091 + 0.0087 * SPEED_M_S) / (0.5 * 1.2 * 0.25 * SPEED_M_S * SPEED_M_S)
}

#[test]
fn the_reference_rider_needs_the_power_stated() {
    let ride = ride(0.25, 0, Direction::Forward);
    let without = ride.cells[0].steps[0].power_w - (0.091 + 0.0087 * SPEED_M_S) * SPEED_M_S / 0.976;
    assert!((without - 246.0).abs() < 0.5, "{without}");
}

#[test]
fn each_input_moves_drag_area_by_the_derived_share() {
    let length_m = length_m(&level(0.25, &|_| SPEED_M_S));
    let dearer =
        moist_air_density_kg_m3(101_325.0, 294.15, 0.5) / moist_air_density_kg_m3(101_325.0, 293.15, 0.5);
    let heavier =
        moist_air_density_kg_m3(101_425.0, 293.15, 0.5) / moist_air_density_kg_m3(101_325.0, 293.15, 0.5);
    type Case = (&'static str, fn(f64) -> Shift, f64, f64, f64);
    let cases: [Case; 8] = [
        (
            "+1 % power",
            |e| Shift {
                power_scale: 1.0 + e,
                ..neutral()
            },
            0.01,
            1.17 + bearings(),
            0.01,
        ),
        (
            "+1 % speed",
            |e| Shift {
                speed_scale: 1.0 + e,
                ..neutral()
            },
            0.01,
            -3.2,
            0.1,
        ),
        (
            "+0.0005 Crr",
            |e| Shift { crr: e, ..neutral() },
            0.0005,
            -2.1,
            0.1,
        ),
        (
            "+0.1 % grade",
            |e| Shift {
                climb_m: e,
                ..neutral()
            },
            0.001 * length_m,
            -4.2,
            0.1,
        ),
        (
            "+0.5 kg",
            |e| Shift {
                total_mass_kg: e,
                ..neutral()
            },
            0.5,
            -0.11,
            0.01,
        ),
        (
            "+1 K",
            |e| Shift {
                density_scale: 1.0 + e,
                ..neutral()
            },
            dearer - 1.0,
            0.37,
            0.01,
        ),
        (
            "+1 hPa",
            |e| Shift {
                density_scale: 1.0 + e,
                ..neutral()
            },
            heavier - 1.0,
            -0.10,
            0.01,
        ),
        // A head wind that is known: less area explains the same work.
        (
            "0.5 m/s",
            |e| Shift {
                wind_north_m_s: -e,
                ..neutral()
            },
            0.5,
            -9.0,
            0.1,
        ),
    ];
    for (what, shift, change, expected, rounded_to) in cases {
        let found = percent_of_cda(shift, change);
        assert!(
            (found - expected).abs() < 0.5 * rounded_to + 1e-3,
            "{what}: {found} instead of {expected}"
        );
    }
}

#[test]
fn the_budget_states_what_one_standard_uncertainty_does() {
    let rides = [
        ride(0.25, 0, Direction::Forward),
        ride(0.24, 1, Direction::Forward),
    ];
    let inputs = [
        SharedInput {
            input: "power",
            standard_uncertainty: 0.01,
            unit: "1",
            inside: false,
            of_setup: None,
            shift: |e| Shift {
                power_scale: 1.0 + e,
                ..Shift::default()
            },
        },
        SharedInput {
            input: "density",
            standard_uncertainty: 0.01,
            unit: "1",
            inside: false,
            of_setup: None,
            shift: |e| Shift {
                density_scale: 1.0 + e,
                ..Shift::default()
            },
        },
        SharedInput {
            input: "nothing",
            standard_uncertainty: 0.0,
            unit: "1",
            inside: false,
            of_setup: None,
            shift: |e| Shift {
                crr: e,
                ..Shift::default()
            },
        },
    ];
    let lines = with_day(&rides, false, |day| budget(&inputs, |shift| said(day, shift)));
    assert_eq!(
        lines.iter().map(|l| l.input).collect::<Vec<_>>(),
        ["power", "density", "nothing"]
    );
    assert!(
        (lines[0].effect_cda_m2[0] / 0.25 - 0.0117 - 0.01 * bearings()).abs() < 1e-4,
        "{lines:?}"
    );
    assert!(
        (lines[1].effect_cda_m2[0] / 0.25 + 0.01).abs() < 2e-4,
        "denser air, less area"
    );
    // Density multiplies both drag areas alike: it leaves no trace in their ratio. Power leaves little.
    assert!(lines[1].effect_log_ratio[1].abs() < 1e-9);
    assert!(lines[0].effect_log_ratio[1].abs() < 0.001);
    assert!(
        lines.iter().all(|line| line.effect_log_ratio[0] == 0.0),
        "the baseline beside itself"
    );
    assert!(lines[2].effect_cda_m2.iter().all(|effect| effect.abs() < 1e-12));
}

fn said(day: &Day, shift: &Shift) -> Option<Said> {
    Some(averages(day, &held(), shift)?.said())
}

/// Out and back a wind cancels to first order; what is left is W²/V² (REFERENCES 8, D: 0.83 % at 1 m/s and 11 m/s).
#[test]
fn the_second_order_of_an_unknown_wind_is_in_the_budget() {
    let rides = [
        ride(0.25, 0, Direction::Forward),
        ride(0.25, 0, Direction::Reverse),
    ];
    let wind = [SharedInput {
        input: "wind",
        standard_uncertainty: 1.0,
        unit: "m/s",
        inside: false,
        of_setup: None,
        shift: |e| Shift {
            wind_north_m_s: e,
            ..Shift::default()
        },
    }];
    let lines = with_day(&rides, true, |day| budget(&wind, |shift| said(day, shift)));
    // The work of both ways is averaged, so 1/(1 + x²) is left; averaging the quotients would leave 3x².
    let share = lines[0].effect_cda_m2[0].abs() / 0.25;
    let x = 1.0 / SPEED_M_S;
    assert!((share / (x * x) - 1.0).abs() < 0.1, "{share}");
}
