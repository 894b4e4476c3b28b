//! A part of the course on which tyres roll heavier, as it shows where a road was ridden both ways.
//!
//! A climb changes its sign with the direction, and so does what the heights are wrong by; rolling does not. One way
//! or round a loop the two look alike, and nothing is said.

use crate::course::Direction;
use crate::estimate::cells::{PassRide, Shift, accounts};
use crate::estimate::joint::{Joint, PassJudged};
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;

/// So many standard deviations, among some fifty stretches of a course that are looked at.
const CLEAR: f64 = 5.0;
/// Less is not worth a word: it is 2 % of CdA where it holds over half of the road (D; a judgement).
const LEAST_CRR: f64 = 0.0008;
/// With fewer passes of a direction their spread says nothing.
const FEWEST: usize = 2;

/// Against the rest of the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Heavier {
    /// Along the course from its start.
    pub from_m: f64,
    pub to_m: f64,
    /// What Crr is more there.
    pub crr: f64,
    pub standard_uncertainty: f64,
}

/// The stretch that stands out most; `None` where none is clear.
pub(super) fn heavier(day: &Day, joint: &Joint, rolling: &Rolling) -> Option<Heavier> {
    let whole = whole_passes(day, joint);
    let first = whole.first()?.0;
    let count = first.cells.len();
    let mut ends_m: Vec<f64> = first
        .cells
        .iter()
        .flat_map(|cell| [cell.from_m, cell.to_m])
        .collect();
    ends_m.sort_by(f64::total_cmp);
    let lows_m: Vec<f64> = (0..count).map(|place| ends_m[2 * place]).collect();
    let end_m = *ends_m.last()?;
    let mut by_direction = [Vec::new(), Vec::new()];
    for (ride, judged) in &whole {
        let reverse = ride.direction == Direction::Reverse;
        let mut excess = excess(day, ride, judged, rolling)?;
        if reverse {
            excess.reverse();
        }
        by_direction[usize::from(reverse)].push(excess);
    }
    if by_direction.iter().any(|passes| passes.len() < FEWEST) {
        return None;
    }
    let (mut sums, mut weight, mut square, mut freedom) = (vec![0.0; count], 0.0, 0.0, 0.0);
    for passes in &by_direction {
        let n = passes.len() as f64;
        for (place, sum) in sums.iter_mut().enumerate() {
            let mean = passes.iter().map(|pass| pass[place]).sum::<f64>() / n;
            *sum += 0.5 * mean;
            let off = passes
                .iter()
                .map(|pass| (pass[place] - mean).powi(2))
                .sum::<f64>();
            // NaN where a pass braked: of that place nothing is known.
            if off.is_finite() {
                square += off;
                freedom += n - 1.0;
            }
        }
        weight += 0.25 / n;
    }
    let variance = square / freedom * weight;
    let known: Vec<usize> = (0..count).filter(|place| sums[*place].is_finite()).collect();
    let found = furthest(
        &known.iter().map(|place| sums[*place]).collect::<Vec<_>>(),
        variance,
    )?;
    let (from, to) = (known[found.first], known[found.last]);
    Some(Heavier {
        from_m: lows_m[from],
        to_m: lows_m.get(to + 1).copied().unwrap_or(end_m),
        crr: found.more,
        standard_uncertainty: found.standard_uncertainty,
    })
    .filter(|heavier| heavier.crr > LEAST_CRR)
}

/// Those that are cut alike: a pass with a window of its own is not.
fn whole_passes<'a>(day: &Day<'a>, joint: &'a Joint) -> Vec<(&'a PassRide, &'a PassJudged)> {
    let ends = |ride: &PassRide| {
        let ends = ride.cells.iter().flat_map(|cell| [cell.from_m, cell.to_m]);
        ends.fold((f64::INFINITY, 0.0), |(low, high), m| (m.min(low), m.max(high)))
    };
    let widest = day
        .rides
        .iter()
        .map(ends)
        .max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
    let all = day.rides.iter().zip(&joint.passes);
    all.filter(|(ride, _)| {
        let own = ends(ride);
        widest.is_some_and(|widest| (own.0 - widest.0).abs() < 1.0 && (own.1 - widest.1).abs() < 1.0)
    })
    .collect()
}

/// What each cell of a pass took more than the pass's own drag area and the common Crr explain, over the weight and
/// the distance: as a Crr. In the order ridden; NaN where the brakes were used.
fn excess(day: &Day, ride: &PassRide, judged: &PassJudged, rolling: &Rolling) -> Option<Vec<f64>> {
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
    let air: f64 = unbraked().map(|cell| account[cell].air_j_m2).sum();
    let cda_m2 = unbraked().map(|cell| left[cell]).sum::<f64>() / air;
    let all = account.iter().zip(&left).enumerate().map(|(cell, (a, left))| {
        if braked(cell) {
            return f64::NAN;
        }
        (left - cda_m2 * a.air_j_m2) / (a.weight_n * a.distance_m)
    });
    cda_m2.is_finite().then(|| all.collect())
}

struct Found {
    first: usize,
    last: usize,
    more: f64,
    standard_uncertainty: f64,
}

/// The run of places whose mean lies furthest above that of the rest, if clearly.
fn furthest(values: &[f64], variance: f64) -> Option<Found> {
    let (count, total) = (values.len(), values.iter().sum::<f64>());
    let mut best: Option<Found> = None;
    for first in 0..count {
        let mut sum = 0.0;
        for last in first..count {
            sum += values[last];
            let inside = (last - first + 1) as f64;
            let outside = count as f64 - inside;
            if outside < 1.0 {
                continue;
            }
            let more = sum / inside - (total - sum) / outside;
            let standard_uncertainty = (variance * (1.0 / inside + 1.0 / outside)).sqrt();
            let clear = |found: &Found| found.more / found.standard_uncertainty;
            if more / standard_uncertainty > best.as_ref().map_or(CLEAR, clear) {
                best = Some(Found {
                    first,
                    last,
                    more,
                    standard_uncertainty,
                });
            }
        }
    }
    best
}
