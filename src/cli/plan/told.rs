//! What was typed, asked for at the terminal or written before → what is asked of the plan.

use super::{Arguments, Held, Look, TEST_TOML, TIME_S, watts};
use crate::cli::asking::{answer, length_m, mass_kg, names};
use crate::cli::console::Stop;
use crate::error::Fault;
use crate::plan::place::Place;
use crate::plan::propose::{Asked, Purpose, There};
use crate::test_day::{self, Hold, Planned, PlannedWind, Shape, TestDay};
use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// A set-up, and its own mass where it has one.
type Named = (String, Option<f64>);

/// What was typed or answered; everything may be missing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Told {
    course: Option<PathBuf>,
    length_m: Option<f64>,
    setups: Vec<Named>,
    mass_kg: Option<f64>,
    power_w: Option<f64>,
}

impl Told {
    pub fn typed(arguments: &Arguments) -> Told {
        Told {
            course: arguments.course.clone(),
            length_m: arguments.length,
            setups: arguments.setups.iter().map(|text| named(text)).collect(),
            mass_kg: arguments.mass,
            power_w: arguments.power,
        }
    }
}

/// `closed helmet=82.2`: what stands behind the last = is a mass where it can be one.
fn named(text: &str) -> Named {
    let with_mass = text
        .rsplit_once('=')
        .and_then(|(name, kg)| Some((name.trim().to_string(), Some(mass_kg(kg).ok()?))));
    with_mass.unwrap_or_else(|| (text.trim().to_string(), None))
}

/// For what is missing.
pub fn ask(
    arguments: &Arguments,
    there: Option<&There>,
    told: &mut Told,
    input: &mut dyn BufRead,
    output: &mut dyn Write,
) {
    let planned = there.and_then(|there| there.day.plan.as_ref());
    let has_road = planned.is_some_and(|plan| plan.road.is_some() || plan.length_m.is_some());
    if told.course.is_none() && told.length_m.is_none() && !has_road {
        let question = "The road: a GPX route or a recording of it, or its length such as 1.5km: ";
        let typed = answer(question, input, output, |text| match length_m(text) {
            Ok(metres) => Ok((None, Some(metres))),
            Err(_) if Path::new(text).is_file() => Ok((Some(PathBuf::from(text)), None)),
            Err(why) => Err(format!("there is no file of this name, and as a length: {why}")),
        });
        (told.course, told.length_m) = typed.unwrap_or_default();
    }
    let has_setups = there.is_some_and(|there| there.has_setups);
    if told.setups.is_empty() && !has_setups && !arguments.null_test && !arguments.two_speed {
        let question = "Names of the set-ups, separated by commas, the usual one first: ";
        let typed = answer(question, input, output, names).unwrap_or_default();
        told.setups = typed.iter().map(|name| named(name)).collect();
    }
    if told.mass_kg.is_none() && there.is_none() {
        let question = "Mass of rider, bike, clothes and bottles together, in kg (Enter: not known): ";
        told.mass_kg = answer(question, input, output, mass_kg);
    }
    if told.power_w.is_none() && planned.is_none() {
        let question = "Power to hold in a pass, in W (Enter: 220): ";
        told.power_w = answer(question, input, output, watts);
    }
}

/// # Errors
/// Too little or too much was told, or what contradicts `test.toml`.
pub fn asked(arguments: &Arguments, told: &Told, there: Option<&There>) -> Result<Asked, Stop> {
    let file = arguments.folder.join(TEST_TOML);
    let has_setups = there.is_some_and(|there| there.has_setups);
    if has_setups && !told.setups.is_empty() {
        let next = "Leave --setup out, or name a set-up more in the file.";
        return Err(Fault::new("it names the set-ups already", next)
            .in_file(&file)
            .into());
    }
    let mut planned = planned(arguments, told, there)?;
    let given = there.and_then(|there| there.day.course);
    let shape = arguments
        .shape
        .map(Shape::from)
        .or(given.and_then(|course| course.shape));
    let place = place(arguments, told, &mut planned, shape)?;
    let (purpose, setups) = purpose(arguments, told, there.filter(|_| has_setups))?;
    Ok(Asked {
        purpose,
        title: arguments
            .title
            .clone()
            .or_else(|| there.and_then(|there| there.day.title.clone())),
        place,
        shape,
        setups,
        total_mass_kg: told.mass_kg,
        hold: arguments.hold.map(|held| match held {
            Held::Power => Hold::Power,
            Held::Speed => Hold::Speed,
        }),
        time_s: arguments.time.unwrap_or(TIME_S),
        planned,
    })
}

fn purpose(arguments: &Arguments, told: &Told, there: Option<&There>) -> Result<(Purpose, Vec<Named>), Stop> {
    let file = arguments.folder.join(TEST_TOML);
    if let Some(day) = there.map(|there| &there.day) {
        let null_test = day.setups.iter().any(|setup| setup.same_as.is_some());
        let single = day.setups.len() == 1;
        if arguments.null_test && !null_test {
            let what = "it names set-ups, but none that is the same as another";
            let next = "Write a second [[setup]] with same_as = \"…\" there, or plan the null test in another folder.";
            return Err(Fault::new(what, next).in_file(&file).into());
        }
        return match (arguments.two_speed, single) {
            (true, false) => Err(Fault::new(
                "a two-speed day has one set-up, and it names several",
                "Leave --two-speed out, or plan in another folder.",
            )
            .in_file(&file)
            .into()),
            (_, true) => Ok((Purpose::TwoSpeed, Vec::new())),
            _ if null_test && day.setups.len() == 2 => Ok((Purpose::NullTest, Vec::new())),
            _ => Ok((Purpose::Compare, Vec::new())),
        };
    }
    let one_only = arguments.null_test || arguments.two_speed;
    let setups = match told.setups.as_slice() {
        [] if one_only => vec![("as usual".to_string(), None)],
        setups => setups.to_vec(),
    };
    match setups.len() {
        0 => Err(Fault::new(
            "no set-up was named",
            "Give --setup NAME for each of them, the usual one first; one alone is planned at two powers.",
        )
        .into()),
        1 if arguments.null_test => Ok((Purpose::NullTest, setups)),
        1 => Ok((Purpose::TwoSpeed, setups)),
        2..=8 if !one_only => Ok((Purpose::Compare, setups)),
        count if one_only => Err(Fault::new(
            format!("this kind of day has one set-up, and {count} were named"),
            "Name one --setup.",
        )
        .into()),
        count => Err(Fault::new(
            format!("{count} set-ups are too many for a day"),
            "Name eight at most.",
        )
        .into()),
    }
}

/// What is typed stands over what `[plan]` says already, and that over the usual.
fn planned(arguments: &Arguments, told: &Told, there: Option<&There>) -> Result<Planned, Stop> {
    let usual = |day: TestDay| day.plan;
    let known = match there.and_then(|there| there.day.plan.clone()) {
        Some(plan) => Some(plan),
        None => usual(test_day::parse(
            Path::new(TEST_TOML),
            &format!("[plan]\nseed = {}\n", clock_seed()),
        )?),
    };
    let Some(known) = known else {
        return Err(Fault::new("[plan] cannot be read", "Check the file.").into());
    };
    Ok(Planned {
        look_after_every_block: match arguments.look {
            Some(look) => look == Look::Blocks,
            None => known.look_after_every_block,
        },
        difference_percent: arguments.difference.or(known.difference_percent),
        power_w: told.power_w.unwrap_or(known.power_w),
        cda_m2: arguments.cda.unwrap_or(known.cda_m2),
        turn_round_s: arguments.turn.unwrap_or(known.turn_round_s),
        change_s: arguments.change.unwrap_or(known.change_s),
        wind: match arguments.wind {
            Some(speed_m_s) => Some(PlannedWind {
                speed_m_s,
                from_deg: arguments.wind_from,
            }),
            None => known.wind,
        },
        length_m: told.length_m.or(known.length_m),
        gradient_percent: arguments.gradient.unwrap_or(known.gradient_percent),
        bearing_deg: arguments.bearing.unwrap_or(known.bearing_deg),
        seed: arguments.seed.map_or(known.seed, u64::from),
        ..known
    })
}

/// A draw that nobody chose; it is stated, so that the plan can be made again.
fn clock_seed() -> u32 {
    let since = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or(Duration::ZERO);
    (since.as_millis() % 100_000) as u32
}

fn place(
    arguments: &Arguments,
    told: &Told,
    planned: &mut Planned,
    shape: Option<Shape>,
) -> Result<Place, Stop> {
    let of_plan = planned.road.take().map(|name| arguments.folder.join(name));
    let file = told
        .course
        .clone()
        .or(of_plan.filter(|_| told.length_m.is_none()));
    if let Some(file) = file {
        return Ok(Place::of_file(&file)?);
    }
    let Some(length_m) = planned.length_m else {
        return Err(Fault::new(
            "no course was named",
            "Give --course FILE with a route or a recording, or --length 1.5km and --gradient.",
        )
        .into());
    };
    if shape == Some(Shape::Loop) {
        if planned.gradient_percent != 0.0 {
            let next = "Leave --gradient out, or give a route of the loop.";
            return Err(Fault::new("a loop ends at the height where it starts", next).into());
        }
        return Ok(Place::of_lap(length_m));
    }
    Ok(Place::of_length(
        length_m,
        planned.gradient_percent,
        planned.bearing_deg,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::{Args, FromArgMatches};

    fn typed(words: &[&str]) -> Arguments {
        let command = Arguments::augment_args(clap::Command::new("plan"));
        let matches = command
            .try_get_matches_from([&["plan", "day"], words].concat())
            .unwrap();
        Arguments::from_arg_matches(&matches).unwrap()
    }

    #[test]
    fn a_set_up_may_have_a_mass_of_its_own() {
        assert_eq!(named("closed = 82,2"), ("closed".to_string(), Some(82.2)));
        assert_eq!(named("a=b"), ("a=b".to_string(), None));
        assert_eq!(named("wheel = 60"), ("wheel".to_string(), Some(60.0)));
    }

    #[test]
    fn what_is_missing_is_asked_and_the_rest_is_not() {
        let mut told = Told::default();
        let mut shown = Vec::new();
        let arguments = typed(&[]);
        let typed_in = "nowhere\n1500m\nloose, close=82.5\n81\nall out\n250\n";
        ask(&arguments, None, &mut told, &mut typed_in.as_bytes(), &mut shown);
        assert_eq!(told.length_m, Some(1500.0));
        assert_eq!(
            told.setups,
            [("loose".to_string(), None), ("close".to_string(), Some(82.5))]
        );
        assert_eq!((told.mass_kg, told.power_w), (Some(81.0), Some(250.0)));
        let shown = String::from_utf8(shown).unwrap();
        assert!(
            shown.contains("no file of this name") && shown.contains("not a number"),
            "{shown}"
        );
        let before = told.clone();
        let mut shown = Vec::new();
        ask(&arguments, None, &mut told, &mut "".as_bytes(), &mut shown);
        assert!(told == before && shown.is_empty());
    }

    #[test]
    fn the_purpose_follows_from_what_is_named() {
        let of = |words: &[&str]| {
            let arguments = typed(words);
            let setups = arguments.setups.iter().map(|text| named(text)).collect();
            let told = Told {
                setups,
                ..Told::default()
            };
            purpose(&arguments, &told, None).map(|(purpose, setups)| (purpose, setups.len()))
        };
        assert_eq!(
            of(&["--setup", "a", "--setup", "b"]).unwrap(),
            (Purpose::Compare, 2)
        );
        assert_eq!(of(&["--setup", "a"]).unwrap(), (Purpose::TwoSpeed, 1));
        assert_eq!(of(&["--null-test"]).unwrap(), (Purpose::NullTest, 1));
        for wrong in [&[][..], &["--null-test", "--setup", "a", "--setup", "b"]] {
            assert!(matches!(of(wrong), Err(Stop::Faults(_))), "{wrong:?}");
        }
        assert_eq!(typed(&["--difference", "3"]).difference, Some(-3.0));
    }
}
