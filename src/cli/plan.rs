//! `stillair plan`: a test day before it is ridden.

use super::asking::{answer, drag_area, length_m, mass_kg, minutes_s, names, ranged};
use super::cautions::{CAUTIONS, cautions};
use super::console::{Console, Stop};
use crate::error::{Error, Fault};
use crate::plan::place::Place;
use crate::plan::propose::{Asked, Proposal, Purpose, There, propose};
use crate::plan::text::COURSE_FILE;
use crate::report::words::wrapped;
use crate::report::{json, printout::printout, terminal};
use crate::saving;
use crate::test_day::{self, Hold, Planned, PlannedWind, Shape, TestDay};
use clap::ValueEnum;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

const EXAMPLE: &str = "Example: two helmets on a road of 1.5 km, to see 3 % less drag, in 90 minutes\n  \
                       stillair plan helmets --length 1.5km --gradient 0.5 --mass 82 --power 220 \\\n    \
                       --setup \"vented helmet\" --setup \"closed helmet=82.2\" \\\n    \
                       --difference 3 --time 90min";

const TEST_TOML: &str = "test.toml";
const SHEET: &str = "sheet.html";
/// Unless said otherwise. [s]
const TIME_S: f64 = 5400.0;

/// Plan a test day before it is ridden
///
/// Says in which order to ride, how many blocks and passes, one way or out and back, how far the answer is expected
/// to be off, and how to enter a pass. Writes test.toml with the blocks in order, the course, and a sheet to print
/// and take along into FOLDER. At a terminal it asks for what is missing. A test.toml without blocks is completed;
/// nothing else is ever written over.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder of the test day; it is made where there is none
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// The road: a GPX route from start to finish, or a recording in which the stretch was ridden more than once
    #[arg(long, value_name = "FILE", conflicts_with_all = ["length", "gradient", "bearing"])]
    course: Option<PathBuf>,
    /// Length of the road where there is no file of it, such as 1.5km
    #[arg(long, value_name = "LENGTH", value_parser = length_m)]
    length: Option<f64>,
    /// Its climb from start to finish in percent
    #[arg(long, value_name = "PERCENT", requires = "length", allow_negative_numbers = true, value_parser = gradient)]
    gradient: Option<f64>,
    /// Where it leads, in degrees from true north
    #[arg(long, value_name = "DEG", requires = "length", value_parser = degrees)]
    bearing: Option<f64>,
    /// How it is ridden; unless given, what tells more
    #[arg(long, value_name = "SHAPE")]
    shape: Option<Ridden>,
    /// A set-up to compare, once for each, the usual one first; with a mass of its own as "closed helmet=82.2"
    #[arg(long = "setup", value_name = "NAME")]
    setups: Vec<String>,
    /// Rider, bike, clothes and bottles together, in kg
    #[arg(long, value_name = "KG", value_parser = mass_kg)]
    mass: Option<f64>,
    /// Power to hold in a pass, in watts at your meter
    #[arg(long, value_name = "W", value_parser = watts)]
    power: Option<f64>,
    /// Drag area expected of the first set-up, in m²
    #[arg(long, value_name = "M2", value_parser = drag_area)]
    cda: Option<f64>,
    /// Difference of drag area to look for, in percent
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, value_parser = difference)]
    difference: Option<f64>,
    /// Mean wind expected at rider height, in m/s: half of what a forecast says for 10 m
    #[arg(long, value_name = "M_S", value_parser = wind_speed)]
    wind: Option<f64>,
    /// Where that wind comes from, in degrees from true north
    #[arg(long, value_name = "DEG", requires = "wind", value_parser = degrees)]
    wind_from: Option<f64>,
    /// Time for all blocks, such as 90min or 2h; an hour and a half unless given
    #[arg(long, value_name = "TIME", value_parser = minutes_s)]
    time: Option<f64>,
    /// What to hold in every pass; unless given, power, or speed where that tells more
    #[arg(long, value_name = "WHAT")]
    hold: Option<Held>,
    /// For the draw of the order; the same seed makes the same plan
    #[arg(long)]
    seed: Option<u32>,
    /// Look at the answer after every block, and stop as soon as it is clear
    #[arg(long, value_name = "WHEN")]
    look: Option<Look>,
    /// Time for a turn within a block, such as 20s
    #[arg(long, value_name = "TIME", value_parser = minutes_s)]
    turn: Option<f64>,
    /// Time to change a set-up between two blocks, such as 5min
    #[arg(long, value_name = "TIME", value_parser = minutes_s)]
    change: Option<f64>,
    /// One set-up under two names: shows what your riding and road make of no difference
    #[arg(long)]
    null_test: bool,
    /// One set-up at two powers: tells drag from rolling resistance
    #[arg(long, conflicts_with_all = ["null_test", "hold"])]
    two_speed: bool,
    /// A heading for the test day
    #[arg(long)]
    title: Option<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Ridden {
    OneWay,
    OutAndBack,
    Loop,
}

impl From<Ridden> for Shape {
    fn from(way: Ridden) -> Shape {
        match way {
            Ridden::OneWay => Shape::OneWay,
            Ridden::OutAndBack => Shape::OutAndBack,
            Ridden::Loop => Shape::Loop,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Held {
    Power,
    Speed,
}

#[derive(Debug, Clone, Copy, PartialEq, ValueEnum)]
enum Look {
    None,
    Blocks,
}

fn gradient(text: &str) -> Result<f64, String> {
    ranged(text, -20.0..=20.0, "the slope of a road in percent")
}

fn degrees(text: &str) -> Result<f64, String> {
    ranged(text, 0.0..=360.0, "a direction in degrees from true north")
}

fn watts(text: &str) -> Result<f64, String> {
    ranged(text, 50.0..=800.0, "the power of a pass, in watts,")
}

fn difference(text: &str) -> Result<f64, String> {
    let percent = ranged(text, -50.0..=50.0, "a difference in percent")?;
    if percent.abs() < 0.1 {
        return Err("a difference below 0.1 % cannot be told on a road".to_string());
    }
    Ok(-percent.abs())
}

fn wind_speed(text: &str) -> Result<f64, String> {
    ranged(text, 0.0..=20.0, "a wind that can be ridden in, in m/s,")
}

/// A set-up, and its own mass where it has one.
type Named = (String, Option<f64>);

/// What was typed or answered; everything may be missing.
#[derive(Debug, Clone, PartialEq, Default)]
struct Told {
    course: Option<PathBuf>,
    length_m: Option<f64>,
    setups: Vec<Named>,
    mass_kg: Option<f64>,
    power_w: Option<f64>,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let folder = &arguments.folder;
    let there = there(folder)?;
    let mut told = Told {
        course: arguments.course.clone(),
        length_m: arguments.length,
        setups: arguments.setups.iter().map(|text| named(text)).collect(),
        mass_kg: arguments.mass,
        power_w: arguments.power,
    };
    if io::stdin().is_terminal() && io::stderr().is_terminal() && !console.quiet {
        let (mut input, mut output) = (io::stdin().lock(), io::stderr().lock());
        ask(arguments, there.as_ref(), &mut told, &mut input, &mut output);
    }
    let asked = asked(arguments, &told, there.as_ref())?;
    let files_free = free(folder, &asked)?;
    let bar = console.progress("weighing plans", 0);
    let proposal = propose(folder, &asked, there.as_ref());
    bar.finish_and_clear();
    let proposal = proposal?;
    let written = write(folder, &proposal, there.is_some(), files_free)?;
    if console.json {
        return console.json_result(&json::plan(&proposal, &written, CAUTIONS));
    }
    let names: Vec<String> = written.iter().map(|file| file.display().to_string()).collect();
    let wrote = format!(
        "Wrote {}. Print the sheet and take it along; `stillair rehearse {}` shows what such days would say.",
        names.join(", "),
        folder.display()
    );
    console.result(&format!(
        "{}\n\n{}\n\n{}",
        cautions(console.width),
        terminal::plan::plan(&proposal, console.width),
        wrapped(&wrote, console.width)
    ))
}

/// `closed helmet=82.2`: what stands behind the last = is a mass where it can be one.
fn named(text: &str) -> Named {
    let with_mass = text
        .rsplit_once('=')
        .and_then(|(name, kg)| Some((name.trim().to_string(), Some(mass_kg(kg).ok()?))));
    with_mass.unwrap_or_else(|| (text.trim().to_string(), None))
}

/// The `test.toml` that is there, if it is one to be completed.
fn there(folder: &Path) -> Result<Option<There>, Stop> {
    let file = folder.join(TEST_TOML);
    if !saving::is_there(&file) {
        return Ok(None);
    }
    let day = test_day::read(folder)?;
    if !day.blocks.is_empty() {
        let what = "it has blocks already, so its day is planned or ridden";
        let next = "Name another folder for a new plan, or take the blocks out of it first.";
        return Err(Fault::new(what, next).in_file(&file).into());
    }
    let text = std::fs::read_to_string(&file).map_err(|error| {
        Fault::new(format!("it cannot be read ({error})"), "Check the file.").in_file(&file)
    })?;
    let has_setups = text
        .parse::<toml_edit::DocumentMut>()
        .is_ok_and(|document| document.contains_key("setup"));
    Ok(Some(There {
        text,
        day,
        has_setups,
    }))
}

fn ask(
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

fn asked(arguments: &Arguments, told: &Told, there: Option<&There>) -> Result<Asked, Stop> {
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

/// Everything in the way at once. Whether the course is to be written: not where it is that very file.
fn free(folder: &Path, asked: &Asked) -> Result<bool, Stop> {
    let course = folder.join(COURSE_FILE);
    let with_course = !asked.place.points.is_empty() && !asked.place.is_file(&course);
    let wanted = [Some(folder.join(SHEET)), with_course.then_some(course)];
    let faults: Vec<Fault> = wanted
        .iter()
        .flatten()
        .filter(|file| saving::is_there(file))
        .map(|file| saving::in_the_way(file))
        .collect();
    if faults.is_empty() {
        Ok(with_course)
    } else {
        Err(Error { faults }.into())
    }
}

/// All or none: what was written is taken back where something fails.
fn write(
    folder: &Path,
    proposal: &Proposal,
    completes: bool,
    with_course: bool,
) -> Result<Vec<PathBuf>, Stop> {
    std::fs::create_dir_all(folder).map_err(|cause| {
        Fault::new(
            format!("the folder cannot be made ({cause})"),
            "Check the path and the right to write there.",
        )
        .in_file(folder)
    })?;
    let test_toml = folder.join(TEST_TOML);
    let mut new = vec![(folder.join(SHEET), printout(proposal, CAUTIONS))];
    new.extend(
        proposal
            .course_gpx
            .clone()
            .filter(|_| with_course)
            .map(|text| (folder.join(COURSE_FILE), text)),
    );
    if !completes {
        new.push((test_toml.clone(), proposal.test_toml.clone()));
    }
    let mut written: Vec<PathBuf> = Vec::new();
    let mut outcome = Ok(());
    for (file, text) in &new {
        outcome = saving::write_new(file, text.as_bytes());
        if outcome.is_err() {
            break;
        }
        written.push(file.clone());
    }
    if outcome.is_ok() && completes {
        outcome = saving::write_over(&test_toml, proposal.test_toml.as_bytes());
        if outcome.is_ok() {
            written.push(test_toml);
        }
    }
    if let Err(fault) = outcome {
        for file in written {
            let _ = std::fs::remove_file(file);
        }
        return Err(fault.into());
    }
    written.reverse();
    Ok(written)
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
