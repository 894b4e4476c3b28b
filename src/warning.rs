//! A remark that does not stop the work: data, so that terminal, page and JSON can all show it.

use serde::Serialize;

/// `kind` is a short fixed name for programs ("order", "thermometer"); `message` says what was seen,
/// with its numbers; `next_step` says what the reader can do about it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Warning {
    pub kind: String,
    pub message: String,
    pub next_step: String,
}

impl Warning {
    pub fn new(kind: &str, message: impl Into<String>, next_step: impl Into<String>) -> Self {
        Warning {
            kind: kind.to_string(),
            message: message.into(),
            next_step: next_step.into(),
        }
    }
}
