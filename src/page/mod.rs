//! A local page on which the analyst tries things out: the engine computes and draws, the page shows and sends.

pub mod desk;
