#![no_main]
//! Whatever somebody types into test.toml.

use std::path::Path;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Err(error) = stillair::test_day::parse(Path::new("test.toml"), text) {
        assert!(!error.faults.is_empty());
        assert!(error.faults.iter().all(|fault| fault.file.is_some()));
    }
});
