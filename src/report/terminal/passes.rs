//! Passes and what nearly was one.

use super::super::sheet::Sheet;
use super::super::table::grouped;
use super::super::words::{listed, marked, wrapped};
use super::{course, km_h, letter, warnings};
use crate::course::Direction;
use crate::study::{Compared, PassResult, Surveyed};
use crate::test_day::Shape;
use crate::units::{clock_text, utc_text};

/// Whether the passes are of several days, so that a time of day does not tell which.
fn several_days(surveyed: &Surveyed) -> bool {
    let mut days: Vec<String> = surveyed
        .ridden
        .passes
        .iter()
        .map(|p| day_text(p.start_s))
        .collect();
    days.dedup();
    days.len() > 1
}

fn day_text(time_s: f64) -> String {
    utc_text(time_s, 0)
        .split('T')
        .next()
        .unwrap_or_default()
        .to_string()
}

fn way(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "fwd",
        Direction::Reverse => "rev",
    }
}

/// Only where a course is ridden both ways.
fn ways(surveyed: &Surveyed) -> &'static str {
    match surveyed.ridden.course.shape {
        Shape::OutAndBack => " 'fwd' is from start to finish, 'rev' the way back.",
        Shape::OneWay | Shape::Loop => "",
    }
}

fn watts(power_w: f64) -> String {
    if power_w.is_finite() {
        format!("{power_w:.0}")
    } else {
        "–".to_string()
    }
}

fn starred(number: usize, star: bool) -> String {
    format!("{number}{}", if star { "*" } else { " " })
}

/// The passes with what was fitted.
pub fn fitted(compared: &Compared, width: usize) -> String {
    let surveyed = &compared.surveyed;
    let with_day = several_days(surveyed);
    let Sheet { header, left, rows } = sheet(compared, &Clock::Utc);
    let days = compared.passes.iter().map(|result| {
        let start_s = surveyed.ridden.passes[result.pass].start_s;
        if with_day {
            day_text(start_s)
        } else {
            String::new()
        }
    });
    let flagged = compared
        .passes
        .iter()
        .map(|r| (surveyed.ridden.passes[r.pass].number, r.flags.as_slice()));
    let header: Vec<&str> = header.iter().map(String::as_str).collect();
    format!(
        "{}\n{}{}",
        grouped(&header, &left, days.zip(rows).collect(), width),
        wrapped(&fitted_note(compared), width),
        flags(flagged, width)
    )
}

/// How the start of a pass is told.
pub enum Clock {
    Utc,
    /// With the day before it.
    UtcOfDay,
    /// Minutes since this one. [unix s]
    MinutesSince(f64),
}

impl Clock {
    /// The day goes with the time where there are several.
    pub fn of(surveyed: &Surveyed) -> Clock {
        if several_days(surveyed) {
            Clock::UtcOfDay
        } else {
            Clock::Utc
        }
    }

    pub fn text(&self, time_s: f64) -> String {
        match self {
            Clock::Utc => clock_text(time_s),
            Clock::UtcOfDay => format!("{} {}", day_text(time_s), clock_text(time_s)),
            Clock::MinutesSince(first_s) => format!("{:.1}", (time_s - first_s) / 60.0),
        }
    }

    pub fn heading(&self) -> &'static str {
        match self {
            Clock::Utc | Clock::UtcOfDay => "start UTC",
            Clock::MinutesSince(_) => "start min",
        }
    }
}

pub fn sheet(compared: &Compared, clock: &Clock) -> Sheet {
    let surveyed = &compared.surveyed;
    let several_setups = compared.setups.len() > 1;
    let header = [
        "pass",
        "block",
        "way",
        clock.heading(),
        "s",
        "km/h in",
        "W",
        "CdA m²",
        "±",
        "still air s",
    ];
    let row = |result: &PassResult| {
        let pass = &surveyed.ridden.passes[result.pass];
        let block = match (result.block, result.setup) {
            (Some(block), Some(setup)) if several_setups => format!("{block} {}", letter(setup)),
            (Some(block), Some(_)) => block.to_string(),
            (Some(block), None) => format!("{block} none"),
            (None, _) => "–".to_string(),
        };
        let (cda, uncertainty) = match result.cda_m2 {
            Some((cda, u)) => (format!("{cda:.3}"), format!("{u:.3}")),
            None => ("–".to_string(), "–".to_string()),
        };
        vec![
            starred(pass.number, !result.flags.is_empty()),
            block,
            way(pass.direction).into(),
            clock.text(pass.start_s),
            format!("{:.1}", pass.duration_s()),
            format!("{:.1}", km_h(pass.entry_speed_m_s)),
            watts(pass.mean_power_w),
            cda,
            uncertainty,
            result.still_air_time_s.map_or("–".into(), |t| format!("{t:.1}")),
        ]
    };
    let rows = compared.passes.iter().map(row).collect();
    Sheet::new(&header, &[2, 3], rows)
}

pub fn fitted_note(compared: &Compared) -> String {
    format!(
        "This ± holds only what differs between passes. 'still air s': the pass again without wind, all with the \
         same power, weight and entry speed.{}",
        ways(&compared.surveyed)
    )
}

fn flags<'a>(passes: impl Iterator<Item = (usize, &'a [String])>, width: usize) -> String {
    passes
        .filter(|(_, flags)| !flags.is_empty())
        .map(|(number, flags)| {
            format!(
                "\n{}",
                marked("* ", &format!("pass {number}: {}", flags.join("; ")), width)
            )
        })
        .collect()
}

pub fn near_passes(surveyed: &Surveyed, width: usize) -> Option<String> {
    let near = &surveyed.ridden.near_passes;
    if near.is_empty() {
        return None;
    }
    let mut days: Vec<String> = near.iter().map(|n| day_text(n.start_s)).collect();
    days.dedup();
    let with_day = days.len() > 1 || several_days(surveyed);
    let lines: Vec<String> = near
        .iter()
        .map(|n| {
            let day = if with_day {
                format!("{} ", day_text(n.start_s))
            } else {
                String::new()
            };
            listed(
                &format!(
                    "{day}{} {}: {}",
                    clock_text(n.start_s),
                    way(n.direction),
                    n.reason
                ),
                width,
            )
        })
        .collect();
    Some(format!("Nearly a pass:\n{}", lines.join("\n")))
}

/// The course and its passes, before anything is fitted.
pub fn passes(surveyed: &Surveyed, width: usize) -> String {
    let ridden = &surveyed.ridden;
    let (with_day, several_files) = (several_days(surveyed), surveyed.streams.len() > 1);
    let header = ["pass", "way", "start UTC", "s", "km/h in", "km/h", "W", "m"];
    let rows: Vec<(String, Vec<String>)> = ridden
        .passes
        .iter()
        .map(|p| {
            let day = with_day.then(|| day_text(p.start_s));
            let file = several_files.then(|| surveyed.streams[p.recording].name());
            let cells = vec![
                starred(p.number, !p.flags.is_empty()),
                way(p.direction).into(),
                clock_text(p.start_s),
                format!("{:.1}", p.duration_s()),
                format!("{:.1}", km_h(p.entry_speed_m_s)),
                format!("{:.1}", km_h(ridden.course.length_m() / p.duration_s())),
                watts(p.mean_power_w),
                format!("{:.0}", p.ridden_m),
            ];
            (day.into_iter().chain(file).collect::<Vec<_>>().join(" "), cells)
        })
        .collect();
    let mut parts = vec![course(surveyed, None, width)];
    if !rows.is_empty() {
        let wander = ridden
            .passes
            .iter()
            .map(|p| p.crossing_standard_uncertainty_s)
            .fold(0.0, f64::max);
        let note = format!(
            "Start and end are known to ± {wander:.1} s at worst. 'km/h in' is the speed at the start, 'm' the distance \
             by the speed sensor.{}",
            ways(surveyed)
        );
        let flagged = ridden.passes.iter().map(|p| (p.number, p.flags.as_slice()));
        parts.push(format!(
            "{}\n{}{}",
            grouped(&header, &[1, 2], rows, width),
            wrapped(&note, width),
            flags(flagged, width)
        ));
    }
    parts.extend(likely_blocks(surveyed, width));
    parts.extend(near_passes(surveyed, width));
    parts.extend(warnings(&surveyed.warnings, width));
    parts.join("\n\n")
}

/// What a user who writes the blocks of test.toml would otherwise count by hand.
fn likely_blocks(surveyed: &Surveyed, width: usize) -> Option<String> {
    let blocks = &surveyed.ridden.likely_blocks;
    let counts: Vec<String> = blocks.iter().map(usize::to_string).collect();
    (blocks.len() > 1).then(|| {
        let text = format!(
            "Likely blocks, from stands, recordings and the lap button: {} passes. Only you know what was changed there.",
            counts.join(", ")
        );
        wrapped(&text, width)
    })
}
