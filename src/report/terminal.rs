//! Text for a terminal: the answer in one sentence, then set-ups, passes, what to mind.

use super::table::{channels, table};
use crate::course::{Course, Direction};
use crate::recording::Recording;
use crate::streams::Streams;
use crate::study::{Compared, PassResult, Surveyed};
use crate::test_day::Shape;
use crate::units::{M_S_PER_KM_H, clock_text, utc_text};
use crate::verdict::{Call, Estimated, Finding};
use crate::warning::Warning;

fn km_h(speed_m_s: f64) -> f64 {
    speed_m_s / M_S_PER_KM_H
}

/// The whole answer to a test day.
pub fn compare(compared: &Compared, width: usize) -> String {
    let mut parts = Vec::new();
    if let Some(title) = &compared.surveyed.test_day.title {
        parts.push(wrapped(title, width));
    }
    parts.push(answer(compared, width));
    if !compared.findings.is_empty() {
        parts.push(differences(compared, width));
    }
    parts.push(setups(compared, width));
    parts.push(format!(
        "{}\n\n{}",
        course(&compared.surveyed, width),
        pass_table(compared, width)
    ));
    parts.extend(near_passes(&compared.surveyed, width));
    parts.extend(budget(compared, width));
    let fit = &compared.fit.sentence;
    let air = format!(
        "Air {:.4} ± {:.4} kg/m³ ({}).",
        compared.air.density_kg_m3, compared.air.density_standard_uncertainty_kg_m3, compared.air_source
    );
    parts.push(wrapped(&format!("Fit: {fit} {air}"), width));
    let rests: Vec<String> = compared.assumptions.iter().map(|a| listed(a, width)).collect();
    parts.push(format!("What the numbers rest on:\n{}", rests.join("\n")));
    parts.extend(warnings(&compared.warnings, width));
    parts.join("\n\n")
}

/// One sentence.
fn answer(compared: &Compared, width: usize) -> String {
    let sentences: Vec<String> = match compared.findings.as_slice() {
        [] => vec![alone(compared)],
        all => all
            .iter()
            .map(|f| wrapped(&sentence(f, compared), width))
            .collect(),
    };
    sentences
        .iter()
        .map(|s| wrapped(s, width))
        .collect::<Vec<_>>()
        .join("\n")
}

fn alone(compared: &Compared) -> String {
    match compared.setups.iter().find_map(|s| s.cda_m2.map(|cda| (s, cda))) {
        Some((setup, (cda, u, [low, high]))) => format!(
            "Your drag on this road ('{}'): CdA {cda:.3} m², standard uncertainty {u:.3}, between {low:.3} and \
             {high:.3} with 90 % confidence; Crr {:.4} ± {:.4}.",
            setup.name, setup.crr.0, setup.crr.1
        ),
        None => "Nothing could be fitted.".to_string(),
    }
}

fn sentence(finding: &Finding, compared: &Compared) -> String {
    let names = &compared.surveyed.test_day.setups;
    let (name, base) = (&names[finding.setup].name, &names[finding.baseline].name);
    let percent = &finding.cda_change_percent;
    match (finding.call, percent.interval_90) {
        (Call::NotResolved, None) => format!(
            "Not resolved: '{name}' read {:+.1} % in drag area beside '{base}', but one mounting of a set-up cannot \
             be told from the next, so there is no interval.",
            percent.value
        ),
        (Call::NotResolved, Some([low, high])) if finding.known_to_be_small => format!(
            "Not resolved, and small: '{name}' differs from '{base}' by {:+.1} % in drag area ({low:+.1} to {high:+.1} %), \
             less than the {} % that matter to you.",
            percent.value, compared.surveyed.test_day.smallest_difference_percent
        ),
        (Call::NotResolved, Some([low, high])) => format!(
            "Not resolved: '{name}' read {:+.1} % in drag area beside '{base}' ({low:+.1} to {high:+.1} %). {}",
            percent.value,
            more_blocks(finding, compared)
        ),
        (call, interval) => {
            let [low, high] = interval.unwrap_or([f64::NAN; 2]);
            let (less, faster) = if call == Call::LowerDrag {
                ("less", "faster")
            } else {
                ("more", "slower")
            };
            let [a, b] = if call == Call::LowerDrag {
                [-high, -low]
            } else {
                [low, high]
            };
            format!(
                "'{name}' is {faster}: {:.1} % {less} drag area than '{base}' ({a:.1} to {b:.1} %, 90 % interval), \
                 {:+.1} W at {:.0} km/h and {:+.0} s over a flat 40 km.",
                percent.value.abs(),
                finding.watts.value,
                km_h(finding.speed_m_s),
                finding.seconds_per_40_km.value
            )
        }
    }
}

fn more_blocks(finding: &Finding, compared: &Compared) -> String {
    let small = compared.surveyed.test_day.smallest_difference_percent;
    match finding.more_blocks_to_resolve {
        Some(count) => format!(
            "About {count} more blocks, shared between the two, would show a difference of {small} % four times out of five."
        ),
        None => format!("No reachable number of blocks on such a day would show a difference of {small} %."),
    }
}

fn plus_minus(e: &Estimated, decimals: usize) -> String {
    let plus_minus = match e.standard_uncertainty {
        Some(u) => format!(" ± {u:.decimals$}"),
        None => " ± ?".to_string(),
    };
    format!("{:+.decimals$}{plus_minus}", e.value)
}

fn range(interval: Option<[f64; 2]>, decimals: usize) -> String {
    interval.map_or("not known".to_string(), |[low, high]| {
        format!("{low:+.decimals$} to {high:+.decimals$}")
    })
}

fn differences(compared: &Compared, width: usize) -> String {
    let names = &compared.surveyed.test_day.setups;
    let blocks: Vec<String> = compared
        .findings
        .iter()
        .map(|f| {
            let mut rows = vec![
                vec![
                    "drag area, %".into(),
                    plus_minus(&f.cda_change_percent, 1),
                    range(f.cda_change_percent.interval_90, 1),
                ],
                vec![
                    "drag area, m²".into(),
                    plus_minus(&f.cda_change_m2, 4),
                    range(f.cda_change_m2.interval_90, 4),
                ],
                vec![
                    format!("W at {:.0} km/h", km_h(f.speed_m_s)),
                    format!("{:+.1}", f.watts.value),
                    range(f.watts.interval_90, 1),
                ],
                vec![
                    "s over a flat 40 km".into(),
                    format!("{:+.0}", f.seconds_per_40_km.value),
                    range(f.seconds_per_40_km.interval_90, 0),
                ],
            ];
            if f.interval_90_all_pairs_percent.is_some() {
                let all = range(f.interval_90_all_pairs_percent, 1);
                rows.push(vec!["… over all pairs, %".into(), String::new(), all]);
            }
            let chance = f
                .probability_lower
                .map_or("not known".into(), |p| format!("{:.1} %", 100.0 * p));
            rows.push(vec![
                "chance of less drag".into(),
                chance,
                f.call.as_text().into(),
            ]);
            let heading = format!("{} against {}", names[f.setup].name, names[f.baseline].name);
            let text = table(&["change", "estimate", "90 % interval"], &[0], rows, width);
            format!("{}\n{text}", wrapped(&heading, width))
        })
        .collect();
    blocks.join("\n\n")
}

fn setups(compared: &Compared, width: usize) -> String {
    let ranked = compared.setups.iter().any(|s| s.chance_lowest.is_some());
    let mut header = vec!["set-up", "CdA m²", "90 % interval", "Crr", "blocks", "passes"];
    if ranked {
        header.push("lowest");
    }
    let rows = compared
        .setups
        .iter()
        .map(|s| {
            let (cda, interval) = match s.cda_m2 {
                Some((cda, u, [low, high])) => {
                    (format!("{cda:.3} ± {u:.3}"), format!("{low:.3} to {high:.3}"))
                }
                None => ("none".into(), String::new()),
            };
            let mut row = vec![
                s.name.clone(),
                cda,
                interval,
                format!("{:.4} ± {:.4}", s.crr.0, s.crr.1),
                s.blocks.to_string(),
                s.passes.to_string(),
            ];
            if ranked {
                row.push(
                    s.chance_lowest
                        .map_or(String::new(), |c| format!("{:.0} %", 100.0 * c)),
                );
            }
            row
        })
        .collect();
    table(&header, &[0], rows, width)
}

fn shape_text(shape: Shape) -> &'static str {
    match shape {
        Shape::OneWay => "one way",
        Shape::OutAndBack => "out and back",
        Shape::Loop => "loop",
    }
}

fn position(deg: [f64; 2]) -> String {
    format!("[{:.5}, {:.5}]", deg[0], deg[1])
}

fn course(surveyed: &Surveyed, width: usize) -> String {
    let Course {
        shape,
        found,
        line,
        roll_backs,
        lap_mark_places,
        ..
    } = &surveyed.ridden.course;
    let climb = match surveyed.ridden.course.climb_m() {
        Some(climb) => format!("{climb:+.1} m from start to finish"),
        None => "height unknown".to_string(),
    };
    let origin = if *found {
        "found from the rides"
    } else {
        "from test.toml"
    };
    let mut text = format!(
        "Course ({origin}): {}, {:.0} m, {climb}; start {}",
        shape_text(*shape),
        surveyed.ridden.course.length_m(),
        position(line.start_deg())
    );
    if *shape != Shape::Loop {
        text.push_str(&format!(", finish {}", position(line.finish_deg())));
    }
    text.push('.');
    if *roll_backs > 0 {
        text.push_str(&format!(" Rolled back {roll_backs} times, not counted."));
    }
    for place in lap_mark_places {
        let at = place
            .distance_m
            .map_or(String::new(), |d| format!(", {d:.0} m from the start"));
        text.push_str(&format!(
            " The lap button was pressed {} times at {}{at}: it can serve as a gate.",
            place.marks,
            position([place.latitude_deg, place.longitude_deg])
        ));
    }
    wrapped(&text, width)
}

fn days(surveyed: &Surveyed) -> bool {
    let mut days: Vec<String> = surveyed
        .ridden
        .passes
        .iter()
        .map(|p| utc_text(p.start_s, 0)[..10].to_string())
        .collect();
    days.dedup();
    days.len() > 1
}

fn start_text(start_s: f64, with_day: bool) -> String {
    if with_day {
        utc_text(start_s, 0)[..19].replace('T', " ")
    } else {
        clock_text(start_s)
    }
}

fn way(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "fwd",
        Direction::Reverse => "rev",
    }
}

fn pass_table(compared: &Compared, width: usize) -> String {
    let surveyed = &compared.surveyed;
    let with_day = days(surveyed);
    let header = [
        "pass",
        "block",
        "set-up",
        "way",
        "start UTC",
        "s",
        "km/h in",
        "W",
        "CdA m²",
        "still air s",
    ];
    let row = |result: &PassResult| {
        let pass = &surveyed.ridden.passes[result.pass];
        let mark = if result.kept && result.flags.is_empty() {
            ""
        } else {
            "*"
        };
        vec![
            format!("{}{mark}", pass.number),
            result.block.map_or("–".into(), |b| b.to_string()),
            result
                .setup
                .map_or("none".into(), |s| shortened(&surveyed.test_day.setups[s].name)),
            way(pass.direction).into(),
            start_text(pass.start_s, with_day),
            format!("{:.1}", pass.duration_s()),
            format!("{:.1}", km_h(pass.entry_speed_m_s)),
            if pass.mean_power_w.is_finite() {
                format!("{:.0}", pass.mean_power_w)
            } else {
                "–".into()
            },
            result
                .cda_m2
                .map_or("–".into(), |(cda, u)| format!("{cda:.3}±{u:.3}")),
            result.still_air_time_s.map_or("–".into(), |t| format!("{t:.1}")),
        ]
    };
    let rows = compared.passes.iter().map(row).collect();
    let mut text = table(&header, &[1, 2, 3, 4], rows, width);
    let flagged = compared
        .passes
        .iter()
        .map(|r| (surveyed.ridden.passes[r.pass].number, r.flags.as_slice()));
    text.push_str(&flags(flagged, width));
    text
}

/// Names as long as the table can hold; the table of set-ups has them whole.
fn shortened(name: &str) -> String {
    const ROOM: usize = 14;
    if name.chars().count() <= ROOM {
        return name.to_string();
    }
    name.chars().take(ROOM - 1).chain(['…']).collect()
}

fn flags<'a>(passes: impl Iterator<Item = (usize, &'a [String])>, width: usize) -> String {
    let lines: Vec<String> = passes
        .filter(|(_, flags)| !flags.is_empty())
        .map(|(number, flags)| listed(&format!("*pass {number}: {}", flags.join("; ")), width))
        .collect();
    if lines.is_empty() {
        String::new()
    } else {
        format!("\n{}", lines.join("\n"))
    }
}

fn near_passes(surveyed: &Surveyed, width: usize) -> Option<String> {
    let near = &surveyed.ridden.near_passes;
    if near.is_empty() {
        return None;
    }
    let with_day = days(surveyed);
    let lines: Vec<String> = near
        .iter()
        .map(|n| {
            listed(
                &format!(
                    "{} {}: {}",
                    start_text(n.start_s, with_day),
                    way(n.direction),
                    n.reason
                ),
                width,
            )
        })
        .collect();
    Some(format!("Nearly a pass:\n{}", lines.join("\n")))
}

/// The five inputs that weigh most on CdA.
fn budget(compared: &Compared, width: usize) -> Option<String> {
    let first = compared.findings.first();
    let baseline = first.map_or(0, |f| f.baseline);
    let mut lines: Vec<_> = compared
        .budget
        .iter()
        .filter(|l| l.effect_cda_m2[baseline].is_finite())
        .collect();
    lines.sort_by(|a, b| b.effect_cda_m2[baseline].total_cmp(&a.effect_cda_m2[baseline]));
    if lines.is_empty() {
        return None;
    }
    let rows = lines
        .into_iter()
        .take(5)
        .map(|line| {
            let mut row = vec![
                line.input.to_string(),
                format!(
                    "{:.2$} {}",
                    line.standard_uncertainty,
                    line.unit,
                    decimals(line.standard_uncertainty)
                )
                .trim_end_matches(" 1")
                .to_string(),
                format!("{:.4}", line.effect_cda_m2[baseline]),
            ];
            if let Some(f) = first {
                let change = 100.0 * (line.effect_log_ratio[f.setup] - line.effect_log_ratio[baseline]).abs();
                row.push(format!("{change:.2}"));
            }
            row
        })
        .collect();
    let mut header = vec!["common to all passes", "uncertainty", "CdA m²"];
    if first.is_some() {
        header.push("change %");
    }
    Some(table(&header, &[0], rows, width))
}

/// Two significant digits.
fn decimals(value: f64) -> usize {
    if value <= 0.0 || !value.is_finite() {
        return 1;
    }
    (1.0 - value.log10().floor()).clamp(0.0, 6.0) as usize
}

fn warnings(warnings: &[Warning], width: usize) -> Option<String> {
    if warnings.is_empty() {
        return None;
    }
    let lines: Vec<String> = warnings
        .iter()
        .map(|w| listed(&format!("{}. {}", w.message, w.next_step), width))
        .collect();
    Some(format!("To mind:\n{}", lines.join("\n")))
}

/// The course and its passes.
pub fn passes(surveyed: &Surveyed, width: usize) -> String {
    let ridden = &surveyed.ridden;
    let with_day = days(surveyed);
    let several = surveyed.streams.len() > 1;
    let mut header = vec!["pass", "way", "start UTC", "s", "km/h in", "km/h", "W", "m"];
    if several {
        header.push("file");
    }
    let rows = ridden
        .passes
        .iter()
        .map(|p| {
            let mark = if p.flags.is_empty() { "" } else { "*" };
            let mut row = vec![
                format!("{}{mark}", p.number),
                way(p.direction).into(),
                start_text(p.start_s, with_day),
                format!("{:.1}", p.duration_s()),
                format!("{:.1}", km_h(p.entry_speed_m_s)),
                format!("{:.1}", km_h(ridden.course.length_m() / p.duration_s())),
                if p.mean_power_w.is_finite() {
                    format!("{:.0}", p.mean_power_w)
                } else {
                    "–".into()
                },
                format!("{:.0}", p.ridden_m),
            ];
            if several {
                row.push(surveyed.streams[p.recording].name());
            }
            row
        })
        .collect();
    let mut parts = vec![course(surveyed, width)];
    let mut text = table(&header, &[1, 2, 8], rows, width);
    text.push_str(&flags(
        ridden.passes.iter().map(|p| (p.number, p.flags.as_slice())),
        width,
    ));
    parts.push(text);
    parts.extend(near_passes(surveyed, width));
    parts.extend(warnings(&surveyed.warnings, width));
    parts.join("\n\n")
}

/// What one recording holds; `found`: its repeated stretch, or why there is none.
pub fn inspect(recording: &Recording, streams: Option<&Streams>, found: &str, width: usize) -> String {
    let count = recording.samples.len();
    let mut head = format!(
        "{}: {:?}, {count} samples",
        recording.file.display(),
        recording.format
    );
    if let Some(device) = &recording.device {
        head.push_str(&format!(", recorded by {device}"));
    }
    let mut parts = vec![wrapped(&format!("{head}."), width)];
    if let Some(s) = streams {
        parts.push(wrapped(&clock_line(s), width));
    }
    let rows = channels(recording)
        .into_iter()
        .map(|(name, unit, valid)| {
            vec![
                name,
                unit,
                valid.to_string(),
                format!("{:.1} %", 100.0 * valid as f64 / count.max(1) as f64),
            ]
        })
        .collect();
    parts.push(table(
        &["channel", "unit", "samples", "share"],
        &[0, 1],
        rows,
        width,
    ));
    if let Some(s) = streams {
        parts.push(wrapped(&speed_line(s), width));
        if !s.repairs.is_empty() {
            let lines: Vec<String> = s.repairs.iter().map(|r| listed(&repair_line(r), width)).collect();
            parts.push(format!("Taken out or set right:\n{}", some_of(&lines)));
        }
    }
    if !recording.lap_marks_s.is_empty() {
        let marks: Vec<String> = recording.lap_marks_s.iter().map(|t| clock_text(*t)).collect();
        parts.push(wrapped(&format!("Lap button: {}.", marks.join(", ")), width));
    }
    if !recording.faults.is_empty() {
        let lines: Vec<String> = recording
            .faults
            .iter()
            .map(|f| {
                let place = f.place.as_ref().map_or(String::new(), |p| format!("{p}: "));
                listed(&format!("{place}{}. {}", f.what, f.next_step), width)
            })
            .collect();
        parts.push(format!("Faults:\n{}", some_of(&lines)));
    }
    parts.push(wrapped(found, width));
    parts.join("\n\n")
}

fn clock_line(s: &Streams) -> String {
    let pauses: Vec<f64> = s
        .gaps
        .iter()
        .filter(|g| g.paused)
        .map(|g| g.end_s - g.start_s)
        .collect();
    let holes: Vec<f64> = s
        .gaps
        .iter()
        .filter(|g| !g.paused)
        .map(|g| g.end_s - g.start_s)
        .collect();
    let told = |list: &[f64]| match list {
        [] => "none".to_string(),
        some => format!("{} ({:.0} s in all)", some.len(), some.iter().sum::<f64>()),
    };
    format!(
        "From {} to {}, a sample every {} s. Pauses: {}; holes: {}.",
        utc_text(s.start_s(), 0),
        utc_text(s.end_s(), 0),
        s.nominal_interval_s,
        told(&pauses),
        told(&holes)
    )
}

fn speed_line(s: &Streams) -> String {
    let source = super::json::speed_source(s.speed_source);
    match s.speed_check {
        Some(check) => format!(
            "Speed from: {source}. Over {:.1} km its distance is {:.4} ± {:.4} of that between positions.",
            check.length_m / 1000.0,
            check.ratio,
            check.standard_uncertainty
        ),
        None => format!("Speed from: {source}; it could not be compared with positions."),
    }
}

fn repair_line(repair: &crate::streams::Repair) -> String {
    format!(
        "{} to {}: {}",
        clock_text(repair.start_s),
        clock_text(repair.end_s),
        repair.message
    )
}

/// The first of a long list; `--json` has them all.
fn some_of(lines: &[String]) -> String {
    const MOST: usize = 12;
    let mut text = lines.iter().take(MOST).cloned().collect::<Vec<_>>().join("\n");
    if lines.len() > MOST {
        text.push_str(&format!(
            "\n- … and {} more (all with --json)",
            lines.len() - MOST
        ));
    }
    text
}

/// The course in one sentence, for `inspect`.
pub fn stretch(surveyed: &Surveyed) -> String {
    let count = surveyed.ridden.passes.len();
    format!(
        "Ridden more than once, {count} passes. {}",
        course(surveyed, usize::MAX)
    )
}

fn listed(text: &str, width: usize) -> String {
    let body = wrapped(text, width.saturating_sub(2));
    format!("- {}", body.replace('\n', "\n  "))
}

/// Words broken into lines of at most `width` characters.
fn wrapped(text: &str, width: usize) -> String {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines.join("\n")
}
