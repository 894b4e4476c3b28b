//! What a planned day will tell, before it is ridden: through the same system and the same budget as the answer.

use super::PlannedDay;
use super::wind::winds;
use crate::course::Profile;
use crate::estimate::budget::{BudgetLine, SharedInput, budget};
use crate::estimate::cells::PassRide;
use crate::estimate::joint::explore::Told;
use crate::estimate::joint::prior::RATIO_LOG_SD;
use crate::estimate::joint::{Believed, Truth, Weighed, expected, expected_moved};
use crate::estimate::one_pass::GUST_Q_MEDIAN_M2_S;
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;
use crate::study::{OfAnyDay, about, of_any_day, tested};
use crate::verdict::{About, At};

/// Sets of strengths that the day is taken at, over all winds together.
const POINTS: usize = 40;
/// Of the shared heights over some 150 m: a barometer's over eight passes, as `compare` finds it on simulated days
/// (regression).
const HEIGHTS_M: f64 = 0.08;
/// What gates and positions leave of the speed's scale on an ordinary day, relative (as `study::speed_scale` has it of
/// a course of 1 to 2 km).
const SPEED_SCALE: f64 = 0.002;

/// What a day is expected to tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Of the whole day, as [`super::Schedule`] has it.
    pub duration_s: f64,
    /// Combined standard uncertainty of each set-up's CdA, root mean square over the days that may come; `None` for a
    /// set-up that is not ridden.
    pub cda_standard_uncertainty_m2: Vec<Option<f64>>,
    /// Each later set-up against each earlier one, of those that are ridden.
    pub pairs: Vec<ExpectedPair>,
}

/// Of the ratio of two set-ups, in what the test is about.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedPair {
    pub setup: usize,
    pub baseline: usize,
    pub about: About,
    /// Root mean square over the days that may come, shared inputs included.
    pub standard_uncertainty_percent: f64,
    /// In half of the days that may come it is no more than this.
    pub median_standard_uncertainty_percent: f64,
    /// The days that may come: weights that sum to one, and the standard uncertainty of the log ratio on them.
    pub days: Vec<(f64, f64)>,
    /// Blocks of both beyond one each: what tells a day how unsteady it is.
    pub degrees_of_freedom: usize,
}

/// Drag area and rolling resistance of a day told apart, both unknown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExpectedApart {
    /// Of the first set-up that is ridden. With what is known of rolling resistance beforehand; what shared inputs such as
    /// mass and the power meter's scale leave in it comes on top.
    pub cda_standard_uncertainty_m2: f64,
    pub crr_standard_uncertainty: f64,
    /// The same without anything known of it beforehand.
    pub crr_by_rides_alone_standard_uncertainty: f64,
}

impl Expected {
    /// Of the pair that is told worst; `None` with a single set-up.
    pub fn standard_uncertainty_percent(&self) -> Option<f64> {
        let all = self.pairs.iter().map(|pair| pair.standard_uncertainty_percent);
        all.reduce(f64::max)
    }

    pub fn pair(&self, setup: usize, baseline: usize) -> Option<&ExpectedPair> {
        let mut pairs = self.pairs.iter();
        pairs.find(|pair| (pair.setup, pair.baseline) == (setup, baseline))
    }
}

/// `None` where no pass is planned, or the rider would stall in every wind that may come.
pub fn expect(day: &PlannedDay) -> Option<Expected> {
    expect_told(day, &Told::default(), POINTS)
}

/// The same where strengths are told instead of drawn from what is known of any day; `points` of them over all winds.
pub fn expect_told(day: &PlannedDay, told: &Told, points: usize) -> Option<Expected> {
    let beforehand = beforehand(day, told, points, false)?;
    let lines = beforehand.budget(day);
    let setups = day.setups.len();
    let ridden: Vec<usize> = (0..setups)
        .filter(|setup| {
            day.order
                .iter()
                .any(|block| block.setup == *setup && block.passes > 0)
        })
        .collect();
    let mut pairs = Vec::new();
    for (position, baseline) in ridden.iter().enumerate() {
        for setup in &ridden[position + 1..] {
            pairs.push(pair(day, &beforehand.drags, &lines, [*setup, *baseline]));
        }
    }
    let cda_standard_uncertainty_m2 = (0..setups)
        .map(|setup| {
            let shared = lines
                .iter()
                .map(|line| line.effect_cda_m2[setup] / day.cda_m2[setup]);
            let days = days(&beforehand.drags, &[(setup, 1.0)], square_sum(shared));
            ridden
                .contains(&setup)
                .then(|| day.cda_m2[setup] * root_mean_square(&days))
        })
        .collect();
    Some(Expected {
        duration_s: beforehand.duration_s,
        cda_standard_uncertainty_m2,
        pairs,
    })
}

/// Drag area and rolling resistance told apart, for a day whose set-ups do not differ in rolling resistance: what one
/// learns of a single set-up, best with blocks of two powers. By the joint estimate with rolling resistance free; what
/// the changes of speed within passes tell besides is left out. `None` as for [`expect`].
pub fn expect_apart(day: &PlannedDay) -> Option<ExpectedApart> {
    let beforehand = beforehand(day, &Told::default(), POINTS, true)?;
    let setup = day.order.iter().find(|block| block.passes > 0)?.setup;
    let (drag, roll) = (setup, day.setups.len() + setup);
    let known = day.setups[setup].crr;
    let (mut drag_variance, mut roll_variance, mut alone_precision) = (0.0, 0.0, 0.0);
    for one in &beforehand.drags {
        let (c, w) = (&one.covariance, one.weight);
        // What the system knew of it beforehand is taken out, and what test.toml says is put in.
        let alone = 1.0 / c[(roll, roll)] - RATIO_LOG_SD.powi(-2);
        let change = (known.value / known.standard_uncertainty).powi(2) - RATIO_LOG_SD.powi(-2);
        let gain = change / (1.0 + change * c[(roll, roll)]);
        drag_variance += w * (c[(drag, drag)] - gain * c[(drag, roll)].powi(2));
        roll_variance += w * (c[(roll, roll)] - gain * c[(roll, roll)].powi(2));
        alone_precision += w * alone.max(0.0);
    }
    Some(ExpectedApart {
        cda_standard_uncertainty_m2: day.cda_m2[setup] * drag_variance.sqrt(),
        crr_standard_uncertainty: known.value * roll_variance.sqrt(),
        crr_by_rides_alone_standard_uncertainty: known.value * alone_precision.sqrt().recip(),
    })
}

/// The day under all winds and strengths that may come.
struct Beforehand {
    duration_s: f64,
    drags: Vec<Believed>,
    /// As ridden in the wind that is expected, and by what.
    rides: Vec<PassRide>,
    truth: Truth,
}

fn beforehand(day: &PlannedDay, told: &Told, points: usize, rolling_free: bool) -> Option<Beforehand> {
    let winds = winds(day);
    let each = points.div_ceil(winds.len());
    let profile = profile(day);
    let truth = |wind_m_s: [f64; 2]| Truth {
        log_cda: day.cda_m2.iter().map(|cda_m2| cda_m2.ln()).collect(),
        rolling_free,
        wind_m_s: [
            wind_m_s[0] - day.air.wind_east_m_s,
            wind_m_s[1] - day.air.wind_north_m_s,
        ],
    };
    let mut drags: Vec<Believed> = Vec::new();
    for (index, (weight, wind_m_s)) in winds.iter().enumerate() {
        // A wind in which one would stall is no day for a test.
        let Some(ridden) = day.ridden(*wind_m_s) else {
            continue;
        };
        let some = index * each..(index + 1) * each;
        let of = fit_day(day, &ridden.rides);
        let found = expected(&of, Some(&profile), &held(day), &truth(*wind_m_s), told, some)?;
        drags.extend(found.into_iter().map(|one| Believed {
            weight: one.weight * weight,
            ..one
        }));
    }
    let sum: f64 = drags.iter().map(|one| one.weight).sum();
    for one in &mut drags {
        one.weight /= sum;
    }
    let wind_m_s = day.expected_wind_m_s();
    let ridden = day.ridden(wind_m_s)?;
    (!drags.is_empty()).then(|| Beforehand {
        duration_s: ridden.schedule.duration_s,
        drags,
        rides: ridden.rides,
        truth: truth(wind_m_s),
    })
}

impl Beforehand {
    /// Of what all passes share and the estimate has not among its own unknowns.
    fn budget(&self, day: &PlannedDay) -> Vec<BudgetLine> {
        let (of, profile, rolling) = (fit_day(day, &self.rides), profile(day), held(day));
        budget(&shared(day), |shift| {
            expected_moved(&of, Some(&profile), &rolling, &self.truth, shift)
        })
    }
}

fn fit_day<'a>(day: &'a PlannedDay, rides: &'a [PassRide]) -> Day<'a> {
    Day {
        rides,
        setups: &day.setups,
        course_length_m: day.length_m(),
        shape: day.shape,
    }
}

fn profile(day: &PlannedDay) -> Profile {
    let length_m = day.length_m();
    Profile {
        distance_m: vec![0.0, length_m],
        elevation_m: vec![0.0; 2],
        climb_m: 0.0,
        standard_uncertainty_m: HEIGHTS_M,
        disagreement_m: HEIGHTS_M,
        lag: None,
        port: None,
        wander_m: 0.0,
    }
}

/// Rolling resistance as `test.toml` has it.
fn held(day: &PlannedDay) -> Rolling {
    Rolling {
        shift: 0.0,
        standard_uncertainty: day.setups[0].crr.standard_uncertainty,
        held: true,
        rides_alone: None,
        correlation: None,
        gust_q_m2_s: GUST_Q_MEDIAN_M2_S,
    }
}

fn shared(day: &PlannedDay) -> Vec<SharedInput> {
    let setup = &day.setups[0];
    let all = of_any_day(&OfAnyDay {
        total_mass_kg: setup.total_mass_kg.standard_uncertainty,
        power_scale: day.power_scale.standard_uncertainty,
        drivetrain_efficiency: setup.drivetrain_efficiency.standard_uncertainty,
        crr: setup.crr.standard_uncertainty,
        speed_scale: SPEED_SCALE,
        density: day.air.density_standard_uncertainty_kg_m3 / day.air.density_kg_m3,
        wind_m_s: day.air.wind_standard_uncertainty_m_s,
        wheel_radius_m: setup.wheel_radius_m.standard_uncertainty,
        wheel_inertia_kg_m2: setup.wheel_inertia_kg_m2.standard_uncertainty,
        warming_k_per_h: day.warming_standard_uncertainty_k_per_h,
        mass_loss_kg_per_h: day.slow.mass_loss_kg_per_h.standard_uncertainty,
    });
    all.into_iter().filter(|input| !input.inside).collect()
}

fn pair(
    day: &PlannedDay,
    drags: &[Believed],
    lines: &[BudgetLine],
    [setup, baseline]: [usize; 2],
) -> ExpectedPair {
    let about = about(&day.setups, [setup, baseline]);
    let at = At {
        rig: day.rig(baseline),
        around: day.around(),
        smallest_difference_percent: day.difference_percent.abs(),
        baseline_standard_uncertainty_m2: 0.0,
        pairs: 1,
    };
    let Weighed { drag, rolling } = tested(about, &at);
    let setups = day.setups.len();
    let factors = [
        (setup, drag),
        (baseline, -drag),
        (setups + setup, rolling),
        (setups + baseline, -rolling),
    ];
    let shared = lines.iter().map(|line| {
        let apart = |effects: &[f64]| effects[setup] - effects[baseline];
        drag * apart(&line.effect_log_ratio) + rolling * apart(&line.effect_log_crr_ratio)
    });
    let days = days(drags, &factors, square_sum(shared));
    let blocks = |of: usize| {
        day.order
            .iter()
            .filter(|block| block.setup == of && block.passes > 0)
            .count()
    };
    ExpectedPair {
        setup,
        baseline,
        about,
        standard_uncertainty_percent: 100.0 * root_mean_square(&days),
        median_standard_uncertainty_percent: 100.0 * median(&days),
        days,
        degrees_of_freedom: (blocks(setup) + blocks(baseline)).saturating_sub(2),
    }
}

fn square_sum(values: impl Iterator<Item = f64>) -> f64 {
    values.map(|value| value * value).sum()
}

/// Weight and standard uncertainty of a sum of what is believed, with a variance that all days share.
fn days(drags: &[Believed], factors: &[(usize, f64)], shared: f64) -> Vec<(f64, f64)> {
    let variance = |one: &Believed| -> f64 {
        let terms = factors.iter().flat_map(|(i, f)| {
            let of = &one.covariance;
            factors.iter().map(move |(j, g)| f * g * of[(*i, *j)])
        });
        terms.sum()
    };
    drags
        .iter()
        .map(|one| (one.weight, (variance(one).max(0.0) + shared).sqrt()))
        .collect()
}

fn root_mean_square(days: &[(f64, f64)]) -> f64 {
    days.iter()
        .map(|(weight, sd)| weight * sd * sd)
        .sum::<f64>()
        .sqrt()
}

fn median(days: &[(f64, f64)]) -> f64 {
    let mut sorted = days.to_vec();
    sorted.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut below = 0.0;
    for (weight, sd) in &sorted {
        below += weight;
        if below >= 0.5 {
            return *sd;
        }
    }
    sorted.last().map_or(f64::NAN, |(_, sd)| *sd)
}

#[cfg(test)]
#[path = "expect_tests.rs"]
mod tests;
