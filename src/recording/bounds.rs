//! How much of a file is read. A ride stays far below all of these; what goes over is refused and says so, so that no
//! file brings a small computer down (docs/reliability.md has the memory that the worst ones take).

use crate::error::Fault;

/// Of a file, packed and unpacked. A day of 1 Hz samples is some 10 MB as text, with extensions twice that.
pub(super) const MAX_BYTES: u64 = 128 << 20;
/// Eleven days at 1 Hz, almost three hours of a sensor at 100 Hz.
pub(super) const MAX_SAMPLES: usize = 1_000_000;
/// Values of channels with no name of ours, empty ones included.
pub(super) const MAX_EXTRA_VALUES: usize = 4_000_000;
/// Laps, stops and starts of the timer, sessions: of each.
pub(super) const MAX_MARKS: usize = 100_000;
/// Text that must be put into another encoding, or whose cells stand in quotes, takes several times its size.
pub(super) const MAX_REWORKED_BYTES: usize = 32 << 20;
/// A line of a table.
pub(super) const MAX_LINE_BYTES: usize = 64 << 10;
/// Text of one element or attribute that anybody looks at; the rest is passed over.
pub(super) const MAX_WORD_BYTES: usize = 4 << 10;
/// The strict second reading of GPX holds everything at once. Larger files are read once.
pub(super) const MAX_STRICT_POINTS: usize = 200_000;
/// Faults of one file that are told one by one.
pub(super) const MAX_FAULTS: usize = 200;
/// Files from this size on are read one after another.
pub(super) const LARGE_BYTES: u64 = 8 << 20;

const NO_RIDE: &str = "This is no ride recording; leave it out, or cut the ride out of it.";

pub(super) fn too_large() -> Fault {
    Fault::new(
        format!("is larger than {} MiB, unpacked", MAX_BYTES >> 20),
        NO_RIDE,
    )
}

pub(super) fn too_many() -> Fault {
    Fault::new(
        format!(
            "holds more than {MAX_SAMPLES} samples, {MAX_EXTRA_VALUES} values of channels that are not the unit's own, \
             or {MAX_MARKS} laps, stops or sessions"
        ),
        NO_RIDE,
    )
}

pub(super) fn too_large_because(why: &str) -> Fault {
    let what = format!("is larger than {} MiB, and {why}", MAX_REWORKED_BYTES >> 20);
    Fault::new(
        what,
        "Export it as plain UTF-8 text without quotes, or cut the ride out of it.",
    )
}

/// At most `MAX_WORD_BYTES` of a text, at the end of a character.
pub(super) fn word(text: &str) -> &str {
    text.get(..text.floor_char_boundary(MAX_WORD_BYTES)).unwrap_or("")
}
