//! Which unknown stands in which place.

use super::contribution::Contribution;
use crate::test_day::{Differs, Setup};

/// Unknowns that the whole day shares come first; then, for each pass, its own log drag area and its own wind.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Of each set-up: its log ratio of drag area to the baseline; `None` for the baseline itself.
    pub drag: Vec<Option<usize>>,
    /// ... and its log ratio of rolling resistance, where that is what the test is about.
    pub rolling: Vec<Option<usize>>,
    /// Where the shared profile may be wrong, metres along the course. Its first place is the reference.
    pub knots_m: Vec<f64>,
    /// A lap ends at the height at which it began.
    pub closed: bool,
    pub passes: usize,
    first_knot: usize,
}

/// Logarithm of the baseline's drag area.
pub const LOG_CDA: usize = 0;
/// Mean square of the gusts, m²/s².
pub const GUST_SQUARE: usize = 1;
/// Mean wind beyond what is known, east and north, m/s.
pub const MEAN_WIND: [usize; 2] = [2, 3];
/// Logarithm of the true over the assumed factor of the air-speed sensor.
pub const AIR_SPEED_SCALE: usize = 4;
/// Recorded over true power, for each kelvin that a pass is warmer than the mean of all, 1/K.
pub const POWER_PER_KELVIN: usize = 5;
const FIRST_SETUP: usize = 6;

/// The processes that each pass has a value of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Own {
    LogDrag = 0,
    WindEast = 1,
    WindNorth = 2,
}

/// What a set-up differs in: what it says itself, or else what the baseline says.
pub fn differs(setups: &[Setup], setup: usize) -> Differs {
    match setups[setup].differs {
        Differs::Cda => setups[0].differs,
        own => own,
    }
}

impl Layout {
    pub fn of(contributions: &[Contribution], setups: &[Setup], closed_length_m: Option<f64>) -> Layout {
        let mut next = FIRST_SETUP;
        let mut place = |wanted: bool| {
            wanted.then(|| {
                next += 1;
                next - 1
            })
        };
        let ridden = |s: usize| s > 0 && contributions.iter().any(|c| c.setup == s);
        let drag = (0..setups.len())
            .map(|s| place(ridden(s) && differs(setups, s) != Differs::Crr))
            .collect();
        let rolling = (0..setups.len())
            .map(|s| place(ridden(s) && differs(setups, s) != Differs::Cda))
            .collect();
        let knots_m = knots_m(contributions);
        let closed = closed_length_m.is_some_and(|length| {
            let ends = [knots_m.first(), knots_m.last()].map(|k| k.copied().unwrap_or(0.0));
            ends[1] - ends[0] > length - 1.0
        });
        Layout {
            drag,
            rolling,
            closed,
            knots_m,
            passes: contributions.len(),
            first_knot: next,
        }
    }

    /// Makes rolling resistance an unknown that all set-ups share. For set-ups of which none differs in it.
    pub(super) fn share_rolling(&mut self) {
        self.rolling.fill(Some(self.first_knot));
        self.first_knot += 1;
    }

    /// Unknowns that the whole day shares.
    pub fn shared(&self) -> usize {
        self.first_knot + self.free_knots()
    }

    pub fn free_knots(&self) -> usize {
        self.knots_m.len().saturating_sub(if self.closed { 2 } else { 1 })
    }

    pub fn knot(&self, free: usize) -> usize {
        self.first_knot + free
    }

    pub fn own(&self, process: Own, pass: usize) -> usize {
        self.shared() + process as usize * self.passes + pass
    }

    pub fn all(&self) -> usize {
        self.shared() + 3 * self.passes
    }

    /// Share of each free knot in the profile's error at a place: linear between knots.
    pub fn at_place(&self, along_m: f64) -> Vec<f64> {
        let mut shares = vec![0.0; self.free_knots()];
        let after = self.knots_m.partition_point(|k| *k <= along_m);
        let piece = after.clamp(1, self.knots_m.len() - 1) - 1;
        let (from, to) = (self.knots_m[piece], self.knots_m[piece + 1]);
        let share = ((along_m - from) / (to - from)).clamp(0.0, 1.0);
        for (knot, part) in [(piece, 1.0 - share), (piece + 1, share)] {
            if let Some(value) = knot.checked_sub(1).and_then(|free| shares.get_mut(free)) {
                *value += part;
            }
        }
        shares
    }
}

/// The edges of the pass with most cells, spread over everything that any pass covers.
fn knots_m(contributions: &[Contribution]) -> Vec<f64> {
    let (mut low, mut high, mut cells) = (f64::INFINITY, f64::NEG_INFINITY, 1);
    for c in contributions {
        cells = cells.max(c.cells());
        for edge in c.edges_m.iter().flatten() {
            low = low.min(*edge);
            high = high.max(*edge);
        }
    }
    (0..=cells)
        .map(|k| low + (high - low) * k as f64 / cells as f64)
        .collect()
}
