//! What a barometer reads of the air stream at its port.

/// Of the coefficient, before anything is known of the day: half of the ways to mount a unit lie between a tenth and
/// two thirds (judgement: 0 is a port out of the stream, 1 one that faces it).
pub const UNKNOWN: f64 = 0.39;
pub const UNKNOWN_STANDARD_UNCERTAINTY: f64 = 0.29;
/// Twice the standard acceleration of gravity: the height of a pressure of ½ρv² is v²/2g, by hydrostatics.
pub const TWICE_GRAVITY_M_S2: f64 = 2.0 * 9.80665;

/// The altitude reads low by this share of v²/2g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PortEffect {
    pub coefficient: f64,
    pub standard_uncertainty: f64,
}
