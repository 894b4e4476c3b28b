//! What the joint estimate says of days whose truth is known: drawn as for docs/accuracy.md, ridden by the simulator.

pub mod days;
#[allow(dead_code)] // The accuracy page needs all of it.
#[path = "../bench/accuracy/drawn.rs"]
pub mod drawn;

mod lorry;
mod one_pass_wrong;
mod reported;
mod same_day;
mod table;
mod tyres;
mod wind_told;
mod zeroed;
