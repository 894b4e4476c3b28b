//! Looking after every block, with the chance of error of one look: boundaries by spending it bit by bit.
//!
//! Lan and DeMets 1983 (Biometrika 70:659-663): of the chance α that is allowed in all, α*(t) may be spent when the share
//! t of the planned information is there. The boundaries that spend just that are found by the recursive integration of
//! Armitage, McPherson and Rowe 1969 (J R Stat Soc A 132:235-244). The sums of looks are those of independent
//! increments: normal, variance the information.

use super::finding::{CHANCE, Call, Finding, LEVEL, percent};
use crate::estimate::comparison::Comparison;
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Beyond this many standard errors no look can stop: two chances in 10⁹, which costs nothing of what is spent.
const FARTHEST: f64 = 6.0;
/// Even; the density of a sum is smooth on the scale of the next step, a tenth of its range and more.
const STEPS: usize = 400;

/// When a pair of set-ups is looked at, by the plan's order alone.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    looks: Vec<Look>,
    done: usize,
    blocks_ridden: usize,
}

/// One planned look at a pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Share of the information at the end of the plan.
    pub information: f64,
    /// Of the interval that decides at this look.
    pub level: f64,
    /// Planned blocks up to this look, of all set-ups.
    pub blocks: usize,
}

/// What the looks so far say of a pair, and what is to be done now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Looks {
    pub planned: usize,
    pub done: usize,
    /// Of the interval at this look, %.
    pub level_percent: f64,
    /// At that level; all looks' intervals hold together nine times in ten.
    pub interval_percent: Option<[f64; 2]>,
    pub says: Says,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    Resolved,
    /// Below what matters to the rider, either way.
    Small,
    /// This many more of the planned blocks should resolve the present estimate, four times out of five.
    More(usize),
    /// Not even all planned blocks are likely to; so many are left.
    Hardly(usize),
    /// All planned blocks are ridden.
    NotResolved,
}

impl Says {
    /// As in the JSON; the same words at the terminal.
    pub fn in_words(self) -> String {
        let blocks = |n: usize| format!("{n} more block{}", if n == 1 { "" } else { "s" });
        match self {
            Says::Resolved => "resolved, you can stop".to_string(),
            Says::Small => "known to be small, you can stop".to_string(),
            Says::More(n) => blocks(n),
            Says::Hardly(n) => format!(
                "the planned blocks will hardly resolve it ({} to come): stop here, or plan another day and compare both",
                blocks(n)
            ),
            Says::NotResolved => "the planned blocks are ridden: not resolved".to_string(),
        }
    }
}

impl Schedule {
    /// `order`: set-up of each planned block, in riding order, of which the first `ridden` are ridden.
    ///
    /// A look is after each block of either set-up from when both have one. `None` before the first.
    pub fn of(order: &[usize], ridden: usize, [setup, baseline]: [usize; 2]) -> Option<Schedule> {
        let (mut own, mut base) = (0.0, 0.0);
        let mut at = Vec::new();
        for (position, block) in order.iter().enumerate() {
            if *block == setup {
                own += 1.0;
            } else if *block == baseline {
                base += 1.0;
            } else {
                continue;
            }
            if own > 0.0 && base > 0.0 {
                at.push((1.0 / (1.0 / own + 1.0 / base), position + 1));
            }
        }
        let all = at.last()?.0;
        let fractions: Vec<f64> = at.iter().map(|(information, _)| information / all).collect();
        let spent: Vec<f64> = fractions.iter().map(|t| spent(1.0 - LEVEL, *t)).collect();
        let looks: Vec<Look> = boundaries(&fractions, &spent)
            .into_iter()
            .zip(&at)
            .map(|(z, (information, blocks))| Look {
                information: information / all,
                level: 1.0 - 2.0 * Normal::standard().sf(z),
                blocks: *blocks,
            })
            .collect();
        let done = looks.iter().filter(|look| look.blocks <= ridden).count();
        (done > 0).then_some(Schedule {
            looks,
            done,
            blocks_ridden: ridden,
        })
    }

    /// All planned looks, in order.
    pub fn looks(&self) -> &[Look] {
        &self.looks
    }

    fn now(&self) -> &Look {
        &self.looks[self.done - 1]
    }

    /// The fewest further blocks after which the present estimate, were it true, would be resolved with a chance of
    /// four in five. The standard uncertainty shrinks with the information; its shape stays as it is now.
    fn more(&self, comparison: &Comparison) -> Option<usize> {
        let spread = comparison.spread.as_ref()?;
        let u = spread.standard_uncertainty();
        let normal = Normal::standard();
        let enough = |look: &&Look| {
            let grown = look.information / self.now().information;
            let [low, high] = spread.interval(look.level);
            // To the side on which no difference lies.
            let needed = if comparison.log_ratio > 0.0 { -low } else { high } / grown.sqrt();
            // What is known now is part of the estimate then: only the rest of it may still go astray.
            let astray = u * (grown - 1.0).sqrt() / grown;
            normal.cdf((comparison.log_ratio.abs() - needed) / astray) >= CHANCE
        };
        let found = self.looks[self.done..].iter().find(enough)?;
        Some(found.blocks - self.blocks_ridden)
    }
}

impl Finding {
    /// With the verdict of this look instead of that of a day that is looked at once. `small`: the smallest difference
    /// that the rider cares about, %.
    pub fn looked_at(self, comparison: &Comparison, schedule: &Schedule, small: f64) -> Finding {
        let level = schedule.now().level;
        let interval = comparison.ratio_interval(level);
        let call = Call::of(interval);
        let interval_percent = interval.map(|i| i.map(percent));
        let known_to_be_small = interval_percent.is_some_and(|[low, high]| low > -small && high < small);
        let last = schedule.looks.last().map_or(0, |look| look.blocks);
        let left = last.saturating_sub(schedule.blocks_ridden);
        let says = if call != Call::NotResolved {
            Says::Resolved
        } else if known_to_be_small {
            Says::Small
        } else if left == 0 {
            Says::NotResolved
        } else {
            schedule.more(comparison).map_or(Says::Hardly(left), Says::More)
        };
        Finding {
            call,
            known_to_be_small,
            more_blocks_to_resolve: super::finding::more_blocks(comparison, call, known_to_be_small, small),
            looks: Some(Looks {
                planned: schedule.looks.len(),
                done: schedule.done,
                level_percent: 100.0 * level,
                interval_percent,
                says,
            }),
            ..self
        }
    }
}

/// Of the two-sided chance `alpha`, what may be spent by the time the share `t` of the information is there: little at
/// first, in the manner of O'Brien and Fleming.
fn spent(alpha: f64, t: f64) -> f64 {
    let normal = Normal::standard();
    let z = normal.inverse_cdf(1.0 - 0.5 * alpha);
    2.0 * normal.sf(z / t.min(1.0).sqrt())
}

/// Two-sided boundaries, in standard errors, whose chance of having been crossed by each look is `spent` there.
/// `fractions`: share of the information, growing.
fn boundaries(fractions: &[f64], spent: &[f64]) -> Vec<f64> {
    let mut walk = Walk::default();
    let mut before = 0.0;
    let mut found = Vec::new();
    for (t, spent) in fractions.iter().zip(spent) {
        let (mut low, mut high) = (0.0, FARTHEST);
        while high - low > 1e-9 {
            let z = 0.5 * (low + high);
            if walk.crossing(*t, z) > spent - before {
                low = z;
            } else {
                high = z;
            }
        }
        before = *spent;
        walk = walk.past(*t, high);
        found.push(high);
    }
    found
}

/// The sum that has crossed no boundary so far: its density at even places; none before the first look, when it is 0.
#[derive(Default)]
struct Walk {
    /// Share of the information.
    t: f64,
    /// Place, and the density there times its weight in the integral (Simpson).
    at: Vec<(f64, f64)>,
}

impl Walk {
    /// Chance that the sum lies beyond ± z standard errors at the next look, at the share `t`, and not before.
    fn crossing(&self, t: f64, z: f64) -> f64 {
        let normal = Normal::standard();
        let (edge, step) = (z * t.sqrt(), (t - self.t).sqrt());
        let beyond = |from: f64| normal.sf((edge - from) / step) + normal.sf((edge + from) / step);
        if self.at.is_empty() {
            return beyond(0.0);
        }
        self.at.iter().map(|(from, weight)| weight * beyond(*from)).sum()
    }

    /// Past that look, having stayed within.
    fn past(&self, t: f64, z: f64) -> Walk {
        let normal = Normal::standard();
        let (edge, step) = (z * t.sqrt(), (t - self.t).sqrt());
        let width = 2.0 * edge / STEPS as f64;
        let arrives = |to: f64, from: f64| normal.pdf((to - from) / step) / step;
        let at = (0..=STEPS)
            .map(|k| {
                let to = -edge + width * k as f64;
                let density = if self.at.is_empty() {
                    arrives(to, 0.0)
                } else {
                    self.at
                        .iter()
                        .map(|(from, weight)| weight * arrives(to, *from))
                        .sum()
                };
                let simpson = match k {
                    0 | STEPS => 1.0,
                    k if k % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                (to, density * simpson * width / 3.0)
            })
            .collect();
        Walk { t, at }
    }
}

#[cfg(test)]
#[path = "looks_tests.rs"]
mod tests;
