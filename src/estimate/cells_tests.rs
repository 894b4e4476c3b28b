use super::*;
use crate::simulate::{DayPlan, loop_plan, out_and_back_plan, ride_day};
use crate::streams::align;
use std::path::Path;

struct Made {
    streams: Streams,
    course: Course,
    passes: Vec<Pass>,
    setup: Setup,
}

fn made(plan: &DayPlan) -> Made {
    let day = ride_day(plan);
    let streams = align(day.recordings[0].clone()).unwrap();
    let ridden = crate::course::survey(std::slice::from_ref(&streams), None, Path::new("test.toml")).unwrap();
    let base = &plan.setups[0];
    let mut setup = crate::estimate::made::setup("as ridden");
    setup.total_mass_kg.value = base.total_mass_kg;
    setup.crr.value = base.crr;
    setup.drivetrain_efficiency.value = base.drivetrain_efficiency;
    Made {
        streams,
        course: ridden.course,
        passes: ridden.passes,
        setup,
    }
}

fn there_and_back() -> Made {
    made(&out_and_back_plan(5, "A", -6.0).ideal())
}

fn ground<'a>(made: &'a Made, cells: usize, parts_m: &'a [(f64, f64)]) -> Ground<'a> {
    Ground {
        speed_scale: 1.0,
        bends: None,
        speed_as_by_wheel: false,
        streams: &made.streams,
        course: &made.course,
        air: AirState {
            temperature_c: 15.0,
            density_kg_m3: 1.2,
            density_standard_uncertainty_kg_m3: 0.005,
            wind_east_m_s: 0.0,
            wind_north_m_s: 0.0,
            wind_standard_uncertainty_m_s: 1.0,
        },
        gravity_m_s2: 9.8,
        cells,
        surfaces: &[],
        parts_m,
    }
}

#[test]
fn the_cells_of_a_pass_are_its_whole_and_neighbours_share_their_edges() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    for (index, pass) in made.passes.iter().enumerate() {
        let ride = cut(&ground(&made, 10, &[(0.0, length_m)]), pass, index, 0, 0).unwrap();
        assert_eq!(ride.cells.len(), 10);
        assert!((ride.duration_s() - pass.duration_s()).abs() < 1e-6);
        assert!((ride.distance_m() * ride.length_ratio - length_m).abs() < 1e-6);
        let joules: f64 = made
            .streams
            .segments(pass.start_s, pass.end_s)
            .iter()
            .map(|s| s.power_w * (s.end_s - s.start_s))
            .sum();
        let account = accounts(&ride, &made.setup, length_m, &Shift::default());
        assert!((account.iter().map(|a| a.crank_j).sum::<f64>() - joules).abs() < 1e-6 * joules);
        for cell in &account {
            assert!(
                (cell.distance_m * ride.length_ratio - 0.1 * length_m).abs() < 1e-3,
                "{cell:?}"
            );
        }
        for pair in ride.cells.windows(2) {
            assert_eq!(pair[0].to_m, pair[1].from_m);
            assert!((pair[0].end_speed_m_s - pair[1].start_speed_m_s).abs() < 1e-9);
            assert_eq!(pair[0].end_gradient, pair[1].start_gradient);
        }
        assert!((ride.middle_s - 0.5 * (pass.start_s + pass.end_s)).abs() < 1e-9);
    }
}

#[test]
fn the_way_back_climbs_what_the_way_there_falls_and_points_the_other_way() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    let of = |direction: Direction| {
        let (index, pass) = made
            .passes
            .iter()
            .enumerate()
            .find(|(_, p)| p.direction == direction)
            .unwrap();
        cut(&ground(&made, 8, &[(0.0, length_m)]), pass, index, 0, 0).unwrap()
    };
    let (there, back) = (of(Direction::Forward), of(Direction::Reverse));
    for (a, b) in there.cells.iter().zip(back.cells.iter().rev()) {
        assert!((a.from_m - b.to_m).abs() < 1e-9 && (a.to_m - b.from_m).abs() < 1e-9);
        assert!((a.climb_m + b.climb_m).abs() < 1e-9);
        let turn = (b.steps[b.steps.len() / 2].bearing_rad - a.steps[a.steps.len() / 2].bearing_rad).cos();
        assert!(turn < -0.9, "{turn}");
    }
    let climb: f64 = there.cells.iter().map(|cell| cell.climb_m).sum();
    assert!((climb - made.course.climb_m().unwrap()).abs() < 1e-9);
}

/// The referee's ride through the analysis: 1 s sampling of an uneven rider costs some tenths of a per cent.
#[test]
fn an_ideal_ride_gives_its_drag_area() {
    for plan in [
        out_and_back_plan(5, "A", -6.0).ideal(),
        loop_plan(5, "A", -6.0).ideal(),
    ] {
        let made = made(&plan);
        let length_m = made.course.length_m();
        let density = crate::air::density::moist_air_density_kg_m3(
            100.0 * plan.air.pressure_hpa,
            plan.air.temperature_c + 273.15,
            plan.air.relative_humidity_percent / 100.0,
        );
        for (index, pass) in made.passes.iter().enumerate() {
            let whole = [(0.0, length_m)];
            let mut at = ground(&made, 10, &whole);
            at.air.density_kg_m3 = density;
            at.gravity_m_s2 = crate::physics::gravity_m_s2(plan.course.latitude_deg, plan.course.elevation_m);
            let account = accounts(
                &cut(&at, pass, index, 0, 0).unwrap(),
                &made.setup,
                length_m,
                &Shift::default(),
            );
            let energy: f64 = account
                .iter()
                .map(|a| a.energy_j - made.setup.crr.value * a.rolling_j)
                .sum();
            let cda = energy / account.iter().map(|a| a.air_j_m2).sum::<f64>();
            assert!(
                (cda / 0.32 - 1.0).abs() < 0.006,
                "{:?} {index}: {cda}",
                plan.course.shape
            );
        }
    }
}

#[test]
fn a_window_takes_its_part_of_the_course_in_both_directions() {
    let made = there_and_back();
    for (index, pass) in made.passes.iter().enumerate() {
        let ride = cut(&ground(&made, 4, &[(200.0, 1000.0)]), pass, index, 0, 0).unwrap();
        assert!((ride.distance_m() * ride.length_ratio - 800.0).abs() < 1e-3);
        let (first, last) = (&ride.cells[0], &ride.cells[3]);
        let (from, to) = match pass.direction {
            Direction::Forward => (first.from_m, last.to_m),
            Direction::Reverse => (last.to_m, first.from_m),
        };
        assert!(
            (from - 200.0).abs() < 1e-9 && (to - 1000.0).abs() < 1e-9,
            "{from} {to}"
        );
    }
}

#[test]
fn silent_power_is_the_mean_of_its_cell_with_an_error() {
    let mut made = there_and_back();
    let (pass, length_m) = (made.passes[0].clone(), made.course.length_m());
    let silent = made.streams.index_at_or_after(pass.start_s + 10.0);
    for power in &mut made.streams.power_w[silent..silent + 5] {
        *power = f64::NAN;
    }
    let ride = cut(&ground(&made, 5, &[(0.0, length_m)]), &pass, 0, 0, 0).unwrap();
    let unknown: Vec<f64> = ride.cells.iter().map(|cell| cell.unknown_power_j).collect();
    let known: Vec<f64> = ride.cells[0].steps.iter().map(|step| step.power_w).collect();
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    // Five seconds at a third of the mean (the first step of a cell is a part of a second).
    assert!(
        (unknown[0] / (5.0 * 0.35 * mean) - 1.0).abs() < 0.02,
        "{unknown:?} {mean}"
    );
    assert_eq!(unknown[1..], [0.0; 4]);
    assert!(
        ride.cells
            .iter()
            .flat_map(|cell| &cell.steps)
            .all(|step| step.power_w.is_finite())
    );
}

#[test]
fn a_pass_that_cannot_be_cut_says_why() {
    let whole = there_and_back();
    let (pass, length_m) = (whole.passes[0].clone(), whole.course.length_m());
    let says = |change: &dyn Fn(&mut Streams), from_m: f64, to_m: f64| {
        let mut made = there_and_back();
        change(&mut made.streams);
        cut(&ground(&made, 5, &[(from_m, to_m)]), &pass, 0, 0, 0).unwrap_err()
    };
    let first = whole.streams.index_at_or_after(pass.start_s);
    assert!(
        says(
            &|s| s.speed_m_s[first + 10..first + 50].fill(f64::NAN),
            0.0,
            length_m
        )
        .starts_with("no speed for")
    );
    assert_eq!(
        says(&|s| s.power_w.fill(f64::NAN), 0.0, length_m),
        "power missing for more than half of the pass"
    );
    assert!(
        says(&|s| s.power_w[first..first + 40].fill(f64::NAN), 0.0, length_m)
            .starts_with("no power between 0 and")
    );
    assert_eq!(says(&|_| (), 700.0, 700.5), "no distance covered");
}

#[test]
fn cells_are_long_enough_few_enough_and_at_least_two() {
    assert_eq!(cell_count(1500.0, 8), 10);
    assert_eq!(cell_count(300.0, 8), FEWEST_CELLS);
    assert_eq!(cell_count(9000.0, 8), MOST_CELLS);
    for passes in [1, 10, 60, 200, 300] {
        let all = cell_count(1500.0, passes) * passes;
        assert!(all <= MOST_CELLS_A_DAY, "{passes} passes make {all} cells");
    }
    assert!(cell_count(1500.0, 100_000) >= 2);
}

#[test]
fn shifts_move_what_they_name() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    let ride = cut(&ground(&made, 6, &[(0.0, length_m)]), &made.passes[0], 0, 0, 0).unwrap();
    let total = |shift: &Shift, of: fn(&Account) -> f64| -> f64 {
        accounts(&ride, &made.setup, length_m, shift).iter().map(of).sum()
    };
    let rest = Shift::default();
    let energy = |shift: &Shift| total(shift, |a| a.energy_j);
    let power = Shift {
        power_scale: 1.01,
        ..rest
    };
    assert!((total(&power, |a| a.crank_j) / total(&rest, |a| a.crank_j) - 1.01).abs() < 1e-12);
    let denser = Shift {
        density_scale: 1.02,
        ..rest
    };
    assert!((total(&denser, |a| a.air_j_m2) / total(&rest, |a| a.air_j_m2) - 1.02).abs() < 1e-12);
    assert_eq!(energy(&denser), energy(&rest));
    // One metre more of climb costs m g.
    let higher = Shift { climb_m: 1.0, ..rest };
    let weight = made.setup.total_mass_kg.value * 9.8;
    let sign = if ride.direction == Direction::Forward {
        1.0
    } else {
        -1.0
    };
    assert!((energy(&rest) - energy(&higher) - sign * weight).abs() < 1e-6);
    let lossier = Shift {
        drivetrain_efficiency: -0.01,
        ..rest
    };
    assert!((energy(&rest) - energy(&lossier) - 0.01 * total(&rest, |a| a.crank_j)).abs() < 1e-6);
}

/// A pass two hours after the middle of the day, in air 3 K warmer than the mean.
#[test]
fn what_changes_over_the_day_turns_about_its_middle() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    let mut ride = cut(&ground(&made, 6, &[(0.0, length_m)]), &made.passes[0], 0, 0, 0).unwrap();
    let shifts = [
        Shift {
            warming_k_per_h: 1.5,
            ..Shift::default()
        },
        Shift {
            mass_loss_kg_per_h: 0.5,
            ..Shift::default()
        },
        Shift {
            power_scale_per_k: 0.002,
            ..Shift::default()
        },
    ];
    let sums = |ride: &PassRide, shift: &Shift| -> [f64; 3] {
        let all = accounts(ride, &made.setup, length_m, shift);
        [
            all.iter().map(|a| a.air_j_m2).sum(),
            all.iter().map(|a| a.weight_n).sum(),
            all.iter().map(|a| a.crank_j).sum(),
        ]
    };
    let rest = sums(&ride, &Shift::default());
    for shift in &shifts {
        assert_eq!(sums(&ride, shift), rest, "in the middle of the day nothing moves");
    }
    ride.in_day.since_middle_h = 2.0;
    ride.in_day.warmer_k = 3.0;
    let moved = |which: usize| sums(&ride, &shifts[which])[which] / rest[which];
    // 3 K at 15 °C; 1 kg; 0.6 %.
    assert!((moved(0) - 288.15 / 291.15).abs() < 1e-9);
    let mass_kg = made.setup.total_mass_kg.value;
    assert!((moved(1) - (mass_kg - 1.0) / mass_kg).abs() < 1e-9);
    assert!((moved(2) - 0.994).abs() < 1e-9);
}

/// Power moved a second earlier and cut anew, against what the shift makes of the cells as they were.
#[test]
fn a_shift_of_the_delay_is_what_power_cut_a_little_earlier_makes() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    let ride = cut(&ground(&made, 6, &[(0.0, length_m)]), &made.passes[0], 0, 0, 0).unwrap();
    let cranked = |ride: &PassRide, power_delay_s: f64| -> Vec<f64> {
        let shift = Shift {
            power_delay_s,
            ..Shift::default()
        };
        let all = accounts(ride, &made.setup, length_m, &shift);
        all.iter().map(|a| a.crank_j).collect()
    };
    let moved = |delay_s: f64| {
        let mut streams = made.streams.clone();
        streams.power_w = made.streams.power_earlier_w(delay_s);
        let moved = Made {
            streams,
            course: made.course.clone(),
            passes: made.passes.clone(),
            setup: made.setup.clone(),
        };
        let ride = cut(&ground(&moved, 6, &[(0.0, length_m)]), &made.passes[0], 0, 0, 0).unwrap();
        cranked(&ride, 0.0)
    };
    // A second either way: what is about the edges is their difference, to the joule.
    let exact = moved(1.0).into_iter().zip(moved(-1.0));
    let linear = cranked(&ride, 1.0).into_iter().zip(cranked(&ride, -1.0));
    for ((later, sooner), (by_shift, by_other)) in exact.zip(linear) {
        assert!(
            (later - sooner - (by_shift - by_other)).abs() < 1.0,
            "{later} {sooner}"
        );
    }
    let whole = |values: Vec<f64>| values.iter().sum::<f64>();
    let by_delay = whole(cranked(&ride, 1.0)) - whole(cranked(&ride, 0.0));
    let ends_w = ride.cells[5].end_power_w - ride.cells[0].start_power_w;
    assert!((by_delay - ends_w).abs() < 1e-6, "{by_delay} {ends_w}");
}

#[test]
fn late_heights_lack_what_the_road_climbs_faster_at_the_end_than_at_the_start() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    let ride = cut(&ground(&made, 6, &[(0.0, length_m)]), &made.passes[0], 0, 0, 0).unwrap();
    let energy = |altitude_lag_s: f64| -> f64 {
        let shift = Shift {
            altitude_lag_s,
            ..Shift::default()
        };
        let all = accounts(&ride, &made.setup, length_m, &shift);
        all.iter().map(|a| a.energy_j).sum()
    };
    let (first, last) = (&ride.cells[0], &ride.cells[5]);
    let faster_m_s = last.end_speed_m_s * last.end_gradient - first.start_speed_m_s * first.start_gradient;
    let weight_n = made.setup.total_mass_kg.value * 9.8;
    assert!((energy(0.0) - energy(2.0) - 2.0 * weight_n * faster_m_s).abs() < 1e-6);
}

#[test]
fn what_was_noted_before_the_block_stands_instead_of_the_set_up() {
    let made = there_and_back();
    let length_m = made.course.length_m();
    let plain = cut(&ground(&made, 6, &[(0.0, length_m)]), &made.passes[0], 0, 0, 0).unwrap();
    assert_eq!(
        (plain.total_mass_kg, plain.wheel_radius_m, plain.wind_reading),
        (None, None, None)
    );
    assert!(!plain.power_zero_noted && plain.air_speed_scale_standard_uncertainty.is_none());
    let mut weighed = plain.clone();
    let mass = made.setup.total_mass_kg.value + 2.0;
    weighed.total_mass_kg = Some(Measured {
        value: mass,
        standard_uncertainty: 0.1,
        given: true,
    });
    weighed.wheel_radius_m = Some(0.30);
    let shift = Shift {
        total_mass_kg: 0.5,
        wheel_radius_m: 0.01,
        ..Shift::default()
    };
    let rig = ride_rig(&weighed, &made.setup, &shift);
    assert_eq!((rig.total_mass_kg, rig.wheel_radius_m), (mass + 0.5, 0.31));
    assert_eq!(
        ride_rig(&plain, &made.setup, &shift),
        super::rig(&made.setup, &shift)
    );
    // The same as a set-up of that mass and radius.
    let mut setup = made.setup.clone();
    setup.total_mass_kg.value = mass;
    setup.wheel_radius_m.value = 0.30;
    assert_eq!(
        accounts(&weighed, &made.setup, length_m, &shift),
        accounts(&plain, &setup, length_m, &shift)
    );
}
