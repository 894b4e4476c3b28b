//! Where output goes: results to standard output, everything else to standard error; colour, width and
//! progress on a terminal only.

use crate::error::{Error, Fault};
use crate::study::Progress;
use comfy_table::{ContentArrangement, Table};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::time::Duration;

/// Why a command ended early.
#[derive(Debug)]
pub enum Stop {
    Faults(Error),
    /// The reader of our output has seen enough, as `head` does: no failure.
    PipeClosed,
}

impl From<Error> for Stop {
    fn from(error: Error) -> Self {
        Stop::Faults(error)
    }
}

impl From<Fault> for Stop {
    fn from(fault: Fault) -> Self {
        Stop::Faults(fault.into())
    }
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            return Stop::PipeClosed;
        }
        let what = format!("the result cannot be written to standard output ({error})");
        Stop::from(Fault::new(
            what,
            "Check where the output goes, and the space left there.",
        ))
    }
}

/// Width where no terminal says otherwise, in characters.
const USUAL_WIDTH: usize = 80;
/// From so many files on, people want to know how long it takes.
const MANY_FILES: usize = 100;

#[derive(Debug, Clone)]
pub struct Console {
    /// The user asked for JSON alone on standard output.
    pub json: bool,
    /// The user asked for the result alone.
    pub quiet: bool,
    /// Standard output is a terminal that shows colour, and the user does not mind.
    pub colour: bool,
    /// Characters in a line of standard output.
    pub width: usize,
    progress: bool,
}

impl Console {
    pub fn new(json: bool, quiet: bool) -> Self {
        let terminal = io::stdout().is_terminal();
        Console {
            json,
            quiet,
            colour: terminal && colour_wanted(|name| std::env::var(name).ok()),
            width: if terminal { terminal_width() } else { USUAL_WIDTH },
            progress: !quiet && io::stderr().is_terminal(),
        }
    }

    /// Writes a result to standard output and ends it with one line break.
    pub fn result(&self, text: &str) -> Result<(), Stop> {
        let mut output = io::stdout().lock();
        writeln!(output, "{}", text.trim_end_matches('\n'))?;
        output.flush()?;
        Ok(())
    }

    /// JSON, alone on standard output.
    pub fn json_result(&self, value: &serde_json::Value) -> Result<(), Stop> {
        self.result(&format!("{value:#}"))
    }

    /// One of several JSON values, each on a line of its own.
    pub fn json_line(&self, value: &serde_json::Value) -> Result<(), Stop> {
        self.result(&value.to_string())
    }

    /// Runs a piece of the engine that tells its progress, file by file; where there are many, with the time that is
    /// left.
    pub fn watched<T>(&self, doing: &str, work: impl FnOnce(Progress) -> T) -> T {
        let bar = self.progress(doing, 0);
        let outcome = work(&|done, all| {
            if all < MANY_FILES {
                bar.set_message(format!("{doing} {done} of {all}"));
            } else {
                let left_s =
                    bar.elapsed().as_secs_f64() / done.max(1) as f64 * all.saturating_sub(done) as f64;
                bar.set_message(format!("{doing} {done} of {all}, {left_s:.0} s left"));
            }
        });
        bar.finish_and_clear();
        outcome
    }

    /// As [`Console::watched`], step by step, with the time that is left.
    pub fn counted<T>(&self, doing: &str, steps: u64, work: impl FnOnce(Progress) -> T) -> T {
        let bar = self.progress(doing, steps);
        let outcome = work(&|_, _| bar.inc(1));
        bar.finish_and_clear();
        outcome
    }

    /// Files that could not be read while the others went on.
    pub fn faults(&self, faults: &[Fault]) {
        for fault in faults {
            self.remark(&format!("warning: {fault}"));
        }
    }

    /// A remark on standard error, unless the user asked for quiet.
    pub fn remark(&self, text: &str) {
        if !self.quiet {
            say(text);
        }
    }

    /// Every fault once, each in a paragraph of its own. Quiet does not silence errors.
    pub fn errors(&self, error: &Error) {
        let paragraphs: Vec<String> = error
            .faults
            .iter()
            .map(|fault| format!("stillair: {fault}"))
            .collect();
        say(&paragraphs.join("\n\n"));
    }

    /// A sign of life on standard error while something takes long; shown on a terminal only.
    /// `steps` = 0: their number is not known. Ends when dropped or finished.
    pub fn progress(&self, doing: &str, steps: u64) -> ProgressBar {
        let bar = if steps == 0 {
            ProgressBar::new_spinner()
        } else {
            ProgressBar::new(steps)
        };
        if !self.progress {
            bar.set_draw_target(ProgressDrawTarget::hidden());
            return bar;
        }
        let template = if steps == 0 {
            "{spinner} {msg}"
        } else {
            "{msg} [{bar:30}] {pos}/{len}, {eta} left"
        };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        bar.set_message(doing.to_string());
        bar.enable_steady_tick(Duration::from_millis(120));
        bar
    }
}

/// Nothing can be done about a closed standard error, and it must not end the work.
fn say(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// NO_COLOR counts when it is set and not empty (no-color.org); a dumb terminal shows no colour.
fn colour_wanted(variable: impl Fn(&str) -> Option<String>) -> bool {
    let refused = variable("NO_COLOR").is_some_and(|value| !value.is_empty());
    let dumb = variable("TERM").is_some_and(|value| value == "dumb");
    !refused && !dumb
}

fn terminal_width() -> usize {
    let mut probe = Table::new();
    probe.set_content_arrangement(ContentArrangement::Dynamic);
    probe.width().map_or(USUAL_WIDTH, usize::from).max(40)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colour_is_refused_by_no_color_and_by_dumb_terminals() {
        let with = |name: &'static str, value: &'static str| {
            colour_wanted(move |asked| (asked == name).then(|| value.to_string()))
        };
        assert!(!with("NO_COLOR", "1"));
        assert!(with("NO_COLOR", ""));
        assert!(!with("TERM", "dumb"));
        assert!(with("TERM", "xterm"));
    }

    #[test]
    fn a_closed_pipe_is_told_from_a_full_disk() {
        assert!(matches!(
            Stop::from(io::Error::from(ErrorKind::BrokenPipe)),
            Stop::PipeClosed
        ));
        let Stop::Faults(error) = Stop::from(io::Error::from(ErrorKind::StorageFull)) else {
            panic!("a full disk is a fault");
        };
        assert!(error.to_string().contains("standard output"));
    }
}
