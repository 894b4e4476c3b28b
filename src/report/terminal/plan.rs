//! A day before it is ridden.

use super::super::table::table;
use super::super::words::{count, listed, real_minus, signed, wrapped};
use super::{km_h, letter};
use crate::course::Direction;
use crate::plan::chance_to_resolve;
use crate::plan::choose::LEAST_GAIN;
use crate::plan::propose::{EntryOf, Proposal, Purpose};
use crate::plan::told::{hold_words, shape_words, to_the_first};
use crate::test_day::Hold;

pub fn plan(proposal: &Proposal, width: usize) -> String {
    let mut parts = vec![
        paragraphs(&answer(proposal), width),
        order(proposal, width),
        paragraphs(&how_to_ride(proposal), width),
        alternatives(proposal, width),
    ];
    if !proposal.warnings.is_empty() {
        let remarks = proposal.warnings.iter();
        let remarks = remarks.map(|w| listed(&format!("{}. {}", w.message, w.next_step), width));
        parts.push(format!("To mind:\n{}", remarks.collect::<Vec<_>>().join("\n")));
    }
    let rests_on = proposal.assumptions.iter().map(|line| listed(line, width));
    parts.push(format!(
        "What this rests on:\n{}",
        rests_on.collect::<Vec<_>>().join("\n")
    ));
    real_minus(&parts.join("\n\n"))
}

fn paragraphs(sentences: &[String], width: usize) -> String {
    let lines = sentences.iter().map(|sentence| wrapped(sentence, width));
    lines.collect::<Vec<_>>().join("\n")
}

fn name(proposal: &Proposal, setup: usize) -> &str {
    proposal.setups.get(setup).map_or("", |setup| setup.name.as_str())
}

/// What the day is and what it is expected to tell.
pub fn answer(proposal: &Proposal) -> Vec<String> {
    let chosen = &proposal.choice.chosen;
    let mut all = vec![format!(
        "{} of {}, {}, {:.0} min: {}.",
        count(proposal.blocks.len(), "block"),
        count(chosen.candidate.passes, "pass"),
        shape_words(proposal.shape),
        proposal.expected.duration_s / 60.0,
        letters(proposal)
    )];
    if let Some(apart) = proposal.apart {
        all.push(format!(
            "Expected standard uncertainty of the drag area: {:.3} m² ({:.3} m² expected); of the rolling resistance \
             (Crr): {:.5}, by the rides alone {:.5}. Both are told by the day.",
            apart.cda_standard_uncertainty_m2,
            proposal.planned.cda_m2,
            apart.crr_standard_uncertainty,
            apart.crr_by_rides_alone_standard_uncertainty
        ));
        return all;
    }
    for pair in to_the_first(&proposal.expected) {
        all.push(format!(
            "Expected standard uncertainty of the change from '{}' to '{}': {:.1} % (root mean square over the days that \
             may come; on half of them {:.1} % or less). A true change of {} % would be resolved {:.0} times in 100.",
            name(proposal, pair.baseline),
            name(proposal, pair.setup),
            pair.standard_uncertainty_percent,
            pair.median_standard_uncertainty_percent,
            signed(proposal.difference_percent, 1),
            100.0 * chance_to_resolve(pair, proposal.difference_percent)
        ));
    }
    all
}

/// "A B B A".
pub fn letters(proposal: &Proposal) -> String {
    let letters: Vec<String> = proposal.order.iter().map(|setup| letter(*setup)).collect();
    letters.join(" ")
}

/// What stands for a letter: a set-up, or a power.
pub fn of_letter(proposal: &Proposal, place: usize) -> String {
    match proposal.purpose {
        Purpose::TwoSpeed => proposal
            .order
            .iter()
            .position(|letter| *letter == place)
            .and_then(|block| proposal.blocks[block].power_w)
            .map_or_else(String::new, |power| format!("{power:.0} W")),
        _ => name(proposal, place).to_string(),
    }
}

fn order(proposal: &Proposal, width: usize) -> String {
    let rows = proposal.blocks.iter().enumerate().map(|(number, block)| {
        vec![
            (number + 1).to_string(),
            letter(proposal.order[number]),
            block.passes.to_string(),
            format!("{:.0}", proposal.powers_w[number]),
            block.before.trim_end_matches('.').to_string(),
        ]
    });
    table(
        &["block", "", "passes", "W", "before it"],
        &[1, 4],
        rows.collect(),
        width,
    )
}

/// Power or speed, entry, ballast.
pub fn how_to_ride(proposal: &Proposal) -> Vec<String> {
    let mut all = vec![match proposal.planned.hold {
        Hold::Power => "Hold the same power in every pass, from the gate on.".to_string(),
        Hold::Speed => {
            "Hold the same speed in every pass, from the gate on; the watts of the table are what each set-up is \
             expected to need for it."
                .to_string()
        }
    }];
    if let Some(holds) = proposal.holds {
        all.push(holds_sentence(holds.power_percent, holds.speed_percent));
    }
    all.extend(proposal.entries.iter().map(entry_sentence));
    all.push(
        "Begin and end each pass well outside the gates, at an even effort; choose a landmark at each gate and note it on \
         the sheet."
            .to_string(),
    );
    for setup in proposal.setups.iter().filter(|setup| setup.ballast_ml > 0.0) {
        all.push(format!(
            "'{}' is the lighter one: carry {:.0} ml of water more with it, and its mass is that of the heaviest.",
            setup.name, setup.ballast_ml
        ));
    }
    all
}

fn holds_sentence(power_percent: f64, speed_percent: f64) -> String {
    let gain = 100.0 * (1.0 - power_percent.min(speed_percent) / power_percent.max(speed_percent));
    let better = if power_percent <= speed_percent {
        Hold::Power
    } else {
        Hold::Speed
    };
    if gain < 0.5 {
        return format!(
            "Equal power ({power_percent:.2} %) and equal speed ({speed_percent:.2} %) tell the same here: hold what you \
             hold better."
        );
    }
    format!(
        "On this course {} tells more: {:.2} % against {:.2} %, a standard uncertainty smaller by {gain:.0} %.",
        hold_words(better),
        power_percent.min(speed_percent),
        power_percent.max(speed_percent)
    )
}

pub fn entry_sentence(of: &EntryOf) -> String {
    let way = match of.direction {
        Direction::Forward => "At the start",
        Direction::Reverse => "At the finish, for the way back",
    };
    format!(
        "{way} be at {:.1} km/h when you pass the gate: the speed that {:.0} W keep up on the first metres. From a slow \
         turn it takes {:.0} m at that power, and less if you push harder first; be down to it before the gate.",
        km_h(of.entry.speed_m_s),
        of.power_w,
        of.entry.run_up_m
    )
}

fn alternatives(proposal: &Proposal, width: usize) -> String {
    let chosen = &proposal.choice.chosen.candidate;
    let rows = proposal.choice.alternatives.iter().map(|other| {
        let (candidate, weighed) = (&other.candidate, &other.weighed);
        vec![
            shape_words(candidate.shape).to_string(),
            candidate.order.len().to_string(),
            candidate.passes.to_string(),
            format!("{:.2}", weighed.uncertainty_percent),
            weighed
                .chance
                .map_or_else(String::new, |chance| format!("{:.0}", 100.0 * chance)),
            format!("{:.0}", weighed.duration_s / 60.0),
            if candidate == chosen { "chosen" } else { "" }.to_string(),
        ]
    });
    let header = ["way", "blocks", "passes", "± %", "resolved, %", "min", ""];
    let intro = format!(
        "Within {:.0} min, with the passes a block that tell most:",
        proposal.time_s / 60.0
    );
    let mut text = format!(
        "{}\n{}",
        wrapped(&intro, width),
        table(&header, &[0, 6], rows.collect(), width)
    );
    text.push('\n');
    text.push_str(&wrapped(&enough(proposal), width));
    text
}

pub fn enough(proposal: &Proposal) -> String {
    let gain = 100.0 * LEAST_GAIN;
    let letters = if proposal.purpose == Purpose::TwoSpeed {
        2
    } else {
        proposal.setups.len()
    };
    match proposal.choice.enough_each {
        Some(each) => format!(
            "From {} on, one block more takes less than {gain:.0} % off the uncertainty.",
            count(each * letters, "block")
        ),
        None => {
            format!("Up to sixteen blocks, each one more takes at least {gain:.0} % off the uncertainty.")
        }
    }
}
