use super::*;
use crate::physics::{RelativeWind, steady_speed_m_s};
use proptest::prelude::*;
use std::f64::consts::{FRAC_PI_2, PI};

const RIG: Rig = Rig {
    cda_m2: 0.32,
    crr: 0.0045,
    total_mass_kg: 83.0,
    wheel_inertia_kg_m2: 0.14,
    wheel_radius_m: 0.336,
    drivetrain_efficiency: 0.976,
};
const BASE: AsRidden = AsRidden {
    rig: RIG,
    power_w: 235.0,
    entry_speed_m_s: 9.5,
    wind_east_m_s: 0.0,
    wind_north_m_s: 0.0,
    air_density_kg_m3: 1.2,
    time_s: 150.0,
};
const GRAVITY: f64 = 9.81;
/// What the forward integration leaves of a time of some 150 s (1e-9 of it), times the lines of a table.
const EXACT_S: f64 = 1e-6;

/// Travel to the east.
fn even_road(length_m: f64, gradient: f64) -> Vec<Stretch> {
    vec![Stretch {
        length_m,
        gradient,
        bearing_rad: FRAC_PI_2,
    }]
}

fn hilly_road() -> Vec<Stretch> {
    let stretch = |k: usize| Stretch {
        length_m: 150.0,
        gradient: 0.02 * (k as f64).sin(),
        bearing_rad: 0.3 * k as f64,
    };
    (0..10).map(stretch).collect()
}

fn leg(road: Vec<Stretch>, baseline: AsRidden, setup: AsRidden) -> Leg {
    Leg {
        road,
        gravity_m_s2: GRAVITY,
        baseline,
        setup,
    }
}

fn on_the_hills(baseline: AsRidden, setup: AsRidden) -> Stopwatch {
    stopwatch(&[leg(hilly_road(), baseline, setup)]).unwrap()
}

fn with_rig(change: impl FnOnce(&mut Rig)) -> AsRidden {
    let mut changed = BASE;
    change(&mut changed.rig);
    changed
}

fn worth_of_orders(worth: &[f64], players: usize) -> Vec<f64> {
    fn walk(left: &[usize], subset: usize, worth: &[f64], sums: &mut [f64]) -> f64 {
        // The number of orders of what is left; each gives its next player what it adds to the subset.
        let mut orders = 0.0;
        for (place, &next) in left.iter().enumerate() {
            let mut rest = left.to_vec();
            rest.remove(place);
            let with = subset | 1 << next;
            let after = walk(&rest, with, worth, sums);
            sums[next] += after * (worth[with] - worth[subset]);
            orders += after;
        }
        if left.is_empty() { 1.0 } else { orders }
    }
    // Every way to reach a subset is walked, and counts once for each order of what is left after it.
    let mut sums = vec![0.0; players];
    let all: Vec<usize> = (0..players).collect();
    let orders = walk(&all, 0, worth, &mut sums);
    sums.iter().map(|sum| sum / orders).collect()
}

/// Two left gloves and a right one, a pair being worth 1: of the six orders the right glove makes the pair in
/// four and each left one in one (D).
#[test]
fn the_value_of_a_glove_is_that_of_its_orders() {
    let worth: Vec<f64> = (0..8usize)
        .map(|subset| f64::from(u8::from(subset & 4 == 4 && subset & 3 != 0)))
        .collect();
    for found in [shapley(&worth, 3), worth_of_orders(&worth, 3)] {
        for (value, expected) in found.iter().zip([1.0 / 6.0, 1.0 / 6.0, 4.0 / 6.0]) {
            assert!((value - expected).abs() < 1e-15, "{found:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 5, failure_persistence: None, ..ProptestConfig::default() })]

    /// The sum over subsets is the mean over all orders, walked one by one.
    #[test]
    fn the_lines_are_means_over_all_orders(worth in prop::collection::vec(-10.0..10.0f64, 64)) {
        let (by_subsets, by_orders) = (shapley(&worth, 6), worth_of_orders(&worth, 6));
        for (a, b) in by_subsets.iter().zip(&by_orders) {
            prop_assert!((a - b).abs() < 1e-12, "{by_subsets:?} {by_orders:?}");
        }
        let sum: f64 = by_subsets.iter().sum();
        prop_assert!((sum - (worth[63] - worth[0])).abs() < 1e-12);
    }

    #[test]
    fn the_lines_add_up_and_exchanging_the_two_turns_every_sign(a in ridden(), b in ridden(), c in ridden(), d in ridden()) {
        let back: Vec<Stretch> = hilly_road()
            .iter()
            .rev()
            .map(|s| Stretch { gradient: -s.gradient, bearing_rad: s.bearing_rad + PI, ..*s })
            .collect();
        let there = stopwatch(&[leg(hilly_road(), a, b), leg(back.clone(), c, d)]).unwrap();
        let sum: f64 = there.lines.iter().map(|line| line.time_change_s).sum();
        prop_assert!((sum - there.raw_time_change_s).abs() < 1e-9);
        let raw = 0.5 * (b.time_s + d.time_s) - 0.5 * (a.time_s + c.time_s);
        prop_assert!((there.raw_time_change_s - raw).abs() < 1e-9);
        let exchanged = stopwatch(&[leg(back, d, c), leg(hilly_road(), b, a)]).unwrap();
        for (one, other) in there.lines.iter().zip(&exchanged.lines) {
            prop_assert_eq!(one.cause, other.cause);
            prop_assert!((one.time_change_s + other.time_change_s).abs() < 1e-9, "{:?} {:?}", one, other);
        }
    }
}

/// Anything a rider may do on rolling ground, with everything different.
fn ridden() -> impl Strategy<Value = AsRidden> {
    (
        (180.0..320.0, 7.0..12.0, -2.0..2.0, -2.0..2.0, 1.1..1.25),
        (0.2..0.4, 0.003..0.007, 65.0..95.0, 0.95..1.0, 0.1..0.2),
        120.0..180.0,
    )
        .prop_map(
            |((power, entry, east, north, density), (cda, crr, mass, efficiency, inertia), time)| AsRidden {
                rig: Rig {
                    cda_m2: cda,
                    crr,
                    total_mass_kg: mass,
                    wheel_inertia_kg_m2: inertia,
                    wheel_radius_m: 0.336,
                    drivetrain_efficiency: efficiency,
                },
                power_w: power,
                entry_speed_m_s: entry,
                wind_east_m_s: east,
                wind_north_m_s: north,
                air_density_kg_m3: density,
                time_s: time,
            },
        )
}

#[test]
fn a_single_difference_takes_the_whole_of_what_it_makes() {
    let one = leg(hilly_road(), BASE, BASE);
    let changes = [
        (
            Cause::Power,
            AsRidden {
                power_w: 250.0,
                ..BASE
            },
            -1.0,
        ),
        (
            Cause::EntrySpeed,
            AsRidden {
                entry_speed_m_s: 8.5,
                ..BASE
            },
            1.0,
        ),
        (
            Cause::Wind,
            AsRidden {
                wind_east_m_s: -1.5,
                ..BASE
            },
            1.0,
        ),
        (
            Cause::AirDensity,
            AsRidden {
                air_density_kg_m3: 1.1,
                ..BASE
            },
            -1.0,
        ),
        (Cause::Mass, with_rig(|rig| rig.total_mass_kg = 93.0), 1.0),
        (Cause::RollingResistance, with_rig(|rig| rig.crr = 0.006), 1.0),
        (
            Cause::Drivetrain,
            with_rig(|rig| rig.drivetrain_efficiency = 0.96),
            1.0,
        ),
        (Cause::Wheels, with_rig(|rig| rig.wheel_inertia_kg_m2 = 0.5), 0.0),
        (Cause::SetUp, with_rig(|rig| rig.cda_m2 = 0.35), 1.0),
    ];
    for (cause, mut setup, sign) in changes {
        let made_s = ridden_s(&one, &setup).unwrap() - ridden_s(&one, &BASE).unwrap();
        assert!(
            made_s * sign > 0.0 || sign == 0.0 && made_s != 0.0,
            "{cause:?} {made_s}"
        );
        // Measured 0.7 s more than the balance knows of.
        setup.time_s = BASE.time_s + made_s + 0.7;
        let found = on_the_hills(BASE, setup);
        for line in &found.lines {
            let expected = match line.cause {
                Cause::Uneven => 0.7,
                other if other == cause => made_s,
                _ => 0.0,
            };
            assert!(
                (line.time_change_s - expected).abs() < 1e-9,
                "{cause:?}: {line:?} {expected}"
            );
        }
    }
}

/// The balance knows density and drag area by their product alone: changed in the same ratio they share
/// alike, changed in opposite ratios they undo each other.
#[test]
fn density_and_drag_area_are_alike() {
    let thicker = |factor: f64, drag: f64| AsRidden {
        air_density_kg_m3: BASE.air_density_kg_m3 * factor,
        ..with_rig(|rig| rig.cda_m2 *= drag)
    };
    let stronger = AsRidden {
        power_w: 250.0,
        ..thicker(1.05, 1.05)
    };
    let alike = on_the_hills(BASE, stronger);
    let (density, drag) = (
        alike.time_change_s(Cause::AirDensity),
        alike.time_change_s(Cause::SetUp),
    );
    assert!(density > 1.0 && (density - drag).abs() < EXACT_S, "{alike:?}");
    let undone = on_the_hills(BASE, thicker(1.05, 1.0 / 1.05));
    let (density, drag) = (
        undone.time_change_s(Cause::AirDensity),
        undone.time_change_s(Cause::SetUp),
    );
    assert!(density > 1.0 && (density + drag).abs() < EXACT_S, "{undone:?}");
}

/// Closed form: once the entry is forgotten, time grows by the length over the steady speed. The account of
/// 40 km less that of 20 km is free of the entry; two differences have two orders.
#[test]
fn at_steady_speed_the_lines_follow_the_closed_form() {
    let around = Surroundings {
        air_density_kg_m3: BASE.air_density_kg_m3,
        gravity_m_s2: GRAVITY,
    };
    let gradient = 0.015;
    let pace = |as_ridden: &AsRidden| {
        let wind =
            RelativeWind::from_air_velocity(as_ridden.wind_east_m_s, as_ridden.wind_north_m_s, FRAC_PI_2);
        20_000.0 / steady_speed_m_s(&as_ridden.rig, &around, as_ridden.power_w, gradient, wind).unwrap()
    };
    let account = |length_m: f64, setup: AsRidden| {
        stopwatch(&[leg(even_road(length_m, gradient), BASE, setup)]).unwrap()
    };
    let stronger = AsRidden {
        power_w: 270.0,
        ..BASE
    };
    // To the east, with the rider.
    let blown = AsRidden {
        wind_east_m_s: 2.0,
        wind_north_m_s: 1.0,
        ..BASE
    };
    let heavier = with_rig(|rig| rig.total_mass_kg = 90.0);
    let slippery = with_rig(|rig| rig.cda_m2 = 0.29);
    for (first, one, second, other) in [
        (Cause::Power, stronger, Cause::SetUp, slippery),
        (Cause::Wind, blown, Cause::SetUp, slippery),
        (Cause::Power, stronger, Cause::Mass, heavier),
    ] {
        let both = exchanged(one, &other, second);
        let alone = |a: &AsRidden, b: &AsRidden| pace(b) - pace(a);
        let expected = [
            (first, 0.5 * (alone(&BASE, &one) + alone(&other, &both))),
            (second, 0.5 * (alone(&BASE, &other) + alone(&one, &both))),
        ];
        let (short, long) = (account(20_000.0, both), account(40_000.0, both));
        for (cause, seconds) in expected {
            let found = long.time_change_s(cause) - short.time_change_s(cause);
            assert!(
                seconds.abs() > 10.0 && (found - seconds).abs() < 1e-5,
                "{cause:?} {found} {seconds}"
            );
        }
    }
}

/// Both rides are possible and a mixture of them is not: 40 W up 12 % go with a gale behind.
#[test]
fn a_mixture_that_stalls_has_no_account() {
    let strong = AsRidden {
        power_w: 400.0,
        ..BASE
    };
    let carried = AsRidden {
        power_w: 40.0,
        wind_east_m_s: 25.0,
        ..BASE
    };
    let steep = even_road(1000.0, 0.12);
    let both = leg(steep.clone(), strong, carried);
    assert!(ridden_s(&both, &strong).is_some() && ridden_s(&both, &carried).is_some());
    assert_eq!(stopwatch(&[both]), Err(NoAccount::Stall));
    let unknown = AsRidden {
        power_w: f64::NAN,
        ..BASE
    };
    assert_eq!(stopwatch(&[leg(steep, strong, unknown)]), Err(NoAccount::Stall));
    assert_eq!(stopwatch(&[]), Err(NoAccount::NothingInCommon));
}

#[test]
fn drivetrain_and_wheels_are_told_only_where_they_differ() {
    let usual = on_the_hills(BASE, with_rig(|rig| rig.cda_m2 = 0.3));
    let causes: Vec<&str> = usual.lines.iter().map(|line| line.cause.as_text()).collect();
    let expected = [
        "power",
        "entry speed",
        "wind",
        "air density",
        "mass",
        "rolling resistance",
        "set-up",
        "uneven riding and gusts",
    ];
    assert_eq!(causes, expected);
    let waxed = on_the_hills(BASE, with_rig(|rig| rig.drivetrain_efficiency = 0.985));
    assert_eq!(waxed.lines.len(), 9);
    assert!(waxed.time_change_s(Cause::Drivetrain) < -0.3, "{waxed:?}");
}
