//! Several days: the answer over all of them first, then a line for each.

use super::super::table::table;
use super::super::words::{count, listed, signed, signed_range, wrapped};
use super::answer::{about, chance};
use super::{letter, warnings};
use crate::study::{Compared, Pair, Together};

/// The answer over several days. `None` where no pair could be compared over them.
pub fn compare_days(together: &Together, days: &[Compared], width: usize) -> Option<String> {
    if together.pairs.is_empty() {
        return None;
    }
    let mut parts = vec![heading(together, width)];
    let answers: Vec<String> = together
        .pairs
        .iter()
        .map(|pair| wrapped(&sentence_of(pair, together), width))
        .collect();
    parts.push(answers.join("\n"));
    parts.push(lines(together, days, width));
    parts.extend(warnings(&together.warnings, width));
    parts.push(rests_on(together, days, width));
    Some(parts.join("\n\n"))
}

/// What stands in the way of an answer over several days, where there is none.
pub fn no_answer_over_days(together: &Together, width: usize) -> String {
    let mut text = wrapped(
        "Over all days nothing is compared; each day by itself follows.",
        width,
    );
    if let Some(reasons) = warnings(&together.warnings, width) {
        text.push_str(&format!("\n\n{reasons}"));
    }
    text
}

fn heading(together: &Together, width: usize) -> String {
    let mut counted: Vec<usize> = together.ridden.iter().flat_map(|r| r.days.clone()).collect();
    counted.sort_unstable();
    counted.dedup();
    let mut lines = vec![wrapped(&format!("Over {}:", count(counted.len(), "day")), width)];
    for (index, (setup, ridden)) in together.setups.iter().zip(&together.ridden).enumerate() {
        let chance = ridden.chance_lowest.map_or(String::new(), |chance| {
            format!("; chance of having the lowest drag: {:.0} %", 100.0 * chance)
        });
        let text = format!(
            "{}: '{}', {} on {}{chance}",
            letter(index),
            setup.name,
            count(ridden.blocks, "block"),
            count(ridden.days.len(), "day")
        );
        lines.push(listed(&text, width));
    }
    lines.join("\n")
}

fn sentence_of(pair: &Pair, together: &Together) -> String {
    let mut text = about(
        &pair.finding,
        &together.setups,
        together.smallest_difference_percent,
    );
    if pair.finding.more_blocks_to_resolve.is_some_and(|more| more > 0) {
        text.push_str(
            " Ride them on further days: blocks of one day share what that day makes of the difference.",
        );
    }
    if let Some(agreement) = pair.agreement {
        let times = format!("{:.0} of 100", 100.0 * agreement.chance_of_more);
        text.push_str(&if agreement.holds() {
            format!(
                " Its {} stand {:.1} % apart (standard deviation), as their own intervals allow: chance alone sets days \
                 as far apart in {times} cases.",
                count(pair.days.len(), "day"),
                100.0 * agreement.spread
            )
        } else {
            format!(
                " But its {} disagree by {:.1} % (standard deviation), more than their own intervals allow: see below.",
                count(pair.days.len(), "day"),
                100.0 * agreement.spread
            )
        });
    }
    text
}

/// For each pair, all days and each of them.
fn lines(together: &Together, days: &[Compared], width: usize) -> String {
    let mut rows = Vec::new();
    for pair in &together.pairs {
        let f = &pair.finding;
        let change = format!("{} to {}", letter(f.baseline), letter(f.setup));
        let row = |name: String, percent: &crate::verdict::Estimated, last: String| {
            vec![
                change.clone(),
                name,
                signed(percent.value, 1),
                percent
                    .standard_uncertainty
                    .map_or("?".into(), |u| format!("{u:.1}")),
                percent
                    .interval_90
                    .map_or("not known".into(), |i| signed_range(i, 1)),
                last,
            ]
        };
        rows.push(row("all days".into(), &f.cda_change_percent, chance(f)));
        for of in &pair.days {
            let name = name_of(&days[of.day]);
            rows.push(row(name, &of.cda_change_percent, String::new()));
        }
    }
    let header = ["change", "day", "drag %", "±", "90 % interval", "less drag"];
    let note =
        "'less drag' is the chance that the second has less. `stillair compare FOLDER` shows a day in full.";
    format!(
        "{}\n{}",
        table(&header, &[0, 1], rows, width),
        wrapped(note, width)
    )
}

/// The folder's own name.
fn name_of(day: &Compared) -> String {
    let folder = &day.surveyed.folder;
    folder.file_name().map_or_else(
        || folder.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}

fn rests_on(together: &Together, days: &[Compared], width: usize) -> String {
    let mut lines = Vec::new();
    if let Some(percent) = together.day_to_day_percent {
        lines.push(format!(
            "A set-up is not quite the same on another day: beyond each day's own errors a difference changes by {percent:.1} % \
             (standard deviation; 1 % is taken beforehand, the days moved it to this)."
        ));
    }
    for day in days.iter().filter(|d| !d.warnings.is_empty()) {
        lines.push(format!(
            "{} has {} of its own to mind.",
            day.surveyed.folder.display(),
            count(day.warnings.len(), "point")
        ));
    }
    let listed: Vec<String> = lines.iter().map(|line| listed(line, width)).collect();
    format!("What it rests on:\n{}", listed.join("\n"))
}
