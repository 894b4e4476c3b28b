//! The road-load balance, virtual elevation and forward integration: pure functions; knows no files, no fitting.

pub mod gravity;

pub mod balance;

pub mod virtual_elevation;

pub mod forward;

pub mod track;

pub(crate) use balance::cos_slope;
pub use balance::{
    RelativeWind, Rig, Surroundings, bearing_force_n, crank_power_w, drag_force_n, steady_speed_m_s,
};
pub use forward::{Piece, Ridden, ride_road};
pub use gravity::gravity_m_s2;
pub use track::{Lean, Track};
pub use virtual_elevation::{Step, Work, step_work, virtual_climb_m};

#[cfg(test)]
mod published;

#[cfg(test)]
mod trade;
