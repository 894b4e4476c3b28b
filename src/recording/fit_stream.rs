//! FIT bytes → messages, up to the first damage of each part; the damage is told, not hidden.
//!
//! The decoder stops at a wrong checksum, at a missing last byte and at a file that was never closed, and panics on
//! some damage. So every part of the file is measured here first, and handed over as bare messages.

use super::guard::guarded;
use crate::error::Fault;
use fitparser::de::{DecodeOption, FitObject, FitStreamProcessor};
use fitparser::profile::MesgNum;
use fitparser::{FitDataField, Value};

/// FIT counts seconds from 1989-12-31T00:00:00Z (profile of the format's owner, code S).
pub(super) const FIT_EPOCH_UNIX_S: i64 = 631_065_600;
const COPY_AGAIN: &str = "Copy the file again from the unit; what is whole is used.";

/// One decoded message. `None` in `time_s`: it carries no time of its own.
pub(super) struct Message {
    pub kind: MesgNum,
    pub time_s: Option<f64>,
    pub native: Vec<FitDataField>,
    /// ((developer's index, field number), value), in that order.
    pub developer: Vec<((u8, u8), Value)>,
    /// The three bytes of `compressed_speed_distance`. The decoder adds its rolling counter up without minding
    /// the roll-over, so they are kept from it.
    pub packed_speed_distance: Option<[u8; 3]>,
}

/// One FIT file within the bytes (recordings are sometimes chained) and what is wrong with it.
struct Part {
    start: usize,
    data_start: usize,
    data_end: usize,
    /// Where the next part would start.
    next: usize,
    faults: Vec<Fault>,
}

/// Calls `visit` with each message, and `end_part` at the end of each part, with whether it is damaged.
pub(super) trait Visitor {
    fn message(&mut self, message: Message);
    fn end_part(&mut self, damaged: bool);
}

/// Walks all parts; returns the damage found.
pub(super) fn walk(bytes: &[u8], visitor: &mut impl Visitor) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut copy = bytes.to_vec();
    let mut at = 0;
    while let Some(start) = next_header(bytes, at) {
        report_stray(bytes, at, start, &mut faults);
        let part = measure(bytes, start);
        let mut damaged = !part.faults.is_empty();
        faults.extend(part.faults.iter().cloned());
        damaged |= read_part(&mut copy, &part, visitor, &mut faults);
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
        data_start,
        data_end: claimed,
        next: claimed + 2,
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
    let mut processor = FitStreamProcessor::new();
    for option in [
        DecodeOption::SkipHeaderCrcValidation,
        DecodeOption::SkipDataCrcValidation,
    ] {
        processor.add_option(option);
    }
    // The processor must think the part as large as it is.
    if let (Some(field), Ok(size)) = (
        copy.get_mut(part.start + 4..part.start + 8),
        u32::try_from(part.data_end - part.data_start),
    ) {
        field.copy_from_slice(&size.to_le_bytes());
    }
    let mut clock = Clock::default();
    let mut undecoded = 0usize;
    let mut at = part.start;
    let mut stopped = None;
    while at < part.data_end {
        quieten(copy, at, part.data_end);
        let Some(input) = copy.get(at..part.data_end) else {
            break;
        };
        let step = guarded(|| match processor.deserialize_next(input) {
            Ok((rest, object)) => Ok((rest.len(), object)),
            Err(cause) => Err(cause.to_string()),
        });
        match step {
            Some(Ok((rest, FitObject::DataMessage(raw)))) => {
                at = part.data_end - rest;
                match guarded(|| decode(&mut processor, raw, &mut clock)) {
                    Some(Ok(Some(message))) => visitor.message(message),
                    Some(Ok(None)) => {}
                    Some(Err(())) | None => undecoded += 1,
                }
            }
            Some(Ok((rest, _))) => at = part.data_end - rest,
            Some(Err(cause)) => {
                stopped = Some(cause);
                break;
            }
            None => {
                stopped = Some("the message makes no sense".into());
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
    if undecoded > 0 {
        let what = format!("{undecoded} messages could not be decoded and are left out");
        faults.push(Fault::new(what, COPY_AGAIN).at(format!("byte {}", part.start)));
    }
    stopped.is_some()
}

/// The time that messages with a compressed time stamp count from.
#[derive(Default)]
struct Clock {
    last: Option<u32>,
}

impl Clock {
    /// `t = (last & !31) + offset`, and one roll-over of 32 s where that is earlier (code S).
    fn read(&mut self, full: Option<&Value>, offset: Option<u8>) -> Option<f64> {
        if let Some(Value::UInt32(seconds)) = full {
            self.last = Some(*seconds);
        } else if let Some(offset) = offset {
            let (last, offset) = (self.last?, u32::from(offset));
            let roll = if offset < (last & 31) { 32 } else { 0 };
            self.last = (last & !31).checked_add(offset + roll);
        } else {
            return None;
        }
        self.last
            .map(|seconds| (i64::from(seconds) + FIT_EPOCH_UNIX_S) as f64)
    }
}

type Decoded = std::result::Result<Option<Message>, ()>;

/// Decodes the kinds of message we use. Developer fields are taken out first: their numbers and names may equal
/// native ones, and only the raw message tells them apart.
fn decode(
    processor: &mut FitStreamProcessor,
    mut raw: fitparser::de::FitDataMessage,
    clock: &mut Clock,
) -> Decoded {
    let offset = raw.time_offset();
    let time_s = clock.read(raw.fields().get(&253), offset);
    let kind = MesgNum::from(raw.global_message_number());
    if !matches!(
        kind,
        MesgNum::FileId
            | MesgNum::UserProfile
            | MesgNum::Session
            | MesgNum::Lap
            | MesgNum::Record
            | MesgNum::Event
            | MesgNum::DeviceInfo
            | MesgNum::FieldDescription
    ) {
        return Ok(None);
    }
    let mut developer: Vec<_> = raw.developer_fields.drain().collect();
    developer.sort_by_key(|(key, _)| *key);
    let mut packed_speed_distance = None;
    if kind == MesgNum::Record {
        let fields = raw.fields_mut();
        packed_speed_distance = fields.remove(&8).and_then(|value| three_bytes(&value));
        // Both forms at once: the decoder would give the wide name twice.
        if fields.contains_key(&73) {
            fields.remove(&6);
        }
        if fields.contains_key(&78) {
            fields.remove(&2);
        }
    }
    let native = processor.decode_message(raw).map_err(drop)?.into_vec();
    Ok(Some(Message {
        kind,
        time_s,
        native,
        developer,
        packed_speed_distance,
    }))
}

fn three_bytes(value: &Value) -> Option<[u8; 3]> {
    let Value::Array(values) = value else { return None };
    let bytes: Option<Vec<u8>> = values
        .iter()
        .map(|value| {
            if let Value::Byte(byte) = value {
                Some(*byte)
            } else {
                None
            }
        })
        .collect();
    bytes?.try_into().ok().filter(|bytes| *bytes != [0xff; 3])
}

/// A field whose size is no multiple of its base type makes the decoder write to standard error and read the field
/// as bytes. It is declared as bytes here, which does the same in silence.
fn quieten(copy: &mut [u8], at: usize, end: usize) {
    let Some(message) = copy.get_mut(at..end) else {
        return;
    };
    let Some(&header) = message.first() else { return };
    if header & 0xC0 != 0x40 {
        return;
    }
    let count = message.get(5).copied().map_or(0, usize::from);
    let Some(fields) = message.get_mut(6..6 + 3 * count) else {
        return;
    };
    for field in fields.chunks_exact_mut(3) {
        if let [_, size, base] = field {
            let unit: u8 = match *base & 0x1F {
                3 | 4 | 11 => 2,
                5 | 6 | 8 | 12 => 4,
                9 | 14 | 15 | 16 => 8,
                _ => 1,
            };
            if *size % unit != 0 {
                *base = 0x0D;
            }
        }
    }
}
