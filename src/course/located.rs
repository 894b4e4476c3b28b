//! What finding and the gates of `test.toml` have in common.

use super::gate::{self, Gate};
use super::line::Line;
use crate::test_day::Shape;

/// A course that is known but not yet cut into passes.
#[derive(Debug, Clone, PartialEq)]
pub struct Located {
    pub shape: Shape,
    /// False where `test.toml` gave the gates.
    pub found: bool,
    pub line: Line,
}

impl Located {
    pub fn gates(&self) -> [Gate; 2] {
        gate::of(&self.line, self.shape)
    }
}
