//! The samples of a sound FIT file, and nothing else of it: for looking through thousands of rides.
//!
//! Whatever is not plain (damage, a chained file, a field of an unusual type, packed speed and distance) is left to
//! `fit_file`, which knows how to deal with it. So the two never differ: this one gives the same samples, or none.

use super::Sample;
use super::bounds::MAX_SAMPLES;
use super::fields::{self, Conversion, Quantity};
use super::fit_part::FIT_EPOCH_UNIX_S;

const RECORD: u16 = 20;
const TIMESTAMP: u8 = 253;
const PACKED_SPEED_DISTANCE: u8 = 8;
/// The base types of the format, by their low five bits; above the last there is none (profile, code S).
const LAST_BASE_TYPE: u8 = 16;

/// The fields that a look needs: number, base type, quantity, scale, offset, unit (profile, code S). The wide form of
/// a quantity stands after its plain form, and wins where both are valid.
const WANTED: [(u8, Base, Quantity, f64, f64, &str); 8] = [
    (0, Base::S32, Quantity::Latitude, 1.0, 0.0, "semicircles"),
    (1, Base::S32, Quantity::Longitude, 1.0, 0.0, "semicircles"),
    (2, Base::U16, Quantity::Altitude, 5.0, 500.0, "m"),
    (78, Base::U32, Quantity::Altitude, 5.0, 500.0, "m"),
    (5, Base::U32, Quantity::Distance, 100.0, 0.0, "m"),
    (6, Base::U16, Quantity::Speed, 1000.0, 0.0, "m/s"),
    (73, Base::U32, Quantity::Speed, 1000.0, 0.0, "m/s"),
    (7, Base::U16, Quantity::Power, 1.0, 0.0, "watts"),
];

#[derive(Clone, Copy, PartialEq)]
enum Base {
    U16 = 0x84,
    S32 = 0x85,
    U32 = 0x86,
}

impl Base {
    fn size(self) -> usize {
        match self {
            Base::U16 => 2,
            Base::S32 | Base::U32 => 4,
        }
    }
}

/// A wanted field within a message.
struct Place {
    /// Bytes before it.
    at: usize,
    /// Index into `WANTED`.
    wanted: usize,
}

struct Definition {
    record: bool,
    big_endian: bool,
    size: usize,
    time_at: Option<usize>,
    places: Vec<Place>,
}

/// The samples, as `fit_file` gives them, with time, position, altitude, distance, speed and power alone. `None` where
/// the file is not plain and sound.
pub(super) fn samples(bytes: &[u8]) -> Option<Vec<Sample>> {
    let mut rest = body(bytes)?;
    let conversions = WANTED.map(|(_, _, quantity, _, _, unit)| fields::conversion(quantity, unit));
    let mut definitions: [Option<Definition>; 16] = Default::default();
    let mut last_s: Option<u32> = None;
    let mut samples = Vec::with_capacity((rest.len() / 24).min(MAX_SAMPLES));
    while let Some((&header, after)) = rest.split_first() {
        rest = after;
        let (local, offset) = match header {
            0x80.. => (header >> 5 & 3, Some(u32::from(header & 31))),
            0x40.. => {
                let definition = definition(&mut rest, header & 0x20 != 0)?;
                *definitions.get_mut(usize::from(header & 15))? = Some(definition);
                continue;
            }
            _ => (header & 15, None),
        };
        let definition = definitions.get(usize::from(local))?.as_ref()?;
        let (message, after) = rest.split_at_checked(definition.size)?;
        rest = after;
        let time_s = time(definition, message, offset, &mut last_s);
        if definition.record {
            // More than a ride can be: refused there.
            if samples.len() == MAX_SAMPLES {
                return None;
            }
            let time_s = (i64::from(time_s?) + FIT_EPOCH_UNIX_S) as f64;
            samples.push(sample(definition, message, time_s, &conversions)?);
        }
    }
    (!samples.is_empty()).then_some(samples)
}

/// What stands between the header and the checksum of a file that is closed, whole and alone.
fn body(bytes: &[u8]) -> Option<&[u8]> {
    let header = usize::from(*bytes.first().filter(|size| matches!(size, 12 | 14))?);
    if bytes.get(8..12)? != b".FIT" {
        return None;
    }
    let size = u32::from_le_bytes(bytes.get(4..8)?.try_into().ok()?) as usize;
    let end = header.checked_add(size)?;
    let written = u16::from_le_bytes(bytes.get(end..)?.try_into().ok()?);
    (size > 0 && crc16(bytes.get(..end)?) == written).then(|| bytes.get(header..end))?
}

fn definition(rest: &mut &[u8], has_developer: bool) -> Option<Definition> {
    let (head, after) = rest.split_first_chunk::<5>()?;
    let [_, order, low, high, count] = *head;
    let big_endian = match order {
        0 => false,
        1 => true,
        _ => return None,
    };
    let global = if big_endian {
        u16::from_be_bytes([low, high])
    } else {
        u16::from_le_bytes([low, high])
    };
    let (own, mut after) = after.split_at_checked(3 * usize::from(count))?;
    let mut definition = Definition {
        record: global == RECORD,
        big_endian,
        size: 0,
        time_at: None,
        places: Vec::new(),
    };
    for field in own.chunks_exact(3) {
        let [number, size, base] = *field else { return None };
        definition.take(number, size, base)?;
    }
    if has_developer {
        let (&count, fields) = after.split_first()?;
        let (fields, next) = fields.split_at_checked(3 * usize::from(count))?;
        let sizes = fields.chunks_exact(3).filter_map(|field| field.get(1));
        definition.size += sizes.map(|size| usize::from(*size)).sum::<usize>();
        after = next;
    }
    *rest = after;
    // The wide forms come last, whatever the order in the file.
    definition.places.sort_by_key(|place| place.wanted);
    Some(definition)
}

impl Definition {
    /// `None` where the field is one that only the full reader understands.
    fn take(&mut self, number: u8, size: u8, base: u8) -> Option<()> {
        let (at, size) = (self.size, usize::from(size));
        self.size += size;
        if base & 0x1F > LAST_BASE_TYPE || size == 0 {
            return None;
        }
        if number == TIMESTAMP {
            let plain = size == 4 && base == Base::U32 as u8 && self.time_at.is_none();
            self.time_at = Some(at);
            return plain.then_some(());
        }
        if !self.record {
            return Some(());
        }
        if number == PACKED_SPEED_DISTANCE {
            return None;
        }
        let Some(wanted) = WANTED.iter().position(|row| row.0 == number) else {
            return Some(());
        };
        let kind = WANTED.get(wanted)?.1;
        let again = self.places.iter().any(|place| place.wanted == wanted);
        if base != kind as u8 || size != kind.size() || again {
            return None;
        }
        self.places.push(Place { at, wanted });
        Some(())
    }
}

/// As the clock of `fit_part` has it: a full time, or five bits that count on from the last one.
fn time(
    definition: &Definition,
    message: &[u8],
    offset: Option<u32>,
    last_s: &mut Option<u32>,
) -> Option<u32> {
    let full = definition
        .time_at
        .and_then(|at| four(message, at, definition.big_endian))
        .filter(|seconds| *seconds != u32::MAX);
    if full.is_some() {
        *last_s = full;
    } else {
        let (last, offset) = ((*last_s)?, offset?);
        let roll = if offset < (last & 31) { 32 } else { 0 };
        *last_s = (last & !31).checked_add(offset + roll);
    }
    *last_s
}

fn four(message: &[u8], at: usize, big_endian: bool) -> Option<u32> {
    let bytes = *message.get(at..)?.first_chunk::<4>()?;
    Some(if big_endian {
        u32::from_be_bytes(bytes)
    } else {
        u32::from_le_bytes(bytes)
    })
}

fn two(message: &[u8], at: usize, big_endian: bool) -> Option<u16> {
    let bytes = *message.get(at..)?.first_chunk::<2>()?;
    Some(if big_endian {
        u16::from_be_bytes(bytes)
    } else {
        u16::from_le_bytes(bytes)
    })
}

fn sample(
    definition: &Definition,
    message: &[u8],
    time_s: f64,
    conversions: &[Option<Conversion>; WANTED.len()],
) -> Option<Sample> {
    let mut sample = Sample {
        time_s,
        ..Sample::default()
    };
    for place in &definition.places {
        let (_, base, quantity, scale, offset, _) = *WANTED.get(place.wanted)?;
        let raw = match base {
            Base::U16 => Some(two(message, place.at, definition.big_endian)?)
                .filter(|raw| *raw != u16::MAX)
                .map(f64::from),
            Base::U32 => Some(four(message, place.at, definition.big_endian)?)
                .filter(|raw| *raw != u32::MAX)
                .map(f64::from),
            Base::S32 => Some(four(message, place.at, definition.big_endian)?.cast_signed())
                .filter(|raw| *raw != i32::MAX)
                .map(f64::from),
        };
        if let Some(raw) = raw {
            sample.put(
                quantity,
                (*conversions.get(place.wanted)?)?.apply(raw / scale - offset),
            );
        }
    }
    Some(sample)
}

/// CRC-16/ARC by bytes: the same sum as in `fit_stream`, which goes by nibbles, at several times its rate.
fn crc16(bytes: &[u8]) -> u16 {
    const TABLE: [u16; 256] = table();
    bytes
        .iter()
        .fold(0, |crc, &byte| (crc >> 8) ^ TABLE[usize::from(crc as u8 ^ byte)])
}

const fn table() -> [u16; 256] {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        let mut crc = byte as u16;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 1 == 1 {
                (crc >> 1) ^ 0xA001
            } else {
                crc >> 1
            };
            bit += 1;
        }
        table[byte] = crc;
        byte += 1;
    }
    table
}

#[cfg(test)]
mod tests;
