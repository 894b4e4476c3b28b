//! Hostile and damaged input: an answer, or an error that names the file; never a panic, never a hang.

mod change;

#[cfg(unix)]
mod killed;

mod made;

mod random_days;

mod readers;

mod route;

mod same;

mod seeds;

mod sound;

mod watch;

mod worst;
