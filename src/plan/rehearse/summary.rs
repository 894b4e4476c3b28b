//! Many rehearsed days put together.

use super::looked::Stopped;
use super::outcome::{Judged, RehearsedDay};
use super::{Rehearsed, truth};
use crate::error::{Fault, Result};
use crate::plan::expect;
use crate::test_day::Hold;
use crate::verdict::Call;
use statrs::distribution::{Beta, ContinuousCDF};

/// Of the intervals about shares: that of every answer.
const LEVEL: f64 = 0.90;

/// What the planned day would show.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehearsal {
    pub days: usize,
    pub seed: u64,
    /// Change that half of the days were ridden with, of what the test is about.
    pub difference_percent: f64,
    /// Root mean square of the error of the ratio, and its standard uncertainty from so many days.
    pub rms_error_percent: (f64, f64),
    /// Mean error, likewise.
    pub bias_percent: (f64, f64),
    /// Root mean square of the standard uncertainties that the days stated; `None` where none did.
    pub stated_standard_uncertainty_percent: Option<f64>,
    /// Expected of the plan without riding it; `None` where the plan cannot be ridden at its power.
    pub expected_standard_uncertainty_percent: Option<f64>,
    /// How often the 90 % interval held the truth.
    pub coverage_90: Share,
    /// How often the verdict was that of the truth on days with the difference.
    pub right_verdicts: Share,
    /// How often there was a verdict on days without a difference.
    pub false_verdicts: Share,
    pub with_difference: Verdicts,
    pub without_difference: Verdicts,
    /// Where the plan is to look after every block.
    pub looked: Option<Looked>,
    /// Number of the day and why it gave no answer.
    pub not_analysed: Vec<(usize, String)>,
    /// What was simulated, in full sentences.
    pub simulated: Vec<String>,
}

/// Looking after every block and stopping at the first verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Looked {
    /// As of the whole days, but of the verdict at which one stopped.
    pub right_verdicts: Share,
    pub false_verdicts: Share,
    /// Blocks ridden until one stopped, means over the days with the difference and over those without; NaN of none.
    pub blocks_with_difference: f64,
    pub blocks_without_difference: f64,
    pub planned_blocks: usize,
}

/// So many of so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    pub hits: usize,
    pub of: usize,
}

impl Share {
    fn among<'a, T: 'a>(judged: impl Iterator<Item = &'a T>, hit: impl Fn(&T) -> Option<bool>) -> Share {
        let seen: Vec<bool> = judged.filter_map(hit).collect();
        Share {
            hits: seen.iter().filter(|hit| **hit).count(),
            of: seen.len(),
        }
    }

    /// `None` of nothing.
    pub fn value(&self) -> Option<f64> {
        (self.of > 0).then(|| self.hits as f64 / self.of as f64)
    }

    /// Exact interval of Clopper and Pearson (Biometrika 26:404-413, 1934), 90 %.
    pub fn interval_90(&self) -> Option<[f64; 2]> {
        let (hits, of) = (self.hits as f64, self.of as f64);
        let tail = 0.5 * (1.0 - LEVEL);
        if self.of == 0 {
            return None;
        }
        let quantile = |a: f64, b: f64, p: f64| Some(Beta::new(a, b).ok()?.inverse_cdf(p));
        let low = if self.hits == 0 {
            0.0
        } else {
            quantile(hits, of - hits + 1.0, tail)?
        };
        let high = if self.hits == self.of {
            1.0
        } else {
            quantile(hits + 1.0, of - hits, 1.0 - tail)?
        };
        Some([low, high])
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Verdicts {
    pub lower_drag: usize,
    pub higher_drag: usize,
    pub not_resolved: usize,
}

impl Verdicts {
    fn of<'a>(judged: impl Iterator<Item = &'a Judged>) -> Verdicts {
        judged.fold(Verdicts::default(), |mut sum, judged| {
            match judged.call {
                Call::LowerDrag => sum.lower_drag += 1,
                Call::HigherDrag => sum.higher_drag += 1,
                Call::NotResolved => sum.not_resolved += 1,
            }
            sum
        })
    }
}

pub(super) fn summary(of: &Rehearsed, days: &[RehearsedDay]) -> Result<Rehearsal> {
    let all: Vec<Judged> = days
        .iter()
        .filter_map(|day| day.outcome.as_ref().ok())
        .flatten()
        .copied()
        .collect();
    let not_analysed: Vec<(usize, String)> = days
        .iter()
        .filter_map(|day| Some((day.number, day.outcome.as_ref().err()?.clone())))
        .collect();
    if all.is_empty() {
        let why = not_analysed
            .first()
            .map_or("no two set-ups are compared", |(_, why)| why);
        return Err(Fault::new(
            format!("none of the rehearsed days gave an answer: {why}"),
            "Change the plan, or write one of the days with --write FOLDER and look at it with `stillair passes`.",
        )
        .in_file(&of.folder.join("test.toml"))
        .into());
    }
    let errors: Vec<f64> = all.iter().map(Judged::off_percent).collect();
    let stated: Vec<f64> = all
        .iter()
        .filter_map(|j| j.standard_uncertainty_percent)
        .collect();
    let differs = |judged: &&Judged| judged.true_percent != 0.0;
    let right = |judged: &Judged| Some(is_right(judged.call, judged.true_percent));
    Ok(Rehearsal {
        days: days.len(),
        seed: of.seed,
        difference_percent: of.day.difference_percent,
        rms_error_percent: root_mean_square(&errors),
        bias_percent: mean(&errors),
        stated_standard_uncertainty_percent: (!stated.is_empty()).then(|| root_mean_square(&stated).0),
        expected_standard_uncertainty_percent: expected_percent(of),
        coverage_90: Share::among(all.iter(), Judged::held),
        right_verdicts: Share::among(all.iter().filter(differs), right),
        false_verdicts: Share::among(all.iter().filter(|j| !differs(j)), |judged| {
            Some(judged.call != Call::NotResolved)
        }),
        with_difference: Verdicts::of(all.iter().filter(differs)),
        without_difference: Verdicts::of(all.iter().filter(|j| !differs(j))),
        looked: looked(of, days),
        not_analysed,
        simulated: simulated(of),
    })
}

fn is_right(call: Call, true_percent: f64) -> bool {
    match call {
        Call::LowerDrag => true_percent < 0.0,
        Call::HigherDrag => true_percent > 0.0,
        Call::NotResolved => false,
    }
}

/// `None` where the plan is to be looked at once.
fn looked(of: &Rehearsed, days: &[RehearsedDay]) -> Option<Looked> {
    let all: Vec<Stopped> = days
        .iter()
        .filter_map(|day| day.looked.as_ref())
        .flatten()
        .copied()
        .collect();
    let (with, without): (Vec<Stopped>, Vec<Stopped>) = all.iter().partition(|one| one.true_percent != 0.0);
    let blocks = |all: &[Stopped]| mean(&all.iter().map(|one| one.blocks as f64).collect::<Vec<_>>()).0;
    of.plan.look_after_every_block.then(|| Looked {
        right_verdicts: Share::among(with.iter(), |one| Some(is_right(one.call, one.true_percent))),
        false_verdicts: Share::among(without.iter(), |one| Some(one.call != Call::NotResolved)),
        blocks_with_difference: blocks(&with),
        blocks_without_difference: blocks(&without),
        planned_blocks: of.day.order.len(),
    })
}

/// Over the comparisons that are judged, as a root mean square.
fn expected_percent(of: &Rehearsed) -> Option<f64> {
    let pairs = expect(&of.day)?.pairs.into_iter();
    let judged: Vec<f64> = pairs
        .filter(|pair| pair.baseline == 0 && truth::is_other(&of.test_day.setups, pair.setup))
        .map(|pair| pair.standard_uncertainty_percent)
        .collect();
    (!judged.is_empty()).then(|| root_mean_square(&judged).0)
}

/// Mean, and its standard uncertainty.
fn mean(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (squares / (n - 1.0) / n).sqrt())
}

/// With its standard uncertainty: that of the mean square, halved by the root. No shape of the errors is assumed.
fn root_mean_square(values: &[f64]) -> (f64, f64) {
    let squares: Vec<f64> = values.iter().map(|value| value * value).collect();
    let (square, uncertainty) = mean(&squares);
    (square.sqrt(), 0.5 * uncertainty / square.sqrt())
}

/// With a sign that is not a hyphen.
fn signed(percent: f64) -> String {
    format!("{percent:+.1}").replace('-', "−")
}

fn simulated(of: &Rehearsed) -> Vec<String> {
    let day = &of.day;
    let mut said = Vec::new();
    said.push(match &of.place {
        Some(place) => format!("Road: {} Beyond its ends it leads straight on and level.", place.source),
        None => format!(
            "Road: {:.0} m with {} % from start to finish, with gentle hills and bends of its own each day, in no \
             particular place.",
            day.length_m(),
            signed(of.plan.gradient_percent)
        ),
    });
    said.push(format!(
        "Truth: on odd days every set-up but the first has {} % of what the test is about; on even days there is no \
         difference.",
        signed(of.day.difference_percent)
    ));
    said.push(match of.plan.hold {
        Hold::Power => format!(
            "Power: {:.0} W in every set-up, unevenly as riders do.",
            of.plan.power_w
        ),
        Hold::Speed => format!(
            "Power: {:.0} W in the first set-up, in every other what its speed takes.",
            of.plan.power_w
        ),
    });
    said.push(match of.plan.wind {
        Some(wind) => {
            let from = wind
                .from_deg
                .map_or("anywhere".to_string(), |from| format!("{from:.0}°"));
            let spread = (truth::WIND_SPREAD * wind.speed_m_s).max(truth::LEAST_WIND_SPREAD_M_S);
            format!(
                "Mean wind: {:.1} m/s from {from}, ± {spread:.1} m/s each way from day to day; nobody tells the analysis.",
                wind.speed_m_s
            )
        }
        None => "Mean wind: 0 ± 1.2 m/s each way from day to day; nobody tells the analysis.".to_string(),
    });
    said.push(
        "Drawn for each day: wander of the wind 0.1 to 0.8 m/s over 5 to 40 min, gusts 0.15 to 0.8 m/s, remounting 0.3 \
         to 1.5 % of drag area, errors of mass, Crr and power meter as test.toml says of them, and its drift 1.5 W/h."
            .to_string(),
    );
    said.push(
        "Air as in the standard atmosphere at 18 °C and 60 %, a power meter, a wheel sensor and a barometer."
            .to_string(),
    );
    if of.day.order.iter().any(|block| block.power_w.is_some()) {
        said.push("The powers that single blocks ask for are left aside.".to_string());
    }
    if of.plan.look_after_every_block {
        said.push(
            "Each day is looked at after every block as well, by the recordings up to there, and left at the first verdict."
                .to_string(),
        );
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The ends of 0 and n have a closed form: 1 − 0.05^(1/n).
    #[test]
    fn exact_intervals_have_their_closed_forms_at_the_ends() {
        let none = Share { hits: 0, of: 20 }.interval_90().unwrap();
        assert!((none[1] - (1.0 - 0.05f64.powf(1.0 / 20.0))).abs() < 1e-9 && none[0] == 0.0);
        let all = Share { hits: 20, of: 20 }.interval_90().unwrap();
        assert!((all[0] - 0.05f64.powf(1.0 / 20.0)).abs() < 1e-9 && all[1] == 1.0);
        assert_eq!(Share { hits: 0, of: 0 }.interval_90(), None);
        let half = Share { hits: 10, of: 20 }.interval_90().unwrap();
        assert!((half[0] + half[1] - 1.0).abs() < 1e-9 && half[0] < 0.5);
    }

    #[test]
    fn root_mean_square_has_the_uncertainty_of_normal_errors() {
        // ±1: the mean square has no spread at all. Closed form.
        assert_eq!(root_mean_square(&[1.0, -1.0, 1.0, -1.0]), (1.0, 0.0));
        // 0 and 2 in turn: squares 0, 4 have mean 2 and variance 16/3 of four, so 2/√3 … halved by √2.
        let (rms, uncertainty) = root_mean_square(&[0.0, 2.0, 0.0, 2.0]);
        assert!((rms - 2f64.sqrt()).abs() < 1e-12);
        assert!((uncertainty - 0.5 * (16.0f64 / 3.0 / 4.0).sqrt() / 2f64.sqrt()).abs() < 1e-12);
    }
}
