//! What all passes share and how well it is known; what the numbers rest on, in sentences.

use super::altitude_lag;
use super::power_delay::PowerDelays;
use super::remarks::NOT_SEPARATED;
use super::speed_scale::SpeedScales;
use super::track::OnTrack;
use super::{FitEnd, SetupResult, Surveyed, slow};
use crate::estimate::budget::{BudgetLine, SharedInput};
use crate::estimate::cells::{PassRide, Shift};
use crate::estimate::joint::explore::Ended;
use crate::estimate::joint::prior::gust_mean_square;
use crate::estimate::joint::{BAROMETER_DRIFT_M_S, Joint};
use crate::estimate::plain::Averages;
use crate::estimate::rolling::Rolling;
use crate::test_day::Shape;
use crate::treatment::Treatment;

/// What the joint estimate has among its unknowns.
const INSIDE: [&str; 4] = [
    "power meter with temperature",
    "mean wind, east",
    "mean wind, north",
    "climb from start to finish",
];

/// What a set-up has of its own in the speed scale: another error for each, and on each day.
pub const OWN_SPEED_SCALE: &str = "speed scale of one set-up";

/// The inputs common to all passes with their standard uncertainties.
pub(super) fn shared(
    surveyed: &Surveyed,
    rides: &[PassRide],
    rolling: &Rolling,
    speed_scales: &SpeedScales,
    on_track: Option<&OnTrack>,
    delays: &PowerDelays,
) -> Vec<SharedInput> {
    let setup = &surveyed.test_day.setups[rides.first().map_or(0, |r| r.setup)];
    let count = rides.len() as f64;
    // Weighed before its block or not, a mass is read off one scale, whose error all passes share.
    let mass_uncertainty_kg = |ride: &PassRide| {
        let of_setup = surveyed.test_day.setups[ride.setup].total_mass_kg;
        ride.total_mass_kg.unwrap_or(of_setup).standard_uncertainty
    };
    let mass_uncertainty_kg = rides.iter().map(mass_uncertainty_kg).sum::<f64>() / count;
    let mean = |value: fn(&PassRide) -> f64| rides.iter().map(value).sum::<f64>() / count;
    let density = mean(|r| r.air.density_standard_uncertainty_kg_m3) / mean(|r| r.air.density_kg_m3);
    let wind = mean(|r| r.air.wind_standard_uncertainty_m_s);
    let mut inputs = of_any_day(&OfAnyDay {
        total_mass_kg: mass_uncertainty_kg,
        power_scale: surveyed
            .test_day
            .power_scale
            .standard_uncertainty
            .hypot(slow::one_leg_scale(rides)),
        drivetrain_efficiency: setup.drivetrain_efficiency.standard_uncertainty,
        crr: rolling.standard_uncertainty,
        speed_scale: speed_scales.common_standard_uncertainty,
        density,
        wind_m_s: wind,
        wheel_radius_m: setup.wheel_radius_m.standard_uncertainty,
        wheel_inertia_kg_m2: setup.wheel_inertia_kg_m2.standard_uncertainty,
        warming_k_per_h: mean(|r| r.in_day.warming_standard_uncertainty_k_per_h),
        mass_loss_kg_per_h: slow::mass_loss_uncertainty(surveyed),
    });
    if let Some(on_track) = on_track {
        let lean = on_track.lean_standard_uncertainty;
        inputs.push(line("lean in the bends", lean, "1", |e| Shift {
            lean_share: e,
            ..Shift::default()
        }));
    }
    if let Some(open_s) = altitude_lag::open_s(surveyed) {
        inputs.push(line("altitude lag", open_s, "s", |e| Shift {
            altitude_lag_s: e,
            ..Shift::default()
        }));
    }
    if let Some(open) = altitude_lag::open_port(surveyed) {
        inputs.push(line("pressure port", open, "1", |e| Shift {
            port_coefficient: e,
            ..Shift::default()
        }));
    }
    if let Some(open_s) = delays.open_s(&surveyed.ridden.passes, rides) {
        inputs.push(line("power delay", open_s, "s", |e| Shift {
            power_delay_s: e,
            ..Shift::default()
        }));
    }
    let per_kelvin = mean(|r| r.in_day.power_scale_per_k_standard_uncertainty);
    inputs.push(line("power meter with temperature", per_kelvin, "1/K", |e| {
        Shift {
            power_scale_per_k: e,
            ..Shift::default()
        }
    }));
    let of_surfaces = surfaces(surveyed);
    if of_surfaces > 0.0 {
        inputs.push(line("rolling resistance of surfaces", of_surfaces, "1", |e| {
            Shift {
                crr_factor: e,
                ..Shift::default()
            }
        }));
    }
    let own = speed_scales.own_standard_uncertainty.iter().enumerate();
    inputs.extend(own.filter(|(_, u)| **u > 0.0).map(|(setup, u)| SharedInput {
        of_setup: Some(setup),
        ..line(OWN_SPEED_SCALE, *u, "1", |e| Shift {
            speed_scale: 1.0 + e,
            ..Shift::default()
        })
    }));
    if surveyed.ridden.course.shape != Shape::Loop {
        inputs.push(line(
            "climb from start to finish",
            climb_uncertainty_m(surveyed, rides),
            "m",
            |e| Shift {
                climb_m: e,
                ..Shift::default()
            },
        ));
    }
    inputs
}

fn line(
    input: &'static str,
    standard_uncertainty: f64,
    unit: &'static str,
    shift: fn(f64) -> Shift,
) -> SharedInput {
    SharedInput {
        input,
        standard_uncertainty,
        unit,
        inside: INSIDE.contains(&input),
        of_setup: None,
        shift,
    }
}

/// Standard uncertainties of what every day has; scales, efficiency and density as shares.
pub struct OfAnyDay {
    pub total_mass_kg: f64,
    pub power_scale: f64,
    pub drivetrain_efficiency: f64,
    pub crr: f64,
    pub speed_scale: f64,
    pub density: f64,
    /// Each way.
    pub wind_m_s: f64,
    pub wheel_radius_m: f64,
    pub wheel_inertia_kg_m2: f64,
    pub warming_k_per_h: f64,
    pub mass_loss_kg_per_h: f64,
}

pub fn of_any_day(of: &OfAnyDay) -> Vec<SharedInput> {
    vec![
        line("total mass", of.total_mass_kg, "kg", |e| Shift {
            total_mass_kg: e,
            ..Shift::default()
        }),
        line("power meter scale", of.power_scale, "1", |e| Shift {
            power_scale: 1.0 + e,
            ..Shift::default()
        }),
        line("drivetrain efficiency", of.drivetrain_efficiency, "1", |e| {
            Shift {
                drivetrain_efficiency: e,
                ..Shift::default()
            }
        }),
        line("rolling resistance", of.crr, "1", |e| Shift {
            crr: e,
            ..Shift::default()
        }),
        line("speed scale", of.speed_scale, "1", |e| Shift {
            speed_scale: 1.0 + e,
            ..Shift::default()
        }),
        line("air density", of.density, "1", |e| Shift {
            density_scale: 1.0 + e,
            ..Shift::default()
        }),
        line("mean wind, east", of.wind_m_s, "m/s", |e| Shift {
            wind_east_m_s: e,
            ..Shift::default()
        }),
        line("mean wind, north", of.wind_m_s, "m/s", |e| Shift {
            wind_north_m_s: e,
            ..Shift::default()
        }),
        line("wheel radius", of.wheel_radius_m, "m", |e| Shift {
            wheel_radius_m: e,
            ..Shift::default()
        }),
        line("wheel inertia", of.wheel_inertia_kg_m2, "kg m²", |e| Shift {
            wheel_inertia_kg_m2: e,
            ..Shift::default()
        }),
        line("warming of the air", of.warming_k_per_h, "K/h", |e| Shift {
            warming_k_per_h: e,
            ..Shift::default()
        }),
        line("loss of mass", of.mass_loss_kg_per_h, "kg/h", |e| Shift {
            mass_loss_kg_per_h: e,
            ..Shift::default()
        }),
    ]
}

/// Of the factors of the surfaces in `test.toml`, the largest: they are moved together.
fn surfaces(surveyed: &Surveyed) -> f64 {
    let used = !surveyed.test_day.as_recorded.leaves(Treatment::Surfaces);
    let given = surveyed.test_day.surfaces.iter().filter(|_| used);
    given
        .map(|surface| surface.crr_factor.standard_uncertainty)
        .fold(0.0, f64::max)
}

/// Of the finish above the start: the pooled profile's noise, and the drift of each pass's barometer.
fn climb_uncertainty_m(surveyed: &Surveyed, rides: &[PassRide]) -> f64 {
    let count = rides.len() as f64;
    let seconds = rides.iter().map(PassRide::duration_s).sum::<f64>() / count;
    let noise = surveyed
        .ridden
        .course
        .profile
        .as_ref()
        .map_or(0.0, |p| p.standard_uncertainty_m.hypot(p.wander_m));
    noise.hypot(BAROMETER_DRIFT_M_S * seconds / count.sqrt())
}

/// The unknowns of the joint estimate, with what each leaves in the answer. `told`: the shared inputs among them.
pub fn inside(joint: &Joint, told: &[SharedInput], averages: &Averages) -> Vec<BudgetLine> {
    let known = |name: &str| {
        let input = told.iter().find(|input| input.input == name);
        input.map_or(0.0, |input| input.standard_uncertainty)
    };
    let strengths = &joint.strengths;
    let (gust_square, _) = gust_mean_square(strengths.gust_q_m2_s);
    joint
        .inside
        .iter()
        .map(|line| {
            let (standard_uncertainty, unit) = match line.input {
                "mean wind" => (known("mean wind, east"), "m/s"),
                "wandering wind" => (strengths.wander_sd_m_s, "m/s"),
                "mean square of gusts and crosswind" => {
                    (joint.gust_square_standard_uncertainty_m2_s2, "m²/s²")
                }
                "climb of the road" => (known("climb from start to finish"), "m"),
                "power meter with temperature" => (known(line.input), "1/K"),
                "remounting" => (strengths.block_sd, "1"),
                "position from pass to pass" => (strengths.pass_sd, "1"),
                // Of gusts alike in both directions, whose mean square is one and a half times their variance.
                _ => ((gust_square / 1.5).sqrt(), "m/s"),
            };
            let ridden = |s: usize| averages.setups[s].is_some();
            let cda_m2 = |s: usize| joint.log_cda(s).map_or(f64::NAN, |(log, _)| log.exp());
            BudgetLine {
                input: line.input,
                standard_uncertainty,
                unit,
                inside: true,
                of_setup: None,
                effect_cda_m2: (0..line.log_cda.len())
                    .map(|s| {
                        if ridden(s) {
                            cda_m2(s) * line.log_cda[s]
                        } else {
                            f64::NAN
                        }
                    })
                    .collect(),
                effect_log_ratio: line.log_ratio.clone(),
                effect_log_crr_ratio: vec![0.0; line.log_ratio.len()],
            }
        })
        .collect()
}

/// What the results rest on, one sentence each.
pub fn assumptions(surveyed: &Surveyed, rolling: &Rolling, setups: &[SetupResult]) -> Vec<String> {
    let mut all = surveyed.test_day.assumptions.clone();
    all.push(format!(
        "CdA is taken as the same at every yaw, and side force is left out: mind it with wheels. Yaw as ridden \
         (root mean square, gusts and what is not known of the wind included; nine tenths of the time between): {}.",
        yaws(setups)
    ));
    all.push("Power: mean over the second that ends at its stamp; speed: that at its stamp.".to_string());
    if rolling.held {
        all.push("Rolling resistance is held: the speeds ridden do not tell it from drag.".to_string());
    }
    all
}

fn yaws(setups: &[SetupResult]) -> String {
    let known: Vec<String> = setups
        .iter()
        .filter_map(|s| s.yaw.map(|yaw| format!("'{}' {}", s.name, yaw.in_words())))
        .collect();
    if known.is_empty() {
        "not known, since the wind across the road is not".to_string()
    } else {
        known.join(", ")
    }
}

/// How the fit ended, for programs and for people.
pub fn fit_end(rolling: &Rolling, joint: &Joint, passes: usize, setups: usize) -> FitEnd {
    let told_apart = |setup: usize| joint.separation(setup).is_none_or(|r| r.abs() <= NOT_SEPARATED);
    let (ended, how) = match joint.ended {
        Ended::Converged if !(0..setups).all(told_apart) => (
            "not identifiable",
            "the joint fit converged, but the speeds ridden do not tell drag area from rolling resistance of every \
             set-up: of those only both together are known"
                .to_string(),
        ),
        Ended::Converged => (
            "converged",
            format!("the joint fit converged in {} steps", joint.steps),
        ),
        Ended::AtBound => (
            "at a bound",
            "the gusts' strength ran into the end of its range, so passes may be better or worse than they say"
                .to_string(),
        ),
        Ended::NotConverged => (
            "not converged",
            "the joint fit had not come to rest after its last step: take the answer with care, and see which pass \
             is odd"
                .to_string(),
        ),
    };
    let crr = match (rolling.rides_alone, rolling.correlation) {
        (Some((_, own)), Some(r)) if rolling.held => {
            format!(
                "the rides alone tell Crr only to ± {own:.4} (correlation with CdA {r:.2}), so it is held"
            )
        }
        (Some((_, own)), Some(r)) => {
            format!("the rides alone tell Crr to ± {own:.4} (correlation with CdA {r:.2}), so it is fitted")
        }
        _ => "the speeds ridden cannot tell Crr from CdA at all, so it is held".to_string(),
    };
    let noun = if passes == 1 { "pass" } else { "passes" };
    FitEnd {
        ended,
        sentence: format!("{passes} {noun} fitted; {how}; {crr}."),
    }
}
