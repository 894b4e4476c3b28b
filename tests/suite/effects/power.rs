//! The power meter over the day, its sampling, the rider's mass, and the air of a long day.

use super::paired::{Bends, Said, Shifts, compared_each, mean, said};
use crate::joint_days::drawn::{Course, Drawn};
use rayon::prelude::*;
use stillair::simulate::{Coasting, DayPlan, OneLeg, Sampling, TrueDay};
use stillair::study::Compared;
use stillair::test_day::{Measured, PowerSide, TestDay};
use stillair::treatment::Treatment;

const FIRST: u64 = 9000;

fn days() -> u64 {
    std::env::var("H4_DAYS")
        .ok()
        .and_then(|d| d.parse().ok())
        .unwrap_or(super::paired::DAYS)
}

/// An effect on days of a kind: `of` makes the kind, with the effect and without.
struct Long<'a> {
    course: Course,
    order: &'a str,
    of: &'a (dyn Fn(&mut DayPlan) + Sync),
    happens: &'a (dyn Fn(&mut DayPlan) + Sync),
    written: &'a (dyn Fn(&mut TestDay, &TrueDay) + Sync),
    untreated: &'a [Treatment],
}

struct Seen {
    shifts: Shifts,
    /// Share of the treated days that say this kind of warning.
    warned: f64,
    /// Of the treated answer's logarithm, by chance and effect together.
    held: usize,
}

fn nothing(_: &mut TestDay, _: &TrueDay) {}

fn shifts(effect: &Long, bends: Bends, kind: &str) -> Seen {
    let each: Vec<([Said; 3], bool, bool)> = (FIRST..FIRST + days())
        .into_par_iter()
        .map(|number| {
            let drawn = || Drawn::new(effect.course, effect.order, number);
            let without = compared_each(drawn(), effect.of, nothing, &[&[]]).remove(0);
            let both = compared_each(
                drawn(),
                |plan| {
                    (effect.of)(plan);
                    (effect.happens)(plan);
                },
                effect.written,
                &[effect.untreated, &[]],
            );
            let warned = both[1].warnings.iter().any(|w| w.kind == kind);
            let truth = match bends {
                Bends::Ratio => (drawn().change_percent / 100.0).ln_1p(),
                Bends::Cda => drawn().plan.setups[0].cda_m2.ln(),
            };
            (
                [
                    said(&both[0], bends),
                    said(&both[1], bends),
                    said(&without, bends),
                ],
                warned,
                holds(&both[1], bends, truth),
            )
        })
        .collect();
    let shift = |of: usize| each.iter().map(|(s, ..)| s[of].log - s[2].log).collect();
    let uncertainty = |of: usize| mean(each.iter().map(|(s, ..)| s[of].standard_uncertainty));
    Seen {
        shifts: Shifts {
            untreated: shift(0),
            treated: shift(1),
            standard_uncertainty: uncertainty(1),
            untreated_standard_uncertainty: uncertainty(0),
        },
        warned: mean(each.iter().map(|(_, warned, _)| f64::from(u8::from(*warned)))),
        held: each.iter().filter(|(.., held)| *held).count(),
    }
}

fn holds(compared: &Compared, bends: Bends, truth: f64) -> bool {
    let [low, high] = match bends {
        Bends::Ratio => compared.findings[0]
            .cda_change_percent
            .interval_90
            .unwrap()
            .map(|p| (p / 100.0).ln_1p()),
        Bends::Cda => compared.setups[0].cda_m2.unwrap().2.map(f64::ln),
    };
    (low..=high).contains(&truth)
}

/// From sunrise on: a quarter of an hour between blocks.
fn long(plan: &mut DayPlan) {
    plan.rider.rest_s = 900.0;
}

fn report(name: &str, seen: &Seen) {
    seen.shifts.print(name);
    println!("    warned {:.2}, held {} of {}", seen.warned, seen.held, days());
}

pub fn explore() {
    let which = std::env::var("H4_WHICH").unwrap_or_default();
    let on = |name: &str| which.is_empty() || which.split(',').any(|w| w == name);
    let run = |name: &str, e: &Long, bends, kind| {
        report(name, &shifts(e, bends, kind));
    };
    let base = Long {
        course: Course::Loop,
        order: "AAABBB",
        of: &long,
        happens: &|_| (),
        written: &nothing,
        untreated: &[],
    };
    if on("kelvin") {
        for order in ["AAABBB", "ABBAABBA"] {
            run(
                &format!("kelvin {order}"),
                &Long {
                    order,
                    happens: &|p| {
                        p.sensors.power_scale_per_k = 0.002;
                        p.air.temperature_trend_c_per_h = 3.0;
                        p.sensors.air_readings = 7;
                    },
                    untreated: &[Treatment::PowerWithTemperature],
                    ..base
                },
                Bends::Ratio,
                "power meter with temperature",
            );
        }
        run(
            "kelvin given",
            &Long {
                happens: &|p| {
                    p.sensors.power_scale_per_k = 0.002;
                    p.air.temperature_trend_c_per_h = 3.0;
                    p.sensors.air_readings = 7;
                },
                written: &|d, _| {
                    d.slow.power_scale_per_k = Measured {
                        value: 0.002,
                        standard_uncertainty: 0.0005,
                        given: true,
                    }
                },
                untreated: &[Treatment::PowerWithTemperature],
                ..base
            },
            Bends::Ratio,
            "power meter with temperature",
        );
    }
    if on("air") {
        run(
            "air, thermometer",
            &Long {
                happens: &|p| {
                    p.air.temperature_trend_c_per_h = 2.0;
                    p.sensors.temperature_offset_c_per_h = 0.4;
                },
                untreated: &[Treatment::WarmingAir],
                ..base
            },
            Bends::Ratio,
            "warming air",
        );
        run(
            "air, readings",
            &Long {
                happens: &|p| {
                    p.air.temperature_trend_c_per_h = 2.0;
                    p.sensors.air_readings = 7;
                },
                untreated: &[],
                ..base
            },
            Bends::Ratio,
            "warming air",
        );
        run(
            "air, nothing",
            &Long {
                happens: &|p| {
                    p.air.temperature_trend_c_per_h = 2.0;
                },
                written: &|d, _| d.air.clear(),
                untreated: &[Treatment::WarmingAir],
                ..base
            },
            Bends::Ratio,
            "warming air",
        );
    }
    if on("mass") {
        for course in [Course::OneWay, Course::OutAndBack] {
            run(
                &format!("mass {}", course.name()),
                &Long {
                    course,
                    happens: &|p| p.rider.mass_loss_kg_per_h = 0.8,
                    ..base
                },
                Bends::Ratio,
                "",
            );
        }
    }
    if on("leg") {
        for order in ["AAABBB", "ABBAABBA"] {
            run(
                &format!("leg {order}"),
                &Long {
                    order,
                    happens: &|p| {
                        p.sensors.one_leg = Some(OneLeg {
                            share: 0.5,
                            share_per_h: 0.004,
                            share_by_setup: 0.0,
                            wander_sd: 0.005,
                            wander_memory_s: 1200.0,
                        })
                    },
                    written: &|d, _| d.slow.power_side = Some(PowerSide::Left),
                    untreated: &[Treatment::OneLegPower],
                    ..base
                },
                Bends::Ratio,
                "power of one leg",
            );
        }
    }
    if on("stuck") {
        let coast = |p: &mut DayPlan| {
            p.rider.coasts = Some(Coasting {
                each_m: 500.0,
                for_m: 70.0,
            })
        };
        run(
            "stuck",
            &Long {
                order: "ABBA",
                of: &coast,
                happens: &|p| p.sensors.power_sticks_s = 3.0,
                untreated: &[Treatment::StuckPower],
                ..base
            },
            Bends::Cda,
            "repairs",
        );
    }
    if on("round") {
        run(
            "whole watts cut, 0.1 km/h cut",
            &Long {
                order: "ABBA",
                of: &|_| (),
                happens: &|p| {
                    p.sensors.cuts_off = true;
                    p.sensors.speed_resolution_m_s = 0.1 / 3.6;
                },
                ..base
            },
            Bends::Cda,
            "",
        );
        run(
            "0.1 m/s cut",
            &Long {
                order: "ABBA",
                of: &|_| (),
                happens: &|p| {
                    p.sensors.cuts_off = true;
                    p.sensors.speed_resolution_m_s = 0.1;
                },
                ..base
            },
            Bends::Cda,
            "",
        );
        run(
            "0.1 m/s",
            &Long {
                order: "ABBA",
                of: &|_| (),
                happens: &|p| {
                    p.sensors.speed_resolution_m_s = 0.1;
                },
                ..base
            },
            Bends::Cda,
            "",
        );
    }
    if on("sample") {
        for (name, mean) in [("instant", false), ("mean", true)] {
            for (course, order) in [(Course::Loop, "ABBA"), (Course::OutAndBack, "ABBA")] {
                let happens = |p: &mut DayPlan| {
                    p.sensors.sampling = Sampling::OnChange { longest_s: 8.0 };
                    p.sensors.power_since_last = mean;
                };
                run(
                    &format!("sampled by need {name} cda {}", course.name()),
                    &Long {
                        course,
                        order,
                        of: &|_| (),
                        happens: &happens,
                        ..base
                    },
                    Bends::Cda,
                    "",
                );
                run(
                    &format!("sampled by need {name} ratio {}", course.name()),
                    &Long {
                        course,
                        order,
                        of: &|_| (),
                        happens: &happens,
                        ..base
                    },
                    Bends::Ratio,
                    "",
                );
            }
        }
    }
}
