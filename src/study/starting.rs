//! A folder's rides → a first `test.toml`: what the rides tell, written out; what only the rider knows, left open.

use super::Surveyed;
use crate::course::{Direction, Pass};
use crate::test_day::Shape;
use crate::units::{clock_text, utc_text};
use std::fmt::Write;

/// What only the rider knows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RiderKnows {
    pub title: Option<String>,
    /// Rider, bike, clothes and bottles.
    pub total_mass_kg: Option<f64>,
    /// Names; empty: one set-up, 'as ridden'.
    pub setups: Vec<String>,
    /// For each likely block, in riding order: index into `setups`, or `None` for a block of no set-up. `None`: not said.
    pub blocks: Option<Vec<Option<usize>>>,
}

/// The text of a `test.toml` that `compare` reads as it is, unless set-ups are named without their blocks: then the
/// blocks stand in it as remarks, to be filled in.
pub fn starting_test_toml(surveyed: &Surveyed, knows: &RiderKnows) -> String {
    let mut out = String::from(
        "# A test day: what was ridden, in what, and what was known about it.\n\
         # Lines that start with # are remarks; take the # away where you know something. Units stand in the names.\n\
         # Found in the rides: the course, the passes and where the set-up was probably changed. Look it over.\n\n",
    );
    heading(&mut out, knows);
    shared_values(&mut out, surveyed, knows);
    air(&mut out, surveyed);
    course(&mut out, surveyed);
    setups(&mut out, knows);
    blocks(&mut out, surveyed, knows);
    excludes(&mut out, surveyed);
    out
}

/// Writing to a string cannot fail.
fn line(out: &mut String, text: &str) {
    let _ = writeln!(out, "{text}");
}

fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

fn heading(out: &mut String, knows: &RiderKnows) {
    match &knows.title {
        Some(title) => line(out, &format!("title = {}", quoted(title))),
        None => line(out, "# title = \"Two helmets on the reservoir road\""),
    }
    line(
        out,
        "smallest_difference_percent = 2.0    # a smaller difference in drag area would not matter to you",
    );
}

fn shared_values(out: &mut String, surveyed: &Surveyed, knows: &RiderKnows) {
    out.push_str("\n[rider]\n");
    match knows.total_mass_kg {
        Some(kg) => line(
            out,
            &format!("total_mass_kg = {kg:?}    # rider, bike, clothes and bottles together, as ridden"),
        ),
        None => {
            let used = surveyed.test_day.setups.first().map(|setup| setup.total_mass_kg);
            let used = used.map_or(String::new(), |m| {
                format!(
                    "; until you do, {:.1} ± {:.1} kg is used",
                    m.value, m.standard_uncertainty
                )
            });
            line(
                out,
                &format!(
                    "# total_mass_kg = 82.0    # weigh rider, bike, clothes and bottles on one scale{used}"
                ),
            );
        }
    }
    line(out, "# total_mass_standard_uncertainty_kg = 0.3");
    out.push_str(
        "\n[bike]\n\
         # power_at = \"hub\"                 # without this line: at the crank, the pedals or the spider\n\
         # drivetrain_efficiency = 0.976\n\
         # wheel_radius_m = 0.336           # rollout of one turn, loaded, divided by 2 pi\n\
         \n[tyres]\n\
         # crr = 0.0045                     # rolling resistance of your tyres on such a road, as well as you know it\n\
         # crr_standard_uncertainty = 0.0007\n",
    );
}

/// The rides know the time, the height and the unit's temperature, which is not the air's.
fn air(out: &mut String, surveyed: &Surveyed) {
    let passes = &surveyed.ridden.passes;
    let start_s = passes.first().map(|pass| pass.start_s);
    let mut degrees: Vec<f64> = surveyed
        .streams
        .iter()
        .flat_map(|s| s.time_s.iter().zip(&s.temperature_c))
        .filter(|(time, c)| c.is_finite() && passes.iter().any(|p| (p.start_s..=p.end_s).contains(*time)))
        .map(|(_, c)| *c)
        .collect();
    degrees.sort_by(f64::total_cmp);
    out.push_str("\n# The air at the road: what you read there, or a station's report.");
    if let [low, .., high] = degrees.as_slice() {
        let _ = write!(
            out,
            " During the passes the unit showed {low:.0} to {high:.0} °C,\n# which is some degrees too warm in the sun."
        );
    }
    out.push_str("\n# [[air]]\n");
    line(
        out,
        &format!(
            "# time = {}",
            start_s.map_or("2026-05-02T08:10:00Z".to_string(), |s| utc_text(s, 0))
        ),
    );
    out.push_str(
        "# temperature_c = 19.0\n\
         # pressure_hpa = 1002.3            # a barometer at the road; or sea_level_pressure_hpa, as forecasts have it\n\
         # relative_humidity_percent = 55\n\
         # wind_speed_m_s = 1.5             # at rider height, if you measured it\n\
         # wind_from_deg = 240              # where it came from, true north\n",
    );
}

fn course(out: &mut String, surveyed: &Surveyed) {
    let course = &surveyed.ridden.course;
    let shape = match course.shape {
        Shape::OneWay => "one-way",
        Shape::OutAndBack => "out-and-back",
        Shape::Loop => "loop",
    };
    let gate = |[latitude, longitude]: [f64; 2]| format!("[{latitude:.6}, {longitude:.6}]");
    let _ = writeln!(
        out,
        "\n# Found: {:.0} m{}. Move a gate by writing another place on the road.\n[course]",
        course.length_m(),
        course.climb_m().map_or(String::new(), |climb| format!(
            ", {climb:+.1} m from start to finish"
        ))
    );
    line(
        out,
        &format!("shape = \"{shape}\"            # or \"one-way\", \"out-and-back\", \"loop\""),
    );
    line(
        out,
        &format!(
            "start = {}    # latitude, longitude",
            gate(course.line.start_deg())
        ),
    );
    if course.shape != Shape::Loop {
        line(out, &format!("finish = {}", gate(course.line.finish_deg())));
    }
}

fn setups(out: &mut String, knows: &RiderKnows) {
    if knows.setups.is_empty() {
        out.push_str(
            "\n# Name what was compared, the usual one first, and then say in each block below which it was.\n\
             # [[setup]]\n# name = \"vented helmet\"\n# [[setup]]\n# name = \"closed helmet\"\n\
             # total_mass_kg = 82.2            # only what differs\n",
        );
        return;
    }
    out.push_str(
        "\n# What was compared; the first is what the others are held against. Write only what differs.\n",
    );
    for name in &knows.setups {
        line(out, "[[setup]]");
        line(out, &format!("name = {}", quoted(name)));
    }
}

/// Each likely block with its passes, which a comment lists.
fn blocks(out: &mut String, surveyed: &Surveyed, knows: &RiderKnows) {
    out.push_str(
        "\n# One block for each time a set-up was put on. Join or split them where this is wrong.\n",
    );
    let assigned = knows.blocks.as_deref().filter(|_| !knows.setups.is_empty());
    let mark = if assigned.is_some() { "" } else { "# " };
    for (number, passes) in block_passes(surveyed).into_iter().enumerate() {
        line(out, &format!("# {}", block_text(number, passes)));
        line(out, &format!("{mark}[[block]]"));
        let name = match assigned.and_then(|blocks| blocks.get(number)) {
            Some(Some(setup)) => knows.setups.get(*setup).map_or("none", String::as_str),
            Some(None) => "none",
            None => knows.setups.first().map_or("vented helmet", String::as_str),
        };
        let other = if assigned.is_some() {
            ""
        } else {
            "    # which one was it?"
        };
        line(out, &format!("{mark}setup = {}{other}", quoted(name)));
        line(out, &format!("{mark}passes = {}", passes.len()));
    }
}

/// "block 1: passes 1 to 4, 08:10:00 to 08:22:13, 241 W".
pub fn block_text(number: usize, passes: &[Pass]) -> String {
    let [first, .., last] = passes else {
        return match passes {
            [only] => format!(
                "block {}: pass {}, {} to {}{}",
                number + 1,
                only.number,
                clock_text(only.start_s),
                clock_text(only.end_s),
                watts(passes)
            ),
            _ => format!("block {}: no pass", number + 1),
        };
    };
    format!(
        "block {}: passes {} to {}, {} to {}{}",
        number + 1,
        first.number,
        last.number,
        clock_text(first.start_s),
        clock_text(last.end_s),
        watts(passes)
    )
}

fn watts(passes: &[Pass]) -> String {
    let known: Vec<f64> = passes
        .iter()
        .map(|pass| pass.mean_power_w)
        .filter(|power| power.is_finite())
        .collect();
    if known.is_empty() {
        return String::new();
    }
    format!(", {:.0} W", known.iter().sum::<f64>() / known.len() as f64)
}

/// The passes of each likely block, in riding order.
pub fn block_passes(surveyed: &Surveyed) -> Vec<&[Pass]> {
    let mut rest = surveyed.ridden.passes.as_slice();
    surveyed
        .ridden
        .likely_blocks
        .iter()
        .map(|count| {
            let (own, others) = rest.split_at((*count).min(rest.len()));
            rest = others;
            own
        })
        .collect()
}

/// Passes with something odd about them, ready to be left out by taking the # away.
fn excludes(out: &mut String, surveyed: &Surveyed) {
    let flagged: Vec<&Pass> = surveyed
        .ridden
        .passes
        .iter()
        .filter(|pass| !pass.flags.is_empty())
        .collect();
    out.push_str(
        "\n# Leave out what you know to be spoilt, with the reason. A pass is named by its start within 5 s.\n",
    );
    if flagged.is_empty() {
        out.push_str(
            "# [[exclude]]\n# start_time = 2026-05-02T09:14:22Z\n# reason = \"overtaken by a lorry\"\n",
        );
    }
    for pass in flagged {
        let way = match pass.direction {
            Direction::Forward => "forward",
            Direction::Reverse => "reverse",
        };
        line(
            out,
            &format!("# pass {}, {way}: {}", pass.number, pass.flags.join("; ")),
        );
        line(out, "# [[exclude]]");
        line(out, &format!("# start_time = {}", utc_text(pass.start_s, 0)));
        line(out, "# reason = \"\"");
    }
}
