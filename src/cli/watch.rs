//! `stillair watch`: the result is kept current while rides are dropped into a folder.

use super::console::{Console, Stop};
use super::page::{self, Shown};
use crate::error::Fault;
use crate::study;
use crate::watch::{Changed, Settling, Wake, What, json, line, seen};
use std::path::{Path, PathBuf};
use std::time::Instant;

const EXAMPLE: &str = "Example: see after each block whether to ride on\n  stillair watch helmets";

/// Keep the result current while rides are dropped into a folder
///
/// Reads the test day in FOLDER, and again with each ride that is copied into it, once the copy stands still: one line
/// for each change, with what was found and whether to ride on. A day that is planned with --look may end early; any
/// other is ridden to the end of its blocks. Files may come in parts, be renamed or taken away, and the folder
/// may be on a drive that is taken out and put back. Nothing is written. Ctrl-C ends it.
///
/// With --json each line is one object, with the whole answer as 'compare --json' has it.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder of the test day
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Show the page of the day as well, which follows too
    #[arg(long)]
    page: bool,
    #[command(flatten)]
    shown: Shown,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    let folder = &arguments.folder;
    page::must_be_there(folder)?;
    let wake = Wake::on(folder);
    let enough = wake.end();
    let desk = if arguments.page {
        Some(page::desk(folder, console)?)
    } else {
        None
    };
    let runtime = page::runtime()?;
    runtime.block_on(async {
        let lines = {
            let (folder, console) = (folder.clone(), console.clone());
            tokio::task::spawn_blocking(move || follow(&folder, wake, &console))
        };
        let shown = async {
            match desk {
                Some(desk) => page::show(desk, &arguments.shown, console).await,
                None => {
                    console.remark("Ctrl-C ends it.");
                    page::asked_to_end().await;
                    Ok(())
                }
            }
        };
        tokio::pin!(lines);
        tokio::select! {
            ended = &mut lines => return ended.unwrap_or(Ok(())),
            ended = shown => ended?,
        }
        enough.now();
        lines.await.unwrap_or(Ok(()))
    })
}

/// Until it is told to end.
fn follow(folder: &Path, mut wake: Wake, console: &Console) -> Result<(), Stop> {
    let first = seen(folder);
    let mut settling = Settling::on(first, Instant::now());
    say(folder, &[], console)?;
    while wake.wait(settling.is_waiting()) {
        let now = seen(folder);
        wake.keep(now.is_there());
        let changes = settling.look(now, Instant::now());
        if !changes.is_empty() {
            say(folder, &changes, console)?;
        }
    }
    Ok(())
}

fn say(folder: &Path, changes: &[Changed], console: &Console) -> Result<(), Stop> {
    let gone = changes.iter().any(|change| change.what == What::FolderGone);
    let answer = if gone {
        Err(Fault::new("there is no such folder", "Put the drive back.")
            .in_file(folder)
            .into())
    } else {
        console.watched("reading", |progress| study::compare(folder, progress))
    };
    let now = jiff::ZonedDateTime::now();
    if console.json {
        let time = now.timestamp().to_string();
        return console.json_line(&json(&time, changes, answer.as_ref()));
    }
    console.result(&format!(
        "{}  {}",
        now.strftime("%H:%M:%S"),
        line(changes, answer.as_ref())
    ))
}
