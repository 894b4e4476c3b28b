//! `[[setup]]`: names, what differs, and the bicycle each is ridden with.

use super::bicycle::Bicycle;
use super::section::Section;
use super::suggest::{listed, nearest};
use super::{Differs, PowerAt, Setup};

/// Name of the only set-up where none is written.
pub(super) const AS_RIDDEN: &str = "as ridden";
/// In `[[block]]`: a stretch of time that belongs to no set-up.
pub(super) const NO_SETUP: &str = "none";

pub(super) fn read(sections: &[Section], shared: Bicycle, power_at: PowerAt) -> (Vec<Setup>, Vec<Bicycle>) {
    if sections.is_empty() {
        return (vec![setup(AS_RIDDEN.to_string(), &shared)], vec![shared]);
    }
    let mut setups: Vec<Setup> = Vec::new();
    let mut bicycles = Vec::new();
    for section in sections {
        let name = name(section, &setups, sections);
        let bicycle = shared.with(section, power_at);
        setups.push(Setup {
            differs: differs(section),
            ..setup(name, &bicycle)
        });
        bicycles.push(bicycle);
    }
    settle_same_as(sections, &mut setups);
    (setups, bicycles)
}

fn setup(name: String, bicycle: &Bicycle) -> Setup {
    Setup {
        name,
        total_mass_kg: bicycle.total_mass_kg.measured,
        drivetrain_efficiency: bicycle.drivetrain_efficiency.measured,
        wheel_radius_m: bicycle.wheel_radius_m.measured,
        wheel_inertia_kg_m2: bicycle.wheel_inertia_kg_m2.measured,
        crr: bicycle.crr.measured,
        speed_scale: None,
        differs: Differs::Cda,
        same_as: None,
    }
}

/// The name, or an empty one after a fault: nothing can refer to it.
fn name(section: &Section, earlier: &[Setup], sections: &[Section]) -> String {
    if !section.has("name") {
        section.fault(
            "name",
            "this set-up has no name",
            "Write name = \"…\" in each [[setup]].",
        );
    }
    let Some(name) = section.text("name") else {
        return String::new();
    };
    if name == NO_SETUP {
        section.fault(
            "name",
            "\"none\" is kept for blocks that belong to no set-up",
            "Give this set-up another name.",
        );
    }
    if let Some(index) = earlier.iter().position(|setup| setup.name == name) {
        let line = sections.get(index).map_or(0, |section| section.line);
        section.fault(
            "name",
            format!("the name \"{name}\" is used twice (also in line {line})"),
            "Give each set-up a name of its own; a null test says so with same_as = \"…\".",
        );
    }
    name
}

fn differs(section: &Section) -> Differs {
    let Some(words) = section.texts("differs") else {
        return Differs::Cda;
    };
    let has = |word: &str| words.iter().any(|typed| typed == word);
    let all_known = words
        .iter()
        .all(|word| ["cda", "crr", "both"].contains(&word.as_str()));
    if words.is_empty() || !all_known {
        let typed: Vec<&str> = words.iter().map(String::as_str).collect();
        let what = match typed.as_slice() {
            [] => "an empty list says nothing about what the test is about".to_string(),
            typed => format!("{} is not what a set-up can differ in", listed(typed)),
        };
        section.fault(
            "differs",
            what,
            "Write [\"cda\"], [\"crr\"] or [\"cda\", \"crr\"].",
        );
        return Differs::Cda;
    }
    match (has("cda") || has("both"), has("crr") || has("both")) {
        (true, true) => Differs::Both,
        (false, true) => Differs::Crr,
        _ => Differs::Cda,
    }
}

/// Names of `same_as` become indices of the set-up at the end of the chain.
fn settle_same_as(sections: &[Section], setups: &mut [Setup]) {
    let names: Vec<String> = setups.iter().map(|setup| setup.name.clone()).collect();
    let targets: Vec<Option<usize>> = sections
        .iter()
        .map(|section| {
            let typed = section.text("same_as")?;
            let found = names.iter().position(|name| *name == typed);
            if found.is_none() {
                let (what, next_step) = unknown(&typed, &names);
                section.fault("same_as", what, next_step);
            }
            found
        })
        .collect();
    for (index, section) in sections.iter().enumerate() {
        let mut end = index;
        let mut steps = 0;
        while let Some(next) = targets.get(end).copied().flatten() {
            end = next;
            steps += 1;
            if steps > targets.len() {
                section.fault(
                    "same_as",
                    "this set-up is, by way of same_as, the same as itself",
                    "Write same_as in the later of the two set-ups only, naming the earlier one.",
                );
                end = index;
                break;
            }
        }
        if let Some(setup) = setups.get_mut(index) {
            setup.same_as = (end != index).then_some(end);
        }
    }
}

/// What to say about a name that no set-up has.
pub(super) fn unknown(typed: &str, names: &[String]) -> (String, String) {
    let mut known: Vec<&str> = Vec::new();
    for name in names {
        if !name.is_empty() && !known.contains(&name.as_str()) {
            known.push(name);
        }
    }
    let what = format!("there is no set-up \"{typed}\"");
    let next_step = match (nearest(typed, &known), known.as_slice()) {
        (_, []) => "Write a [[setup]] with this name.".to_string(),
        (Some(name), _) => format!("Did you mean \"{name}\"? The set-ups are {}.", listed(&known)),
        (None, _) => format!(
            "The set-ups are {}; write one of them, or a [[setup]] with this name.",
            listed(&known)
        ),
    };
    (what, next_step)
}
