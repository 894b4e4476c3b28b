//! `test.toml` → `TestDay`: every table read, every fault gathered.

use super::bicycle::{self, Bicycle};
use super::faults::Faults;
use super::quantity::{ALTITUDE_LAG, POWER_DELAY};
use super::section::Section;
use super::{
    Measured, PowerAt, Slow, TestDay, air_speed, blocks, clocks, gates, keys, notes, parts, planned,
    readings, sensors, setups, slow, surfaces, syntax,
};
use crate::error::{Fault, Result};
use crate::treatment::AsRecorded;
use std::io::ErrorKind;
use std::path::Path;
use toml_edit::Document;

/// Relative standard uncertainty of a power meter's scale where none is written: makers state 1 to 2 %
/// (common practice, no published source).
const POWER_SCALE_UNCERTAINTY: f64 = 0.015;
const SMALLEST_DIFFERENCE_PERCENT: f64 = 2.0;
pub(super) const FILE_NAME: &str = "test.toml";

/// Reads `test.toml` in `folder`; without one, the day of `without_file`.
pub fn read(folder: &Path) -> Result<TestDay> {
    if !folder.is_dir() {
        let what = if folder.exists() {
            "this is not a folder"
        } else {
            "there is no such folder"
        };
        return Err(
            Fault::new(what, "Name a folder that holds the recordings of a test day.")
                .in_file(folder)
                .into(),
        );
    }
    let file = folder.join(FILE_NAME);
    match std::fs::read(&file) {
        Ok(bytes) => parse(&file, decode(&file, &bytes)?),
        Err(error) if error.kind() == ErrorKind::NotFound && file.symlink_metadata().is_err() => {
            match misnamed(folder) {
                Some(name) => Err(
                    Fault::new("its name is not all small letters", "Rename it to test.toml.")
                        .in_file(&folder.join(name))
                        .into(),
                ),
                None => Ok(without_file()),
            }
        }
        Err(error) => Err(Fault::new(
            format!("it cannot be read ({error})"),
            "Check that it is a file you may read.",
        )
        .in_file(&file)
        .into()),
    }
}

/// `Test.toml` would be passed over in silence where letter case matters.
fn misnamed(folder: &Path) -> Option<String> {
    let entries = std::fs::read_dir(folder).ok()?;
    let mut names = entries
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned());
    names.find(|name| name.eq_ignore_ascii_case(FILE_NAME))
}

fn decode<'a>(file: &Path, bytes: &'a [u8]) -> Result<&'a str> {
    std::str::from_utf8(bytes).map_err(|error| {
        let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
        let line = 1 + before.iter().filter(|b| **b == b'\n').count();
        Fault::new(
            "this is not text in UTF-8",
            "Save the file again as UTF-8 in your editor.",
        )
        .in_file(file)
        .at(format!("line {line}"))
        .into()
    })
}

/// The day without `test.toml`: one set-up "as ridden", everything by default.
pub fn without_file() -> TestDay {
    let bicycle = Bicycle::usual(PowerAt::Crank);
    let (setups, bicycles) = setups::read(&[], bicycle, PowerAt::Crank);
    let mut assumptions =
        vec!["No test.toml: all passes are of one set-up, 'as ridden', a block a recording.".to_string()];
    assumptions.push(power_at_sentence());
    assumptions.extend(bicycle::assumptions(&bicycles));
    assumptions.push(power_scale_sentence());
    TestDay {
        title: None,
        smallest_difference_percent: SMALLEST_DIFFERENCE_PERCENT,
        power_scale: Measured {
            value: 1.0,
            standard_uncertainty: POWER_SCALE_UNCERTAINTY,
            given: false,
        },
        power_at: PowerAt::Crank,
        slow: Slow::default(),
        air: Vec::new(),
        air_speed: None,
        course: None,
        setups,
        blocks: Vec::new(),
        excludes: Vec::new(),
        windows: Vec::new(),
        cuts: Vec::new(),
        surfaces: Vec::new(),
        plan: None,
        as_recorded: AsRecorded::default(),
        clocks: Vec::new(),
        speed_scale: None,
        power_delay_s: None,
        altitude_lag_s: None,
        assumptions,
    }
}

/// Reads the text of `test.toml`. `file` is named in the faults; all faults come at once, by line.
pub fn parse(file: &Path, text: &str) -> Result<TestDay> {
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let faults = Faults::new(file, text);
    let day = match Document::parse(text) {
        Ok(document) => Some(read_tables(&Section::top(document.as_table(), &faults))),
        Err(error) => {
            syntax::report(text, &error, &faults);
            None
        }
    };
    faults.finish()?;
    day.ok_or_else(|| {
        Fault::new("nothing was read", "Check the file.")
            .in_file(file)
            .into()
    })
}

fn read_tables(top: &Section) -> TestDay {
    let rider = top.one("rider", keys::RIDER);
    let bike = top.one("bike", keys::BIKE);
    let tyres = top.one("tyres", keys::TYRES);
    let power_at = bike.as_ref().and_then(power_at);
    let shared = Bicycle::shared(
        rider.as_ref(),
        bike.as_ref(),
        tyres.as_ref(),
        power_at.unwrap_or(PowerAt::Crank),
    );

    let setup_sections = top.many("setup", keys::SETUP);
    let (mut setups, mut bicycles) =
        setups::read(&setup_sections, shared, power_at.unwrap_or(PowerAt::Crank));
    let (air, mut later_assumptions) = readings::read(&top.many("air", keys::AIR));
    let air_speed = top
        .one("air_speed", keys::AIR_SPEED)
        .and_then(|section| air_speed::read(&section, &mut later_assumptions));
    let sensors = top.one("sensors", keys::SENSORS);
    let left = sensors
        .as_ref()
        .map_or_else(AsRecorded::default, sensors::as_recorded);
    let clocks = sensors.as_ref().map_or_else(Vec::new, clocks::read);
    let slow = slow::read(sensors.as_ref(), rider.as_ref(), &mut later_assumptions);
    let speed_scale = sensors
        .as_ref()
        .and_then(|section| sensors::speed_scale(section, &mut later_assumptions));
    for (setup, section) in setups.iter_mut().zip(&setup_sections) {
        setup.speed_scale = super::sensors::speed_scale(section, &mut later_assumptions);
    }
    let known = |quantity| sensors::known(sensors.as_ref()?, quantity);
    let blocks = blocks::read_blocks(&top.many("block", keys::BLOCK), &setups, &mut later_assumptions);
    notes::settle_means(&blocks, &mut setups, &mut bicycles, &mut later_assumptions);
    let surfaces = surfaces::read(
        &top.many("surface", keys::SURFACE),
        setups.first().map(|setup| setup.crr),
        &mut later_assumptions,
    );
    let course = top
        .one("course", keys::COURSE)
        .map(|section| gates::read(&section, &mut later_assumptions));
    let plan = top.one("plan", keys::PLAN).map(|section| planned::read(&section));
    let power_scale = power_scale(bike.as_ref());
    let smallest_difference = smallest_difference(top);

    let mut assumptions = Vec::new();
    if setup_sections.is_empty() {
        assumptions.push("test.toml names no set-up: all passes are of one, 'as ridden'.".to_string());
    }
    if blocks.is_empty() && setups.len() == 1 {
        assumptions.push("test.toml names no blocks: each recording counts as one.".to_string());
    }
    if power_at.is_none() {
        assumptions.push(power_at_sentence());
    }
    assumptions.extend(bicycle::assumptions(&bicycles));
    if !power_scale.given {
        assumptions.push(power_scale_sentence());
    }
    assumptions.extend(later_assumptions);
    if smallest_difference.is_none() && setups.len() > 1 {
        assumptions.push(format!(
            "A difference of {SMALLEST_DIFFERENCE_PERCENT} % matters, a default (smallest_difference_percent)."
        ));
    }
    TestDay {
        title: top.text("title"),
        smallest_difference_percent: smallest_difference.unwrap_or(SMALLEST_DIFFERENCE_PERCENT),
        power_scale,
        power_at: power_at.unwrap_or(PowerAt::Crank),
        slow,
        air,
        air_speed,
        course,
        setups,
        blocks,
        excludes: parts::read_excludes(&top.many("exclude", keys::EXCLUDE)),
        windows: parts::read_windows(&top.many("window", keys::WINDOW)),
        cuts: parts::read_cuts(&top.many("cut", keys::CUT)),
        surfaces,
        plan,
        as_recorded: left,
        clocks,
        speed_scale,
        power_delay_s: known(&POWER_DELAY),
        altitude_lag_s: known(&ALTITUDE_LAG),
        assumptions,
    }
}

fn smallest_difference(top: &Section) -> Option<f64> {
    let advice = "Write the smallest difference of CdA you care about in percent, such as 2.0.";
    top.number_within("smallest_difference_percent", 0.1, 50.0, advice)
}

fn power_at(bike: &Section) -> Option<PowerAt> {
    match bike.text("power_at")?.as_str() {
        "crank" => Some(PowerAt::Crank),
        "hub" => Some(PowerAt::Hub),
        other => {
            bike.fault(
                "power_at",
                format!("\"{other}\" is not where power is measured"),
                "Write \"crank\" (also for pedals and spider) or \"hub\".",
            );
            None
        }
    }
}

fn power_scale(bike: Option<&Section>) -> Measured {
    let key = "power_meter_scale_standard_uncertainty";
    let advice = "Write a ratio, zero or positive: 0.015 for 1.5 %.";
    let typed = bike.and_then(|bike| bike.number_within(key, 0.0, 0.2, advice));
    Measured {
        value: 1.0,
        standard_uncertainty: typed.unwrap_or(POWER_SCALE_UNCERTAINTY),
        given: typed.is_some(),
    }
}

fn power_at_sentence() -> String {
    "Power is measured at the crank or the pedals, a default (power_at).".to_string()
}

fn power_scale_sentence() -> String {
    format!(
        "Power scale ± {} %, a default (power_meter_scale_standard_uncertainty).",
        POWER_SCALE_UNCERTAINTY * 100.0
    )
}

/// Bike, kit and bottles beside the rider, and how well that is guessed (common practice, no published source).
const BIKE_AND_KIT_KG: f64 = 10.0;
const BIKE_AND_KIT_UNCERTAINTY_KG: f64 = 3.0;

impl TestDay {
    /// The rider's mass of the recording's profile, in kg, with 10 kg for bike and kit, instead of the default mass.
    /// Nothing changes where the user wrote a mass, or where the profile's is not a grown rider's.
    pub fn with_rider_mass(mut self, kg: f64) -> TestDay {
        if !(30.0..=200.0).contains(&kg) {
            return self;
        }
        let mass = Measured {
            value: kg + BIKE_AND_KIT_KG,
            standard_uncertainty: BIKE_AND_KIT_UNCERTAINTY_KG,
            given: false,
        };
        let instead = format!(
            "Total mass {} ± {} kg: {} kg of the recording's profile and {} kg for the rest.",
            super::quantity::plain(mass.value),
            mass.standard_uncertainty,
            super::quantity::plain(kg),
            BIKE_AND_KIT_KG
        );
        for setup in self.setups.iter_mut().filter(|setup| !setup.total_mass_kg.given) {
            let before = bicycle::mass_sentence(setup.total_mass_kg);
            setup.total_mass_kg = mass;
            for sentence in self
                .assumptions
                .iter_mut()
                .filter(|sentence| **sentence == before)
            {
                sentence.clone_from(&instead);
            }
        }
        self
    }
}
