//! The files of a planned day.

use super::{CAUTIONS, TEST_TOML};
use crate::cli::console::Stop;
use crate::error::{Error, Fault};
use crate::plan::propose::{Asked, Proposal, There};
use crate::plan::text::COURSE_FILE;
use crate::report::printout::printout;
use crate::saving;
use crate::test_day;
use std::path::{Path, PathBuf};

const SHEET: &str = "sheet.html";

/// The `test.toml` that is there, if it is one to be completed.
pub fn there(folder: &Path) -> Result<Option<There>, Stop> {
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

/// Everything in the way at once. Whether the course is to be written: not where it is that very file.
pub fn free(folder: &Path, asked: &Asked) -> Result<bool, Stop> {
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
pub fn write(
    folder: &Path,
    proposal: &Proposal,
    completes: bool,
    with_course: bool,
) -> Result<Vec<PathBuf>, Stop> {
    let test_toml = folder.join(TEST_TOML);
    let mut new = vec![(folder.join(SHEET), printout(proposal, CAUTIONS).into_bytes())];
    let course = proposal.course_gpx.clone().filter(|_| with_course);
    new.extend(course.map(|text| (folder.join(COURSE_FILE), text.into_bytes())));
    let text = proposal.test_toml.as_bytes();
    if !completes {
        new.push((test_toml.clone(), text.to_vec()));
    }
    saving::write_all_new(folder, &new)?;
    let mut written: Vec<PathBuf> = new.into_iter().map(|(file, _)| file).collect();
    if completes {
        if let Err(fault) = saving::write_over(&test_toml, text) {
            for file in written {
                let _ = std::fs::remove_file(file);
            }
            return Err(fault.into());
        }
        written.push(test_toml);
    }
    written.reverse();
    Ok(written)
}
