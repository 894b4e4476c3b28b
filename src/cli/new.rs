//! `stillair new`: a first `test.toml` beside the rides.

use super::asking::{answer, mass_kg, names};
use super::console::{Console, Stop};
use crate::error::Fault;
use crate::report::words::wrapped;
use crate::saving;
use crate::study::{self, RiderKnows, Surveyed, block_passes, block_text, starting_test_toml};
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

const EXAMPLE: &str = "Example: two helmets, ridden in the order A B B A, A the first named\n  \
                       stillair new helmets --setup \"vented helmet\" --setup \"closed helmet\" \\\n    \
                       --order ABBA --mass 82";

/// Write a first test.toml beside the rides
///
/// Finds the course, the passes and where the set-up was probably changed, and writes them with comments into
/// FOLDER/test.toml, which must not be there yet. At a terminal it asks for what only you know; elsewhere the
/// options say it, and what is not said is left open in the file.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder that holds the recordings
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// A heading for the test day
    #[arg(long)]
    title: Option<String>,
    /// Rider, bike, clothes and bottles together, in kg
    #[arg(long, value_name = "KG", value_parser = mass_kg)]
    mass: Option<f64>,
    /// A set-up that was compared; once for each, the usual one first
    #[arg(long = "setup", value_name = "NAME")]
    setups: Vec<String>,
    /// The set-up of each block as letters in riding order, A the first named; - for a block of none
    #[arg(long, value_name = "LETTERS", requires = "setups")]
    order: Option<String>,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let file = arguments.folder.join("test.toml");
    if saving::is_there(&file) {
        return Err(saving::in_the_way(&file).into());
    }
    let surveyed = console.watched("reading", |progress| study::passes(&arguments.folder, progress))?;
    console.faults(&surveyed.faults);
    let mut knows = RiderKnows {
        title: arguments.title.clone(),
        total_mass_kg: arguments.mass,
        setups: arguments.setups.clone(),
        blocks: None,
    };
    if let Some(letters) = &arguments.order {
        let blocks = order(letters, knows.setups.len(), &surveyed);
        knows.blocks = Some(blocks.map_err(|(what, next)| Fault::new(what, next))?);
    }
    if io::stdin().is_terminal() && io::stderr().is_terminal() && !console.quiet {
        ask(
            &surveyed,
            &mut knows,
            &mut io::stdin().lock(),
            &mut io::stderr().lock(),
        );
    }
    saving::write_new(&file, starting_test_toml(&surveyed, &knows).as_bytes())?;
    said(&file, &surveyed, &knows, console)
}

fn said(file: &Path, surveyed: &Surveyed, knows: &RiderKnows, console: &Console) -> Result<(), Stop> {
    if console.json {
        return console.json_result(&serde_json::json!({
            "schema": 1,
            "written": file,
            "passes": surveyed.ridden.passes.len(),
            "likely_blocks": surveyed.ridden.likely_blocks,
        }));
    }
    let folder = surveyed.folder.display();
    let next = match (&knows.setups.len(), &knows.blocks) {
        (2.., None) => "Write there which set-up each block was, then run".to_string(),
        (0 | 1, _) => "Name the set-ups and their blocks there if there were several. Then run".to_string(),
        _ => "Look it over, then run".to_string(),
    };
    let text = format!(
        "Wrote {}: {} passes in {} likely blocks. {next} `stillair compare {folder}`.",
        file.display(),
        surveyed.ridden.passes.len(),
        surveyed.ridden.likely_blocks.len()
    );
    console.result(&wrapped(&text, console.width))
}

/// Letters → set-ups, one for each likely block.
fn order(letters: &str, setups: usize, surveyed: &Surveyed) -> Result<Vec<Option<usize>>, (String, String)> {
    let mut blocks = Vec::new();
    for letter in letters.chars().filter(|c| !c.is_whitespace() && *c != ',') {
        if letter == '-' {
            blocks.push(None);
            continue;
        }
        let place = u32::from(letter.to_ascii_uppercase()).wrapping_sub(u32::from('A')) as usize;
        if place >= setups {
            return Err((
                format!("'{letter}' in the order names no set-up: there are {setups}"),
                "Write A for the first --setup, B for the second, and - for a block of none.".to_string(),
            ));
        }
        blocks.push(Some(place));
    }
    let found = block_passes(surveyed);
    if blocks.len() == found.len() {
        return Ok(blocks);
    }
    let list: Vec<String> = found
        .iter()
        .enumerate()
        .map(|(number, passes)| block_text(number, passes))
        .collect();
    Err((
        format!(
            "the order has {} blocks, and {} were found: {}",
            blocks.len(),
            found.len(),
            list.join("; ")
        ),
        "Give a letter for each of these, or leave --order out and join or split them in test.toml."
            .to_string(),
    ))
}

/// Asks until each answer can be used; an empty one leaves it open. A closed input ends the questions.
fn ask(surveyed: &Surveyed, knows: &mut RiderKnows, input: &mut dyn BufRead, output: &mut dyn Write) {
    if knows.total_mass_kg.is_none() {
        let question = "Mass of rider, bike, clothes and bottles together, in kg (Enter: not known): ";
        knows.total_mass_kg = answer(question, input, output, mass_kg);
    }
    if knows.setups.is_empty() {
        let question = "Names of the set-ups, separated by commas, the usual one first (Enter: only one): ";
        knows.setups = answer(question, input, output, names).unwrap_or_default();
    }
    if knows.setups.len() > 1 && knows.blocks.is_none() {
        let mut list = String::from("Likely blocks:\n");
        for (number, passes) in block_passes(surveyed).iter().enumerate() {
            list.push_str(&format!("  {}\n", block_text(number, passes)));
        }
        for (place, name) in knows.setups.iter().enumerate() {
            list.push_str(&format!("  {} = {name}\n", char::from(b'A' + (place % 26) as u8)));
        }
        list.push_str(
            "Their set-ups as letters, - for none, such as ABBA (Enter: write it into the file later): ",
        );
        let setups = knows.setups.len();
        knows.blocks = answer(&list, input, output, |text| {
            order(text, setups, surveyed).map_err(|(what, next)| format!("{what}. {next}"))
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{out_and_back_plan, ride_day};
    use crate::study::{gather_recordings, passes_gathered};
    use crate::test_day::{Extent, parse, without_file};

    fn surveyed() -> Surveyed {
        let day = ride_day(&out_and_back_plan(4, "ABBA", -5.0));
        let gathered = gather_recordings(without_file(), day.recordings).unwrap();
        passes_gathered(gathered, Path::new("day")).unwrap()
    }

    fn asked(typed: &str, knows: RiderKnows) -> (RiderKnows, String) {
        let (mut knows, mut shown) = (knows, Vec::new());
        ask(&surveyed(), &mut knows, &mut typed.as_bytes(), &mut shown);
        (knows, String::from_utf8(shown).unwrap())
    }

    #[test]
    fn what_only_the_rider_knows_is_asked_until_it_can_be_used() {
        let (knows, shown) = asked(
            "heavy\n8\n82,4\nvented, closed\nABX\nabba\n",
            RiderKnows::default(),
        );
        assert_eq!(knows.total_mass_kg, Some(82.4));
        assert_eq!(knows.setups, ["vented", "closed"]);
        assert_eq!(knows.blocks, Some(vec![Some(0), Some(1), Some(1), Some(0)]));
        for words in [
            "not a mass",
            "35 to 250",
            "names no set-up",
            "block 1: passes 1 to 2",
            "A = vented",
        ] {
            assert!(shown.contains(words), "{words}: {shown}");
        }
        let (open, _) = asked("", RiderKnows::default());
        assert_eq!(open, RiderKnows::default());
        let (few, shown) = asked("\nvented, closed\nAB\n\n", RiderKnows::default());
        assert_eq!(few.blocks, None);
        assert!(
            shown.contains("the order has 2 blocks, and 4 were found"),
            "{shown}"
        );
    }

    #[test]
    fn the_file_reads_back_as_what_was_said() {
        let surveyed = surveyed();
        let knows = RiderKnows {
            title: Some("Two \"helmets\"".to_string()),
            total_mass_kg: Some(82.0),
            setups: vec!["vented".to_string(), "closed".to_string()],
            blocks: Some(vec![Some(0), Some(1), None, Some(0)]),
        };
        let text = starting_test_toml(&surveyed, &knows);
        let day = parse(Path::new("test.toml"), &text).unwrap();
        assert_eq!(day.title.as_deref(), Some("Two \"helmets\""));
        assert_eq!(day.setups[0].total_mass_kg.value, 82.0);
        let blocks: Vec<_> = day
            .blocks
            .iter()
            .map(|block| (block.setup, block.extent))
            .collect();
        let passes = Extent::Passes(2);
        assert_eq!(
            blocks,
            [
                (Some(0), passes),
                (Some(1), passes),
                (None, passes),
                (Some(0), passes)
            ]
        );
        let course = day.course.unwrap();
        assert_eq!(course.shape, Some(surveyed.ridden.course.shape));
        let start = surveyed.ridden.course.line.start_deg();
        assert!((course.start_deg.unwrap()[0] - start[0]).abs() < 1e-6);
        // Nothing said: it reads all the same, with one set-up.
        let open = starting_test_toml(&surveyed, &RiderKnows::default());
        let day = parse(Path::new("test.toml"), &open).unwrap();
        assert_eq!((day.setups.len(), day.blocks.len()), (1, 0));
    }
}
