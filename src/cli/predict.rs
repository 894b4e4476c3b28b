//! `stillair predict`: what the measured difference is worth over another road.

use super::asking::{length_m, ranged};
use super::console::{Console, Stop};
use crate::error::Fault;
use crate::event::{Conditions, EventRoad, Pacing, flat_road, road_of};
use crate::physics::Surroundings;
use crate::recording::read_route;
use crate::report::{json, terminal};
use crate::study;
use crate::test_day::WindReading;
use std::path::PathBuf;

const EXAMPLE: &str = "Example: what the difference is worth over 40 km of flat road at 250 W\n  \
                       stillair predict helmets --flat 40km --power 250";

/// What the measured difference is worth over another road
///
/// Compares the set-ups of the test day in FOLDER, then rides the event with each of them by the balance of forces:
/// time, difference in time with its interval, and watts that the difference is worth. The event is a GPX route or
/// track or any recording of it, or a flat road.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
#[command(group = clap::ArgGroup::new("road").required(true).args(["event", "flat"]))]
pub struct Arguments {
    /// Folder of the test day
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Road of the event: a GPX route or track, or a recording of it
    #[arg(long, value_name = "FILE")]
    event: Option<PathBuf>,
    /// A flat road of this length, such as 40km or 20mi
    #[arg(long, value_name = "LENGTH", value_parser = length_m)]
    flat: Option<f64>,
    /// Mean power over the event in watts, at the power meter of the test
    #[arg(long, value_name = "W", value_parser = clap::value_parser!(u16).range(20..=1500))]
    power: u16,
    /// Ride harder uphill and easier downhill by at most this share, reached at 4 %; the mean power stays
    #[arg(long, value_name = "PERCENT", value_parser = clap::value_parser!(u16).range(0..=60))]
    harder_uphill: Option<u16>,
    /// Air density at the event in kg/m³; that of the test day unless given
    #[arg(long, value_name = "KG_M3", value_parser = density)]
    density: Option<f64>,
    /// Wind at rider height at the event, in m/s; still air unless given
    #[arg(long, value_name = "M_S", requires = "wind_from", conflicts_with = "flat", value_parser = wind_speed)]
    wind: Option<f64>,
    /// Where that wind comes from, in degrees from true north
    #[arg(long, value_name = "DEG", requires = "wind", value_parser = clap::value_parser!(u16).range(0..=360))]
    wind_from: Option<u16>,
}

fn density(text: &str) -> Result<f64, String> {
    ranged(text, 0.6..=1.6, "the density of air at a road, in kg/m³,")
}

fn wind_speed(text: &str) -> Result<f64, String> {
    ranged(text, 0.0..=20.0, "a wind that can be ridden in, in m/s,")
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let road = road(arguments)?;
    let compared = console.watched("reading", |progress| study::compare(&arguments.folder, progress))?;
    console.faults(&compared.surveyed.faults);
    let wind = WindReading {
        speed_m_s: arguments.wind.unwrap_or(0.0),
        from_deg: f64::from(arguments.wind_from.unwrap_or(0)),
        standard_uncertainty_m_s: 0.0,
    };
    let conditions = Conditions {
        power_w: f64::from(arguments.power),
        pacing: match arguments.harder_uphill {
            Some(percent) if percent > 0 => Pacing::HarderUphill {
                limit: f64::from(percent) / 100.0,
            },
            _ => Pacing::Constant,
        },
        around: Surroundings {
            air_density_kg_m3: arguments
                .density
                .unwrap_or(compared.basis.around.air_density_kg_m3),
            ..compared.basis.around
        },
        wind_m_s: wind.east_north_m_s(),
    };
    let bar = console.progress("riding the event", study::DRAWS as u64);
    let found = study::predict(&compared, &road, &conditions, &|done| {
        bar.set_position(done as u64)
    });
    bar.finish_and_clear();
    let told = terminal::Foretold {
        compared: &compared,
        road: &road,
        conditions: &conditions,
        density_given: arguments.density.is_some(),
        wind: arguments.wind.map(|_| wind),
        prediction: &found?,
    };
    if console.json {
        console.json_result(&json::predict(&told))
    } else {
        console.result(&terminal::predict(&told, console.width))
    }
}

fn road(arguments: &Arguments) -> Result<EventRoad, Stop> {
    if let Some(length_m) = arguments.flat {
        return Ok(flat_road(length_m));
    }
    let Some(file) = &arguments.event else {
        return Err(Fault::new("no event was named", "Give --event FILE or --flat 40km.").into());
    };
    let points = read_route(file)?;
    let road = road_of(&points).ok_or_else(|| {
        Fault::new(
            "all its positions are at one place",
            "Use a route, a track or a recording of the event.",
        )
        .in_file(file)
    })?;
    Ok(road)
}
