//! `stillair completions`: what a shell needs to complete commands and options.

use super::console::{Console, Stop};
use clap_complete::Shell;

const EXAMPLE: &str = "Example: for this user's bash, from the next terminal on\n  \
     mkdir -p ~/.local/share/bash-completion/completions\n  \
     stillair completions bash \\\n    \
     > ~/.local/share/bash-completion/completions/stillair";

/// Print what a shell needs to complete commands and options
///
/// Save it where your shell looks for it; each shell's manual says where that is.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

pub fn run(arguments: &Arguments, mut whole: clap::Command, console: &Console) -> Result<(), Stop> {
    let name = whole.get_name().to_string();
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut whole, name, &mut script);
    console.result(String::from_utf8_lossy(&script).trim_end())
}
