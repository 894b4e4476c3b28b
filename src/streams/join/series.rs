//! A channel on an even grid of seconds, and how two of them lie against each other in time.

use crate::streams::Streams;

/// Values a second apart; NaN where nothing is known.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Series {
    pub start_s: f64,
    pub values: Vec<f64>,
}

/// Seconds in a mean of the rough search, at least; more for long rides, so that it stays quick.
const ROUGH_S: usize = 4;
const ROUGH_MEANS: usize = 1500;
/// Clocks nearer to each other than this are one answer. [s]
const APART_S: f64 = 30.0;
/// Shorter than this two recordings do not say what is between their clocks. [s]
const SHORTEST_S: f64 = 120.0;
/// That much in common is enough, however long the recordings are. [s]
const ENOUGH_S: f64 = 600.0;
/// Speeds half a minute apart are nearly independent: so many values does an overlap count as.
const INDEPENDENT_S: f64 = 30.0;
const CANDIDATES: usize = 8;

/// How well two series go together at one offset of the clocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Match {
    /// Donor's clock less that of the base.
    pub offset_s: f64,
    pub correlation: f64,
    pub overlap_s: f64,
}

impl Match {
    /// By how many standard deviations the correlation is none by chance (Fisher's z).
    fn score(&self) -> f64 {
        let independent = (self.overlap_s / INDEPENDENT_S - 3.0).max(0.1);
        self.correlation.clamp(-0.999_999, 0.999_999).atanh() * independent.sqrt()
    }
}

impl Series {
    pub fn of(streams: &Streams, channel: &[f64]) -> Series {
        let start_s = streams.start_s().ceil();
        let seconds = (streams.end_s() - start_s).floor().max(0.0) as usize;
        let values = (0..=seconds).map(|second| {
            let value = streams.value_at(channel, start_s + second as f64);
            value.unwrap_or(f64::NAN)
        });
        Series {
            start_s,
            values: values.collect(),
        }
    }

    /// Straight between seconds.
    pub fn at(&self, time_s: f64) -> f64 {
        let place = time_s - self.start_s;
        if !(0.0..=1e9).contains(&place) {
            return f64::NAN;
        }
        let index = place as usize;
        let share = place - index as f64;
        let Some(&low) = self.values.get(index) else {
            return f64::NAN;
        };
        if share == 0.0 {
            return low;
        }
        let high = self.values.get(index + 1).copied().unwrap_or(f64::NAN);
        low + share * (high - low)
    }

    /// Centred means over `seconds`, an odd number; unknown where a second is.
    pub fn smoothed(&self, seconds: usize) -> Series {
        let reach = seconds / 2;
        let mean = |index: usize| {
            let from = index.checked_sub(reach)?;
            let window = self.values.get(from..=index + reach)?;
            Some(window.iter().sum::<f64>() / window.len() as f64)
        };
        Series {
            start_s: self.start_s,
            values: (0..self.values.len())
                .map(|index| mean(index).unwrap_or(f64::NAN))
                .collect(),
        }
    }

    /// Means over `seconds`, of what is known of them.
    fn means(&self, seconds: usize) -> Masked {
        let means: Vec<f64> = self
            .values
            .chunks(seconds)
            .map(|chunk| {
                let known: Vec<f64> = chunk.iter().copied().filter(|value| value.is_finite()).collect();
                if 2 * known.len() < seconds {
                    return f64::NAN;
                }
                known.iter().sum::<f64>() / known.len() as f64
            })
            .collect();
        Masked::of(&means)
    }
}

/// Values with their squares, zero where unknown, so that sums need no question.
struct Masked {
    known: Vec<f64>,
    value: Vec<f64>,
    square: Vec<f64>,
}

impl Masked {
    fn of(values: &[f64]) -> Masked {
        let known = |value: &f64| if value.is_finite() { 1.0 } else { 0.0 };
        let value: Vec<f64> = values
            .iter()
            .map(|v| if v.is_finite() { *v } else { 0.0 })
            .collect();
        Masked {
            known: values.iter().map(known).collect(),
            square: value.iter().map(|v| v * v).collect(),
            value,
        }
    }

    /// Correlation with `other` shifted by `lag` places, and how many pairs there are.
    fn correlation(&self, other: &Masked, lag: i64) -> (f64, f64) {
        let from = (-lag).max(0);
        let to = (self.value.len() as i64).min(other.value.len() as i64 - lag);
        if to <= from {
            return (0.0, 0.0);
        }
        let (mine, its) = (
            from as usize..to as usize,
            (from + lag) as usize..(to + lag) as usize,
        );
        let (known, value, square) = (
            &self.known[mine.clone()],
            &self.value[mine.clone()],
            &self.square[mine],
        );
        let (its_known, its_value, its_square) = (
            &other.known[its.clone()],
            &other.value[its.clone()],
            &other.square[its],
        );
        let mut sums = [0.0; 6];
        for i in 0..known.len() {
            sums[0] += known[i] * its_known[i];
            sums[1] += value[i] * its_known[i];
            sums[2] += known[i] * its_value[i];
            sums[3] += square[i] * its_known[i];
            sums[4] += known[i] * its_square[i];
            sums[5] += value[i] * its_value[i];
        }
        let [n, a, b, aa, bb, ab] = sums;
        if n < 3.0 {
            return (0.0, n);
        }
        let spread = (aa - a * a / n) * (bb - b * b / n);
        let correlation = if spread > 1e-9 {
            (ab - a * b / n) / spread.sqrt()
        } else {
            0.0
        };
        (correlation, n)
    }
}

/// The offset at which the series go together best, and the best one that is another answer. Every offset at which
/// they share enough time is tried: a clock may be wrong by a time zone, or count from the start of its recording.
pub(super) fn best_offsets(base: &Series, donor: &Series) -> Option<(Match, Option<Match>)> {
    let longest = base.values.len().max(donor.values.len());
    let rough = ROUGH_S.max(longest.div_ceil(ROUGH_MEANS));
    let candidates = rough_offsets(base, donor, rough);
    let (fine_base, fine_donor) = (base.means(1), donor.means(1));
    let mut found: Vec<Match> = candidates
        .iter()
        .filter_map(|candidate| {
            let lag = (candidate.offset_s - donor.start_s + base.start_s).round() as i64;
            let reach = rough as i64 + 1;
            (lag - reach..=lag + reach)
                .map(|lag| matched(base, donor, &fine_base, &fine_donor, lag, 1.0))
                .max_by(|a, b| a.score().total_cmp(&b.score()))
        })
        .collect();
    found.sort_by(|a, b| b.score().total_cmp(&a.score()));
    let best = *found.first()?;
    let other = found
        .iter()
        .find(|m| (m.offset_s - best.offset_s).abs() > APART_S);
    Some((best, other.copied()))
}

fn matched(base: &Series, donor: &Series, a: &Masked, b: &Masked, lag: i64, step_s: f64) -> Match {
    let (correlation, pairs) = a.correlation(b, lag);
    Match {
        offset_s: donor.start_s - base.start_s + step_s * lag as f64,
        correlation,
        overlap_s: step_s * pairs,
    }
}

/// The best few offsets by means over `rough` seconds.
fn rough_offsets(base: &Series, donor: &Series, rough: usize) -> Vec<Match> {
    let (a, b) = (base.means(rough), donor.means(rough));
    let step_s = rough as f64;
    let known = |masked: &Masked| step_s * masked.known.iter().sum::<f64>();
    let least_s = SHORTEST_S.max(ENOUGH_S.min(0.5 * known(&a).min(known(&b))));
    let lags = -(a.value.len() as i64) + 1..b.value.len() as i64;
    let all: Vec<Match> = lags
        .map(|lag| matched(base, donor, &a, &b, lag, step_s))
        .collect();
    let score = |index: usize| all.get(index).map_or(f64::NEG_INFINITY, Match::score);
    let mut peaks: Vec<Match> = (0..all.len())
        .filter(|&i| all[i].overlap_s >= least_s && score(i) >= score(i + 1))
        .filter(|&i| i.checked_sub(1).is_none_or(|before| score(i) >= score(before)))
        .map(|i| all[i])
        .collect();
    peaks.sort_by(|x, y| y.score().total_cmp(&x.score()));
    peaks.truncate(CANDIDATES);
    peaks
}
