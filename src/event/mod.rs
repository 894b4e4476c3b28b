//! What a difference is worth over a whole event: the balance integrated over its own road.

mod pacing;
mod predict;
mod road;

pub use pacing::Pacing;
pub use predict::{Change, Conditions, Predicted, Rider, Times, predict};
pub use road::{Cleaned, EventRoad, flat_road, road_of};
