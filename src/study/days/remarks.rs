//! What a careful reader of several days would point out.

use super::{Matched, Pair, Together};
use crate::study::Compared;
use crate::study::distrust::null_test;
use crate::warning::Warning;

pub(super) fn remarks(
    days: &[Compared],
    matched: &Matched,
    groups: &[usize],
    together: &Together,
) -> Vec<Warning> {
    let mut all = same_rides(days, matched);
    all.extend(other_matter(days, matched));
    all.extend(apart(matched, groups, together));
    for pair in &together.pairs {
        all.extend(disagree(days, together, pair));
        let names = [pair.finding.setup, pair.finding.baseline].map(|s| together.setups[s].name.as_str());
        all.extend(null_test(&pair.finding, names));
    }
    all.extend(by_way_of_others(together));
    all
}

fn folder(day: &Compared) -> String {
    day.surveyed.folder.display().to_string()
}

fn same_rides(days: &[Compared], matched: &Matched) -> Vec<Warning> {
    let twice = |(day, before): (usize, &Option<usize>)| {
        before.map(|before| {
            Warning::new(
                "same rides",
                format!(
                    "the folder {} holds the same rides as {}, and counts only once over all days",
                    folder(&days[day]),
                    folder(&days[before])
                ),
                "Name each day once.",
            )
        })
    };
    matched.same_rides.iter().enumerate().filter_map(twice).collect()
}

/// A set-up that is about rolling resistance says nothing of its drag.
fn other_matter(days: &[Compared], matched: &Matched) -> Vec<Warning> {
    let mut all = Vec::new();
    for (day, compared) in days.iter().enumerate() {
        let telling = matched.telling(days, day);
        let silent: Vec<String> = super::ridden_setups(compared)
            .into_iter()
            .filter(|s| matched.same_rides[day].is_none() && !telling.contains(s))
            .map(|s| format!("'{}'", compared.surveyed.test_day.setups[s].name))
            .collect();
        if !silent.is_empty() {
            all.push(Warning::new(
                "rolling resistance",
                format!(
                    "in {} the test of {} is about rolling resistance, which is not put together over days",
                    folder(compared),
                    silent.join(", ")
                ),
                "Read that day by itself; with differs = [\"cda\"] or both, its drag area counts here.",
            ));
        }
    }
    all
}

/// Set-ups that no chain of days links are not compared.
fn apart(matched: &Matched, groups: &[usize], together: &Together) -> Option<Warning> {
    let ridden = (0..groups.len()).filter(|s| !together.ridden[*s].days.is_empty());
    let mut kept: Vec<usize> = ridden.clone().map(|s| groups[s]).collect();
    kept.sort_unstable();
    kept.dedup();
    if kept.len() < 2 {
        return None;
    }
    let named: Vec<String> = kept
        .iter()
        .map(|group| {
            let of_group = ridden.clone().filter(|s| groups[*s] == *group);
            let names: Vec<String> = of_group
                .map(|s| format!("'{}'", matched.setups[s].name))
                .collect();
            names.join(" with ")
        })
        .collect();
    Some(Warning::new(
        "no set-up in common",
        format!(
            "no day links these to each other, so they are not compared over the days: {}",
            named.join("; ")
        ),
        "Set-ups are matched by name: write the same name in each test.toml. If they are different set-ups, ride \
         both on the same day.",
    ))
}

fn disagree(days: &[Compared], together: &Together, pair: &Pair) -> Option<Warning> {
    let agreement = pair.agreement.filter(|a| !a.holds())?;
    let said: Vec<String> = pair
        .days
        .iter()
        .map(|of| {
            let percent = &of.cda_change_percent;
            let uncertainty = percent.standard_uncertainty.unwrap_or(f64::NAN);
            format!(
                "{:.1} ± {uncertainty:.1} % in {}",
                percent.value,
                folder(&days[of.day])
            )
        })
        .collect();
    let odd = agreement
        .odd_one
        .and_then(|at| pair.days.get(at))
        .map_or(String::new(), |of| {
            format!("; {} stands farthest from the others", folder(&days[of.day]))
        });
    let name = |s: usize| &together.setups[s].name;
    Some(Warning::new(
        "days disagree",
        format!(
            "the days disagree on '{}' against '{}' more than their own intervals allow: {}{odd}. Chance alone sets days as \
             far apart {}. The interval over all days is wider for it",
            name(pair.finding.setup),
            name(pair.finding.baseline),
            said.join(", "),
            one_in(agreement.chance_of_more)
        ),
        "Look for what was different: position, clothing, tyres and their pressure, the power meter's zero, traffic or \
         shelter. Where a reason is found, name the folders without that day; else \
         ride another day.",
    ))
}

fn one_in(chance: f64) -> String {
    if chance < 1e-4 {
        "less than once in 10000 times".to_string()
    } else {
        format!("once in {:.0} times", 1.0 / chance)
    }
}

fn by_way_of_others(together: &Together) -> Option<Warning> {
    let name = |s: usize| &together.setups[s].name;
    let indirect: Vec<String> = together
        .pairs
        .iter()
        .filter(|pair| pair.days.is_empty())
        .map(|pair| {
            format!(
                "'{}' against '{}'",
                name(pair.finding.setup),
                name(pair.finding.baseline)
            )
        })
        .collect();
    (!indirect.is_empty()).then(|| {
        Warning::new(
            "never on one day",
            format!(
                "{}: never ridden on the same day, so the difference goes by way of other set-ups and adds their errors",
                indirect.join(", ")
            ),
            "Ride the two on one day to compare them directly.",
        )
    })
}
