//! The command line: what was typed → one command → output and exit status. One file per command.

pub mod asking;
pub mod cautions;
mod compare;
mod completions;
pub mod console;
mod demo;
mod export;
mod inspect;
mod manual;
mod new;
mod page;
mod passes;
mod plan;
mod predict;
mod rehearse;
mod report;
mod roads;
mod watch;

use clap::{CommandFactory, Parser, Subcommand};
use console::{Console, Stop};
use std::process::ExitCode;

/// Which of two set-ups makes a cyclist faster, by how much, and how sure.
///
/// Reads ordinary ride recordings with power, finds the stretch of road that was ridden several times, and
/// compares the drag area (CdA) of set-ups, with its uncertainty.
#[derive(Debug, Parser)]
#[command(name = "stillair", version, after_help = EXAMPLE, arg_required_else_help = true, max_term_width = 80, propagate_version = true)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Print the result as JSON, alone on standard output
    #[arg(long, global = true)]
    json: bool,
    /// Print the result or the errors, and nothing else: no progress, no remarks
    #[arg(long, global = true)]
    quiet: bool,
}

const EXAMPLE: &str = "Example: simulate a test day, and see which helmet is faster\n  stillair demo helmets";

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Arguments),
    Roads(roads::Arguments),
    Plan(plan::Arguments),
    Rehearse(rehearse::Arguments),
    New(new::Arguments),
    Inspect(inspect::Arguments),
    Passes(passes::Arguments),
    Compare(compare::Arguments),
    Predict(predict::Arguments),
    Report(report::Arguments),
    Export(export::Arguments),
    Page(page::Arguments),
    Watch(watch::Arguments),
    Completions(completions::Arguments),
    Manual(manual::Arguments),
}

/// Runs the command line of this process. Exit status: 0 done, 1 could not do it, 2 wrong usage.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(usage) => {
            // Help goes to standard output, a usage error to standard error; a closed pipe is no failure.
            let _ = usage.print();
            return ExitCode::from(if usage.use_stderr() { 2 } else { 0 });
        }
    };
    let console = Console::new(arguments.json, arguments.quiet);
    let outcome = match &arguments.command {
        Command::Demo(arguments) => demo::run(arguments, &console),
        Command::Plan(arguments) => plan::run(arguments, &console),
        Command::New(arguments) => new::run(arguments, &console),
        Command::Inspect(arguments) => inspect::run(arguments, &console),
        Command::Passes(arguments) => passes::run(arguments, &console),
        Command::Compare(arguments) => compare::run(arguments, &console),
        Command::Predict(arguments) => predict::run(arguments, &console),
        Command::Rehearse(arguments) => rehearse::run(arguments, &console),
        Command::Report(arguments) => report::run(arguments, &console),
        Command::Export(arguments) => export::run(arguments, &console),
        Command::Page(arguments) => page::run(arguments, &console),
        Command::Watch(arguments) => watch::run(arguments, &console),
        Command::Roads(arguments) => roads::run(arguments, &console),
        Command::Completions(arguments) => completions::run(arguments, Arguments::command(), &console),
        Command::Manual(arguments) => manual::run(arguments, Arguments::command(), &console),
    };
    match outcome {
        Ok(()) | Err(Stop::PipeClosed) => ExitCode::SUCCESS,
        Err(Stop::Faults(error)) => {
            console.errors(&error);
            ExitCode::from(1)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_description_of_the_command_line_is_consistent() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn global_options_stand_before_or_after_the_command() {
        for words in [
            ["stillair", "--json", "passes", "x"],
            ["stillair", "passes", "x", "--json"],
        ] {
            let arguments = Arguments::try_parse_from(words).unwrap();
            assert!(arguments.json && !arguments.quiet, "{words:?}");
        }
    }
}
