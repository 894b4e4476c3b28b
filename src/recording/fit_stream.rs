//! FIT bytes → parts → messages, up to the first damage of each part; the damage is told, not hidden.
//!
//! The decoder by itself stops at a wrong checksum, at a missing last byte and at a file that was never closed. So
//! every part of the file is measured here first, and handed over as bare messages.

use super::bounds::MAX_FAULTS;
use super::fit_part::{Message, PartReader};
use crate::error::Fault;

const COPY_AGAIN: &str = "Copy the file again from the unit; what is whole is used.";

/// One FIT file within the bytes (recordings are sometimes chained) and what is wrong with it.
struct Part {
    start: usize,
    data_end: usize,
    /// Where the next part would start.
    next: usize,
    faults: Vec<Fault>,
}

/// Calls `visit` with each message, and `end_part` at the end of each part, with whether it is damaged.
pub(super) trait Visitor {
    fn message(&mut self, message: Message);
    fn end_part(&mut self, damaged: bool);
    /// More than is kept was met already.
    fn full(&self) -> bool;
}

/// Walks all parts; returns the damage found. The bytes are changed where the decoder would trip over them, each part's
/// after it was measured.
pub(super) fn walk(bytes: &mut [u8], visitor: &mut impl Visitor) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut at = 0;
    while let Some(start) = next_header(bytes, at) {
        if visitor.full() {
            return faults;
        }
        if faults.len() > MAX_FAULTS {
            let what = "the file is damaged in more places than these; it is read no further";
            faults.push(Fault::new(what, COPY_AGAIN).at(format!("byte {start}")));
            return faults;
        }
        report_stray(bytes, at, start, &mut faults);
        let part = measure(bytes, start);
        let mut damaged = !part.faults.is_empty();
        faults.extend(part.faults.iter().cloned());
        damaged |= read_part(bytes, &part, visitor, &mut faults);
        visitor.end_part(damaged);
        at = part.next;
    }
    report_stray(bytes, at, bytes.len(), &mut faults);
    faults
}

fn report_stray(bytes: &[u8], from: usize, to: usize, faults: &mut Vec<Fault>) {
    let stray = bytes.get(from..to).unwrap_or(&[]);
    if stray.is_empty() {
        return;
    }
    let kind = if stray.iter().all(|&byte| byte == 0) {
        "zero"
    } else {
        "stray"
    };
    faults.push(
        Fault::new(
            format!("{} {kind} bytes outside the recording are left out", stray.len()),
            COPY_AGAIN,
        )
        .at(format!("byte {from}")),
    );
}

fn is_header(bytes: &[u8]) -> bool {
    matches!(bytes.first(), Some(12 | 14))
        && bytes.get(8..12) == Some(b".FIT")
        && bytes.len() >= bytes.first().map_or(0, |&size| usize::from(size))
}

fn next_header(bytes: &[u8], from: usize) -> Option<usize> {
    (from..bytes.len().saturating_sub(11)).find(|&at| bytes.get(at..).is_some_and(is_header))
}

/// Finds where a part's data end, from its header, its checksum and what follows.
fn measure(bytes: &[u8], start: usize) -> Part {
    let total = bytes.len();
    let header_size = usize::from(bytes.get(start).copied().unwrap_or(12));
    let data_start = start + header_size;
    let size = bytes
        .get(start + 4..start + 8)
        .and_then(|four| four.try_into().ok())
        .map_or(0, u32::from_le_bytes);
    let claimed = data_start.saturating_add(size as usize);
    let mut part = Part {
        start,
        data_end: claimed,
        next: claimed.saturating_add(2),
        faults: Vec::new(),
    };
    let mut fault = |at: usize, what: String| {
        part.faults
            .push(Fault::new(what, COPY_AGAIN).at(format!("byte {at}")));
    };
    if size == 0 && total > data_start + 2 {
        fault(
            start + 4,
            "the recording was never closed: its header gives no size".into(),
        );
        (part.data_end, part.next) = open_end(bytes, start);
    } else if claimed > total {
        fault(
            total,
            format!(
                "the file is cut short: {} of {size} bytes of data are there",
                total - data_start
            ),
        );
        (part.data_end, part.next) = (total, total);
    } else if claimed + 2 > total {
        fault(claimed, "the checksum at the end is missing".into());
        part.next = total;
    } else if !checksum_holds(bytes, start, claimed) {
        let after = bytes.get(claimed + 2..).unwrap_or(&[]);
        if after.iter().all(|&byte| byte == 0) || is_header(after) {
            fault(
                claimed,
                "the checksum is wrong: something in the file was changed or lost".into(),
            );
        } else {
            fault(
                start + 4,
                format!("the header's size, {size} bytes, ends inside the data"),
            );
            (part.data_end, part.next) = open_end(bytes, start);
        }
    }
    part
}

/// End of data, and of the part, where the header does not tell: the end of the file, less a checksum that holds.
fn open_end(bytes: &[u8], start: usize) -> (usize, usize) {
    let total = bytes.len();
    match total.checked_sub(2) {
        Some(end) if checksum_holds(bytes, start, end) => (end, total),
        _ => (total, total),
    }
}

fn checksum_holds(bytes: &[u8], start: usize, end: usize) -> bool {
    let written = bytes
        .get(end..end + 2)
        .and_then(|two| two.try_into().ok())
        .map(u16::from_le_bytes);
    written.is_some() && bytes.get(start..end).map(crc16) == written
}

/// CRC-16/ARC, by nibbles as the format's owner gives it. Check: "123456789" → 0xBB3D.
pub(super) fn crc16(bytes: &[u8]) -> u16 {
    const TABLE: [u16; 16] = [
        0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401, 0xA001, 0x6C00, 0x7800, 0xB401,
        0x5000, 0x9C01, 0x8801, 0x4400,
    ];
    let step = |crc: u16, nibble: u8| (crc >> 4) ^ TABLE[usize::from((crc as u8 ^ nibble) & 0xF)];
    bytes
        .iter()
        .fold(0, |crc, &byte| step(step(crc, byte), byte >> 4))
}

/// Reads one part's messages. True where it stopped at damage.
fn read_part(copy: &mut [u8], part: &Part, visitor: &mut impl Visitor, faults: &mut Vec<Fault>) -> bool {
    // The reader is bounded by the slice it gets; the header's own size would end it early or late.
    if let Some(size) = copy.get_mut(part.start + 4..part.start + 8) {
        size.copy_from_slice(&0x7FFF_FFFFu32.to_le_bytes());
    }
    let mut reader = PartReader::new();
    let mut at = part.start;
    let mut stopped = None;
    while let Some(input) = copy.get_mut(at..part.data_end).filter(|input| !input.is_empty()) {
        match reader.step(input) {
            Ok((used, message)) => {
                at += used;
                if let Some(message) = message {
                    visitor.message(message);
                    if visitor.full() {
                        return true;
                    }
                }
            }
            Err(cause) => {
                stopped = Some(cause);
                break;
            }
        }
    }
    // A cut file ends inside a message as a matter of course; `measure` has told of it.
    let told = part.next == part.data_end && !part.faults.is_empty();
    if let Some(cause) = stopped.as_ref().filter(|cause| !(told && cause.contains("more"))) {
        let left = part.data_end - at;
        let what = format!("reading stopped, {left} bytes before the end of the data: {cause}");
        faults.push(Fault::new(what, COPY_AGAIN).at(format!("byte {at}")));
    }
    let mut fault =
        |what: String| faults.push(Fault::new(what, COPY_AGAIN).at(format!("byte {}", part.start)));
    if reader.undecoded > 0 {
        fault(format!(
            "{} messages could not be decoded and are left out",
            reader.undecoded
        ));
    }
    if reader.undescribed > 0 {
        fault(format!(
            "{} developer fields come without a description; their values are left out",
            reader.undescribed
        ));
    }
    stopped.is_some()
}
