//! Text for a terminal: the answer first, then set-ups, passes, what to mind, and what it all rests on.

pub mod answer;

mod days;

mod inspect;

pub mod passes;

pub mod plan;

mod predict;

mod rehearse;

mod roads;

pub mod setups;

pub mod stopwatch;

pub use days::{compare_days, no_answer_over_days};
pub use inspect::{inspect, no_stretch, stretch};
pub use passes::passes;
pub use predict::{Foretold, assumptions, predict};
pub use rehearse::rehearse;
pub use roads::roads;

use super::sheet::Sheet;
use super::words::{count, listed, real_minus, sentence, signed, wrapped};
use crate::course::Course;
use crate::estimate::budget::BudgetLine;
use crate::study::{Compared, Surveyed};
use crate::test_day::Shape;
use crate::units::M_S_PER_KM_H;
use crate::verdict::Finding;
use crate::warning::Warning;

pub fn km_h(speed_m_s: f64) -> f64 {
    speed_m_s / M_S_PER_KM_H
}

/// The whole answer to a test day.
pub fn compare(compared: &Compared, width: usize) -> String {
    let mut parts = Vec::new();
    if let Some(title) = &compared.surveyed.test_day.title {
        parts.push(wrapped(title, width));
    }
    parts.push(answer::answer(compared, width));
    parts.extend(answer::differences(compared).map(|all| all.text(width)));
    parts.extend(stopwatch::stopwatch(compared, width));
    parts.push(setups::setups(compared, width));
    parts.push(course(&compared.surveyed, climb_uncertainty_m(compared), width));
    parts.push(passes::fitted(compared, width));
    parts.extend(passes::near_passes(&compared.surveyed, width));
    parts.extend(warnings(&compared.warnings, width));
    parts.extend(budget(compared, MOST_INPUTS).map(|sheet| sheet.text(width)));
    parts.push(rests_on(compared, width));
    parts.join("\n\n")
}

/// The letter by which tables name a set-up: A, B, … Z, then by number.
pub fn letter(setup: usize) -> String {
    match u8::try_from(setup).ok().filter(|index| *index < 26) {
        Some(index) => char::from(b'A' + index).to_string(),
        None => format!("{}", setup + 1),
    }
}

pub fn shape_text(shape: Shape) -> &'static str {
    match shape {
        Shape::OneWay => "one way",
        Shape::OutAndBack => "out and back",
        Shape::Loop => "loop",
    }
}

fn position(deg: [f64; 2]) -> String {
    format!("[{:.5}, {:.5}]", deg[0], deg[1])
}

pub fn climb_uncertainty_m(compared: &Compared) -> Option<f64> {
    compared
        .budget
        .iter()
        .find(|line| line.input.starts_with("climb"))
        .map(|line| line.standard_uncertainty)
}

fn course(surveyed: &Surveyed, climb_uncertainty_m: Option<f64>, width: usize) -> String {
    wrapped(&course_said(surveyed, climb_uncertainty_m, true), width)
}

/// `places`: with its positions.
pub fn course_said(surveyed: &Surveyed, climb_uncertainty_m: Option<f64>, places: bool) -> String {
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
        "Course ({origin}): {}, {:.0} m{climb}.",
        shape_text(*shape),
        surveyed.ridden.course.length_m(),
    );
    if places {
        text.push_str(&format!(" Start {}", position(line.start_deg())));
        if *shape != Shape::Loop {
            text.push_str(&format!(", finish {}", position(line.finish_deg())));
        }
        text.push('.');
    }
    if *roll_backs > 0 {
        text.push_str(&format!(
            " Rolled back {}, not counted.",
            count(*roll_backs, "time")
        ));
    }
    for place in lap_mark_places.iter().filter(|_| places) {
        let at = place
            .distance_m
            .map_or(String::new(), |d| format!(", {d:.0} m from the start"));
        text.push_str(&format!(
            " The lap button was pressed {} at {}{at}: it can serve as a gate.",
            count(place.marks, "time"),
            position([place.latitude_deg, place.longitude_deg])
        ));
    }
    text
}

/// As many inputs as a terminal has room for.
const MOST_INPUTS: usize = 6;

/// The inputs that weigh most on the first change, or on CdA where nothing is compared, with the size of that.
pub fn weightiest(compared: &Compared) -> Vec<(&BudgetLine, f64)> {
    let first = compared.findings.first();
    let baseline = first.map_or(0, |f| f.baseline);
    let size = |line: &BudgetLine| match first {
        Some(f) => change(line, f).abs(),
        None => line.effect_cda_m2[baseline].abs(),
    };
    let known = |line: &&BudgetLine| line.effect_cda_m2[baseline].is_finite();
    let mut lines: Vec<_> = compared
        .budget
        .iter()
        .filter(known)
        .map(|line| (line, size(line)))
        .collect();
    lines.sort_by(|a, b| b.1.total_cmp(&a.1));
    lines
}

fn change(line: &BudgetLine, f: &Finding) -> f64 {
    line.effect_log_ratio[f.setup] - line.effect_log_ratio[f.baseline]
}

/// `None` where there is none.
pub fn budget(compared: &Compared, most: usize) -> Option<Sheet> {
    let first = compared.findings.first();
    let baseline = first.map_or(0, |f| f.baseline);
    let lines = weightiest(compared);
    if lines.is_empty() {
        return None;
    }
    let rows = lines
        .into_iter()
        .take(most)
        .map(|(line, _)| {
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
    Some(Sheet::new(&header, &[0], rows))
}

/// The input, with the set-up that alone has it.
pub fn named(line: &BudgetLine, compared: &Compared) -> String {
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
        .map(|w| listed(&format!("{}. {}", seen(w), sentence(&w.next_step)), width))
        .collect();
    Some(format!("To mind:\n{}", lines.join("\n")))
}

/// What a warning says, without its next step and its full stop.
pub fn seen(warning: &Warning) -> String {
    sentence(&real_minus(&warning.message))
}

fn rests_on(compared: &Compared, width: usize) -> String {
    let lines: Vec<String> = ground(compared).iter().map(|line| listed(line, width)).collect();
    let heading = "What it rests on (±: standard uncertainty; in brackets: key of test.toml):";
    format!("{}\n{}", wrapped(heading, width), lines.join("\n"))
}

/// Sentences of what the numbers rest on.
pub fn ground(compared: &Compared) -> Vec<String> {
    let fit = sentence(&real_minus(&compared.fit.sentence));
    let air = format!(
        "Air density {:.4} ± {:.4} kg/m³ ({}).",
        compared.air.density_kg_m3, compared.air.density_standard_uncertainty_kg_m3, compared.air_source
    );
    [fit, air]
        .into_iter()
        .chain(compared.assumptions.iter().cloned())
        .collect()
}
