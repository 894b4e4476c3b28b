//! A local page on which the analyst tries things out: the engine computes and draws, the page shows and sends.

mod asked;
pub mod desk;
mod fields;
mod guard;
mod house;
pub mod server;
pub mod show;
