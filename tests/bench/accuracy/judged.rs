//! One day ridden and answered, set against its truth.

use super::drawn::{Drawn, Odd};
use std::path::Path;
use stillair::estimate::joint::explore::Told;
use stillair::study::{Compared, compare_told, gather_recordings, passes_gathered};
use stillair::verdict::{Estimated, Finding};

/// What one day said, against the truth.
pub struct Judged {
    pub change_percent: f64,
    pub odd: Option<Odd>,
    pub ratios: Vec<Ratio>,
    /// Of the baseline's drag area: how far off, and whether its 90 % interval held the truth.
    pub baseline: Option<(f64, bool)>,
}

/// One estimate of the ratio of the two drag areas.
pub struct Ratio {
    pub estimate: &'static str,
    /// Of the true ratio.
    pub off_percent: f64,
    /// `None`: the estimate gave no interval.
    pub interval: Option<Interval>,
}

pub struct Interval {
    pub held: bool,
    /// Of the ratio estimated.
    pub half_width_percent: f64,
    /// +1: more drag, −1: less, 0: not resolved.
    pub call: i8,
}

/// Every estimate that a finding holds, by name.
fn estimates(finding: &Finding, told: &Finding) -> Vec<(&'static str, Estimated)> {
    vec![
        ("joint", finding.cda_change_percent),
        ("joint, told the strengths", told.cda_change_percent),
        ("average of passes", finding.pass_average_percent),
    ]
}

/// Wander, memory, gusts and position as they were drawn. Of a spectrum without two scales nothing is told.
fn told(drawn: &Drawn) -> Told {
    let wind = &drawn.plan.wind;
    if drawn.odd == Some(Odd::FiveThirds) {
        return Told::default();
    }
    Told {
        wander_sd_m_s: Some(wind.wander_sd_m_s),
        wander_memory_s: Some(wind.wander_memory_s),
        gust_q_m2_s: Some(2.0 * wind.gust_along_sd_m_s.powi(2) * wind.gust_memory_s),
        block_sd: Some(drawn.plan.rider.position_block_sd),
        pass_sd: Some(drawn.plan.rider.position_pass_sd),
        undisturbed: false,
    }
}

pub fn judge(drawn: &Drawn) -> Result<Judged, String> {
    let folder = Path::new("day");
    let mut ridden = drawn.ride();
    let test_day = drawn.test_day(&mut ridden, &folder.join("test.toml"))?;
    let gathered = gather_recordings(test_day, ridden.recordings).map_err(|error| error.to_string())?;
    let surveyed = passes_gathered(gathered, folder).map_err(|error| error.to_string())?;
    let day = |told: &Told| compare_told(surveyed.clone(), told).map_err(|error| error.to_string());
    against_truth(&day(&Told::default())?, &day(&told(drawn))?, drawn)
}

fn against_truth(day: &Compared, knowing: &Compared, drawn: &Drawn) -> Result<Judged, String> {
    let knowing = knowing.findings.first().ok_or("no comparison was given")?;
    let finding = day.findings.first().ok_or("no comparison was given")?;
    let true_cda_m2 = drawn.plan.setups.first().map_or(f64::NAN, |setup| setup.cda_m2);
    let baseline = day.setups.first().and_then(|setup| setup.cda_m2);
    Ok(Judged {
        change_percent: drawn.change_percent,
        odd: drawn.odd,
        ratios: estimates(finding, knowing)
            .into_iter()
            .map(|(estimate, number)| ratio(estimate, number, drawn.change_percent))
            .collect(),
        baseline: baseline.map(|(cda_m2, _, [low, high])| {
            let off_percent = 100.0 * (cda_m2 / true_cda_m2 - 1.0);
            (off_percent, (low..=high).contains(&true_cda_m2))
        }),
    })
}

fn ratio(estimate: &'static str, number: Estimated, true_percent: f64) -> Ratio {
    let ratio = |percent: f64| 1.0 + percent / 100.0;
    let off = ratio(number.value) / ratio(true_percent) - 1.0;
    Ratio {
        estimate,
        off_percent: 100.0 * off,
        interval: number.interval_90.map(|[low, high]| Interval {
            held: (low..=high).contains(&true_percent),
            half_width_percent: 0.5 * (high - low) / ratio(number.value),
            call: i8::from(low > 0.0) - i8::from(high < 0.0),
        }),
    }
}
