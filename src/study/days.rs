//! Several test days in one answer: set-ups matched by name, days combined, every pair judged.

use super::answer::{self, Estimates};
use super::distrust::same_thing;
use super::{Compared, Progress, compare};
use crate::error::Fault;
use crate::estimate::cells::{Shift, rig};
use crate::estimate::comparison::Comparison;
use crate::estimate::days::{CommonInput, DayDrags, OverDays, combine, linked, mean_of_days};
use crate::estimate::joint::Believed;
use crate::estimate::plain::Day;
use crate::physics::Rig;
use crate::test_day::Setup;
use crate::verdict::{self, About, Agreement, At, Estimated, Finding, LEVEL, agreement, as_null_test, judge};
use crate::warning::Warning;
use nalgebra::{DMatrix, DVector};
use std::path::Path;

mod remarks;

/// Called with the number of the folder, how many files are done, and of how many.
pub type DaysProgress<'a> = &'a (dyn Fn(usize, usize, usize) + Sync);

/// Several folders: what each of them says, and all of them together.
#[derive(Debug, Clone, PartialEq)]
pub struct Days {
    /// Those that could be used, in the order of the folders.
    pub days: Vec<Compared>,
    /// `None` with fewer than two days.
    pub together: Option<Together>,
    /// Why other folders could not be used.
    pub faults: Vec<Fault>,
}

/// One answer over several days. A day is an index into those it was made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// Of all days; the first one is the first day's baseline. As written on the day that names it first.
    pub setups: Vec<Setup>,
    /// One for each of them.
    pub ridden: Vec<RiddenOn>,
    /// The later set-up against the earlier one, where days tell: set-ups are indices into those above.
    pub pairs: Vec<Pair>,
    /// What a day makes of a difference beyond its own errors, as a standard deviation, %; `None` without a pair.
    pub day_to_day_percent: Option<f64>,
    pub smallest_difference_percent: f64,
    pub warnings: Vec<Warning>,
}

/// What all days hold of a set-up.
#[derive(Debug, Clone, PartialEq)]
pub struct RiddenOn {
    pub days: Vec<usize>,
    /// On all of them.
    pub blocks: usize,
    /// With three or more set-ups, all of which are compared: the chance of being the lowest.
    pub chance_lowest: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    pub finding: Finding,
    /// Days on which both were ridden; none where other set-ups link them.
    pub days: Vec<OfDay>,
    /// `None` with fewer than two such days.
    pub agreement: Option<Agreement>,
}

/// What one day says of a pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OfDay {
    pub day: usize,
    pub cda_change_percent: Estimated,
}

/// As [`compare`] for each folder, and over all of them. A folder that cannot be used does not cost the others.
pub fn compare_days<P: AsRef<Path>>(folders: &[P], progress: DaysProgress) -> Days {
    let (mut days, mut faults) = (Vec::new(), Vec::new());
    for (index, folder) in folders.iter().enumerate() {
        let own: Progress = &|done, all| progress(index, done, all);
        match compare(folder.as_ref(), own) {
            Ok(day) => days.push(day),
            Err(error) => faults.extend(error.faults),
        }
    }
    let together = (days.len() > 1).then(|| together(&days));
    Days {
        days,
        together,
        faults,
    }
}

/// The answer over days that are worked out already.
pub fn together(days: &[Compared]) -> Together {
    let matched = Matched::of(days);
    let told: Vec<DayDrags> = (0..days.len()).map(|day| matched.told(days, day)).collect();
    let on_days: Vec<Vec<usize>> = told.iter().map(|day| day.setups.clone()).collect();
    let groups = linked(&on_days, matched.setups.len());
    let over = combine(&told, matched.setups.len(), None);
    let mut ridden = ridden(days, &matched);
    let mut pairs = Vec::new();
    if let Some(over) = &over {
        pairs = all_pairs(days, &matched, &groups, &ridden, over);
        chances(&mut ridden, &pairs, over);
    }
    let mut together = Together {
        day_to_day_percent: over.filter(|_| !pairs.is_empty()).map(|over| 100.0 * over.day_sd),
        setups: matched.setups.clone(),
        ridden,
        pairs,
        smallest_difference_percent: days
            .first()
            .map_or(f64::NAN, |day| day.surveyed.test_day.smallest_difference_percent),
        warnings: Vec::new(),
    };
    together.warnings = remarks::remarks(days, &matched, &groups, &together);
    together
}

/// The set-ups of all days, by name.
struct Matched {
    setups: Vec<Setup>,
    /// Of each day: the number over all days of each of its set-ups.
    numbers: Vec<Vec<usize>>,
    /// The day before that has the same rides: what is read twice counts once.
    same_rides: Vec<Option<usize>>,
}

impl Matched {
    fn of(days: &[Compared]) -> Matched {
        let mut setups: Vec<Setup> = Vec::new();
        let mut numbers = Vec::new();
        for day in days {
            let own = &day.surveyed.test_day.setups;
            let places: Vec<usize> = own
                .iter()
                .map(|setup| match setups.iter().position(|s| same_name(s, setup)) {
                    Some(number) => number,
                    None => {
                        setups.push(Setup {
                            same_as: None,
                            ..setup.clone()
                        });
                        setups.len() - 1
                    }
                })
                .collect();
            for (setup, number) in own.iter().zip(&places) {
                let Some(other) = setup.same_as.and_then(|s| places.get(s)) else {
                    continue;
                };
                // The later one names the earlier one, whichever wrote it down.
                let (later, earlier) = (*number.max(other), *number.min(other));
                if later != earlier {
                    setups[later].same_as.get_or_insert(earlier);
                }
            }
            numbers.push(places);
        }
        let same_rides = (0..days.len())
            .map(|day| (0..day).find(|before| same_rides(&days[*before], &days[day])))
            .collect();
        Matched {
            setups,
            numbers,
            same_rides,
        }
    }

    /// Where a set-up stands in a day.
    fn on_day(&self, day: usize, number: usize) -> Option<usize> {
        self.numbers[day].iter().position(|n| *n == number)
    }

    /// Set-ups of a day whose drag area it tells: ridden, and not the same as another's by what the test is about.
    fn telling(&self, days: &[Compared], day: usize) -> Vec<usize> {
        if self.same_rides[day].is_some() {
            return Vec::new();
        }
        let all = ridden_setups(&days[day]);
        let Some(first) = all.first().copied() else {
            return Vec::new();
        };
        all.into_iter()
            .filter(|s| *s == first || tells_apart(&days[day], *s, first))
            .collect()
    }

    fn told(&self, days: &[Compared], day: usize) -> DayDrags {
        let own = self.telling(days, day);
        let compared = &days[day];
        let believed = |b: &Believed| Believed {
            weight: b.weight,
            mean: DVector::from_fn(own.len(), |i, _| b.mean[own[i]]),
            covariance: DMatrix::from_fn(own.len(), own.len(), |i, j| b.covariance[(own[i], own[j])]),
        };
        let common = compared.budget.iter().filter(|line| !line.inside);
        DayDrags {
            setups: own.iter().map(|s| self.numbers[day][*s]).collect(),
            drags: compared.basis.joint.drags.iter().map(believed).collect(),
            first_is_baseline: own.first() == Some(&0),
            common: common
                .map(|line| CommonInput {
                    input: line.input,
                    of_the_day: line.input == "air density" || line.of_setup.is_some(),
                    effect: own
                        .iter()
                        .map(|s| line.effect_log_ratio[*s] - line.effect_log_ratio[own[0]])
                        .collect(),
                })
                .collect(),
        }
    }
}

/// Capitals and spaces do not make another set-up.
fn same_name(a: &Setup, b: &Setup) -> bool {
    let plain = |name: &str| {
        name.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase()
    };
    plain(&a.name) == plain(&b.name)
}

fn ridden_setups(day: &Compared) -> Vec<usize> {
    (0..day.basis.averages.setups.len())
        .filter(|s| day.basis.averages.setups[*s].is_some())
        .collect()
}

fn tells_apart(day: &Compared, setup: usize, first: usize) -> bool {
    day.basis.joint.drags.iter().all(|b| {
        let c = &b.covariance;
        c[(setup, setup)] + c[(first, first)] - 2.0 * c[(setup, first)] > 1e-12
    })
}

/// Two recordings of one ride put a crossing at the same time to this, s.
const SAME_CROSSING_S: f64 = 2.0;

/// Most passes of one day begin and end with passes of the other.
fn same_rides(a: &Compared, b: &Compared) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() < SAME_CROSSING_S;
    let (of_a, of_b) = (&a.surveyed.ridden.passes, &b.surveyed.ridden.passes);
    let met = of_b.iter().filter(|p| {
        of_a.iter()
            .any(|q| near(p.start_s, q.start_s) && near(p.end_s, q.end_s))
    });
    2 * met.count() > of_b.len()
}

fn ridden(days: &[Compared], matched: &Matched) -> Vec<RiddenOn> {
    (0..matched.setups.len())
        .map(|number| {
            let mut on = RiddenOn {
                days: Vec::new(),
                blocks: 0,
                chance_lowest: None,
            };
            for (day, compared) in days.iter().enumerate() {
                let own = matched.on_day(day, number);
                let drag = own.and_then(|s| compared.basis.averages.setups.get(s)?.as_ref());
                if let (Some(drag), None) = (drag, matched.same_rides[day]) {
                    on.days.push(day);
                    on.blocks += drag.blocks;
                }
            }
            on
        })
        .collect()
}

/// With three set-ups or more, where each is compared with each.
fn chances(ridden: &mut [RiddenOn], pairs: &[Pair], over: &OverDays) {
    let all: Vec<usize> = (0..ridden.len())
        .filter(|s| !ridden[*s].days.is_empty())
        .collect();
    if all.len() < 3 || 2 * pairs.len() != all.len() * (all.len() - 1) {
        return;
    }
    for (setup, chance) in all.iter().zip(over.chance_of_lowest(&all)) {
        ridden[*setup].chance_lowest = Some(chance);
    }
}

fn all_pairs(
    days: &[Compared],
    matched: &Matched,
    groups: &[usize],
    ridden: &[RiddenOn],
    over: &OverDays,
) -> Vec<Pair> {
    let told: Vec<usize> = (0..matched.setups.len())
        .filter(|s| {
            (0..days.len()).any(|d| {
                let telling = matched.telling(days, d);
                telling.len() > 1 && telling.iter().any(|own| matched.numbers[d][*own] == *s)
            })
        })
        .collect();
    let asked: Vec<[usize; 2]> = told
        .iter()
        .flat_map(|base| told.iter().map(move |setup| [*setup, *base]))
        .filter(|[setup, base]| setup > base && groups[*setup] == groups[*base])
        .collect();
    let level = over.level_for_each(&asked, LEVEL);
    asked
        .iter()
        .filter_map(|[setup, base]| {
            let comparison = over.compare(*setup, *base, [ridden[*setup].blocks, ridden[*base].blocks])?;
            let mut found = pair(days, matched, &comparison, asked.len())?;
            if let Some(level) = level {
                found.finding = found.finding.holding_together(&comparison, level);
            }
            if same_thing(&matched.setups, *setup, *base) {
                found.finding = as_null_test(found.finding);
            }
            Some(found)
        })
        .collect()
}

fn pair(days: &[Compared], matched: &Matched, comparison: &Comparison, pairs: usize) -> Option<Pair> {
    let at = at(days, matched, comparison.baseline, pairs)?;
    let direct: Vec<(usize, Direct)> = (0..days.len())
        .filter_map(|day| Some((day, Direct::of(days, matched, day, comparison, &at)?)))
        .collect();
    let averages: Vec<Comparison> = direct.iter().map(|(_, d)| d.average.clone()).collect();
    let unknown = Comparison {
        log_ratio: f64::NAN,
        spread: None,
        ..comparison.clone()
    };
    let stands: Vec<(f64, f64)> = direct.iter().filter_map(|(_, d)| d.stands()).collect();
    let judged = verdict::Pair {
        about: About::Drag,
        tested: comparison.clone(),
        drag: Some(comparison.clone()),
        rolling: None,
        pass_average: mean_of_days(&averages).unwrap_or(unknown),
    };
    let mut finding = judge(&judged, &at);
    if same_thing(&matched.setups, finding.setup, finding.baseline) {
        finding = as_null_test(finding);
    }
    Some(Pair {
        finding,
        days: direct
            .iter()
            .map(|(day, d)| OfDay {
                day: *day,
                cda_change_percent: percent(&d.joint),
            })
            .collect(),
        agreement: agreement(&stands),
    })
}

/// What a day that both set-ups were ridden on says of their drag by itself.
struct Direct {
    joint: Comparison,
    average: Comparison,
}

impl Direct {
    fn of(days: &[Compared], matched: &Matched, day: usize, pair: &Comparison, at: &At) -> Option<Direct> {
        let telling = matched.telling(days, day);
        let own = |number| matched.on_day(day, number).filter(|s| telling.contains(s));
        let compared = &days[day];
        let course = &compared.surveyed.ridden.course;
        let of = Estimates {
            day: &Day {
                rides: &[],
                setups: &compared.surveyed.test_day.setups,
                course_length_m: course.length_m(),
                shape: course.shape,
            },
            averages: &compared.basis.averages,
            joint: &compared.basis.joint,
            budget: &compared.budget,
            of_average: &compared.basis.of_average,
        };
        let found = answer::pair(&of, [own(pair.setup)?, own(pair.baseline)?], at)?;
        Some(Direct {
            joint: found.drag?,
            average: found.pass_average,
        })
    }

    /// Log ratio and its standard uncertainty.
    fn stands(&self) -> Option<(f64, f64)> {
        let spread = self.joint.spread.as_ref()?;
        Some((self.joint.log_ratio, spread.standard_uncertainty()))
    }
}

fn percent(comparison: &Comparison) -> Estimated {
    let percent = |ratio: f64| 100.0 * (ratio - 1.0);
    let ratio = comparison.ratio();
    Estimated {
        value: percent(ratio),
        standard_uncertainty: comparison
            .spread
            .as_ref()
            .map(|s| 100.0 * ratio * s.standard_uncertainty()),
        interval_90: comparison.ratio_interval(LEVEL).map(|i| i.map(percent)),
    }
}

/// Watts and seconds are those of the first day on which the baseline was ridden.
fn at(days: &[Compared], matched: &Matched, baseline: usize, pairs: usize) -> Option<At> {
    let (day, own, cda_m2) = days.iter().enumerate().find_map(|(day, compared)| {
        let own = matched.on_day(day, baseline)?;
        Some((compared, own, compared.setups.get(own)?.cda_m2?))
    })?;
    let neutral = rig(&day.surveyed.test_day.setups[own], &Shift::default());
    Some(At {
        rig: Rig {
            cda_m2: cda_m2.0,
            crr: day.setups[own].crr.0,
            ..neutral
        },
        around: day.basis.around,
        smallest_difference_percent: days[0].surveyed.test_day.smallest_difference_percent,
        baseline_standard_uncertainty_m2: cda_m2.1,
        pairs,
    })
}

#[cfg(test)]
mod tests;
