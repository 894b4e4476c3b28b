//! Text for a terminal: the answer first, then set-ups, passes, what to mind, and what it all rests on.

mod answer;

mod days;

mod inspect;

mod passes;

mod predict;

mod rehearse;

mod setups;

mod stopwatch;

pub use days::{compare_days, no_answer_over_days};
pub use inspect::{inspect, no_stretch, stretch};
pub use passes::passes;
pub use predict::{Foretold, assumptions, predict};
pub use rehearse::rehearse;

use super::table::table;
use super::words::{count, listed, real_minus, sentence, signed, wrapped};
use crate::course::Course;
use crate::estimate::budget::BudgetLine;
use crate::study::{Compared, Surveyed};
use crate::test_day::Shape;
use crate::units::M_S_PER_KM_H;
use crate::verdict::Finding;
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
    parts.push(answer::answer(compared, width));
    parts.extend(answer::differences(compared, width));
    parts.extend(stopwatch::stopwatch(compared, width));
    parts.push(setups::setups(compared, width));
    parts.push(course(&compared.surveyed, climb_uncertainty_m(compared), width));
    parts.push(passes::fitted(compared, width));
    parts.extend(passes::near_passes(&compared.surveyed, width));
    parts.extend(warnings(&compared.warnings, width));
    parts.extend(budget(compared, width));
    parts.push(rests_on(compared, width));
    parts.join("\n\n")
}

/// The letter by which tables name a set-up: A, B, … Z, then by number.
fn letter(setup: usize) -> String {
    match u8::try_from(setup).ok().filter(|index| *index < 26) {
        Some(index) => char::from(b'A' + index).to_string(),
        None => format!("{}", setup + 1),
    }
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

fn climb_uncertainty_m(compared: &Compared) -> Option<f64> {
    compared
        .budget
        .iter()
        .find(|line| line.input.starts_with("climb"))
        .map(|line| line.standard_uncertainty)
}

fn course(surveyed: &Surveyed, climb_uncertainty_m: Option<f64>, width: usize) -> String {
    let Course {
        shape,
        found,
        line,
        roll_backs,
        lap_mark_places,
        ..
    } = &surveyed.ridden.course;
    let climb = match surveyed.ridden.course.climb_m() {
        Some(_) if *shape == Shape::Loop => String::new(),
        Some(climb_m) => {
            let uncertainty = climb_uncertainty_m.map_or(String::new(), |u| format!(" ± {u:.1}"));
            format!(", {}{uncertainty} m from start to finish", signed(climb_m, 1))
        }
        None => ", height unknown".to_string(),
    };
    let origin = if *found {
        "found from the rides"
    } else {
        "from test.toml"
    };
    let mut text = format!(
        "Course ({origin}): {}, {:.0} m{climb}. Start {}",
        shape_text(*shape),
        surveyed.ridden.course.length_m(),
        position(line.start_deg())
    );
    if *shape != Shape::Loop {
        text.push_str(&format!(", finish {}", position(line.finish_deg())));
    }
    text.push('.');
    if *roll_backs > 0 {
        text.push_str(&format!(
            " Rolled back {}, not counted.",
            count(*roll_backs, "time")
        ));
    }
    for place in lap_mark_places {
        let at = place
            .distance_m
            .map_or(String::new(), |d| format!(", {d:.0} m from the start"));
        text.push_str(&format!(
            " The lap button was pressed {} at {}{at}: it can serve as a gate.",
            count(place.marks, "time"),
            position([place.latitude_deg, place.longitude_deg])
        ));
    }
    wrapped(&text, width)
}

/// The inputs that weigh most on CdA.
fn budget(compared: &Compared, width: usize) -> Option<String> {
    const MOST: usize = 6;
    let first = compared.findings.first();
    let baseline = first.map_or(0, |f| f.baseline);
    let mut lines: Vec<_> = compared
        .budget
        .iter()
        .filter(|l| l.effect_cda_m2[baseline].is_finite())
        .collect();
    let change =
        |line: &BudgetLine, f: &Finding| line.effect_log_ratio[f.setup] - line.effect_log_ratio[f.baseline];
    let size = |line: &BudgetLine| match first {
        Some(f) => change(line, f).abs(),
        None => line.effect_cda_m2[baseline].abs(),
    };
    lines.sort_by(|a, b| size(b).total_cmp(&size(a)));
    if lines.is_empty() {
        return None;
    }
    let rows = lines
        .into_iter()
        .take(MOST)
        .map(|line| {
            let mut row = vec![
                named(line, compared),
                known_to(line.input, line.standard_uncertainty, line.unit),
                format!("{:.4}", line.effect_cda_m2[baseline].abs()),
            ];
            if let Some(f) = first {
                row.push(format!("{:.2}", 100.0 * change(line, f).abs()));
            }
            row
        })
        .collect();
    let mut header = vec!["what is uncertain", "known to ±", "moves CdA m²"];
    let moved = first.map(|f| format!("the change, {} to {}, %", letter(f.baseline), letter(f.setup)));
    header.extend(moved.as_deref());
    Some(table(&header, &[0], rows, width))
}

/// The input, with the set-up that alone has it.
fn named(line: &BudgetLine, compared: &Compared) -> String {
    let setup = line.of_setup.and_then(|setup| compared.setups.get(setup));
    match setup {
        Some(setup) => line.input.replace("one set-up", &format!("'{}'", setup.name)),
        None => line.input.to_string(),
    }
}

/// A scale is known to a percentage, everything else in its unit.
fn known_to(input: &str, uncertainty: f64, unit: &str) -> String {
    match unit {
        "1" if ["scale", "one set-up", "bends", "density", "remounting", "to pass"]
            .iter()
            .any(|end| input.ends_with(end)) =>
        {
            format!("{:.1} %", 100.0 * uncertainty)
        }
        "1" => format!("{uncertainty:.*}", decimals(uncertainty)),
        _ => format!("{uncertainty:.*} {unit}", decimals(uncertainty)),
    }
}

/// For two significant digits.
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
        .map(|w| {
            listed(
                &format!(
                    "{}. {}",
                    sentence(&real_minus(&w.message)),
                    sentence(&w.next_step)
                ),
                width,
            )
        })
        .collect();
    Some(format!("To mind:\n{}", lines.join("\n")))
}

fn rests_on(compared: &Compared, width: usize) -> String {
    let fit = sentence(&real_minus(&compared.fit.sentence));
    let air = format!(
        "Air density {:.4} ± {:.4} kg/m³ ({}).",
        compared.air.density_kg_m3, compared.air.density_standard_uncertainty_kg_m3, compared.air_source
    );
    let mut lines = vec![listed(&fit, width), listed(&air, width)];
    lines.extend(
        compared
            .assumptions
            .iter()
            .map(|assumption| listed(assumption, width)),
    );
    let heading = "What it rests on (±: standard uncertainty; in brackets: key of test.toml):";
    format!("{}\n{}", wrapped(heading, width), lines.join("\n"))
}
