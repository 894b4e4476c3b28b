//! The tables of a day's answer.

use super::Table;
use super::table::Columns;
use crate::course::{Direction, Pass};
use crate::study::{Compared, Elevations, PassResult, SetupResult};
use crate::units::utc_text;
use crate::verdict::{Estimated, Finding};

/// Draws of each set-up's drag area and rolling resistance.
pub const DRAWS: usize = 1000;

/// Set-ups, comparisons, passes, pieces of passes, elevations and draws.
pub fn tables(compared: &Compared) -> Vec<Table> {
    vec![
        setups(compared),
        comparisons(compared),
        passes(compared),
        cells(compared),
        virtual_elevations(compared),
        draws(compared),
    ]
}

fn setup_name(compared: &Compared, setup: usize) -> Option<String> {
    let setups = &compared.surveyed.test_day.setups;
    setups.get(setup).map(|setup| setup.name.clone())
}

fn setups(compared: &Compared) -> Table {
    let cda = |at: fn(&(f64, f64, [f64; 2])) -> f64| move |row: &SetupResult| row.cda_m2.as_ref().map(at);
    Columns::of(&compared.setups)
        .text("setup", "Name of the set-up; the first is the baseline", |row| {
            Some(row.name.clone())
        })
        .number("cda_m2", "m²", "Drag area", cda(|cda| cda.0))
        .number(
            "cda_standard_uncertainty_m2",
            "m²",
            "Its combined standard uncertainty, what all passes share included",
            cda(|cda| cda.1),
        )
        .number(
            "cda_interval_90_low_m2",
            "m²",
            "Lower end of its 90 % interval",
            cda(|cda| cda.2[0]),
        )
        .number(
            "cda_interval_90_high_m2",
            "m²",
            "Upper end of its 90 % interval",
            cda(|cda| cda.2[1]),
        )
        .number("crr", "1", "Coefficient of rolling resistance", |row| {
            Some(row.crr.0)
        })
        .number(
            "crr_standard_uncertainty",
            "1",
            "Its standard uncertainty",
            |row| Some(row.crr.1),
        )
        .number(
            "yaw_rms_deg",
            "°",
            "Root mean square of the yaw that was ridden",
            |row| Some(row.yaw?.rms_deg),
        )
        .number(
            "yaw_standard_uncertainty_deg",
            "°",
            "What of it comes from not knowing the wind",
            |row| Some(row.yaw?.unknown_deg),
        )
        .number(
            "chance_lowest",
            "1",
            "Chance of having the least drag, among three set-ups or more",
            |row| row.chance_lowest,
        )
        .count("blocks", "Blocks that were ridden", |row| Some(row.blocks))
        .count("passes", "Passes that count", |row| Some(row.passes))
        .table("setups")
}

fn comparisons(compared: &Compared) -> Table {
    let low = |e: &Estimated| Some(e.interval_90?[0]);
    let high = |e: &Estimated| Some(e.interval_90?[1]);
    Columns::of(&compared.findings)
        .text("setup", "Name of the set-up", |row| {
            setup_name(compared, row.setup)
        })
        .text("baseline", "Name of the one it is held against", |row| {
            setup_name(compared, row.baseline)
        })
        .number(
            "cda_change_percent",
            "%",
            "Change of drag area, positive: more",
            |row| Some(row.cda_change_percent.value),
        )
        .number(
            "cda_change_standard_uncertainty_percent",
            "%",
            "Its standard uncertainty",
            |row| row.cda_change_percent.standard_uncertainty,
        )
        .number(
            "cda_change_interval_90_low_percent",
            "%",
            "Lower end of its 90 % interval",
            |row| low(&row.cda_change_percent),
        )
        .number(
            "cda_change_interval_90_high_percent",
            "%",
            "Upper end of its 90 % interval",
            |row| high(&row.cda_change_percent),
        )
        .number("cda_change_m2", "m²", "The same in square metres", |row| {
            Some(row.cda_change_m2.value)
        })
        .number(
            "cda_change_standard_uncertainty_m2",
            "m²",
            "Its standard uncertainty",
            |row| row.cda_change_m2.standard_uncertainty,
        )
        .number(
            "cda_change_interval_90_low_m2",
            "m²",
            "Lower end of its 90 % interval",
            |row| low(&row.cda_change_m2),
        )
        .number(
            "cda_change_interval_90_high_m2",
            "m²",
            "Upper end of its 90 % interval",
            |row| high(&row.cda_change_m2),
        )
        .number(
            "crr_change_percent",
            "%",
            "Change of rolling resistance, where the test is about it",
            |row| Some(row.crr_change_percent.as_ref()?.value),
        )
        .number(
            "crr_change_standard_uncertainty_percent",
            "%",
            "Its standard uncertainty",
            |row| row.crr_change_percent.as_ref()?.standard_uncertainty,
        )
        .number(
            "crr_change_interval_90_low_percent",
            "%",
            "Lower end of its 90 % interval",
            |row| low(row.crr_change_percent.as_ref()?),
        )
        .number(
            "crr_change_interval_90_high_percent",
            "%",
            "Upper end of its 90 % interval",
            |row| high(row.crr_change_percent.as_ref()?),
        )
        .number("speed_m_s", "m/s", "Speed for which the power is given", |row| {
            Some(row.speed_m_s)
        })
        .number(
            "power_change_w",
            "W",
            "What the change is worth at that speed",
            |row| Some(row.watts.value),
        )
        .number(
            "power_change_interval_90_low_w",
            "W",
            "Lower end of its 90 % interval",
            |row| Some(row.watts.interval_90?[0]),
        )
        .number(
            "power_change_interval_90_high_w",
            "W",
            "Upper end of its 90 % interval",
            |row| Some(row.watts.interval_90?[1]),
        )
        .number(
            "time_change_40_km_s",
            "s",
            "What it is worth over 40 km of flat road",
            |row| Some(row.seconds_per_40_km.value),
        )
        .number(
            "time_change_40_km_interval_90_low_s",
            "s",
            "Lower end of its 90 % interval",
            |row| Some(row.seconds_per_40_km.interval_90?[0]),
        )
        .number(
            "time_change_40_km_interval_90_high_s",
            "s",
            "Upper end of its 90 % interval",
            |row| Some(row.seconds_per_40_km.interval_90?[1]),
        )
        .number(
            "probability_lower",
            "1",
            "Chance that the set-up has less drag",
            |row| row.probability_lower,
        )
        .text(
            "verdict",
            "Lower drag, higher drag, or not resolved; empty for a null test",
            |row: &Finding| row.null_test.is_none().then(|| row.call.as_text().to_string()),
        )
        .count(
            "more_blocks_to_resolve",
            "Blocks that would tell, four times of five; empty: no reachable number",
            |row| row.more_blocks_to_resolve,
        )
        .table("comparisons")
}

fn passes(compared: &Compared) -> Table {
    let surveyed = &compared.surveyed;
    let pass = |row: &PassResult| -> &Pass { &surveyed.ridden.passes[row.pass] };
    Columns::of(&compared.passes)
        .count("number", "From 1, in order of time", |row| Some(pass(row).number))
        .text("file", "Name of the recording", |row| {
            Some(surveyed.streams[pass(row).recording].name().to_string())
        })
        .count("block", "Block, from 1; empty outside any", |row| row.block)
        .text("setup", "Name of the set-up; empty where there is none", |row| {
            setup_name(compared, row.setup?)
        })
        .text("direction", "Forward: from start to finish", |row| {
            Some(direction(pass(row).direction).to_string())
        })
        .text("start_time", "When the first gate was crossed, UTC", |row| {
            Some(utc_text(pass(row).start_s, 3))
        })
        .number("duration_s", "s", "From gate to gate", |row| {
            Some(pass(row).duration_s())
        })
        .number(
            "crossing_standard_uncertainty_s",
            "s",
            "Of each of the two times at which the gates were crossed",
            |row| Some(pass(row).crossing_standard_uncertainty_s),
        )
        .number("ridden_m", "m", "By the speed channel", |row| {
            Some(pass(row).ridden_m)
        })
        .number("entry_speed_m_s", "m/s", "At the first gate", |row| {
            Some(pass(row).entry_speed_m_s)
        })
        .number("exit_speed_m_s", "m/s", "At the last gate", |row| {
            Some(pass(row).exit_speed_m_s)
        })
        .number("mean_power_w", "W", "Mean over time", |row| {
            Some(pass(row).mean_power_w)
        })
        .number("cda_m2", "m²", "Drag area of this pass", |row| {
            Some(row.cda_m2?.0)
        })
        .number(
            "cda_standard_uncertainty_m2",
            "m²",
            "Standard uncertainty of what differs between passes only",
            |row| Some(row.cda_m2?.1),
        )
        .number(
            "still_air_time_s",
            "s",
            "The pass again without wind, at the power, weight and entry speed of all",
            |row| row.still_air_time_s,
        )
        .number(
            "wind_east_m_s",
            "m/s",
            "Where the air moved to, as the whole day sees it",
            |row| Some(row.judged.as_ref()?.wind_m_s[0].0),
        )
        .number(
            "wind_east_standard_uncertainty_m_s",
            "m/s",
            "Its standard uncertainty",
            |row| Some(row.judged.as_ref()?.wind_m_s[0].1),
        )
        .number("wind_north_m_s", "m/s", "The same to the north", |row| {
            Some(row.judged.as_ref()?.wind_m_s[1].0)
        })
        .number(
            "wind_north_standard_uncertainty_m_s",
            "m/s",
            "Its standard uncertainty",
            |row| Some(row.judged.as_ref()?.wind_m_s[1].1),
        )
        .flag("kept", "Whether it counts", |row| Some(row.kept))
        .text("flags", "What to know of it, separated by semicolons", |row| {
            Some(row.flags.join("; ")).filter(|flags| !flags.is_empty())
        })
        .table("passes")
}

fn direction(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "forward",
        Direction::Reverse => "reverse",
    }
}

/// Number of the pass, its elevations, and a place among them.
type At<'a> = (usize, &'a Elevations, usize);

fn places<'a>(compared: &'a Compared, count: fn(&Elevations) -> usize) -> Vec<At<'a>> {
    let passes = compared.passes.iter().filter_map(|row| {
        let number = compared.surveyed.ridden.passes[row.pass].number;
        Some((number, row.elevation.as_ref()?))
    });
    passes
        .flat_map(|(number, seen)| (0..count(seen)).map(move |place| (number, seen, place)))
        .collect()
}

fn cells(compared: &Compared) -> Table {
    let rows = places(compared, |seen| seen.left_over_j.len());
    Columns::of(&rows)
        .count("number", "Number of the pass", |row| Some(row.0))
        .count(
            "cell",
            "Piece of the course, from 1, in the order ridden",
            |row| Some(row.2 + 1),
        )
        .number(
            "from_m",
            "m",
            "Where it begins, along the course from its start",
            |row| row.1.along_m.get(row.2).copied(),
        )
        .number("to_m", "m", "Where it ends", |row| {
            row.1.along_m.get(row.2 + 1).copied()
        })
        .number(
            "left_over_j",
            "J",
            "Energy that is not explained, positive: more came in than went out",
            |row| row.1.left_over_j.get(row.2).copied(),
        )
        .table("cells")
}

fn virtual_elevations(compared: &Compared) -> Table {
    let rows = places(compared, |seen| seen.along_m.len());
    Columns::of(&rows)
        .count("number", "Number of the pass", |row| Some(row.0))
        .number(
            "along_m",
            "m",
            "Place along the course from its start, in the order ridden",
            |row| row.1.along_m.get(row.2).copied(),
        )
        .number(
            "virtual_m",
            "m",
            "Virtual elevation above the first gate, by the drag area of the pass",
            |row| row.1.virtual_m.get(row.2).copied(),
        )
        .number(
            "shared_m",
            "m",
            "Elevation that all passes share, above the first gate",
            |row| row.1.shared_m.get(row.2).copied(),
        )
        .table("virtual_elevations")
}

fn draws(compared: &Compared) -> Table {
    let draws = compared.basis.joint.draws(DRAWS).unwrap_or_default();
    let setups = compared.setups.len();
    let rows: Vec<(usize, usize, &Vec<f64>)> = draws
        .iter()
        .enumerate()
        .flat_map(|(draw, values)| (0..setups).map(move |setup| (draw, setup, values)))
        .collect();
    let value = |row: &(usize, usize, &Vec<f64>), from: usize| row.2.get(from + row.1).copied();
    Columns::of(&rows)
        .count("draw", "From 1; rows of one draw belong together", |row| {
            Some(row.0 + 1)
        })
        .text("setup", "Name of the set-up", |row| setup_name(compared, row.1))
        .number(
            "log_cda",
            "ln m²",
            "Natural logarithm of its drag area, what all passes share left out",
            |row| value(row, 0),
        )
        .number(
            "log_crr_ratio",
            "1",
            "Natural logarithm of its rolling resistance over what was assumed",
            |row| value(row, setups),
        )
        .table("draws")
}
