//! Passes and parts of them that are left out, or fitted alone: `[[exclude]]`, `[[window]]`, `[[cut]]`.

use super::section::Section;
use super::{Cut, Exclude, PassRef, Window};

pub(super) fn read_excludes(sections: &[Section]) -> Vec<Exclude> {
    let excludes = sections.iter().filter_map(|section| {
        let reason = section
            .text("reason")
            .unwrap_or_else(|| "no reason given".to_string());
        let pass = pass(section);
        if pass == Named::Nothing {
            section.fault(
                "",
                "this exclusion does not say which pass",
                "Write start_time = and the time at which the pass starts (stillair passes lists them).",
            );
        }
        match pass {
            Named::Pass(pass) => Some(Exclude {
                line: section.line,
                pass,
                reason,
            }),
            Named::Nothing | Named::Wrong => None,
        }
    });
    excludes.collect()
}

pub(super) fn read_windows(sections: &[Section]) -> Vec<Window> {
    let mut windows: Vec<Window> = Vec::new();
    for section in sections {
        let Some((pass, from_m, to_m)) = part(section, "window") else {
            continue;
        };
        if from_m.is_none() && to_m.is_none() {
            continue;
        }
        if let Some(other) = windows.iter().find(|other| other.pass == pass) {
            section.fault(
                "",
                format!(
                    "a second window for the same pass (the first is in line {})",
                    other.line
                ),
                "Keep one window for each pass, and at most one for all passes.",
            );
        }
        windows.push(Window {
            line: section.line,
            pass,
            from_m,
            to_m,
        });
    }
    windows
}

/// Both ends must be there: a cut without one would be a window.
pub(super) fn read_cuts(sections: &[Section]) -> Vec<Cut> {
    let cuts = sections.iter().filter_map(|section| {
        let (pass, from_m, to_m) = part(section, "cut")?;
        let reason = section.text("reason");
        if from_m.is_some() != to_m.is_some() {
            section.fault(
                "",
                "this cut has one end only",
                "Write from_m and to_m; to fit only what lies beyond a place, write a [[window]].",
            );
        }
        Some(Cut {
            line: section.line,
            pass,
            from_m: from_m?,
            to_m: to_m?,
            reason,
        })
    });
    cuts.collect()
}

/// Of which pass (`None`: of all), and its ends; `None` where the pass is named wrongly.
fn part(section: &Section, name: &str) -> Option<(Option<PassRef>, Option<f64>, Option<f64>)> {
    let pass = match pass(section) {
        Named::Pass(pass) => Some(pass),
        Named::Nothing => None,
        Named::Wrong => return None,
    };
    let advice = "Write metres along the course from its start, zero or more.";
    let from_m = section.number_within("from_m", 0.0, 100_000.0, advice);
    let to_m = section.number_within("to_m", 0.0, 100_000.0, advice);
    if !section.has("from_m") && !section.has("to_m") {
        section.fault(
            "",
            format!("this {name} has no ends"),
            "Write from_m, to_m or both, in metres along the course.",
        );
    }
    if let (Some(from), Some(to)) = (from_m, to_m)
        && from >= to
    {
        section.fault(
            "to_m",
            format!("the {name} from {from} m to {to} m is empty"),
            "Write from_m smaller than to_m.",
        );
    }
    Some((pass, from_m, to_m))
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Named {
    Pass(PassRef),
    Nothing,
    /// Said so already.
    Wrong,
}

fn pass(section: &Section) -> Named {
    let typed: Vec<&str> = ["start_time", "number", "pass"]
        .into_iter()
        .filter(|key| section.has(key))
        .collect();
    let found = match typed.as_slice() {
        [] => return Named::Nothing,
        ["start_time"] => section.time("start_time").map(PassRef::StartTime),
        [number] => section.count(number).map(PassRef::Number),
        [first, second, ..] => {
            section.fault(
                second,
                format!("both {first} and {second} name a pass"),
                "Keep start_time: it survives a new file.",
            );
            None
        }
    };
    found.map_or(Named::Wrong, Named::Pass)
}
