//! What a planned day would show.

use super::super::words::{count, listed, signed, wrapped};
use crate::plan::rehearse::{Looked, Rehearsal, Share, Verdicts};

pub fn rehearse(rehearsal: &Rehearsal, width: usize) -> String {
    let mut parts = vec![wrapped(&answer(rehearsal), width), numbers(rehearsal, width)];
    if let Some((day, reason)) = rehearsal.not_analysed.first() {
        let all = count(rehearsal.not_analysed.len(), "day");
        parts.push(wrapped(
            &format!("{all} gave no answer. The first, day {day}: {reason}"),
            width,
        ));
    }
    let items: Vec<String> = rehearsal
        .simulated
        .iter()
        .map(|said| listed(said, width))
        .collect();
    parts.push(format!("What was simulated:\n{}", items.join("\n")));
    parts.join("\n\n")
}

fn answer(rehearsal: &Rehearsal) -> String {
    let difference = signed(rehearsal.difference_percent, 1);
    let mut said = format!(
        "{} simulated with seed {} and analysed.",
        count(rehearsal.days, "day"),
        rehearsal.seed
    );
    if rehearsal.right_verdicts.of > 0 {
        said += &format!(
            " With a true change of {difference} % the verdict is right {}.",
            share(&rehearsal.right_verdicts)
        );
    }
    if rehearsal.false_verdicts.of > 0 {
        said += &format!(
            " Without any change there is a false verdict {}.",
            share(&rehearsal.false_verdicts)
        );
    }
    said
}

/// "in 34 % of days (90 % interval 28 to 41 %)"
fn share(share: &Share) -> String {
    let percent = |part: f64| format!("{:.0}", 100.0 * part);
    match (share.value(), share.interval_90()) {
        (Some(value), Some([low, high])) => format!(
            "in {} % of {} (90 % interval {} to {} %)",
            percent(value),
            count(share.of, "comparison"),
            percent(low),
            percent(high)
        ),
        _ => "never asked".to_string(),
    }
}

fn numbers(rehearsal: &Rehearsal, width: usize) -> String {
    let (rms, rms_uncertainty) = rehearsal.rms_error_percent;
    let (bias, bias_uncertainty) = rehearsal.bias_percent;
    let mut lines = vec![
        format!("Root mean square error of the change: {rms:.2} ± {rms_uncertainty:.2} %."),
        format!("Mean error: {} ± {bias_uncertainty:.2} %.", signed(bias, 2)),
    ];
    if let Some(stated) = rehearsal.stated_standard_uncertainty_percent {
        lines.push(format!(
            "Standard uncertainty that the days state: {stated:.2} %."
        ));
    }
    if let Some(expected) = rehearsal.expected_standard_uncertainty_percent {
        lines.push(format!("The same as the plan lets expect: {expected:.2} %."));
    }
    if rehearsal.coverage_90.of > 0 {
        lines.push(format!(
            "The 90 % interval holds the truth {}.",
            share(&rehearsal.coverage_90)
        ));
    }
    lines.push(format!(
        "Verdicts with the change: {}.",
        verdicts(&rehearsal.with_difference)
    ));
    lines.push(format!(
        "Verdicts without it: {}.",
        verdicts(&rehearsal.without_difference)
    ));
    lines.extend(rehearsal.looked.iter().map(looked));
    let items: Vec<String> = lines.iter().map(|line| listed(line, width)).collect();
    items.join("\n")
}

fn looked(looked: &Looked) -> String {
    let mut said = "Looking after every block and stopping at the first verdict:".to_string();
    if looked.right_verdicts.of > 0 {
        said += &format!(
            " with the change right {}, after {:.1} of {} blocks in the mean;",
            share(&looked.right_verdicts),
            looked.blocks_with_difference,
            looked.planned_blocks
        );
    }
    said += &format!(" without it a false verdict {}.", share(&looked.false_verdicts));
    said
}

fn verdicts(verdicts: &Verdicts) -> String {
    format!(
        "lower drag {}, higher drag {}, not resolved {}",
        verdicts.lower_drag, verdicts.higher_drag, verdicts.not_resolved
    )
}
