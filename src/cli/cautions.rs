//! What to mind on the road, said once and shown wherever a ride is proposed.

use crate::report::words::{listed, wrapped};

/// Broken into lines of at most `width` characters.
pub fn cautions(width: usize) -> String {
    let line = |line: &str| match line.strip_prefix("- ") {
        Some(caution) => listed(caution, width),
        None => wrapped(line, width),
    };
    CAUTIONS.lines().map(line).collect::<Vec<_>>().join("\n")
}

/// Plain text, one caution a line.
pub const CAUTIONS: &str = "\
Before you ride a test:
- On public roads traffic law comes first. Choose a closed or quiet road with a good surface and a clear view.
- Never turn round in traffic: stop at the side, look, and cross when the road is empty.
- In an aero position you steer and brake less well and see less. Look up; leave the position when in doubt.
- After changing equipment, have bolts tightened to the maker's torque by someone qualified, and try the brakes.
- Ride in daylight and in weather that keeps you in control; gusts and wet roads spoil the ride and the result.
- What you test may not be allowed where you race: check the event's equipment rules.
Local law, the event's rules and a qualified mechanic decide; this program does not.";

#[cfg(test)]
mod tests {
    use super::CAUTIONS;

    #[test]
    fn every_caution_is_there() {
        for words in [
            "traffic law",
            "closed or quiet",
            "turn round in traffic",
            "steer and brake",
            "maker's torque",
            "qualified",
            "daylight",
            "weather",
            "equipment rules",
            "Local law",
            "qualified mechanic",
        ] {
            assert!(CAUTIONS.contains(words), "no {words:?}");
        }
    }
}
