//! `stillair plan`: a test day before it is ridden.

mod files;
mod told;

use super::asking::{drag_area, length_m, mass_kg, minutes_s, ranged};
use super::cautions::{CAUTIONS, cautions};
use super::console::{Console, Stop};
use crate::plan::propose::propose;
use crate::report::words::wrapped;
use crate::report::{json, terminal};
use crate::test_day::Shape;
use clap::ValueEnum;
use files::{free, there, write};
use std::io::{self, IsTerminal};
use std::path::PathBuf;
use told::{Told, ask, asked};

const EXAMPLE: &str = "Example: two helmets on a road of 1.5 km, to see 3 % less drag, in 90 minutes\n  \
                       stillair plan helmets --length 1.5km --gradient 0.5 --mass 82 --power 220 \\\n    \
                       --setup \"vented helmet\" --setup \"closed helmet=82.2\" \\\n    \
                       --difference 3 --time 90min";

const TEST_TOML: &str = "test.toml";
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

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let folder = &arguments.folder;
    let there = there(folder)?;
    let mut told = Told::typed(arguments);
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
