//! A plan in sentences: what to do before a block, what is assumed, what to mind.

use super::choose::Choice;
use super::propose::{Asked, Purpose};
use super::{Expected, ExpectedPair, PlannedDay, chance_to_resolve};
use crate::test_day::{self, Hold, Planned, Shape, TestDay};
use crate::units::M_S_PER_KM_H;
use crate::warning::Warning;
use std::path::Path;

/// Of other days beside this one, so many are looked at for a null test.
const MOST_DAYS: usize = 200;
/// Courses shorter or longer than this are asked about (common practice, no published source).
const USUAL_LENGTH_M: std::ops::RangeInclusive<f64> = 600.0..=4000.0;

/// What a day is chosen by: the largest expected standard uncertainty of a set-up's ratio to the first. [%]
pub(super) fn largest_percent(expected: &Expected) -> Option<f64> {
    to_the_first(expected)
        .map(|pair| pair.standard_uncertainty_percent)
        .reduce(f64::max)
}

/// That the difference is resolved in the pair that is told worst.
pub(super) fn least_chance(expected: &Expected, difference_percent: f64) -> Option<f64> {
    to_the_first(expected)
        .map(|pair| chance_to_resolve(pair, difference_percent))
        .reduce(f64::min)
}

/// Each later set-up against the first.
pub fn to_the_first(expected: &Expected) -> impl Iterator<Item = &ExpectedPair> {
    expected.pairs.iter().filter(|pair| pair.baseline == 0)
}

/// The mass that all set-ups are brought to; `None` where nobody gave one.
pub(super) fn heaviest_kg(asked: &Asked) -> Option<f64> {
    asked
        .setups
        .iter()
        .filter_map(|(_, own)| own.or(asked.total_mass_kg))
        .reduce(f64::max)
}

pub(super) fn before_block(
    before: Option<usize>,
    now: usize,
    name: &dyn Fn(usize) -> String,
    two_speed: bool,
    powers_w: &[f64],
) -> String {
    let now_name = name(now);
    if two_speed {
        let power = powers_w.get(now).copied().unwrap_or_default();
        return match before {
            None => format!("'{now_name}', at {power:.0} W."),
            Some(earlier) if earlier == now => format!("once more at {power:.0} W; stop and start anew."),
            Some(_) => format!("change to {power:.0} W; the set-up stays as it is."),
        };
    }
    match before {
        None => format!("mount '{now_name}'."),
        Some(earlier) if earlier == now => {
            format!("take '{now_name}' off and mount it anew.")
        }
        Some(earlier) => format!("change '{}' for '{now_name}'.", name(earlier)),
    }
}

/// What the expected uncertainty rests on, one sentence each.
pub(super) fn assumptions(
    asked: &Asked,
    test_day: &TestDay,
    day: &PlannedDay,
    planned: &Planned,
) -> Vec<String> {
    let mut all = vec![
        asked.place.source.clone(),
        "Expected uncertainties come from the estimate of `compare` itself: the information in the planned passes, \
         ridden by the balance of forces, with every strength of wind, gusts and remounting taken at all its likely \
         values before anything was ridden, and the budget of what all passes share."
            .to_string(),
    ];
    all.push(match planned.wind {
        Some(wind) => format!(
            "Wind {:.1} m/s at rider height{}, as given; how it wanders and how gusty it is, as on any day.",
            wind.speed_m_s,
            wind.from_deg
                .map_or(" from anywhere".to_string(), |from| format!(" from {from:.0}°"))
        ),
        None => {
            "Wind as on any day in the open: it wanders by 0.1 to 0.8 m/s and has gusts of 0.15 to 0.8 m/s \
                 (docs/method.md, 16). A calm day tells more, a windy one less."
                .to_string()
        }
    });
    all.push(format!(
        "Drag area {:.3} m² of the first set-up is expected, air of {:.3} kg/m³.",
        planned.cda_m2,
        day.around().air_density_kg_m3
    ));
    all.push(format!(
        "{:.0} s for each turn and {:.0} s between blocks; the way there, warming up and breaks come on top of it.",
        planned.turn_round_s, planned.change_s
    ));
    if !asked.place.road.has_heights {
        all.push("The course has no heights, so it is taken as level.".to_string());
    }
    if let Some(cleaned) = asked.place.road.cleaned {
        all.push(format!(
            "Heights of the course: {} taken out as errors, {} filled in, averaged over {:.0} m of road.",
            cleaned.taken_out, cleaned.without, cleaned.smoothing_m
        ));
    }
    all.extend(
        test_day
            .assumptions
            .iter()
            .filter(|sentence| !sentence.contains("names no blocks"))
            .cloned(),
    );
    all
}

pub(super) fn warnings(folder: &Path, asked: &Asked, choice: &Choice, test_day: &TestDay) -> Vec<Warning> {
    let mut all = Vec::new();
    if !choice.within_time {
        all.push(Warning::new(
            "time",
            format!(
                "Two blocks of each set-up take {:.0} min, more than the {:.0} min given",
                choice.chosen.weighed.duration_s / 60.0,
                asked.time_s / 60.0
            ),
            "Give more --time, or a shorter course.",
        ));
    }
    if !USUAL_LENGTH_M.contains(&asked.place.road.length_m) {
        all.push(Warning::new(
            "course length",
            format!("The course is {:.0} m long", asked.place.road.length_m),
            "1 to 3 km do best: long enough for the air to count, short enough to ride often.",
        ));
    }
    if let Some(chance) = choice.chosen.weighed.chance.filter(|chance| *chance < 0.5) {
        all.push(Warning::new(
            "resolution",
            format!(
                "The day would show the difference looked for only {:.0} times in 100",
                100.0 * chance
            ),
            "Give it more time, a flatter or calmer course, or several days: `compare` puts days together.",
        ));
    }
    if asked.purpose == Purpose::Compare
        && !test_day.setups.iter().any(|setup| setup.same_as.is_some())
        && !null_test_beside(folder)
    {
        let first = test_day
            .setups
            .first()
            .map_or("as usual", |setup| setup.name.as_str());
        all.push(Warning::new(
            "null test",
            "No day beside this one tested a set-up against itself, which shows what your riding and your roads make \
             of no difference at all",
            format!("Plan one with `stillair plan NEW_FOLDER --null-test --setup \"{first}\"` and the same course."),
        ));
    }
    all
}

pub(super) fn fast_descent(fastest_m_s: f64, asked_for: bool) -> Warning {
    let what = format!(
        "At this power the course would be ridden at up to {:.0} km/h downhill",
        fastest_m_s / M_S_PER_KM_H
    );
    if asked_for {
        Warning::new(
            "descent",
            what,
            "Ride it uphill only (--shape one-way), or choose a flatter road.",
        )
    } else {
        Warning::new(
            "descent",
            format!("{what}, so out and back is not proposed"),
            "Roll back without pedalling, or choose a flatter road.",
        )
    }
}

/// Whether a folder beside this one holds a day with a null test.
fn null_test_beside(folder: &Path) -> bool {
    let full = folder
        .canonicalize()
        .or_else(|_| std::path::absolute(folder))
        .unwrap_or_else(|_| folder.to_path_buf());
    let Some(entries) = full.parent().and_then(|parent| std::fs::read_dir(parent).ok()) else {
        return false;
    };
    entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.join("test.toml").is_file())
        .take(MOST_DAYS)
        .any(|path| {
            test_day::read(&path).is_ok_and(|day| day.setups.iter().any(|setup| setup.same_as.is_some()))
        })
}

/// "out and back", as a way of riding.
pub fn shape_words(shape: Shape) -> &'static str {
    match shape {
        Shape::OneWay => "one way",
        Shape::OutAndBack => "out and back",
        Shape::Loop => "loop",
    }
}

/// "equal power".
pub fn hold_words(hold: Hold) -> &'static str {
    match hold {
        Hold::Power => "equal power",
        Hold::Speed => "equal speed",
    }
}
