#![no_main]
//! Whatever stands in a tcx file.

#[path = "../sound.rs"]
mod sound;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| sound::recording("a.tcx", bytes));
