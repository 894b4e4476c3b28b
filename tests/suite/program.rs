//! The program run from its command line.

use assert_cmd::Command;

/// What a command that succeeds prints on standard output.
pub fn said(command: &mut Command) -> String {
    let assert = command.assert().success();
    String::from_utf8(assert.get_output().stdout.clone()).unwrap()
}
