//! The answer in sentences, and the numbers behind them.

use super::super::sheet::Sheet;
use super::super::words::{count, signed, signed_range, size_range, wrapped};
use super::{km_h, letter};
use crate::study::Compared;
use crate::test_day::Setup;
use crate::verdict::{About, Call, Estimated, Finding, Looks, Worth};

/// A sentence for each pair of set-ups, and with several one of chances; or one about a set-up that stands alone.
pub fn answer(compared: &Compared, width: usize) -> String {
    sentences(compared)
        .iter()
        .map(|s| wrapped(s, width))
        .collect::<Vec<_>>()
        .join("\n")
}

/// The same, one by one.
pub fn sentences(compared: &Compared) -> Vec<String> {
    match compared.findings.as_slice() {
        [] => vec![alone(compared)],
        all => {
            // A null test that fails is read before what it casts doubt on.
            let failed = |f: &&Finding| f.null_test.is_some_and(|test| test.agrees() == Some(false));
            let (first, then): (Vec<&Finding>, Vec<&Finding>) = all.iter().partition(failed);
            let day = &compared.surveyed.test_day;
            first
                .into_iter()
                .chain(then)
                .map(|f| about(f, &day.setups, day.smallest_difference_percent))
                .chain(lowest(compared))
                .collect()
        }
    }
}

fn alone(compared: &Compared) -> String {
    let Some((setup, (cda, u, [low, high]))) =
        compared.setups.iter().find_map(|s| s.cda_m2.map(|cda| (s, cda)))
    else {
        return "Nothing could be fitted.".to_string();
    };
    let why = if compared.setups.len() == 1 {
        "There is one set-up, so nothing is compared."
    } else {
        "No pass of another set-up could be used, so nothing is compared."
    };
    format!(
        "Drag area (CdA) of '{}' on this road: {cda:.3} ± {u:.3} m² (90 % interval {low:.3} to {high:.3} m²). {why}",
        setup.name
    )
}

/// `small`: the smallest difference that the rider cares about, %.
pub(super) fn about(finding: &Finding, names: &[Setup], small: f64) -> String {
    let (name, base) = (&names[finding.setup].name, &names[finding.baseline].name);
    if let Some(test) = &finding.null_test {
        return format!(
            "'{name}' and '{base}' are the same by test.toml, and {}.",
            test.in_words()
        );
    }
    let mut text = match finding.call {
        Call::LowerDrag | Call::HigherDrag => resolved(finding, name, base),
        Call::NotResolved => not_resolved(finding, name, base, small),
    };
    if let (Call::LowerDrag | Call::HigherDrag, Some(looks)) = (finding.call, &finding.looks) {
        text.push_str(&format!(" {}", looked(looks)));
    }
    if let (true, Some(together)) = (
        finding.resolved_only_alone(),
        finding.interval_90_all_pairs_percent,
    ) {
        text.push_str(&format!(
            " That is this pair by itself: among so many pairs one may look like it by chance (over all pairs {} %).",
            signed_range(together, 1)
        ));
    }
    text
}

/// With three set-ups or more: which is likely to have the least drag, the likeliest first.
fn lowest(compared: &Compared) -> Option<String> {
    let mut chances: Vec<(f64, &str)> = compared
        .setups
        .iter()
        .filter_map(|s| Some((s.chance_lowest?, s.name.as_str())))
        .collect();
    chances.sort_by(|a, b| b.0.total_cmp(&a.0));
    let each: Vec<String> = chances
        .iter()
        .map(|(chance, name)| format!("'{name}' {}", percent_chance(100.0 * chance)))
        .collect();
    (each.len() > 2).then(|| format!("Chance of having the least drag of all: {}.", each.join(", ")))
}

fn resolved(finding: &Finding, name: &str, base: &str) -> String {
    let (faster, less, worth) = match finding.call {
        Call::LowerDrag => ("faster", "less", "worth"),
        _ => ("slower", "more", "at the cost of"),
    };
    let percent = finding.tested_percent();
    let interval = percent.interval_90.map_or(String::new(), |i| {
        format!(" (90 % interval {} %)", size_range(i, 1))
    });
    let with_range = |worth: &Worth, decimals: usize, unit: &str| {
        let range = worth
            .interval_90
            .map_or(String::new(), |i| format!(" ({})", size_range(i, decimals)));
        (format!("{:.decimals$} {unit}", worth.value.abs()), range)
    };
    let (watts, watts_range) = with_range(&finding.watts, 1, "W");
    let (seconds, seconds_range) = with_range(&finding.seconds_per_40_km, 0, "s");
    format!(
        "'{name}' is {faster} than '{base}': {:.1} % {less} {what}{interval}, {worth} {watts} at {:.0} km/h{watts_range} \
         or {seconds} over a flat 40 km{seconds_range}.",
        percent.value.abs(),
        km_h(finding.speed_m_s),
        what = tested(finding)
    )
}

fn tested(finding: &Finding) -> &'static str {
    match finding.about {
        About::Drag => "drag area",
        About::Rolling => "rolling resistance",
        About::Both => "resistance of air and tyres",
    }
}

fn not_resolved(finding: &Finding, name: &str, base: &str, small: f64) -> String {
    let percent = finding.tested_percent();
    let read = format!(
        "'{name}' read {} {} than '{base}'",
        more_or_less(percent.value),
        tested(finding)
    );
    let Some([low, high]) = percent.interval_90 else {
        return format!(
            "Not resolved: {read}, but with one mounting of a set-up nobody can tell the set-up from the way it was \
             put on that time, so there is no interval."
        );
    };
    let between = format!(
        "anything from {} to {} fits (90 % interval)",
        more_or_less(low),
        more_or_less(high)
    );
    if finding.known_to_be_small {
        return format!(
            "Not resolved, and small: {read}; {between}, and either way it is below the {small} % that matter to you.{}",
            finding
                .looks
                .as_ref()
                .map_or(String::new(), |looks| format!(" {}", looked(looks)))
        );
    }
    if let Some(looks) = &finding.looks {
        return format!("Not resolved: {read}; {between}. {}", looked(looks));
    }
    format!(
        "Not resolved: {read}, but {between}. {}",
        more_blocks(finding, small)
    )
}

/// After so many of the planned looks: what to do now.
fn looked(looks: &Looks) -> String {
    let interval = looks.interval_percent.map_or(String::new(), |interval| {
        format!(
            " ({:.1} % interval {} %)",
            looks.level_percent,
            signed_range(interval, 1)
        )
    });
    format!(
        "Look {} of {}{interval}: {}.",
        looks.done,
        looks.planned,
        looks.says.in_words()
    )
}

fn more_or_less(percent: f64) -> String {
    format!(
        "{:.1} % {}",
        percent.abs(),
        if percent < 0.0 { "less" } else { "more" }
    )
}

fn more_blocks(finding: &Finding, small: f64) -> String {
    match finding.more_blocks_to_resolve {
        Some(more) => format!(
            "About {}, shared between the two, would show a difference of {small} % four times out of five.",
            count(more, "more block")
        ),
        None => format!("No reachable number of blocks on such a day would show a difference of {small} %."),
    }
}

/// One pair has a table of its own; of several, each is a row.
pub struct Differences {
    /// Before the table.
    pub heading: Option<String>,
    pub sheet: Sheet,
    pub note: String,
}

pub fn differences(compared: &Compared) -> Option<Differences> {
    match compared.findings.as_slice() {
        [] => None,
        [only] => Some(one_pair(only, compared)),
        all => Some(all_pairs(all)),
    }
}

impl Differences {
    pub fn text(self, width: usize) -> String {
        let heading = self.heading.map(|heading| wrapped(&heading, width));
        let parts = heading
            .into_iter()
            .chain([self.sheet.text(width), wrapped(&self.note, width)]);
        parts.collect::<Vec<_>>().join("\n")
    }
}

fn range(interval: Option<[f64; 2]>, decimals: usize) -> String {
    interval.map_or("not known".to_string(), |i| signed_range(i, decimals))
}

fn one_pair(f: &Finding, compared: &Compared) -> Differences {
    let names = &compared.surveyed.test_day.setups;
    let uncertainty =
        |u: Option<f64>, decimals: usize| u.map_or("?".to_string(), |u| format!("{u:.decimals$}"));
    let change = |what: String, value: f64, plus_minus: String, interval, decimals| {
        vec![
            what,
            signed(value, decimals),
            plus_minus,
            range(interval, decimals),
        ]
    };
    let (percent, m2) = (&f.cda_change_percent, &f.cda_change_m2);
    let at = format!("power at {:.0} km/h, W", km_h(f.speed_m_s));
    let seconds = &f.seconds_per_40_km;
    let share = |what: &str, of: &Estimated| {
        change(
            what.into(),
            of.value,
            uncertainty(of.standard_uncertainty, 1),
            of.interval_90,
            1,
        )
    };
    let mut rows = Vec::new();
    if f.about != About::Rolling {
        rows.push(share("drag area, %", percent));
        rows.push(change(
            "drag area, m²".into(),
            m2.value,
            uncertainty(m2.standard_uncertainty, 4),
            m2.interval_90,
            4,
        ));
    }
    rows.extend(
        f.crr_change_percent
            .iter()
            .map(|crr| share("rolling resistance, %", crr)),
    );
    rows.extend(
        f.resistance_change_percent
            .iter()
            .map(|both| share("both together, %", both)),
    );
    rows.extend([
        change(at, f.watts.value, String::new(), f.watts.interval_90, 1),
        change(
            "time over a flat 40 km, s".into(),
            seconds.value,
            String::new(),
            seconds.interval_90,
            0,
        ),
    ]);
    let heading = format!(
        "From {}, '{}', to {}, '{}':",
        letter(f.baseline),
        names[f.baseline].name,
        letter(f.setup),
        names[f.setup].name
    );
    Differences {
        heading: Some(heading),
        sheet: Sheet::new(&["change", "estimate", "±", "90 % interval"], &[0], rows),
        note: format!(
            "Chance that {} has less {}: {}. Verdict: {}.",
            letter(f.setup),
            if f.about == About::Drag { "drag" } else { tested(f) },
            chance(f),
            verdict(f)
        ),
    }
}

pub(super) fn chance(f: &Finding) -> String {
    f.probability_lower
        .map_or("not known".to_string(), |p| percent_chance(100.0 * p))
}

/// Nothing is certain, however the rounding falls.
fn percent_chance(percent: f64) -> String {
    match percent {
        p if p > 99.9 => "above 99.9 %".to_string(),
        p if p < 0.1 => "below 0.1 %".to_string(),
        p => format!("{p:.1} %"),
    }
}

/// A null pair has no verdict: whatever it shows is not a difference.
fn verdict(f: &Finding) -> &'static str {
    match (f.null_test, f.about, f.call) {
        (Some(_), ..) => "null test",
        (None, About::Rolling | About::Both, Call::LowerDrag) => "lower resistance",
        (None, About::Rolling | About::Both, Call::HigherDrag) => "higher resistance",
        (None, ..) => f.call.as_text(),
    }
}

fn all_pairs(all: &[Finding]) -> Differences {
    let rows = all
        .iter()
        .map(|f| {
            let percent = f.tested_percent();
            vec![
                format!("{} to {}", letter(f.baseline), letter(f.setup)),
                signed(percent.value, 1),
                percent
                    .standard_uncertainty
                    .map_or("?".into(), |u| format!("{u:.1}")),
                range(percent.interval_90, 1),
                range(f.interval_90_all_pairs_percent, 1),
                chance(f)
                    .trim_start_matches("above ")
                    .trim_start_matches("below ")
                    .to_string(),
                verdict(f).to_string(),
            ]
        })
        .collect();
    let header = [
        "change",
        "drag %",
        "±",
        "90 % interval",
        "for all pairs",
        "less drag",
        "verdict",
    ];
    let note = "The 90 % interval is that of a pair alone, and so are 'less drag', the chance that the second has \
                less, and the verdict; nine times in ten all intervals 'for all pairs' hold at once.";
    Differences {
        heading: None,
        sheet: Sheet::new(&header, &[0, 6], rows),
        note: note.to_string(),
    }
}
