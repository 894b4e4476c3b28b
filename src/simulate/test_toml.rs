//! The `test.toml` that a careful rider would have written for a simulated day.

use super::plan::{Incident, SetupTruth, Shape};
use super::truth::{LAST_ZERO_AFTER_S, TrueDay};
use super::unit::AIR_SPEED;
use crate::units::utc_text;
use std::fmt::Write;

impl TrueDay {
    /// The text, with comments for a newcomer. The true values stand in it, except what the test is to find:
    /// drag area, and the wind. `with_course`: gates included, else they are to be found from the rides.
    pub fn test_toml(&self, with_course: bool) -> String {
        let mut out = String::new();
        self.heading(&mut out);
        self.shared_values(&mut out);
        self.air_values(&mut out);
        self.air_speed_values(&mut out);
        if with_course {
            self.course_values(&mut out);
        }
        self.setup_values(&mut out);
        self.block_values(&mut out);
        self.exclude_values(&mut out);
        out
    }

    fn heading(&self, out: &mut String) {
        out.push_str(
            "# A test day: what was ridden, in what, and what was known about it.\n\
             # Lines that start with # are remarks. Units stand in the names.\n\n",
        );
        line(out, &format!("title = {}", quoted(&self.plan.title)));
        line(
            out,
            "smallest_difference_percent = 2.0    # a smaller difference in drag area would not matter to you",
        );
    }

    /// What holds for every set-up; its numbers are those of the baseline.
    fn shared_values(&self, out: &mut String) {
        let Some(base) = self.plan.setups.first() else {
            return;
        };
        out.push_str("\n[rider]\n");
        line(
            out,
            &format!(
                "total_mass_kg = {:?}    # rider, bike, clothes and bottles together, on one scale",
                base.total_mass_kg
            ),
        );
        line(out, "total_mass_standard_uncertainty_kg = 0.3");
        out.push_str("\n[bike]\n");
        line(
            out,
            &format!(
                "drivetrain_efficiency = {:?}    # the power meter sits at the crank",
                base.drivetrain_efficiency
            ),
        );
        line(
            out,
            &format!(
                "wheel_radius_m = {:?}    # rollout of one turn, loaded, divided by 2 pi",
                base.wheel_radius_m
            ),
        );
        line(
            out,
            &format!(
                "wheel_inertia_kg_m2 = {:?}    # both wheels together",
                base.wheel_inertia_kg_m2
            ),
        );
        out.push_str("\n[tyres]\n");
        line(
            out,
            &format!(
                "crr = {:?}    # rolling resistance, as well as you know it",
                base.crr
            ),
        );
        line(out, "crr_standard_uncertainty = 0.0007");
    }

    fn air_values(&self, out: &mut String) {
        out.push_str(
            "\n# The air at the road. Wind is not written here: it was not measured,\n\
             # and what it may have been is carried as uncertainty.\n",
        );
        let last_s = self.passes.last().map_or(self.plan.start_s, |pass| pass.end_s);
        let count = self.plan.sensors.air_readings;
        for number in 0..count {
            let share = number as f64 / count.saturating_sub(1).max(1) as f64;
            self.air_reading(out, share * (last_s - self.plan.start_s));
        }
    }

    /// A thermometer and a barometer are read to a tenth.
    fn air_reading(&self, out: &mut String, seconds: f64) {
        let mut air = self.plan.air.after(seconds);
        if self.plan.air.changes() {
            air.temperature_c = (10.0 * air.temperature_c).round() / 10.0;
            air.pressure_hpa = (10.0 * air.pressure_hpa).round() / 10.0;
        }
        out.push_str("[[air]]\n");
        line(
            out,
            &format!("time = {}", utc_text(self.plan.start_s + seconds, 0)),
        );
        line(out, &format!("temperature_c = {:?}", air.temperature_c));
        line(
            out,
            &format!(
                "pressure_hpa = {:?}    # a barometer at the road, not a forecast's sea-level value",
                air.pressure_hpa
            ),
        );
        line(
            out,
            &format!("relative_humidity_percent = {:?}", air.relative_humidity_percent),
        );
    }

    fn air_speed_values(&self, out: &mut String) {
        let second = self.plan.second_unit.as_ref();
        let of_second = second.and_then(|unit| unit.sensors.air_speed);
        if self.plan.sensors.air_speed.or(of_second).is_none() {
            return;
        }
        out.push_str("\n# The sensor of the speed of the air that the rider meets.\n[air_speed]\n");
        line(
            out,
            &format!(
                "channel = {}    # its name as `stillair inspect` lists it",
                quoted(AIR_SPEED)
            ),
        );
    }

    fn course_values(&self, out: &mut String) {
        let shape = match self.plan.course.shape {
            Shape::OneWay => "one-way",
            Shape::OutAndBack => "out-and-back",
            Shape::Loop => "loop",
        };
        let gate = |[latitude, longitude]: [f64; 2]| format!("[{latitude:.6}, {longitude:.6}]");
        out.push_str("\n# Gates across the road: latitude, longitude.\n[course]\n");
        line(out, &format!("shape = \"{shape}\""));
        line(out, &format!("start = {}", gate(self.start_deg)));
        if self.plan.course.shape != Shape::Loop {
            line(out, &format!("finish = {}", gate(self.finish_deg)));
        }
        if let Some(track) = &self.plan.course.track {
            line(
                out,
                &format!(
                    "lap_length_m = {:?}    # along the measuring line",
                    self.plan.course.length_m
                ),
            );
            line(
                out,
                &format!(
                    "bend_radius_m = {:?}    # where they are tightest",
                    track.bend_radius_m
                ),
            );
        }
    }

    fn setup_values(&self, out: &mut String) {
        out.push_str("\n# What is compared. The first one is the baseline.\n");
        for setup in &self.plan.setups {
            out.push_str("[[setup]]\n");
            line(out, &format!("name = {}", quoted(&setup.name)));
            if let Some(base) = self.plan.setups.first() {
                for (name, value) in differences(setup, base) {
                    line(out, &format!("{name} = {value:?}"));
                }
            }
            out.push('\n');
        }
    }

    fn block_values(&self, out: &mut String) {
        out.push_str(
            "# In riding order. A new block begins each time a set-up is put on, the same one again included.\n",
        );
        for (index, block) in self.plan.order.iter().enumerate() {
            let passes = self.passes.iter().filter(|p| p.block == index).count();
            if passes == 0 {
                continue;
            }
            let setup = block.setup.and_then(|setup| self.plan.setups.get(setup));
            let name = setup.map_or("none", |setup| &setup.name);
            out.push_str("[[block]]\n");
            line(out, &format!("setup = {}", quoted(name)));
            line(out, &format!("passes = {passes}"));
            if let Some(torque_nm) = self.power_zeros_nm.get(index) {
                line(
                    out,
                    &format!(
                        "power_zero_nm = {torque_nm:.3}    # what the power meter showed unloaded, before it was zeroed"
                    ),
                );
            }
            self.hand_held_wind(out, index);
            out.push('\n');
        }
        self.last_zero(out);
    }

    fn hand_held_wind(&self, out: &mut String, block: usize) {
        let (Some(sd), Some([east, north])) = (
            self.plan.sensors.hand_held_wind_sd_m_s,
            self.hand_held_winds_m_s.get(block),
        ) else {
            return;
        };
        let from_deg = (-east).atan2(-north).to_degrees().rem_euclid(360.0);
        line(out, &format!("wind_speed_m_s = {:.2}", east.hypot(*north)));
        line(out, &format!("wind_from_deg = {from_deg:.1}"));
        line(out, &format!("wind_standard_uncertainty_m_s = {sd:?}"));
    }

    /// The zero read after the last pass, in a block without passes.
    fn last_zero(&self, out: &mut String) {
        let (Some(torque_nm), Some(last)) =
            (self.power_zeros_nm.get(self.plan.order.len()), self.passes.last())
        else {
            return;
        };
        out.push_str("# After the last pass.\n[[block]]\nsetup = \"none\"\n");
        line(
            out,
            &format!("from = {}", utc_text(last.end_s + LAST_ZERO_AFTER_S, 0)),
        );
        line(
            out,
            &format!("to = {}", utc_text(last.end_s + LAST_ZERO_AFTER_S + 60.0, 0)),
        );
        line(out, &format!("power_zero_nm = {torque_nm:.3}"));
        out.push('\n');
    }

    /// A lorry is what a rider notices and writes down.
    fn exclude_values(&self, out: &mut String) {
        for incident in &self.plan.incidents {
            let Incident::Lorry { pass, .. } = *incident else {
                continue;
            };
            let Some(found) = self.planned_pass(pass) else {
                continue;
            };
            out.push_str("[[exclude]]\n");
            line(out, &format!("start_time = {}", utc_text(found, 0)));
            line(out, "reason = \"overtaken by a lorry\"");
            out.push('\n');
        }
    }
}

/// What a set-up does not share with the baseline and what can be measured before the ride.
fn differences(setup: &SetupTruth, base: &SetupTruth) -> Vec<(&'static str, f64)> {
    let pairs = [
        ("total_mass_kg", setup.total_mass_kg, base.total_mass_kg),
        ("wheel_radius_m", setup.wheel_radius_m, base.wheel_radius_m),
        (
            "wheel_inertia_kg_m2",
            setup.wheel_inertia_kg_m2,
            base.wheel_inertia_kg_m2,
        ),
        ("crr", setup.crr, base.crr),
        (
            "drivetrain_efficiency",
            setup.drivetrain_efficiency,
            base.drivetrain_efficiency,
        ),
    ];
    let differing = pairs.into_iter().filter(|(_, value, base)| value != base);
    differing.map(|(name, value, _)| (name, value)).collect()
}

fn line(out: &mut String, text: &str) {
    // Writing into a String cannot fail.
    let _ = writeln!(out, "{text}");
}

/// As a TOML string.
fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}
