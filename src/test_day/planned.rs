//! `[plan]`: what a day is planned for and how it is meant to be ridden, as it stands before the ride.

use super::section::Section;
use super::{Hold, Planned, PlannedWind};

/// Where `[plan]` is silent. A club rider's hour, a turn in a quiet road, and a change of equipment beside it (common
/// practice, no published source).
pub const POWER_W: f64 = 220.0;
pub const CDA_M2: f64 = 0.32;
pub const TURN_ROUND_S: f64 = 20.0;
pub const CHANGE_S: f64 = 300.0;

pub(super) fn read(section: &Section) -> Planned {
    let within = |key: &str, low: f64, high: f64, advice: &str| section.number_within(key, low, high, advice);
    let hold = section.text("hold").and_then(|text| match text.as_str() {
        "power" => Some(Hold::Power),
        "speed" => Some(Hold::Speed),
        other => {
            section.fault(
                "hold",
                format!("\"{other}\" is not what a rider can hold"),
                "Write \"power\" (the same watts in every pass) or \"speed\".",
            );
            None
        }
    });
    let seconds = "Write seconds, zero or more.";
    Planned {
        line: section.line,
        look_after_every_block: section.yes_or_no("look_after_every_block").unwrap_or(false),
        difference_percent: within(
            "difference_percent",
            -50.0,
            50.0,
            "Write the change of CdA to look for in percent, such as -3 for 3 % less drag.",
        ),
        hold: hold.unwrap_or(Hold::Power),
        power_w: within("power_w", 30.0, 1000.0, "Write the watts of a pass, such as 220.")
            .unwrap_or(POWER_W),
        entry_speed_m_s: within(
            "entry_speed_m_s",
            1.0,
            25.0,
            "Write metres per second, such as 10.0 (36 km/h).",
        ),
        cda_m2: within(
            "cda_m2",
            0.1,
            1.0,
            "Write the drag area expected of the first set-up in m², such as 0.32.",
        )
        .unwrap_or(CDA_M2),
        turn_round_s: within("turn_round_s", 0.0, 3600.0, seconds).unwrap_or(TURN_ROUND_S),
        change_s: within("change_s", 0.0, 7200.0, seconds).unwrap_or(CHANGE_S),
        wind: wind(section),
        road: section.text("road"),
        length_m: within(
            "length_m",
            50.0,
            50_000.0,
            "Write the metres of the course, such as 1500.",
        ),
        gradient_percent: within(
            "gradient_percent",
            -20.0,
            20.0,
            "Write the climb in percent from start to finish, such as 0.5.",
        )
        .unwrap_or(0.0),
        bearing_deg: within(
            "bearing_deg",
            0.0,
            360.0,
            "Write degrees from true north, 0 to 360.",
        )
        .unwrap_or(0.0),
        seed: section.count("seed").map_or(1, |seed| seed as u64),
    }
}

/// A strength may stand alone: then it may come from anywhere.
fn wind(section: &Section) -> Option<PlannedWind> {
    let speed_m_s = section.number_within(
        "wind_m_s",
        0.0,
        25.0,
        "Write the mean wind expected at rider height in m/s, such as 2.0; half of a forecast's value at 10 m.",
    );
    let from_deg = section.number_within(
        "wind_from_deg",
        0.0,
        360.0,
        "Write where the wind comes from, degrees from true north.",
    );
    if section.has("wind_from_deg") && !section.has("wind_m_s") {
        section.fault(
            "wind_from_deg",
            "the direction of the wind without its strength",
            "Write wind_m_s beside it.",
        );
    }
    Some(PlannedWind {
        speed_m_s: speed_m_s?,
        from_deg,
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::{day, faults};
    use super::*;

    #[test]
    fn a_plan_is_read_with_its_defaults() {
        let plan =
            day("[plan]\nlength_m = 1500\nlook_after_every_block = true\nwind_m_s = 2\nhold = \"speed\"\n")
                .plan
                .unwrap();
        assert_eq!(
            (plan.length_m, plan.power_w, plan.change_s),
            (Some(1500.0), POWER_W, CHANGE_S)
        );
        assert!(plan.look_after_every_block && plan.hold == Hold::Speed);
        let wind = plan.wind.unwrap();
        assert_eq!((wind.speed_m_s, wind.from_deg), (2.0, None));
        assert_eq!(day("title = \"x\"\n").plan, None);
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let text = "[plan]\nhold = \"heart rate\"\nwind_from_deg = 200\nlook_after_every_block = \"yes\"\npower_w = 0\n";
        let said = faults(text);
        assert_eq!(said.len(), 4, "{said:?}");
    }
}
