//! A folder that is kept an eye on: what changed in it, once it stands still, and what that means for the day.

mod folder;
mod line;
mod settling;
mod standing;
mod wake;

pub use folder::{Changed, Seen, What, seen};
pub use line::{json, line};
pub use settling::Settling;
pub use standing::{Advice, Standing};
pub use wake::Wake;
