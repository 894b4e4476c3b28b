//! `stillair report`: one document to share or print.

use super::cautions::CAUTIONS;
use super::console::{Console, Stop};
use crate::error::Fault;
use crate::report::html::{MARK, Told, report};
use crate::report::words::wrapped;
use crate::saving;
use crate::study;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

const EXAMPLE: &str = "Example: a document of helmets to share, without places, dates and masses\n  \
                       stillair report helmets --private --output to-share.html";

/// Write one self-contained document to share or print
///
/// Compares the set-ups of the test day in FOLDER as `compare` does and writes the answer, with pictures and all that
/// it rests on, into one HTML file. It needs no network to be read. A file that an earlier run wrote is replaced; any
/// other is left alone.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder of the test day
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// File to write; report.html in FOLDER unless given, `-` for standard output
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Leave out positions, dates and times of day, body mass and names of files
    #[arg(long)]
    private: bool,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    if console.json {
        let next = "Leave out --json; `stillair compare --json FOLDER` has the numbers.";
        return Err(Fault::new("a report is a document to read and has no JSON", next).into());
    }
    let folder = &arguments.folder;
    let output = arguments
        .output
        .clone()
        .unwrap_or_else(|| folder.join("report.html"));
    let to_stdout = output.as_os_str() == "-";
    // Told before the work rather than after it.
    if !to_stdout && folder.is_dir() {
        check_ours(&output)?;
    }
    let compared = console.watched("reading", |progress| study::compare(folder, progress))?;
    console.faults(&compared.surveyed.faults);
    let named = folder.file_name().unwrap_or(folder.as_os_str()).to_string_lossy();
    let text = report(&Told {
        compared: &compared,
        files: &study::digests(folder)?,
        private: arguments.private,
        folder: &named,
        cautions: CAUTIONS,
    });
    if to_stdout {
        return console.result(&text);
    }
    write(&output, &text)?;
    let said = format!("Wrote {} ({} kB).", output.display(), text.len().div_ceil(1000));
    console.remark(&wrapped(&said, console.width));
    Ok(())
}

/// Whether nothing is there, or a document that we wrote.
fn check_ours(file: &Path) -> Result<(), Fault> {
    if file.symlink_metadata().is_err() {
        return Ok(());
    }
    // The mark stands in the head, before anything that somebody typed.
    const HEAD: u64 = 512;
    let mut head = Vec::new();
    let read = File::open(file).and_then(|open| open.take(HEAD).read_to_end(&mut head));
    if file.is_file() && read.is_ok() && String::from_utf8_lossy(&head).contains(MARK) {
        return Ok(());
    }
    Err(Fault::new(
        "there is one already that no earlier report wrote, and it is not written over",
        "Name another file with --output, or move it away first.",
    )
    .in_file(file))
}

/// All or nothing. A link is followed: what it leads to is replaced.
fn write(file: &Path, text: &str) -> Result<(), Fault> {
    check_ours(file)?;
    let bytes = [text.as_bytes(), b"\n"].concat();
    saving::write(file, &bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_an_earlier_report_wrote_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("report.html");
        let ours = format!("<!DOCTYPE html><html><head>{MARK}</head></html>");
        write(&file, &ours).unwrap();
        write(&file, &ours.replace("<head>", "<head> ")).unwrap();
        assert!(std::fs::read_to_string(&file).unwrap().contains("<head> "));
        std::fs::write(&file, "<html>mine</html>").unwrap();
        let refused = write(&file, &ours).unwrap_err();
        assert!(refused.what.contains("not written over"), "{refused}");
        assert_eq!(std::fs::read_to_string(&file).unwrap(), "<html>mine</html>");
        assert!(check_ours(folder.path()).is_err(), "a folder is no report");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_mark_far_down_in_somebodys_file_does_not_make_it_ours() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("notes.html");
        std::fs::write(&file, format!("{}{MARK}", " ".repeat(2000))).unwrap();
        assert!(check_ours(&file).is_err());
    }
}
