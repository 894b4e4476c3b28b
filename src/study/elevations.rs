//! Virtual and shared elevation of a pass along the whole course, what is cut out of it included.

use super::Elevations;
use crate::estimate::cells::{PassRide, Shift, accounts};
use crate::estimate::one_pass::{left_over_m, virtual_elevation_m};
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;

/// Pieces as short as the position allows, and not more of them than can be looked at.
const PIECE_M: f64 = 25.0;
const MOST_PIECES: usize = 80;

pub(super) fn pieces(length_m: f64) -> usize {
    ((length_m / PIECE_M).round() as usize).clamp(1, MOST_PIECES)
}

/// `whole`: the pass in short pieces. `fitted`: the cells it counts with; `None` where it is left out.
pub(super) fn elevations(
    whole: &PassRide,
    fitted: Option<&PassRide>,
    day: &Day,
    cda_m2: f64,
    rolling: &Rolling,
) -> Elevations {
    let account = |ride: &PassRide| {
        accounts(
            ride,
            &day.setups[ride.setup],
            day.course_length_m,
            &Shift::default(),
        )
    };
    let crr = day.setups[whole.setup].crr.value + rolling.shift;
    let climbs_m: Vec<f64> = whole.cells.iter().map(|cell| cell.climb_m).collect();
    let mut shared_m = vec![0.0];
    for climb_m in &climbs_m {
        shared_m.push(shared_m[shared_m.len() - 1] + climb_m);
    }
    let mut along_m: Vec<f64> = whole.cells.iter().map(|cell| cell.from_m).collect();
    along_m.extend(whole.cells.last().map(|cell| cell.to_m));
    let pieces = account(whole);
    Elevations {
        along_m,
        virtual_m: virtual_elevation_m(&pieces, &climbs_m, cda_m2, crr),
        left_over_j: pieces
            .iter()
            .map(|a| a.weight_n * left_over_m(a, cda_m2, crr))
            .collect(),
        shared_m,
        left_over_m: fitted.map(|ride| {
            let left: Vec<f64> = account(ride)
                .iter()
                .map(|a| left_over_m(a, cda_m2, crr))
                .collect();
            let mean = left.iter().sum::<f64>() / left.len() as f64;
            (left.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / left.len() as f64).sqrt()
        }),
    }
}
