//! `stillair roads`: stretches of old rides as test courses.

use super::asking::{drag_area, ranged};
use super::cautions::{CAUTIONS, cautions};
use super::console::{Console, Stop};
use crate::plan::place::gpx_text;
use crate::plan::roads::{Asked, Ranking, TestRoad, roads};
use crate::report::{json, terminal};
use crate::saving;
use crate::test_day::planned::{CDA_M2, POWER_W};
use std::path::{Path, PathBuf};

const EXAMPLE: &str = "Example: the best test courses in a folder of rides, each as a GPX route\n  \
                       stillair roads rides --write courses";

/// Rank the roads in a folder of old rides as test courses
///
/// Finds stretches of 500 m to 5 km and laps that were ridden at least once without a stop, and ranks them by the
/// standard uncertainty to expect of the ratio of two set-ups after an hour of testing. Stops and braking seen count
/// against a road.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder of old rides
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// How many roads to show
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=100))]
    count: u16,
    /// Show every length of a road that was rated, not only the one to ride
    #[arg(long)]
    all_lengths: bool,
    /// Power you will hold in a test, in watts
    #[arg(long, value_name = "W", value_parser = clap::value_parser!(u16).range(50..=800))]
    power: Option<u16>,
    /// Rider, bike, clothes and bottles together, in kg
    #[arg(long, value_name = "KG", value_parser = mass)]
    mass: Option<f64>,
    /// Drag area to expect, in m²
    #[arg(long, value_name = "M2", value_parser = drag_area)]
    cda: Option<f64>,
    /// Write each road as a GPX route into this folder, named by its rank
    #[arg(long, value_name = "DIR")]
    write: Option<PathBuf>,
}

fn mass(text: &str) -> Result<f64, String> {
    ranged(text, 35.0..=250.0, "the mass of rider and bike, in kg,")
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let asked = Asked {
        count: usize::from(arguments.count),
        all_lengths: arguments.all_lengths,
        power_w: arguments.power.map_or(POWER_W, f64::from),
        cda_m2: arguments.cda.unwrap_or(CDA_M2),
        total_mass_kg: arguments.mass,
    };
    let ranking = console.watched("reading", |progress| roads(&arguments.folder, &asked, progress))?;
    console.faults(&ranking.faults);
    let files = match &arguments.write {
        Some(folder) => write(folder, &ranking)?,
        None => Vec::new(),
    };
    if console.json {
        console.remark(CAUTIONS);
        return console.json_result(&json::roads(&ranking, &files));
    }
    for warning in &ranking.warnings {
        console.remark(&format!("remark: {}", warning.message));
    }
    let text = terminal::roads(&ranking, &files, console.width);
    console.result(&format!("{text}\n\n{}", cautions(console.width)))
}

/// One route a road. None is written where a file is in the way of any.
fn write(folder: &Path, ranking: &Ranking) -> Result<Vec<PathBuf>, Stop> {
    let route = |(index, road): (usize, &TestRoad)| {
        let rank = index + 1;
        let text = gpx_text(&format!("Road {rank}"), &road.candidate.points);
        (folder.join(format!("road-{rank:02}.gpx")), text.into_bytes())
    };
    let files: Vec<_> = ranking.roads.iter().enumerate().map(route).collect();
    saving::write_all_new(folder, &files)?;
    Ok(files.into_iter().map(|(file, _)| file).collect())
}
