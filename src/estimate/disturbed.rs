//! Stretches of a pass in which something else pushed or held than the road and the day's wind: a lorry's
//! following wind, a gust front, a touch of the brakes, power that the meter missed.
//!
//! The energy account is drawn up step by step, with drag and rolling as a first fit has them. What it leaves
//! over in a window of a few seconds is compared with what gusts and sensors leave over anyway. Before that
//! two things are taken out that are no disturbance: wind that is wrong by the same amount over the whole
//! pass, and what all like passes leave over at the same place (a bump that the profile lacks, a sheltered
//! stretch). How wide windows spread on the day itself says what is unusual, so that a gusty day raises no alarm.

mod trail;

use super::cells::COASTING_W;
use super::plain::Day;
use crate::course::Direction;
use statrs::statistics::{Data, OrderStatistics};
use trail::Trail;

/// Lengths of the windows: each 1.5 times the last, so that the length in between loses little.
const WINDOWS_S: [f64; 6] = [4.0, 6.0, 8.0, 12.0, 18.0, 27.0];
/// So many standard deviations are unusual among all windows of a pass. Found on simulated days of all three
/// shapes: at most about one false alarm in 100 passes.
const UNUSUAL: f64 = 4.3;
/// A window ends where it is surest, and leaves the first and the last of the disturbance outside.
const MARGIN_S: f64 = 1.0;
/// A pass with more of them is a disturbed pass and not a pass with disturbances.
const MOST_IN_A_PASS: usize = 6;
/// With fewer other passes of the same direction nobody knows what they have in common.
const FEWEST_OTHERS: usize = 3;
/// 1.4826 × the median absolute deviation is the standard deviation of a normal distribution.
const MAD_TO_SD: f64 = 1.4826;
/// Variance of a median of normal values, in terms of their own over their number: 1.35 for three of them,
/// π/2 for many.
const MEDIAN_VARIANCE: f64 = 1.5;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likely {
    /// Less work was needed: towed by a vehicle, or a gust from behind.
    TowOrFollowingWind,
    /// More work was needed: brakes touched, a gust from the front, a swerve.
    BrakesOrHeadGust,
    /// Less work was seen: the meter read nothing, or the recording holds no power there.
    PowerMissed,
}

impl Likely {
    pub fn as_text(self) -> &'static str {
        match self {
            Likely::TowOrFollowingWind => "a tow by a vehicle or a following wind",
            Likely::BrakesOrHeadGust => "the brakes or a gust from the front",
            Likely::PowerMissed => "power that was not measured",
        }
    }
}

/// One stretch of one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Disturbance {
    /// Along the course from its start, in the order ridden: `from_m > to_m` in the reverse direction.
    pub from_m: f64,
    pub to_m: f64,
    /// Since the start of the pass, or of the part of it that is fitted.
    pub after_start_s: f64,
    pub duration_s: f64,
    /// Left over: work done less work explained. Negative: less work was needed than the balance says.
    pub energy_j: f64,
    /// What gusts and sensors leave over in as long a stretch.
    pub standard_uncertainty_j: f64,
    /// `energy_j` of the window in which it is most unusual, over the day's own spread of such windows.
    pub standardised: f64,
    /// In the order ridden.
    pub cells: Vec<TouchedCell>,
    pub likely: Likely,
}

/// The part of a disturbance that lies in one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TouchedCell {
    /// Index into the cells of the ride.
    pub cell: usize,
    pub duration_s: f64,
    /// Part of `energy_j`: what to take off the cell's energy to leave the stretch out.
    pub excess_j: f64,
}

/// The disturbed stretches of each ride of a day, the most unusual first; most rides have none.
///
/// * `cda_m2`: drag area of each ride, of a first fit. It need not be good: what is wrong with it over the
///   whole pass is taken out.
/// * `crr_shift`: added to the Crr of every set-up.
/// * `gust_q_m2_s`: strength of the gusts; it only weighs gusts against sensors.
pub fn disturbances(day: &Day, cda_m2: &[f64], crr_shift: f64, gust_q_m2_s: f64) -> Vec<Vec<Disturbance>> {
    let trails: Vec<Trail> = day
        .rides
        .iter()
        .zip(cda_m2)
        .map(|(ride, cda)| {
            let setup = &day.setups[ride.setup];
            Trail::new(ride, setup, *cda, setup.crr.value + crr_shift)
        })
        .collect();
    let search = Search::new(day, &trails, gust_q_m2_s);
    (0..trails.len()).map(|index| search.disturbed(index)).collect()
}

/// A stretch between two boundaries of steps.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Window {
    from: usize,
    to: usize,
    /// What the other passes leave over at this place, where there are enough of them.
    shared_j: f64,
    sd_j: f64,
}

struct Search<'a> {
    day: &'a Day<'a>,
    trails: &'a [Trail],
    gust_q: f64,
    /// For each ride the others of its direction.
    others: Vec<Vec<usize>>,
    /// For each ride and length of window.
    windows: Vec<[Vec<Window>; WINDOWS_S.len()]>,
    norms: [Norm; WINDOWS_S.len()],
}

/// What is usual for windows of one length.
#[derive(Debug, Clone, Copy)]
struct Norm {
    /// How much of what the others leave over is to be believed, 0 to 1.
    shared_share: f64,
    /// The day's spread of windows over the expected one.
    scale: f64,
}

impl<'a> Search<'a> {
    fn new(day: &'a Day<'a>, trails: &'a [Trail], gust_q: f64) -> Self {
        let key = |index: usize| day.rides[index].direction;
        let others = (0..trails.len())
            .map(|own| {
                (0..trails.len())
                    .filter(|&o| o != own && key(o) == key(own))
                    .collect()
            })
            .collect();
        let mut search = Search {
            day,
            trails,
            gust_q,
            others,
            windows: Vec::new(),
            norms: [Norm {
                shared_share: 0.0,
                scale: 1.0,
            }; WINDOWS_S.len()],
        };
        search.windows = (0..trails.len())
            .map(|ride| WINDOWS_S.map(|length_s| search.windows_of(ride, length_s)))
            .collect();
        for length in 0..WINDOWS_S.len() {
            search.norms[length].shared_share = search.shared_share(length);
            search.norms[length].scale = search.scale(length);
        }
        search
    }

    /// Every window of about this length in a ride.
    fn windows_of(&self, ride: usize, length_s: f64) -> Vec<Window> {
        let trail = &self.trails[ride];
        // A pass that is hardly longer has no rest to compare with.
        if trail.duration_s() < 2.0 * length_s {
            return Vec::new();
        }
        let mut windows = Vec::new();
        for (from, start_s) in trail.time_s.iter().enumerate() {
            let to = trail.time_s.partition_point(|&t| t < start_s + length_s - 0.01);
            if to > trail.steps() {
                break;
            }
            windows.push(Window {
                from,
                to,
                shared_j: self
                    .shared_j(ride, trail.at_m[from], trail.at_m[to])
                    .unwrap_or(0.0),
                sd_j: trail.sd_j(from, to, self.gust_q),
            });
        }
        windows
    }

    /// Median of what the other passes of the direction leave over between two places, each less its own mean.
    fn shared_j(&self, ride: usize, from_m: f64, to_m: f64) -> Option<f64> {
        let left_over = |&other: &usize| {
            let trail = &self.trails[other];
            let part = trail.between(from_m, to_m)?;
            let all = trail.within(0, trail.steps());
            Some(part.left_j - all.left_j / all.gust_j * part.gust_j)
        };
        let all: Vec<f64> = self.others[ride].iter().filter_map(left_over).collect();
        (all.len() >= FEWEST_OTHERS).then(|| median(all))
    }

    /// Left over in a window less what is usual at its place and in the rest of the pass. `taken`: stretches
    /// that are no part of that rest.
    fn excess_j(&self, ride: usize, window: &Window, shared_share: f64, taken: &[Window]) -> f64 {
        let trail = &self.trails[ride];
        let own = trail.within(window.from, window.to);
        let mut rest = trail.within(0, trail.steps());
        for out in taken.iter().chain([window]) {
            let part = trail.within(out.from, out.to);
            rest.left_j -= part.left_j;
            rest.gust_j -= part.gust_j;
        }
        let mean_wind = if rest.gust_j > 0.0 {
            rest.left_j / rest.gust_j
        } else {
            0.0
        };
        own.left_j - mean_wind * own.gust_j - shared_share * window.shared_j
    }

    /// All windows of one length with what they leave over, in expected standard deviations: own and others'.
    fn pairs(&self, length: usize) -> impl Iterator<Item = (f64, f64, usize)> {
        self.windows.iter().enumerate().flat_map(move |(ride, windows)| {
            windows[length].iter().map(move |window| {
                let own = self.excess_j(ride, window, 0.0, &[]);
                (
                    own / window.sd_j,
                    window.shared_j / window.sd_j,
                    self.others[ride].len(),
                )
            })
        })
    }

    /// What passes have in common shows as a median that varies from place to place more than the differences
    /// from it allow for. The median is believed by that share: where there is nothing in common, it would only
    /// add the gusts of others.
    fn shared_share(&self, length: usize) -> f64 {
        let (mut medians, mut differences, mut fewest) = (Vec::new(), Vec::new(), usize::MAX);
        for (own, shared, others) in self.pairs(length).filter(|pair| pair.2 >= FEWEST_OTHERS) {
            medians.push(shared);
            differences.push(own - shared);
            fewest = fewest.min(others);
        }
        if medians.is_empty() {
            return 0.0;
        }
        let of_median = MEDIAN_VARIANCE / fewest as f64;
        let chance = spread(differences).powi(2) * of_median / (1.0 + of_median);
        let seen = spread(medians).powi(2);
        if seen > 0.0 {
            (1.0 - chance / seen).max(0.0)
        } else {
            0.0
        }
    }

    fn scale(&self, length: usize) -> f64 {
        let share = self.norms[length].shared_share;
        let all: Vec<f64> = self
            .pairs(length)
            .map(|(own, shared, _)| own - share * shared)
            .collect();
        if all.is_empty() { 1.0 } else { spread(all) }
    }

    fn disturbed(&self, ride: usize) -> Vec<Disturbance> {
        let mut taken: Vec<Window> = Vec::new();
        let mut found: Vec<(Window, f64, f64)> = Vec::new();
        while found.len() < MOST_IN_A_PASS {
            let Some((window, standardised, share)) = self.most_unusual(ride, &taken) else {
                break;
            };
            let wide = self.widened(ride, window, &taken);
            taken.push(wide);
            found.push((wide, standardised, share));
        }
        found
            .into_iter()
            .map(|(window, z, share)| self.told(ride, &window, z, share, &taken))
            .collect()
    }

    fn most_unusual(&self, ride: usize, taken: &[Window]) -> Option<(Window, f64, f64)> {
        let mut most: Option<(Window, f64, f64)> = None;
        for (windows, norm) in self.windows[ride].iter().zip(self.norms) {
            for window in windows {
                if taken.iter().any(|t| window.from < t.to && t.from < window.to) {
                    continue;
                }
                let excess_j = self.excess_j(ride, window, norm.shared_share, taken);
                let standardised = excess_j / (norm.scale * window.sd_j);
                if standardised.abs() > most.map_or(UNUSUAL, |m| m.1.abs()) {
                    most = Some((*window, standardised, norm.shared_share));
                }
            }
        }
        most
    }

    fn widened(&self, ride: usize, window: Window, taken: &[Window]) -> Window {
        let trail = &self.trails[ride];
        let from_s = trail.time_s[window.from] - MARGIN_S - 0.01;
        let to_s = trail.time_s[window.to] + MARGIN_S + 0.01;
        let mut from = trail.time_s.partition_point(|&t| t < from_s);
        let mut to = trail.time_s.partition_point(|&t| t <= to_s) - 1;
        for t in taken {
            if t.to <= window.from {
                from = from.max(t.to);
            }
            if t.from >= window.to {
                to = to.min(t.from);
            }
        }
        Window {
            from,
            to,
            shared_j: self
                .shared_j(ride, trail.at_m[from], trail.at_m[to])
                .unwrap_or(0.0),
            sd_j: trail.sd_j(from, to, self.gust_q),
        }
    }

    fn told(
        &self,
        ride: usize,
        window: &Window,
        standardised: f64,
        share: f64,
        taken: &[Window],
    ) -> Disturbance {
        let trail = &self.trails[ride];
        let rest: Vec<Window> = taken.iter().filter(|t| *t != window).copied().collect();
        let mut cells: Vec<TouchedCell> = Vec::new();
        let own = trail.within(window.from, window.to);
        let mean = (own.left_j - self.excess_j(ride, window, 0.0, &rest)) / own.gust_j;
        for step in window.from..window.to {
            let part = trail.within(step, step + 1);
            let shared_j = self
                .shared_j(ride, trail.at_m[step], trail.at_m[step + 1])
                .unwrap_or(0.0);
            let excess_j = part.left_j - mean * part.gust_j - share * shared_j;
            let duration_s = trail.time_s[step + 1] - trail.time_s[step];
            match cells.last_mut() {
                Some(last) if last.cell == trail.cell[step] => {
                    last.duration_s += duration_s;
                    last.excess_j += excess_j;
                }
                _ => cells.push(TouchedCell {
                    cell: trail.cell[step],
                    duration_s,
                    excess_j,
                }),
            }
        }
        let sign = match self.day.rides[ride].direction {
            Direction::Forward => 1.0,
            Direction::Reverse => -1.0,
        };
        let energy_j = cells.iter().map(|c| c.excess_j).sum();
        Disturbance {
            from_m: sign * trail.at_m[window.from],
            to_m: sign * trail.at_m[window.to],
            after_start_s: trail.time_s[window.from],
            duration_s: trail.time_s[window.to] - trail.time_s[window.from],
            energy_j,
            standard_uncertainty_j: window.sd_j,
            standardised,
            likely: self.likely(ride, window, energy_j),
            cells,
        }
    }

    fn likely(&self, ride: usize, window: &Window, energy_j: f64) -> Likely {
        if energy_j > 0.0 {
            return Likely::BrakesOrHeadGust;
        }
        let trail = &self.trails[ride];
        let silent = |step: &usize| trail.power_w[*step] <= COASTING_W;
        let idle = (window.from..window.to).filter(silent).count();
        if 2 * idle > window.to - window.from {
            return Likely::PowerMissed;
        }
        Likely::TowOrFollowingWind
    }
}

/// Half of the values lie within 0.6745 of these about zero, if they are normal.
fn spread(values: Vec<f64>) -> f64 {
    MAD_TO_SD * median(values.into_iter().map(f64::abs).collect())
}

/// NaN for no values.
fn median(values: Vec<f64>) -> f64 {
    Data::new(values).median()
}

#[cfg(test)]
#[path = "disturbed_tests.rs"]
mod tests;
