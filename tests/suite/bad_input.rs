//! Whatever is wrong with what was given: an exit status that tells, and one clear message.

mod output;

mod recordings;

mod test_toml;

pub mod workbench;
