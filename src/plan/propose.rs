//! What is asked for → a day to ride: its order, what it is expected to tell, and the files that it is written into.

use super::ballast::ballast_ml;
use super::choose::{Candidate, Choice, Weighed, choose};
use super::entry::{Entry, entry};
use super::ground::too_fast_m_s;
use super::place::Place;
use super::text::{COURSE_FILE, Contents, NamedBlock, NamedSetup, added_text, new_text};
use super::told;
use super::{Expected, ExpectedApart, PlannedBlock, PlannedDay, expect, expect_apart};
use crate::course::Direction;
use crate::error::{Fault, Result};
use crate::test_day::{Hold, Planned, Shape, TestDay, parse};
use crate::warning::Warning;
use std::path::Path;

/// Equal speed is asked for of its own accord only where it takes more than this share off the uncertainty: watts are
/// easier to hold.
const SPEED_HELPS: f64 = 0.02;
/// Powers of a two-speed day, times the planned one: speeds that differ by about a third (D: 1.25/0.55 to the power of
/// 1/3 is 1.31).
pub const TWO_POWERS: [f64; 2] = [1.25, 0.55];

/// What the day is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    Compare,
    /// One set-up under two names: the truth is no difference.
    NullTest,
    /// One set-up at two powers, which tells drag from rolling.
    TwoSpeed,
}

/// Everything that is asked for, with every default settled.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    pub purpose: Purpose,
    pub title: Option<String>,
    pub place: Place,
    /// `None`: that of the place, or what tells more.
    pub shape: Option<Shape>,
    /// Names, and their own masses where they have one; the first is the baseline.
    pub setups: Vec<(String, Option<f64>)>,
    pub total_mass_kg: Option<f64>,
    /// `None`: what tells more.
    pub hold: Option<Hold>,
    pub time_s: f64,
    /// Road and hold are settled here; the rest is taken as it is.
    pub planned: Planned,
}

/// A `test.toml` that is there without blocks.
#[derive(Debug, Clone, PartialEq)]
pub struct There {
    pub text: String,
    pub day: TestDay,
    /// False: it names no set-up, so those asked for are added.
    pub has_setups: bool,
}

/// The two things that a rider can hold, side by side: expected standard uncertainty. [%]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holds {
    pub power_percent: f64,
    pub speed_percent: f64,
}

/// How to enter a pass in a direction at a power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EntryOf {
    pub direction: Direction,
    pub power_w: f64,
    pub entry: Entry,
}

/// A day to ride.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    pub purpose: Purpose,
    pub title: Option<String>,
    pub place: Place,
    pub shape: Shape,
    pub setups: Vec<NamedSetup>,
    pub blocks: Vec<NamedBlock>,
    /// Index of the set-up of each block; of a two-speed day, of its power.
    pub order: Vec<usize>,
    pub planned: Planned,
    pub choice: Choice,
    pub expected: Expected,
    /// Of a two-speed day.
    pub apart: Option<ExpectedApart>,
    /// Change that is looked for. [%]
    pub difference_percent: f64,
    pub holds: Option<Holds>,
    pub entries: Vec<EntryOf>,
    /// Of each block, expected at the meter.
    pub powers_w: Vec<f64>,
    pub time_s: f64,
    pub assumptions: Vec<String>,
    pub warnings: Vec<Warning>,
    pub test_toml: String,
    /// `None` where the course is known by its length alone.
    pub course_gpx: Option<String>,
}

/// # Errors
/// A shape that the place does not have; a course on which the rider stalls; what does not fit into the `test.toml`
/// that is there.
pub fn propose(folder: &Path, asked: &Asked, there: Option<&There>) -> Result<Proposal> {
    let draft = Draft::of(folder, asked, there)?;
    let (shapes, mut warnings) = draft.shapes();
    let letters = draft.letters();
    let by_power = |candidate: &Candidate| draft.weighed(candidate, asked.hold.unwrap_or(Hold::Power));
    let choice = choose(
        &shapes,
        letters,
        asked.time_s,
        asked.planned.seed,
        &|candidate| draft.duration_s(candidate),
        &by_power,
    );
    let Some(mut choice) = choice else {
        return Err(draft.cannot_be_ridden().into());
    };
    let candidate = choice.chosen.candidate.clone();
    let holds = draft.holds(&candidate);
    let hold = asked.hold.unwrap_or(match holds {
        Some(holds) if holds.speed_percent < holds.power_percent * (1.0 - SPEED_HELPS) => Hold::Speed,
        _ => Hold::Power,
    });
    if let Some(weighed) = draft.weighed(&candidate, hold) {
        choice.chosen.weighed = weighed;
        let same = choice
            .alternatives
            .iter_mut()
            .find(|other| other.candidate == candidate);
        if let Some(same) = same {
            same.weighed = weighed;
        }
    }
    let entries = draft.entries(candidate.shape);
    let mut planned = Planned {
        hold,
        ..draft.planned.clone()
    };
    // One number for all passes: only where all begin on the same slope at the same power.
    if let (None, [only]) = (planned.entry_speed_m_s, entries.as_slice()) {
        planned.entry_speed_m_s = Some(only.entry.speed_m_s);
    }
    let day = draft.day(&candidate, hold);
    let expected = expect(&day).ok_or_else(|| draft.cannot_be_ridden())?;
    let blocks = draft.blocks(&candidate);
    let test_toml = draft.text(&planned, candidate.shape, blocks.clone())?;
    parse(&folder.join("test.toml"), &test_toml)?;
    warnings.extend(told::warnings(folder, asked, &choice, &draft.test_day));
    Ok(Proposal {
        purpose: asked.purpose,
        title: asked.title.clone(),
        place: asked.place.clone(),
        shape: candidate.shape,
        assumptions: told::assumptions(asked, &draft.test_day, &day, &planned),
        setups: draft.setups.clone(),
        blocks,
        order: candidate.order,
        planned,
        choice,
        expected,
        apart: (asked.purpose == Purpose::TwoSpeed)
            .then(|| expect_apart(&day))
            .flatten(),
        difference_percent: draft.difference_percent(),
        holds,
        entries,
        powers_w: block_powers_w(&day),
        time_s: asked.time_s,
        warnings,
        test_toml,
        course_gpx: draft.course_gpx(),
    })
}

/// A day of which only the order is still open.
struct Draft<'a> {
    asked: &'a Asked,
    there: Option<&'a There>,
    folder: &'a Path,
    setups: Vec<NamedSetup>,
    planned: Planned,
    test_day: TestDay,
    base: PlannedDay,
}

impl<'a> Draft<'a> {
    fn of(folder: &'a Path, asked: &'a Asked, there: Option<&'a There>) -> Result<Draft<'a>> {
        check_shape(asked)?;
        let setups = named(asked, there);
        let mut planned = asked.planned.clone();
        planned.road = (!asked.place.points.is_empty()).then(|| COURSE_FILE.to_string());
        if planned.road.is_some() {
            planned.length_m = None;
        }
        let shape = asked.shape.or(asked.place.shape).unwrap_or(Shape::OutAndBack);
        // The road's file is not written yet: its length stands for it until its stretches do.
        let without_file = Planned {
            road: None,
            length_m: Some(asked.place.road.length_m),
            hold: asked.hold.unwrap_or(Hold::Power),
            ..planned.clone()
        };
        let blocks = setups.iter().map(|setup| NamedBlock {
            setup: setup.name.clone(),
            passes: 2,
            power_w: None,
            before: String::new(),
        });
        let blocks = blocks.collect();
        let text = text(asked, there, &setups, &without_file, shape, blocks)
            .map_err(|fault| fault.in_file(&folder.join("test.toml")))?;
        let test_day = parse(&folder.join("test.toml"), &text)?;
        let mut base = PlannedDay::of(&test_day, folder)?;
        base.road = asked.place.road.stretches.clone();
        base.has_heights = asked.place.road.has_heights;
        Ok(Draft {
            asked,
            there,
            folder,
            setups,
            planned,
            test_day,
            base,
        })
    }

    /// How many are to be told apart: set-ups, or the two powers of one.
    fn letters(&self) -> usize {
        match self.asked.purpose {
            Purpose::TwoSpeed => 2,
            _ => self.setups.len(),
        }
    }

    fn powers_w(&self) -> Vec<f64> {
        match self.asked.purpose {
            Purpose::TwoSpeed => TWO_POWERS
                .iter()
                .map(|p| (p * self.planned.power_w).round())
                .collect(),
            _ => vec![self.planned.power_w],
        }
    }

    fn day(&self, candidate: &Candidate, hold: Hold) -> PlannedDay {
        let powers = self.powers_w();
        let order = candidate.order.iter().map(|letter| match self.asked.purpose {
            Purpose::TwoSpeed => PlannedBlock {
                power_w: powers.get(*letter).copied(),
                ..PlannedBlock::of(0, candidate.passes)
            },
            _ => PlannedBlock::of(*letter, candidate.passes),
        });
        PlannedDay {
            shape: candidate.shape,
            order: order.collect(),
            hold,
            ..self.base.clone()
        }
    }

    fn duration_s(&self, candidate: &Candidate) -> Option<f64> {
        let day = self.day(candidate, self.asked.hold.unwrap_or(Hold::Power));
        Some(day.schedule()?.duration_s)
    }

    fn weighed(&self, candidate: &Candidate, hold: Hold) -> Option<Weighed> {
        let day = self.day(candidate, hold);
        if self.asked.purpose == Purpose::TwoSpeed {
            let apart = expect_apart(&day)?;
            return Some(Weighed {
                uncertainty_percent: 100.0 * apart.cda_standard_uncertainty_m2 / self.planned.cda_m2,
                chance: None,
                duration_s: day.schedule()?.duration_s,
            });
        }
        let expected = expect(&day)?;
        Some(Weighed {
            uncertainty_percent: told::largest_percent(&expected)?,
            chance: told::least_chance(&expected, self.difference_percent()),
            duration_s: expected.duration_s,
        })
    }

    fn difference_percent(&self) -> f64 {
        self.planned
            .difference_percent
            .unwrap_or(-self.test_day.smallest_difference_percent)
    }

    /// `None` where nothing is compared, or one of them cannot be ridden.
    fn holds(&self, candidate: &Candidate) -> Option<Holds> {
        if self.asked.purpose != Purpose::Compare {
            return None;
        }
        Some(Holds {
            power_percent: self.weighed(candidate, Hold::Power)?.uncertainty_percent,
            speed_percent: self.weighed(candidate, Hold::Speed)?.uncertainty_percent,
        })
    }

    /// Those that are possible here, and what to mind about them.
    fn shapes(&self) -> (Vec<Shape>, Vec<Warning>) {
        match (self.asked.shape, self.asked.place.shape) {
            (Some(shape), _) => (vec![shape], self.too_fast(shape).into_iter().collect()),
            (None, Some(Shape::Loop)) => (vec![Shape::Loop], Vec::new()),
            // What was ridden both ways can be ridden one way.
            (None, _) => match self.too_fast(Shape::OutAndBack) {
                Some(warning) => (vec![Shape::OneWay], vec![warning]),
                None => (vec![Shape::OneWay, Shape::OutAndBack], Vec::new()),
            },
        }
    }

    fn too_fast(&self, shape: Shape) -> Option<Warning> {
        let most_w = self.powers_w().into_iter().fold(0.0, f64::max);
        let day = PlannedDay {
            shape,
            ..self.base.clone()
        };
        let fastest = too_fast_m_s(&day, most_w)?;
        Some(told::fast_descent(fastest, self.asked.shape.is_some()))
    }

    fn entries(&self, shape: Shape) -> Vec<EntryOf> {
        let rig = self.base.rig(0);
        let mut ways = vec![(Direction::Forward, self.base.road.clone())];
        if shape == Shape::OutAndBack {
            ways.push((Direction::Reverse, self.base.road_in(Direction::Reverse)));
        }
        let powers = self.powers_w();
        let each = ways.iter().flat_map(|(direction, road)| {
            let rig = &rig;
            powers.iter().filter_map(move |power_w| {
                Some(EntryOf {
                    direction: *direction,
                    power_w: *power_w,
                    entry: entry(rig, &self.base.around(), road, *power_w)?,
                })
            })
        });
        each.collect()
    }

    fn blocks(&self, candidate: &Candidate) -> Vec<NamedBlock> {
        let powers = self.powers_w();
        let two_speed = self.asked.purpose == Purpose::TwoSpeed;
        let name = |letter: usize| self.setups[if two_speed { 0 } else { letter }].name.clone();
        let mut before: Option<usize> = None;
        let blocks = candidate.order.iter().map(|letter| {
            let words = told::before_block(before, *letter, &name, two_speed, &powers);
            before = Some(*letter);
            NamedBlock {
                setup: name(*letter),
                passes: candidate.passes,
                power_w: two_speed.then(|| powers[*letter]),
                before: words,
            }
        });
        blocks.collect()
    }

    fn text(&self, planned: &Planned, shape: Shape, blocks: Vec<NamedBlock>) -> Result<String> {
        text(self.asked, self.there, &self.setups, planned, shape, blocks)
            .map_err(|fault| fault.in_file(&self.folder.join("test.toml")).into())
    }

    fn course_gpx(&self) -> Option<String> {
        let points = &self.asked.place.points;
        let name = self.asked.title.as_deref().unwrap_or("Test course");
        (!points.is_empty()).then(|| super::place::gpx_text(name, points))
    }

    fn cannot_be_ridden(&self) -> Fault {
        Fault::new(
            format!(
                "on this course {:.0} W do not keep a rider going at a speed that can be analysed",
                self.planned.power_w
            ),
            "Give more --power, or a course that is less steep.",
        )
    }
}

/// Mean over the passes of each block.
fn block_powers_w(day: &PlannedDay) -> Vec<f64> {
    let passes = day.schedule().map_or_else(Vec::new, |schedule| schedule.passes);
    let of_block = |block: usize| {
        let own: Vec<f64> = passes
            .iter()
            .filter(|pass| pass.block == block)
            .map(|pass| pass.mean_power_w)
            .collect();
        own.iter().sum::<f64>() / own.len() as f64
    };
    (0..day.order.len()).map(of_block).collect()
}

/// A shape that is asked for has to be one of the place.
fn check_shape(asked: &Asked) -> std::result::Result<(), Fault> {
    let closes = asked.place.shape == Some(Shape::Loop);
    match asked.shape {
        Some(Shape::Loop) if !closes => Err(Fault::new(
            "the course does not close, so it is no loop",
            "Give --shape one-way or out-and-back, or a course that ends where it starts.",
        )),
        Some(Shape::OneWay | Shape::OutAndBack) if closes => Err(Fault::new(
            "the course closes, so it is a loop",
            "Leave --shape out, or give a course that ends elsewhere.",
        )),
        _ => Ok(()),
    }
}

/// The set-ups as they are written: with their ballast, and a null test under its second name.
fn named(asked: &Asked, there: Option<&There>) -> Vec<NamedSetup> {
    if let Some(there) = there.filter(|there| there.has_setups) {
        let setups = &there.day.setups;
        let water = ballast_ml(setups);
        return setups
            .iter()
            .zip(water)
            .map(|(setup, ballast_ml)| NamedSetup {
                name: setup.name.clone(),
                total_mass_kg: Some(setup.total_mass_kg.value),
                ballast_ml,
                same_as: setup.same_as.map(|other| setups[other].name.clone()),
            })
            .collect();
    }
    let heaviest_kg = told::heaviest_kg(asked);
    let one = |(name, own): &(String, Option<f64>)| {
        let without_kg = own.or(asked.total_mass_kg);
        let ballast_ml = match (without_kg, heaviest_kg) {
            (Some(kg), Some(most)) => super::ballast::water_ml(most - kg),
            _ => 0.0,
        };
        NamedSetup {
            name: name.clone(),
            // With its ballast, where anybody said what it weighs.
            total_mass_kg: heaviest_kg.filter(|_| own.is_some() || ballast_ml > 0.0),
            ballast_ml,
            same_as: None,
        }
    };
    let mut setups: Vec<NamedSetup> = asked.setups.iter().map(one).collect();
    if asked.purpose == Purpose::NullTest
        && let [only] = setups.as_slice()
    {
        let again = NamedSetup {
            name: format!("{} again", only.name),
            same_as: Some(only.name.clone()),
            ..only.clone()
        };
        setups.push(again);
    }
    setups
}

fn text(
    asked: &Asked,
    there: Option<&There>,
    setups: &[NamedSetup],
    planned: &Planned,
    shape: Shape,
    blocks: Vec<NamedBlock>,
) -> std::result::Result<String, Fault> {
    let contents = Contents {
        title: asked.title.as_deref(),
        total_mass_kg: asked.total_mass_kg,
        setups: setups.to_vec(),
        place: &asked.place,
        shape,
        planned,
        blocks,
    };
    match there {
        Some(there) => added_text(&there.text, &contents, !there.has_setups),
        None => Ok(new_text(&contents)),
    }
}
