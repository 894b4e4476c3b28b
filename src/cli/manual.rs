//! `stillair manual`: the help of every command as pages for `man`.

use super::console::{Console, Stop};
use crate::report::words::count;
use crate::saving;
use std::path::PathBuf;

const EXAMPLE: &str = "Example: pages for this user, then read one\n  \
     stillair manual ~/.local/share/man/man1\n  \
     man stillair-compare";

/// Write the help of every command as pages for 'man'
///
/// Makes FOLDER where it is missing, and one page for each command in it. A page that is there already is not written
/// over: delete those of an older version first.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder for the pages, such as one that ends in man1
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

pub fn run(arguments: &Arguments, whole: clap::Command, console: &Console) -> Result<(), Stop> {
    let folder = &arguments.folder;
    let pages = pages(whole)?;
    let pages: Vec<_> = pages
        .into_iter()
        .map(|(name, text)| (folder.join(name), text))
        .collect();
    saving::write_all_new(folder, &pages)?;
    console.result(&format!("{} in {}", count(pages.len(), "page"), folder.display()))
}

/// Name of the file, and what is in it.
fn pages(whole: clap::Command) -> Result<Vec<(String, Vec<u8>)>, Stop> {
    // Lists of commands name each with its page; options that all have stand with each.
    let mut whole = whole.disable_help_subcommand(true);
    whole.build();
    std::iter::once(&whole)
        .chain(whole.get_subcommands())
        .map(|command| {
            let page = clap_mangen::Man::new(command.clone());
            let mut text = Vec::new();
            page.render(&mut text)?;
            Ok((page.get_filename(), text))
        })
        .collect()
}
