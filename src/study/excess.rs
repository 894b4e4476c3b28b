//! What each cell of a pass took beyond what the pass's own drag area explains, and where passes stand out in it.

use crate::course::Direction;
use crate::estimate::cells::{PassRide, Shift, accounts};
use crate::estimate::joint::{Joint, PassJudged};
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Of one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Excess {
    /// Beyond drag and rolling, J; NaN where the brakes were used.
    pub excess_j: f64,
    /// Work against the air, J.
    pub air_j: f64,
    /// Weight times distance: what a Crr of 1 would take, J.
    pub rolled_j: f64,
}

/// One whole pass, its cells in the order of the course from its start.
pub(super) struct Judged<'a> {
    pub ride: &'a PassRide,
    pub cells: Vec<Excess>,
}

/// The passes that cover as much of the course as any, cell by cell; one with a window of its own or with a cut is not
/// among them.
/// And the places at which their cells begin and, last, end, in metres from the start of the course.
pub(super) fn whole_passes<'a>(
    day: &Day<'a>,
    joint: &Joint,
    rolling: &Rolling,
) -> (Vec<Judged<'a>>, Vec<f64>) {
    let ends = |ride: &PassRide| {
        let ends = ride.cells.iter().flat_map(|cell| [cell.from_m, cell.to_m]);
        ends.fold((f64::INFINITY, 0.0), |(low, high), m| (m.min(low), m.max(high)))
    };
    let all = || day.rides.iter().map(ends);
    let widest = all().max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
    let (low_m, high_m) = widest.unwrap_or((0.0, 0.0));
    let mut edges_m = Vec::new();
    let mut passes = Vec::new();
    for (ride, judged) in day.rides.iter().zip(&joint.passes) {
        let own = ends(ride);
        let in_one_piece = (1..ride.cells.len()).all(|cell| ride.goes_on(cell));
        if !in_one_piece || (own.0 - low_m).abs() > 1.0 || (own.1 - high_m).abs() > 1.0 {
            continue;
        }
        let count = ride.cells.len();
        let edge_m = |k: usize| low_m + (high_m - low_m) * k as f64 / count as f64;
        edges_m = (0..=count).map(edge_m).collect();
        let mut cells = of_pass(day, ride, judged, rolling);
        if ride.direction == Direction::Reverse {
            cells.reverse();
        }
        passes.push(Judged { ride, cells });
    }
    (passes, edges_m)
}

fn of_pass(day: &Day, ride: &PassRide, judged: &PassJudged, rolling: &Rolling) -> Vec<Excess> {
    let setup = &day.setups[ride.setup];
    let [(east, _), (north, _)] = judged.wind_m_s;
    let beyond = Shift {
        wind_east_m_s: east - ride.air.wind_east_m_s,
        wind_north_m_s: north - ride.air.wind_north_m_s,
        ..Shift::default()
    };
    let account = accounts(ride, setup, day.course_length_m, &beyond);
    let crr = setup.crr.value + rolling.shift;
    let disturbed = |cell: usize| -> f64 {
        let touched = judged.disturbances.iter().flat_map(|one| &one.cells);
        touched
            .filter(|one| one.cell == cell)
            .map(|one| one.excess_j)
            .sum()
    };
    let left: Vec<f64> = account
        .iter()
        .enumerate()
        .map(|(cell, a)| a.energy_j - crr * a.rolling_j - disturbed(cell))
        .collect();
    let braked = |cell: usize| ride.cells[cell].braked_j > 0.0;
    let unbraked = || (0..left.len()).filter(|cell| !braked(*cell));
    let air_j_m2: f64 = unbraked().map(|cell| account[cell].air_j_m2).sum();
    let cda_m2 = unbraked().map(|cell| left[cell]).sum::<f64>() / air_j_m2;
    let all = account.iter().zip(&left).enumerate();
    all.map(|(cell, (a, left))| {
        let air_j = cda_m2 * a.air_j_m2;
        Excess {
            excess_j: if braked(cell) { f64::NAN } else { left - air_j },
            air_j,
            rolled_j: a.weight_n * a.distance_m,
        }
    })
    .collect()
}

/// A mean over passes at each place, NaN where it is not known, and the squares of the passes about it.
pub(super) struct Means {
    pub means: Vec<f64>,
    pub square: f64,
    pub freedom: f64,
}

pub(super) fn means(passes: &[Vec<f64>]) -> Means {
    let n = passes.len() as f64;
    let count = passes.first().map_or(0, Vec::len);
    let (mut square, mut freedom) = (0.0, 0.0);
    let means = (0..count)
        .map(|place| {
            let mean = passes.iter().map(|pass| pass[place]).sum::<f64>() / n;
            let off = passes
                .iter()
                .map(|pass| (pass[place] - mean).powi(2))
                .sum::<f64>();
            if off.is_finite() {
                square += off;
                freedom += n - 1.0;
            }
            mean
        })
        .collect();
    Means {
        means,
        square,
        freedom,
    }
}

/// A run of places, the last one included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Run {
    pub first: usize,
    pub last: usize,
    /// Its mean less that of the rest.
    pub more: f64,
    pub standard_uncertainty: f64,
}

/// What is usual: of one place, and how well the spread of the passes tells it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Usual {
    pub variance: f64,
    pub freedom: f64,
}

/// The run of known places, at most `longest` of them, whose mean lies furthest above that of the rest. `None` unless
/// that is as seldom as `clear` standard deviations of a normal distribution are: the spread is known from few passes.
pub(super) fn furthest(values: &[f64], usual: Usual, clear: f64, longest: usize) -> Option<Run> {
    let known: Vec<usize> = (0..values.len())
        .filter(|place| values[*place].is_finite())
        .collect();
    let total: f64 = known.iter().map(|place| values[*place]).sum();
    let height = |run: &Run| run.more / run.standard_uncertainty;
    let mut best: Option<Run> = None;
    for from in 0..known.len() {
        let mut sum = 0.0;
        for to in from..known.len().min(from + longest) {
            sum += values[known[to]];
            let inside = (to - from + 1) as f64;
            let outside = known.len() as f64 - inside;
            if outside < 1.0 {
                continue;
            }
            let run = Run {
                first: known[from],
                last: known[to],
                more: sum / inside - (total - sum) / outside,
                standard_uncertainty: (usual.variance * (1.0 / inside + 1.0 / outside)).sqrt(),
            };
            if height(&run) > best.as_ref().map_or(0.0, height) {
                best = Some(run);
            }
        }
    }
    let student = StudentsT::new(0.0, 1.0, usual.freedom).ok()?;
    best.filter(|run| student.sf(height(run)) < Normal::standard().sf(clear))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_run_that_stands_out_is_found() {
        let values = [0.1, -0.1, 2.0, 2.2, 1.9, 0.0, f64::NAN, -0.2];
        let usual = Usual {
            variance: 0.04,
            freedom: 200.0,
        };
        let run = furthest(&values, usual, 5.0, 8).unwrap();
        assert_eq!((run.first, run.last), (2, 4));
        // By hand: 6.1/3 − (−0.2)/4, and √(0.04 (1/3 + 1/4)).
        assert!((run.more - (6.1 / 3.0 + 0.05)).abs() < 1e-12);
        assert!((run.standard_uncertainty - (0.04f64 * 7.0 / 12.0).sqrt()).abs() < 1e-12);
        // 13.6 standard deviations known from two degrees of freedom are as seldom as 2.5 of a normal distribution.
        let poor = Usual {
            freedom: 2.0,
            ..usual
        };
        assert_eq!(furthest(&values, poor, 5.0, 8), None);
        assert!(furthest(&values, poor, 2.5, 8).is_some());
        let short = furthest(&values, usual, 5.0, 2).unwrap();
        assert_eq!(short.last - short.first, 1);
        assert_eq!(furthest(&[0.1, -0.1, 0.2, 0.0], usual, 5.0, 8), None);
        assert_eq!(furthest(&[f64::NAN; 3], usual, 5.0, 8), None);
    }

    #[test]
    fn means_count_no_place_that_one_pass_does_not_know() {
        let found = means(&[vec![1.0, f64::NAN, 4.0], vec![3.0, 2.0, 4.0]]);
        assert_eq!(found.means[0], 2.0);
        assert!(found.means[1].is_nan());
        assert_eq!((found.square, found.freedom), (2.0, 2.0));
    }
}
