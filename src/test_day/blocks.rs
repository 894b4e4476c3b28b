//! `[[block]]`, `[[exclude]]` and `[[window]]`: which passes belong to what, and which part of them counts.

use super::notes;
use super::section::Section;
use super::setups::{NO_SETUP, unknown};
use super::{Block, Extent, Setup};

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
                planned_power_w: section.number_within(
                    "planned_power_w",
                    30.0,
                    1000.0,
                    "Write the watts to be held in this block, such as 150.",
                ),
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
