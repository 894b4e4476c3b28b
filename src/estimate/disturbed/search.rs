//! The search in one pass.

use super::trail::{Trail, WHOLE_PASS};
use super::whiten::Whitener;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// How long a push may last, from nothing to nothing: each 1.5 times the last, so that what lies in between
/// loses little.
const PUSHES_S: [f64; LENGTHS] = [4.0, 6.0, 9.0, 13.0, 19.0, 28.0, 42.0, 63.0];
pub(super) const LENGTHS: usize = 8;
/// So long after a push, in multiples of the gusts' memory, the filter has forgotten it.
const FORGOTTEN_AFTER_S: f64 = 25.0;
/// A pass with more of them is a disturbed pass and not a pass with disturbances.
const MOST_IN_A_PASS: usize = 6;
/// Pushes of one sign with less than this between them are one.
const ONE_STRETCH_S: f64 = 4.0;

/// A push between two boundaries that takes 1 J, whitened: one value for each boundary after the first.
#[derive(Debug)]
struct Pattern {
    from: usize,
    to: usize,
    white: Vec<f64>,
}

impl Pattern {
    fn overlaps(&self, other: &Pattern) -> bool {
        self.from < other.to && other.from < self.to
    }
}

/// What was found for one pattern.
struct Push<'a> {
    pattern: &'a Pattern,
    /// The day's spread over the expected one for its length.
    scale: f64,
    /// Energy in standard deviations.
    linear: f64,
    /// The wind that takes this energy, in standard deviations.
    height: f64,
}

/// Something unusual between two boundaries of a pass.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub from: usize,
    pub to: usize,
    /// For each step.
    pub excess_j: Vec<f64>,
    pub standard_uncertainty_j: f64,
    pub standardised: f64,
}

/// One pass, ready to be searched.
#[derive(Debug)]
pub(super) struct Reading {
    pub trail: Trail,
    whitener: Whitener,
    left_white: Vec<f64>,
    whole_pass_white: Vec<Vec<f64>>,
    patterns: [Vec<Pattern>; LENGTHS],
}

impl Reading {
    /// Ready for pushes of the `lengths` asked for.
    pub fn new(trail: Trail, gust_q_m2_s: f64, lengths: &[usize]) -> Self {
        let whitener = Whitener::new(&trail, gust_q_m2_s);
        let white = |sums: &Vec<f64>| {
            let start = sums.first().copied().unwrap_or(0.0);
            whitener.whiten(0, sums.iter().skip(1).map(|sum| sum - start))
        };
        Reading {
            left_white: white(&trail.left_j),
            whole_pass_white: trail.whole_pass_j.iter().map(white).collect(),
            patterns: std::array::from_fn(|length| {
                if lengths.contains(&length) {
                    patterns(&trail, &whitener, PUSHES_S[length])
                } else {
                    Vec::new()
                }
            }),
            whitener,
            trail,
        }
    }

    /// Left over at each boundary, without what is wrong by one amount over the whole pass.
    pub fn left_of_its_own_j(&self) -> Vec<f64> {
        let amounts = Cleared::new(self, Vec::new()).map(|cleared| cleared.amounts);
        let left = self.trail.left_j.iter().enumerate();
        left.map(|(boundary, left_j)| {
            let usual: f64 = (0..WHOLE_PASS)
                .map(|k| {
                    let sums = &self.trail.whole_pass_j[k];
                    amounts.as_ref().map_or(0.0, |a| a[k]) * (sums[boundary] - sums[0])
                })
                .sum();
            left_j - usual
        })
        .collect()
    }

    /// Takes sums at the boundaries off what is left over.
    pub fn take_off(&mut self, sums_j: &[f64]) {
        let start = sums_j.first().copied().unwrap_or(0.0);
        let off = self
            .whitener
            .whiten(0, sums_j.iter().skip(1).map(|sum| sum - start));
        for (left, off) in self.left_white.iter_mut().zip(off) {
            *left -= off;
        }
    }

    /// Every window of each length: what is found there, in expected standard deviations.
    pub fn standardised(&self) -> [Vec<f64>; LENGTHS] {
        let cleared = Cleared::new(self, Vec::new());
        std::array::from_fn(|length| {
            let patterns = self.patterns[length].iter();
            let seen = cleared
                .as_ref()
                .map(|cleared| patterns.map(|pattern| cleared.push(pattern).0));
            seen.map_or_else(Vec::new, Iterator::collect)
        })
    }

    /// What lies further out than `limit`, given the day's spread for each length.
    pub fn unusual(&self, scales: &[f64; LENGTHS], limit: f64) -> Vec<Found> {
        let mut taken: Vec<&Pattern> = Vec::new();
        let mut heights = Vec::new();
        while taken.len() < MOST_IN_A_PASS {
            let Some((pattern, height, scale)) = self.most_unusual(scales, limit, &taken) else {
                break;
            };
            taken.push(pattern);
            heights.push((height, scale));
        }
        self.left_out(&taken, &heights)
    }

    /// What stretches leave over that are not to be believed: every step of them has an amount of its own.
    ///
    /// The shape of a push serves to find it only: a wrong shape would give a wrong energy.
    fn left_out(&self, taken: &[&Pattern], heights: &[(f64, f64)]) -> Vec<Found> {
        let steps: Vec<usize> = taken
            .iter()
            .flat_map(|pattern| pattern.from..pattern.to)
            .collect();
        let columns = steps.iter().map(|step| {
            let count = self.trail.steps() - step;
            self.white_column(
                *step,
                &self.whitener.whiten(*step, std::iter::repeat_n(1.0, count)),
            )
        });
        let Some(cleared) = Cleared::new(self, columns.collect()) else {
            return Vec::new();
        };
        let mut first = WHOLE_PASS;
        let mut found = Vec::new();
        for (pattern, (standardised, scale)) in taken.iter().zip(heights) {
            let count = pattern.to - pattern.from;
            let variance_j2 = cleared.covariance.view((first, first), (count, count)).sum();
            found.push(Found {
                from: pattern.from,
                to: pattern.to,
                excess_j: cleared.amounts.rows(first, count).iter().copied().collect(),
                standard_uncertainty_j: scale * variance_j2.max(0.0).sqrt(),
                standardised: *standardised,
            });
            first += count;
        }
        merged(&self.trail, found)
    }

    /// What a push of `energy_j` is to the wind that makes it, in parts of what it is to a weak one. Drag goes
    /// with the square of the air's speed, so gusts from the front take more than they would by their strength and
    /// those from behind give less: at an air speed V a gust u takes as (V + u)² − V², so as u (1 + u/2V).
    fn as_gust(&self, pattern: &Pattern, energy_j: f64) -> f64 {
        let span = |sums: &[f64]| sums[pattern.to] - sums[pattern.from];
        let airspeed_m_s = span(&self.trail.air_m) / span(&self.trail.time_s);
        let part = energy_j / span(&self.trail.gust_j) / airspeed_m_s;
        2.0 / (1.0 + (1.0 + 2.0 * part).max(0.0).sqrt())
    }

    /// As long as the pass, with `white` from a boundary on.
    fn white_column(&self, from: usize, white: &[f64]) -> Vec<f64> {
        let mut column = vec![0.0; self.trail.steps()];
        for (place, value) in column.iter_mut().skip(from).zip(white) {
            *place = *value;
        }
        column
    }

    /// The pattern furthest out, its height, and the spread of its length.
    fn most_unusual(
        &self,
        scales: &[f64; LENGTHS],
        limit: f64,
        taken: &[&Pattern],
    ) -> Option<(&Pattern, f64, f64)> {
        let columns = taken.iter().map(|t| self.white_column(t.from, &t.white));
        let cleared = Cleared::new(self, columns.collect())?;
        let mut free: Vec<Push> = Vec::new();
        for (patterns, scale) in self.patterns.iter().zip(scales) {
            for pattern in patterns {
                if taken.iter().any(|t| pattern.overlaps(t)) {
                    continue;
                }
                let (standardised, energy_j) = cleared.push(pattern);
                let linear = standardised / scale;
                free.push(Push {
                    pattern,
                    scale: *scale,
                    linear,
                    height: linear * self.as_gust(pattern, energy_j),
                });
            }
        }
        let highest = free
            .iter()
            .max_by(|a, b| a.height.abs().total_cmp(&b.height.abs()))?;
        if highest.height.abs() < limit {
            return None;
        }
        // As wind a short push is stronger than a long one of the same energy; energy says how long it was.
        let fits = free
            .iter()
            .filter(|push| push.pattern.overlaps(highest.pattern) && push.linear * highest.linear > 0.0)
            .max_by(|a, b| a.linear.abs().total_cmp(&b.linear.abs()))?;
        Some((fits.pattern, highest.height, fits.scale))
    }
}

/// Share of a push that has been given by a boundary; its force rises and falls as half a sine.
fn share(trail: &Trail, from: usize, to: usize, boundary: usize) -> f64 {
    let (start_s, end_s) = (trail.time_s[from], trail.time_s[to]);
    let part = ((trail.time_s[boundary] - start_s) / (end_s - start_s)).clamp(0.0, 1.0);
    0.5 * (1.0 - (PI * part).cos())
}

fn patterns(trail: &Trail, whitener: &Whitener, length_s: f64) -> Vec<Pattern> {
    // A pass that is hardly longer has no rest to compare with.
    if trail.duration_s() < 2.0 * length_s {
        return Vec::new();
    }
    let mut all = Vec::new();
    // A sixth of its length away a push looks the same.
    let stride_s = length_s / 6.0;
    let mut next_s = f64::NEG_INFINITY;
    for (from, start_s) in trail.time_s.iter().enumerate() {
        if *start_s < next_s {
            continue;
        }
        next_s = start_s + stride_s;
        let to = trail.time_s.partition_point(|&t| t < start_s + length_s - 0.01);
        if to > trail.steps() {
            break;
        }
        let forgotten_s = trail.time_s[to] + FORGOTTEN_AFTER_S;
        let last = trail.time_s.partition_point(|&t| t <= forgotten_s);
        let sums = (from + 1..last).map(|boundary| share(trail, from, to, boundary));
        let white = whitener.whiten(from, sums);
        all.push(Pattern { from, to, white });
    }
    all
}

/// What is left over of a pass, whitened, with all that is known projected out: what is wrong over the whole pass,
/// each within its prior, and what was found before.
struct Cleared {
    columns: Vec<Vec<f64>>,
    /// Covariance of the amounts of the columns.
    covariance: DMatrix<f64>,
    amounts: DVector<f64>,
    left: Vec<f64>,
}

impl Cleared {
    fn new(reading: &Reading, more: Vec<Vec<f64>>) -> Option<Self> {
        let mut columns = reading.whole_pass_white.clone();
        columns.extend(more);
        let count = columns.len();
        let mut information = DMatrix::from_fn(count, count, |a, b| dot(&columns[a], &columns[b]));
        for whole in 0..WHOLE_PASS {
            // Columns are one standard uncertainty high.
            information[(whole, whole)] += 1.0;
        }
        let right = DVector::from_fn(count, |k, _| dot(&columns[k], &reading.left_white));
        let covariance = information.cholesky()?.inverse();
        let amounts = &covariance * right;
        let mut left = reading.left_white.clone();
        for (column, amount) in columns.iter().zip(amounts.iter()) {
            for (left, value) in left.iter_mut().zip(column) {
                *left -= amount * value;
            }
        }
        Some(Cleared {
            columns,
            covariance,
            amounts,
            left,
        })
    }

    /// A push there: in expected standard deviations, and in joules.
    fn push(&self, pattern: &Pattern) -> (f64, f64) {
        let hidden = DVector::from_iterator(
            self.columns.len(),
            self.columns
                .iter()
                .map(|column| dot(&column[pattern.from..], &pattern.white)),
        );
        let seen = dot(&pattern.white, &pattern.white) - hidden.dot(&(&self.covariance * &hidden));
        let seen = seen.max(f64::MIN_POSITIVE);
        let like = dot(&self.left[pattern.from..], &pattern.white);
        (like / seen.sqrt(), like / seen)
    }
}

/// As far as the shorter one reaches.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Neighbours of one sign as one.
fn merged(trail: &Trail, mut found: Vec<Found>) -> Vec<Found> {
    found.sort_by_key(|f| f.from);
    let mut all: Vec<Found> = Vec::new();
    for next in found {
        match all.last_mut() {
            Some(last)
                if last.standardised * next.standardised > 0.0
                    && trail.time_s[next.from] - trail.time_s[last.to] < ONE_STRETCH_S =>
            {
                last.excess_j.resize(next.from - last.from, 0.0);
                last.excess_j.extend(next.excess_j);
                last.to = next.to;
                last.standard_uncertainty_j = last.standard_uncertainty_j.hypot(next.standard_uncertainty_j);
                if next.standardised.abs() > last.standardised.abs() {
                    last.standardised = next.standardised;
                }
            }
            _ => all.push(next),
        }
    }
    all
}
