//! `[[block]]`, `[[exclude]]` and `[[window]]`: which passes belong to what, and which part of them counts.

use super::notes;
use super::section::Section;
use super::setups::{NO_SETUP, unknown};
use super::{Block, Exclude, Extent, PassRef, Setup, Window};

pub(super) fn read_blocks(
    sections: &[Section],
    setups: &[Setup],
    assumptions: &mut Vec<String>,
) -> Vec<Block> {
    let names: Vec<String> = setups.iter().map(|setup| setup.name.clone()).collect();
    let mut blocks: Vec<Block> = Vec::new();
    for section in sections {
        let setup = block_setup(section, &names);
        let extent = extent(section);
        let of = setup.flatten().and_then(|index| setups.get(index));
        let notes = notes::read(section, of, assumptions);
        if let (Some(setup), Some(extent)) = (setup, extent) {
            let block = Block {
                line: section.line,
                setup,
                extent,
                notes,
            };
            check_overlap(section, &block, &blocks);
            blocks.push(block);
        }
    }
    blocks
}

/// Outer `None` after a fault; inner `None` for "none".
fn block_setup(section: &Section, names: &[String]) -> Option<Option<usize>> {
    if !section.has("setup") {
        section.fault(
            "setup",
            "this block names no set-up",
            "Write setup = \"…\"; \"none\" for a warm-up or a ride home.",
        );
    }
    let typed = section.text("setup")?;
    if typed == NO_SETUP {
        return Some(None);
    }
    let found = names.iter().position(|name| *name == typed);
    if found.is_none() {
        let (what, next_step) = unknown(&typed, names);
        section.fault("setup", what, next_step);
    }
    found.map(Some)
}

fn extent(section: &Section) -> Option<Extent> {
    let passes = section.count("passes");
    let from_s = section.time("from");
    let to_s = section.time("to");
    let by_count = section.has("passes");
    let by_time = section.has("from") || section.has("to");
    let way_out = "Write passes = and a count, or from = and to = with times.";
    if by_count && by_time {
        section.fault(
            "passes",
            "both a count of passes and times in one block",
            "Keep passes, or from and to.",
        );
        return None;
    }
    if !by_count && !by_time {
        section.fault(
            "",
            "this block says neither how many passes it has nor from when to when it lasts",
            way_out,
        );
        return None;
    }
    if by_count {
        return passes.map(Extent::Passes);
    }
    for (key, other) in [("from", "to"), ("to", "from")] {
        if !section.has(key) {
            section.fault(key, format!("{other} is given without {key}"), way_out);
        }
    }
    let (from_s, to_s) = (from_s?, to_s?);
    if from_s >= to_s {
        section.fault("to", "the block ends before it begins", "Write from before to.");
        return None;
    }
    Some(Extent::Times { from_s, to_s })
}

/// A pass that starts within two blocks would belong to both.
fn check_overlap(section: &Section, block: &Block, earlier: &[Block]) {
    let Extent::Times { from_s, to_s } = block.extent else {
        return;
    };
    let overlaps = |other: &&Block| matches!(other.extent, Extent::Times { from_s: from, to_s: to } if from < to_s && from_s < to);
    if let Some(other) = earlier.iter().find(overlaps) {
        section.fault(
            "from",
            format!("this block overlaps the block of line {}", other.line),
            "Let each block end before the next begins.",
        );
    }
}

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
        let pass = match pass(section) {
            Named::Pass(pass) => Some(pass),
            Named::Nothing => None,
            Named::Wrong => continue,
        };
        let advice = "Write metres along the course from its start, zero or more.";
        let from_m = section.number_within("from_m", 0.0, 100_000.0, advice);
        let to_m = section.number_within("to_m", 0.0, 100_000.0, advice);
        if !section.has("from_m") && !section.has("to_m") {
            section.fault(
                "",
                "this window has no ends",
                "Write from_m, to_m or both, in metres along the course.",
            );
        }
        if let (Some(from), Some(to)) = (from_m, to_m)
            && from >= to
        {
            section.fault(
                "to_m",
                format!("the window from {from} m to {to} m is empty"),
                "Write from_m smaller than to_m.",
            );
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
