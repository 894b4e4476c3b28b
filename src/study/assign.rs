//! Which pass was ridden with which set-up, which are left out, and which part of each is fitted.

use crate::course::{Pass, Ridden};
use crate::error::{Error, Fault, Result};
use crate::test_day::{Cut, Extent, PassRef, TestDay, Window};
use crate::units::{clock_text, utc_text};
use crate::warning::Warning;
use std::path::Path;

/// What is left between two cuts is fitted only where it is longer: the speed at its ends would make most of it.
const SHORTEST_PART_M: f64 = 30.0;

/// A look is taken when a block is done: what is looked at in between would be one look more than was planned.
const WAITS: &str = "its block is under way, and the day is looked at after whole blocks";

#[derive(Debug, Clone, PartialEq)]
pub struct Assigned {
    /// One for each pass of the course.
    pub passes: Vec<Place>,
    pub warnings: Vec<Warning>,
    windows: Vec<(Window, Option<usize>)>,
    cuts: Vec<(Cut, Option<usize>)>,
}

#[derive(Debug, Clone, PartialEq, Default)]
pub struct Place {
    /// From 0.
    pub block: Option<usize>,
    pub setup: Option<usize>,
    /// Why the user left it out.
    pub left_out: Option<String>,
}

impl Assigned {
    /// The passes that the user left out as if they counted, and no others.
    pub fn only_left_out(&self) -> Assigned {
        let passes = self.passes.iter().map(|place| Place {
            setup: place.left_out.as_ref().and(place.setup),
            left_out: None,
            ..place.clone()
        });
        Assigned {
            passes: passes.collect(),
            ..self.clone()
        }
    }

    /// When what was noted before a block was read: at the start of its first pass, at `from` where it has none.
    /// `number`: from 0. `None`: a count of passes that were not ridden. [unix s]
    pub fn noted_at_s(&self, day: &TestDay, ridden: &Ridden, number: usize) -> Option<f64> {
        let places = ridden.passes.iter().zip(&self.passes);
        let first_pass = places
            .filter(|(_, place)| place.block == Some(number))
            .map(|(pass, _)| pass.start_s)
            .reduce(f64::min);
        let from_s = match day.blocks.get(number)?.extent {
            Extent::Times { from_s, .. } => Some(from_s),
            Extent::Passes(_) => None,
        };
        first_pass.or(from_s)
    }

    /// The part of the course that is fitted for a pass: its own window, else that of all passes.
    pub fn window_m(&self, pass: usize, length_m: f64) -> (f64, f64) {
        let own = self.windows.iter().rev().find(|(_, of)| *of == Some(pass));
        let chosen = own.or_else(|| self.windows.iter().rev().find(|(_, of)| of.is_none()));
        let (from, to) = chosen.map_or((None, None), |(w, _)| (w.from_m, w.to_m));
        (
            from.unwrap_or(0.0).clamp(0.0, length_m),
            to.unwrap_or(length_m).clamp(0.0, length_m),
        )
    }

    /// The parts of the course that are fitted for a pass, in the order of their places: its window without the cuts.
    pub fn parts_m(&self, pass: usize, length_m: f64) -> Vec<(f64, f64)> {
        let (from_m, to_m) = self.window_m(pass, length_m);
        let mut cuts: Vec<(f64, f64)> = self
            .cuts
            .iter()
            .filter(|(_, of)| of.is_none_or(|of| of == pass))
            .map(|(cut, _)| (cut.from_m, cut.to_m))
            .collect();
        cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut parts, mut at_m) = (Vec::new(), from_m);
        for (cut_from_m, cut_to_m) in cuts {
            parts.push((at_m, cut_from_m.min(to_m)));
            at_m = at_m.max(cut_to_m);
        }
        parts.push((at_m, to_m));
        parts.retain(|(from, to)| to - from >= SHORTEST_PART_M);
        parts
    }
}

/// # Errors
/// Blocks that do not add up to the passes found; set-ups without blocks; names of passes that are none.
pub fn assign(day: &TestDay, ridden: &Ridden, test_toml: &Path) -> Result<Assigned> {
    let mut faults = Vec::new();
    let mut warnings = Vec::new();
    let mut places = vec![Place::default(); ridden.passes.len()];
    if day.blocks.is_empty() {
        if day.setups.len() > 1 {
            faults.push(no_blocks(ridden, test_toml, day.setups.len()));
        }
        // One set-up: each recording is taken as one mounting.
        let mut recordings: Vec<usize> = ridden.passes.iter().map(|p| p.recording).collect();
        recordings.dedup();
        for (place, pass) in places.iter_mut().zip(&ridden.passes) {
            place.setup = Some(0);
            place.block = recordings.iter().position(|r| *r == pass.recording);
        }
    } else {
        by_times(day, &ridden.passes, &mut places);
        by_counts(day, ridden, &mut places, test_toml, &mut faults, &mut warnings);
        outside(&places, ridden, &mut warnings);
    }
    for exclude in &day.excludes {
        match named(&exclude.pass, &ridden.passes) {
            Some(index) => {
                places[index].left_out = Some(exclude.reason.clone());
                by_number(&exclude.pass, &ridden.passes[index], "exclude", &mut warnings);
            }
            None => faults.push(no_such_pass(
                &exclude.pass,
                ridden,
                test_toml,
                exclude.line,
                "[[exclude]]",
            )),
        }
    }
    let mut of_part = |reference: Option<&PassRef>, table: &str, line: usize| match reference {
        None => Some(None),
        Some(reference) => match named(reference, &ridden.passes) {
            Some(index) => {
                by_number(reference, &ridden.passes[index], table, &mut warnings);
                Some(Some(index))
            }
            None => {
                faults.push(no_such_pass(
                    reference,
                    ridden,
                    test_toml,
                    line,
                    &format!("[[{table}]]"),
                ));
                None
            }
        },
    };
    let of_windows: Vec<_> = (day.windows.iter())
        .map(|window| of_part(window.pass.as_ref(), "window", window.line))
        .collect();
    let cuts = (day.cuts.iter())
        .filter_map(|cut| Some((cut.clone(), of_part(cut.pass.as_ref(), "cut", cut.line)?)))
        .collect();
    let mut windows = Vec::new();
    for (window, of) in day.windows.iter().zip(of_windows) {
        let Some(of) = of else {
            continue;
        };
        let length_m = ridden.course.length_m();
        if window.from_m.is_some_and(|from| from >= length_m) {
            faults.push(
                Fault::new(
                    format!("the window begins beyond the end of the course, which is {length_m:.0} m long"),
                    "Give from_m and to_m in metres from the start of the course.",
                )
                .in_file(test_toml)
                .at(format!("line {}, [[window]]", window.line)),
            );
        }
        if let Some(to_m) = window.to_m.filter(|to| *to > length_m) {
            warnings.push(Warning::new(
                "window",
                format!("the window of line {} ends at {to_m:.0} m, beyond the end of the course at {length_m:.0} m", window.line),
                "It is taken to end with the course; correct to_m in test.toml.",
            ));
        }
        windows.push((window.clone(), of));
    }
    if faults.is_empty() {
        Ok(Assigned {
            passes: places,
            warnings,
            windows,
            cuts,
        })
    } else {
        Err(Error { faults })
    }
}

fn by_times(day: &TestDay, passes: &[Pass], places: &mut [Place]) {
    for (number, block) in day.blocks.iter().enumerate() {
        let Extent::Times { from_s, to_s } = block.extent else {
            continue;
        };
        for (place, pass) in places.iter_mut().zip(passes) {
            if place.block.is_none() && (from_s..=to_s).contains(&pass.start_s) {
                *place = Place {
                    block: Some(number),
                    setup: block.setup,
                    left_out: None,
                };
            }
        }
    }
}

/// Blocks given as counts take the passes that no block of times has claimed, in order of time.
fn by_counts(
    day: &TestDay,
    ridden: &Ridden,
    places: &mut [Place],
    test_toml: &Path,
    faults: &mut Vec<Fault>,
    warnings: &mut Vec<Warning>,
) {
    let counts: Vec<(usize, usize)> = day
        .blocks
        .iter()
        .enumerate()
        .filter_map(|(number, block)| match block.extent {
            Extent::Passes(count) => Some((number, count)),
            Extent::Times { .. } => None,
        })
        .collect();
    if counts.is_empty() {
        return;
    }
    let free: Vec<usize> = (0..places.len()).filter(|i| places[*i].block.is_none()).collect();
    let wanted: usize = counts.iter().map(|(_, count)| count).sum();
    let under_way = free.len() < wanted && day.plan.is_some();
    if wanted != free.len() && !under_way {
        faults.push(not_adding_up(
            wanted,
            free.len(),
            ridden,
            test_toml,
            day.blocks[counts[0].0].line,
            day.plan.is_none(),
        ));
        return;
    }
    let waits = day.plan.as_ref().is_some_and(|plan| plan.look_after_every_block);
    let mut next = free.into_iter();
    let mut to_come = Vec::new();
    for (number, count) in counts {
        let own: Vec<usize> = next.by_ref().take(count).collect();
        if own.len() < count {
            to_come.push((number, own.len(), count));
        }
        for index in &own {
            places[*index] = Place {
                block: Some(number),
                setup: day.blocks[number].setup,
                left_out: (waits && own.len() < count).then(|| WAITS.to_string()),
            };
        }
    }
    warnings.extend(blocks_to_come(&to_come, waits));
}

/// `to_come`: number of the block from 0, passes ridden, passes planned.
fn blocks_to_come(to_come: &[(usize, usize, usize)], waits: bool) -> Option<Warning> {
    let &(first, ridden, planned) = to_come.first()?;
    let last = to_come.last()?.0;
    let still = |from: usize| match last + 1 - from {
        0 => String::new(),
        1 => format!("block {from} is still to come", from = from + 1),
        _ => format!("blocks {} to {} are still to come", from + 1, last + 1),
    };
    let message = if ridden == 0 {
        still(first)
    } else {
        let counts = if waits { " and does not count yet" } else { "" };
        let under_way = format!(
            "block {} is under way, {ridden} of {planned} passes{counts}",
            first + 1
        );
        let rest = still(first + 1);
        if rest.is_empty() {
            under_way
        } else {
            format!("{under_way}; {rest}")
        }
    };
    Some(Warning::new(
        "blocks to come",
        message,
        "Ride on as planned; for a day that is over, write into test.toml the blocks and passes that were ridden.",
    ))
}

const COUNT_THEM: &str = "Look at `stillair passes`, and count every pass found: warm-up and ride home go into blocks with setup = \"none\"; or give from and to times.";

fn not_adding_up(
    wanted: usize,
    found: usize,
    ridden: &Ridden,
    test_toml: &Path,
    line: usize,
    over: bool,
) -> Fault {
    let near = match ridden.near_passes.as_slice() {
        [] => String::new(),
        near => format!(
            "; not counted as passes: {}",
            near.iter()
                .take(6)
                .map(|n| format!("{} ({})", clock_text(n.start_s), n.reason))
                .collect::<Vec<_>>()
                .join(", ")
        ),
    };
    Fault::new(
        format!(
            "the blocks add up to {wanted} passes, but {found} were found{}{near}",
            if found == 0 { String::new() } else { format!(", starting at {}", starts(ridden)) },
        ),
        if over && found < wanted {
            format!("{COUNT_THEM} For a day that is not over, write a [plan] table: the blocks to come are then waited for.")
        } else {
            COUNT_THEM.to_string()
        },
    )
    .in_file(test_toml)
    .at(format!("line {line}, [[block]]"))
}

fn starts(ridden: &Ridden) -> String {
    let texts: Vec<String> = ridden.passes.iter().map(|p| clock_text(p.start_s)).collect();
    match texts.as_slice() {
        few if few.len() <= 12 => few.join(", "),
        many => format!(
            "{}, … {}",
            many[..6].join(", "),
            many[many.len() - 3..].join(", ")
        ),
    }
}

fn no_blocks(ridden: &Ridden, test_toml: &Path, setups: usize) -> Fault {
    Fault::new(
        format!(
            "{setups} set-ups are named, but no [[block]] says which of the {} passes was ridden with which",
            ridden.passes.len()
        ),
        format!(
            "Write one [[block]] for each mounting, in riding order, with setup and passes; stands and lap marks \
             look like blocks of {} passes.",
            likely(ridden)
        ),
    )
    .in_file(test_toml)
}

fn likely(ridden: &Ridden) -> String {
    let counts: Vec<String> = ridden.likely_blocks.iter().map(usize::to_string).collect();
    counts.join(", ")
}

fn outside(places: &[Place], ridden: &Ridden, warnings: &mut Vec<Warning>) {
    let loose: Vec<String> = places
        .iter()
        .zip(&ridden.passes)
        .filter(|(place, _)| place.block.is_none())
        .map(|(_, pass)| format!("{} at {}", pass.number, clock_text(pass.start_s)))
        .collect();
    if !loose.is_empty() {
        warnings.push(Warning::new(
            "outside blocks",
            format!("no block holds pass {}", loose.join(", ")),
            "Widen from and to of the block it belongs to; a pass belongs where it starts.",
        ));
    }
}

fn named(reference: &PassRef, passes: &[Pass]) -> Option<usize> {
    let off = |(index, pass): (usize, &Pass)| Some((index, reference.off_s(pass.number, pass.start_s)?));
    let meant = passes.iter().enumerate().filter_map(off);
    meant.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(index, _)| index)
}

fn by_number(reference: &PassRef, pass: &Pass, table: &str, warnings: &mut Vec<Warning>) {
    if let PassRef::Number(number) = reference {
        warnings.push(Warning::new(
            "pass by number",
            format!("[[{table}]] names pass {number} by its number, which changes when a file is added"),
            format!("Write start_time = {} instead.", utc_text(pass.start_s, 0)),
        ));
    }
}

fn no_such_pass(reference: &PassRef, ridden: &Ridden, test_toml: &Path, line: usize, table: &str) -> Fault {
    let what = match *reference {
        PassRef::Number(number) => format!("there is no pass {number}; {} were found", ridden.passes.len()),
        PassRef::StartTime(time_s) => {
            let nearest = ridden
                .passes
                .iter()
                .min_by(|a, b| (a.start_s - time_s).abs().total_cmp(&(b.start_s - time_s).abs()));
            let nearest = nearest.map_or(String::new(), |p| {
                format!("; the nearest starts at {}", utc_text(p.start_s, 0))
            });
            format!(
                "no pass starts within {:.0} s of {}{nearest}",
                PassRef::NAMED_WITHIN_S,
                utc_text(time_s, 0)
            )
        }
    };
    Fault::new(what, "Take the start time from `stillair passes`.")
        .in_file(test_toml)
        .at(format!("line {line}, {table}"))
}
