//! A plan → the text of `test.toml`: a new one, or what is missing in one that is there.

use super::place::Place;
use crate::error::Fault;
use crate::test_day::{Hold, Planned, Shape};
use std::fmt::Write;
use toml_edit::{DocumentMut, Item, Table, value};

/// Name of the course's file in the folder.
pub const COURSE_FILE: &str = "course.gpx";

/// A set-up as it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedSetup {
    pub name: String,
    /// Rider, bike, clothes and bottles, ballast included. `None`: that of the rider.
    pub total_mass_kg: Option<f64>,
    /// Of it, water to be carried. [ml]
    pub ballast_ml: f64,
    /// Name of the set-up that it is the same as.
    pub same_as: Option<String>,
}

/// A block as it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedBlock {
    pub setup: String,
    pub passes: usize,
    /// Where it is not that of the plan.
    pub power_w: Option<f64>,
    /// What to do before it, in words.
    pub before: String,
}

/// Everything that a plan says in `test.toml`.
#[derive(Debug, Clone, PartialEq)]
pub struct Contents<'a> {
    pub title: Option<&'a str>,
    pub total_mass_kg: Option<f64>,
    pub setups: Vec<NamedSetup>,
    pub place: &'a Place,
    pub shape: Shape,
    /// Its `road` and `length_m` stand as they are to be written.
    pub planned: &'a Planned,
    pub blocks: Vec<NamedBlock>,
}

/// The text of a new `test.toml`.
pub fn new_text(contents: &Contents) -> String {
    let mut out = String::from(
        "# A test day as it is planned: what will be ridden, in what order and on which road.\n\
         # Ride the blocks in this order, put the recordings into this folder and run `stillair compare` on it.\n\
         # Lines that start with # are remarks; take the # away where you know something. Units stand in the names.\n\n",
    );
    match contents.title {
        Some(title) => line(&mut out, &format!("title = {}", quoted(title))),
        None => line(&mut out, "# title = \"Two helmets on the reservoir road\""),
    }
    if let Some(percent) = contents.planned.difference_percent {
        line(
            &mut out,
            &format!(
                "smallest_difference_percent = {:?}    # a smaller difference in drag area would not matter to you",
                percent.abs().clamp(0.1, 50.0)
            ),
        );
    }
    rider(&mut out, contents.total_mass_kg);
    course(&mut out, contents);
    plan(&mut out, contents);
    setups(&mut out, &contents.setups);
    blocks(&mut out, &contents.blocks, "\n");
    out
}

/// What is there with what is missing added at its end; `[plan]` and `[course]` take their values where they stand.
///
/// # Errors
/// `[plan]` or `[course]` is not written as a table of its own.
pub fn added_text(there: &str, contents: &Contents, with_setups: bool) -> Result<String, Fault> {
    let end = if there.contains("\r\n") { "\r\n" } else { "\n" };
    let mut document: DocumentMut = there.parse().map_err(|error: toml_edit::TomlError| {
        Fault::new(
            format!("it is no TOML ({})", error.message()),
            "Mend it in an editor.",
        )
    })?;
    let has_plan = fill(&mut document, "plan", &plan_values(contents), true)?;
    let has_course = fill(&mut document, "course", &course_values(contents), false)?;
    let mut text = document.to_string();
    if !text.is_empty() && !text.ends_with('\n') {
        text.push('\n');
    }
    let mut more = String::new();
    if !has_course {
        course(&mut more, contents);
    }
    if !has_plan {
        plan(&mut more, contents);
    }
    if with_setups {
        setups(&mut more, &contents.setups);
    }
    blocks(&mut more, &contents.blocks, "\n");
    text.push_str(&more.replace('\n', end));
    Ok(text)
}

/// Puts values into a table that is there, over what it says or only where it is silent. False: there is none.
fn fill(
    document: &mut DocumentMut,
    name: &str,
    values: &[(&str, Item, &str)],
    over: bool,
) -> Result<bool, Fault> {
    let table: &mut Table = match document.get_mut(name) {
        None => return Ok(false),
        Some(Item::Table(table)) => table,
        Some(_) => {
            let what = format!("{name} is not written as a table of its own");
            return Err(Fault::new(what, format!("Write it below a line [{name}].")));
        }
    };
    for (key, new, _) in values {
        match (table.get_mut(key), new) {
            (Some(Item::Value(old)), Item::Value(new)) if over => {
                // A remark behind the old value stays.
                let decor = old.decor().clone();
                *old = new.clone();
                *old.decor_mut() = decor;
            }
            (Some(_), _) => {}
            (None, new) => {
                table.insert(key, new.clone());
            }
        }
    }
    Ok(true)
}

/// Writing to a string cannot fail.
fn line(out: &mut String, text: &str) {
    let _ = writeln!(out, "{text}");
}

fn quoted(text: &str) -> String {
    toml_edit::Value::from(text.split_whitespace().collect::<Vec<_>>().join(" ")).to_string()
}

fn rider(out: &mut String, total_mass_kg: Option<f64>) {
    out.push_str("\n[rider]\n");
    match total_mass_kg {
        Some(kg) => line(
            out,
            &format!("total_mass_kg = {kg:?}    # rider, bike, clothes and bottles together, as ridden"),
        ),
        None => line(
            out,
            "# total_mass_kg = 82.0    # weigh rider, bike, clothes and bottles on one scale",
        ),
    }
    out.push_str(
        "# total_mass_standard_uncertainty_kg = 0.3\n\
         \n[bike]\n\
         # power_at = \"hub\"                 # without this line: at the crank, the pedals or the spider\n\
         # drivetrain_efficiency = 0.976\n\
         # wheel_radius_m = 0.336           # rollout of one turn, loaded, divided by 2 pi\n\
         \n[tyres]\n\
         # crr = 0.0045                     # rolling resistance of your tyres on such a road, as well as you know it\n\
         # crr_standard_uncertainty = 0.0007\n\
         \n# The air at the road, from the sheet; a [[air]] for each time you read it.\n\
         # [[air]]\n\
         # time = 2026-05-02T08:10:00Z\n\
         # temperature_c = 19.0             # in the shade\n\
         # pressure_hpa = 1002.3            # a barometer at the road; or sea_level_pressure_hpa, as forecasts have it\n\
         # relative_humidity_percent = 55\n",
    );
}

fn table(out: &mut String, name: &str, values: &[(&str, Item, &str)]) {
    let _ = writeln!(out, "[{name}]");
    for (key, item, remark) in values {
        let said = item
            .as_value()
            .map_or_else(String::new, |value| value.to_string().trim().to_string());
        let written = format!("{key} = {said}");
        if remark.is_empty() {
            line(out, &written);
        } else {
            line(out, &format!("{written:<34} # {remark}"));
        }
    }
}

fn course(out: &mut String, contents: &Contents) {
    let _ = writeln!(
        out,
        "\n# {} {:.0} m, {:+.1} m from start to finish.",
        contents.place.source,
        contents.place.road.length_m,
        contents.place.climb_m()
    );
    table(out, "course", &course_values(contents));
}

fn course_values(contents: &Contents) -> Vec<(&'static str, Item, &'static str)> {
    let shape = match contents.shape {
        Shape::OneWay => "one-way",
        Shape::OutAndBack => "out-and-back",
        Shape::Loop => "loop",
    };
    let mut values = vec![("shape", value(shape), "")];
    let gate = |[latitude, longitude]: [f64; 2]| {
        // Six decimals are a tenth of a metre.
        let round = |degrees: f64| (degrees * 1e6).round() / 1e6;
        value(
            [round(latitude), round(longitude)]
                .into_iter()
                .collect::<toml_edit::Array>(),
        )
    };
    if let Some((start, finish)) = contents.place.gates_deg(contents.shape) {
        values.push(("start", gate(start), "latitude, longitude of the gate"));
        values.extend(finish.map(|finish| ("finish", gate(finish), "")));
    }
    values
}

fn plan(out: &mut String, contents: &Contents) {
    out.push_str(
        "\n# What was planned: `stillair rehearse` rides such days, `stillair compare` reads it too.\n",
    );
    table(out, "plan", &plan_values(contents));
}

fn plan_values(contents: &Contents) -> Vec<(&'static str, Item, &'static str)> {
    let plan = contents.planned;
    let rounded = |number: f64, decimals: i32| {
        let scale = 10f64.powi(decimals);
        value((number * scale).round() / scale)
    };
    let hold = match plan.hold {
        Hold::Power => ("hold", value("power"), "the same watts in every pass"),
        Hold::Speed => ("hold", value("speed"), "the same speed in every pass"),
    };
    let mut values = Vec::new();
    if let Some(percent) = plan.difference_percent {
        values.push((
            "difference_percent",
            value(percent),
            "the change of drag area that is looked for; negative: less",
        ));
    }
    values.push(hold);
    let of_power = match plan.hold {
        Hold::Power => "at the meter",
        Hold::Speed => "at the meter, with the first set-up",
    };
    values.push(("power_w", rounded(plan.power_w, 0), of_power));
    if let Some(speed) = plan.entry_speed_m_s {
        values.push(("entry_speed_m_s", rounded(speed, 2), "at the gate"));
    }
    values.push(("cda_m2", rounded(plan.cda_m2, 4), "expected of the first set-up"));
    values.push(("turn_round_s", rounded(plan.turn_round_s, 0), "each turn"));
    values.push(("change_s", rounded(plan.change_s, 0), "between two blocks"));
    if let Some(wind) = plan.wind {
        values.push(("wind_m_s", value(wind.speed_m_s), "expected, at rider height"));
        values.extend(
            wind.from_deg
                .map(|from| ("wind_from_deg", value(from), "where it comes from")),
        );
    }
    match &plan.road {
        Some(name) => values.push(("road", value(name), "from start to finish")),
        None => {
            values.extend(
                plan.length_m
                    .map(|metres| ("length_m", rounded(metres, 1), "from start to finish")),
            );
            values.push(("gradient_percent", value(plan.gradient_percent), ""));
            values.push((
                "bearing_deg",
                value(plan.bearing_deg),
                "where it leads, from true north",
            ));
        }
    }
    values.push((
        "seed",
        value(i64::try_from(plan.seed).unwrap_or(i64::MAX)),
        "of the order of blocks, and of rehearsed days",
    ));
    if plan.look_after_every_block {
        values.push((
            "look_after_every_block",
            value(true),
            "riding stops as soon as the answer is clear",
        ));
    }
    values
}

fn setups(out: &mut String, setups: &[NamedSetup]) {
    out.push_str("\n# What is compared; the first is what the others are held against.\n");
    for setup in setups {
        line(out, "[[setup]]");
        line(out, &format!("name = {}", quoted(&setup.name)));
        if let Some(kg) = setup.total_mass_kg {
            let water = if setup.ballast_ml > 0.0 {
                format!(
                    "    # with {:.0} ml of water more than without ballast",
                    setup.ballast_ml
                )
            } else {
                String::new()
            };
            line(
                out,
                &format!("total_mass_kg = {:?}{water}", (kg * 1000.0).round() / 1000.0),
            );
        }
        if let Some(other) = &setup.same_as {
            line(
                out,
                &format!(
                    "same_as = {}    # a null test: the truth is no difference",
                    quoted(other)
                ),
            );
        }
    }
}

fn blocks(out: &mut String, blocks: &[NamedBlock], before: &str) {
    out.push_str(before);
    out.push_str(
        "# The blocks in the order to ride. What the sheet asks for goes into the lines with a #.\n",
    );
    for (number, block) in blocks.iter().enumerate() {
        line(out, &format!("# Block {}: {}", number + 1, block.before));
        line(out, "[[block]]");
        line(out, &format!("setup = {}", quoted(&block.setup)));
        line(out, &format!("passes = {}", block.passes));
        if let Some(power) = block.power_w {
            line(out, &format!("planned_power_w = {:?}", power.round()));
        }
        out.push_str("# wind_speed_m_s =\n# wind_from_deg =\n# power_zero_nm =\n# tyre_pressure_bar =\n");
    }
}
