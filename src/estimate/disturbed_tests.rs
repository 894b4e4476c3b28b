use super::*;
use crate::course::Direction;
use crate::estimate::made::{length_m, level, pass, ridden, setup};
use crate::estimate::one_pass::GUST_Q_MEDIAN_M2_S;
use crate::simulate::{Incident, out_and_back_plan};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

const SECONDS: usize = 150;

/// Work against gusts of 0.3 m/s that are remembered for 5 s, in each second of a pass: at 10 m/s a gust of
/// 1 m/s takes 1.2 × 0.3 × 10 × 10 = 36 J a second.
fn gusts_j(seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let keep = (-1.0_f64 / 5.0).exp();
    let mut gust = 0.3 * rng.sample::<f64, _>(StandardNormal);
    (0..SECONDS)
        .map(|_| {
            gust = keep * gust + 0.3 * (1.0 - keep * keep).sqrt() * rng.sample::<f64, _>(StandardNormal);
            36.0 * gust
        })
        .collect()
}

/// Four passes on the level, the third with `more_j` in each of the seconds from 60 to 68.
fn made(direction: Direction, more_j: f64) -> Vec<Vec<Disturbance>> {
    let setups = [setup("any")];
    let mut rides = Vec::new();
    let mut course_length_m = 0.0;
    for number in 0..4 {
        let mut truth = level(0.3, &|_| 10.0);
        let gusts = gusts_j(number);
        truth.direction = direction;
        truth.unseen_j = Box::new(move |second| {
            let blown = number == 2 && (60.0..68.0).contains(&second);
            gusts[second as usize] + if blown { more_j } else { 0.0 }
        });
        course_length_m = length_m(&truth);
        rides.push(pass(&mut truth, &setups[0]));
    }
    let day = Day {
        rides: &rides,
        setups: &setups,
        course_length_m,
        shape: crate::test_day::Shape::OneWay,
    };
    disturbances(&day, &[0.3; 4], 0.0, GUST_Q_MEDIAN_M2_S)
}

#[test]
fn a_stretch_that_took_less_work_is_found_where_it_was() {
    for (direction, from_m, to_m) in [
        (Direction::Forward, 600.0, 680.0),
        (Direction::Reverse, 900.0, 820.0),
    ] {
        let found = made(direction, -120.0);
        assert!(
            [0, 1, 3].iter().all(|other| found[*other].is_empty()),
            "{found:?}"
        );
        let [only] = &found[2][..] else {
            panic!("{found:?}");
        };
        // A margin of one second, 10 m, at each end, and as much again for where windows begin.
        assert!(
            (only.from_m - from_m).abs() <= 20.0 && (only.to_m - to_m).abs() <= 20.0,
            "{only:?}"
        );
        // 8 × 120 J; gusts take or give some 80 J in as long a stretch.
        assert!((only.energy_j + 960.0).abs() < 200.0, "{only:?}");
        assert_eq!(only.likely, Likely::TowOrFollowingWind);
        // Cells are 150 m long: from 600 m on it is the fifth; a margin may reach into its neighbour.
        let in_cell = |number: usize| -> f64 {
            let touched = only.cells.iter().filter(|touched| touched.cell == number);
            touched.map(|touched| touched.excess_j).sum()
        };
        assert!((in_cell(4) + 960.0).abs() < 250.0, "{only:?}");
        let parts: f64 = only.cells.iter().map(|touched| touched.excess_j).sum();
        assert!((parts - only.energy_j).abs() < 1e-9);
    }
}

#[test]
fn a_stretch_that_took_more_work_is_the_brakes_or_a_gust_from_the_front() {
    let found = made(Direction::Forward, 150.0);
    assert_eq!(found.iter().map(Vec::len).collect::<Vec<_>>(), [0, 0, 1, 0]);
    assert_eq!(found[2][0].likely, Likely::BrakesOrHeadGust);
    assert!(found[2][0].energy_j > 0.0);
}

#[test]
fn passes_with_nothing_but_gusts_have_no_disturbance() {
    let found = made(Direction::Forward, 0.0);
    assert!(found.iter().all(Vec::is_empty), "{found:?}");
}

#[test]
fn a_lorry_on_a_simulated_day_is_found_in_its_pass_and_nowhere_else() {
    let mut plan = out_and_back_plan(1731, "ABBA", -4.0);
    plan.incidents = vec![Incident::Lorry {
        pass: 4,
        at_m: 700.0,
        gust_m_s: 4.0,
        duration_s: 8.0,
    }];
    let day = ridden(&plan);
    let of = Day {
        rides: &day.rides,
        setups: &day.setups,
        course_length_m: day.course_length_m,
        shape: crate::test_day::Shape::OutAndBack,
    };
    let found = disturbances(&of, &[0.31; 8], 0.0, GUST_Q_MEDIAN_M2_S);
    assert_eq!(
        found.iter().map(Vec::len).collect::<Vec<_>>(),
        [0, 0, 0, 1, 0, 0, 0, 0],
        "{found:?}"
    );
    let lorry = &found[3][0];
    // The pass goes back: 700 m ridden are 800 m from the start of the road.
    let truth = &day.truth.passes[day.true_pass[3]];
    let after_start_s = truth.time_at(800.0).unwrap() - truth.start_s;
    assert_eq!((truth.number, truth.forward), (4, false));
    // The gust rises and falls over 8 s; its two ends are weak.
    let early_s = lorry.after_start_s - after_start_s;
    assert!((-2.5..2.5).contains(&early_s), "{early_s} {lorry:?}");
    let late_s = early_s + lorry.duration_s - 8.0;
    assert!((-2.5..2.5).contains(&late_s), "{late_s} {lorry:?}");
    assert_eq!(lorry.likely, Likely::TowOrFollowingWind);
}
