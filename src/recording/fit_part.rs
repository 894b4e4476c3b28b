//! The messages of one part of a FIT file, one at a time.
//!
//! The decoder panics on some damage, writes to standard error on some, and stops for good at a developer field that
//! nothing describes. All three are met here.

use super::guard::guarded;
use fitparser::de::{DecodeOption, FitDataMessage, FitObject, FitStreamProcessor};
use fitparser::profile::MesgNum;
use fitparser::{FitDataField, Value};
use std::collections::HashSet;

/// FIT counts seconds from 1989-12-31T00:00:00Z (profile of the format's owner, code S).
pub(super) const FIT_EPOCH_UNIX_S: i64 = 631_065_600;

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

pub(super) struct PartReader {
    processor: FitStreamProcessor,
    clock: Clock,
    /// Developer fields (developer's index, field number) that have a description.
    described: HashSet<(u8, u8)>,
    /// Local message types that have a definition, one bit each.
    defined: u16,
    /// Messages that could be told from the next, but not decoded.
    pub undecoded: usize,
    /// Developer fields used before any description of them.
    pub undescribed: usize,
}

impl PartReader {
    pub(super) fn new() -> Self {
        let mut processor = FitStreamProcessor::new();
        for option in [
            DecodeOption::SkipHeaderCrcValidation,
            DecodeOption::SkipDataCrcValidation,
        ] {
            processor.add_option(option);
        }
        PartReader {
            processor,
            clock: Clock::default(),
            described: HashSet::new(),
            defined: 0,
            undecoded: 0,
            undescribed: 0,
        }
    }

    /// Reads what stands at the start of `input`, header first: its length, and the message if it is one of ours.
    /// `Err` says why nothing more can be read.
    pub(super) fn step(&mut self, input: &mut [u8]) -> Result<(usize, Option<Message>), String> {
        self.prepare_definition(input);
        let (used, object) = self.next_object(input)?;
        let FitObject::DataMessage(raw) = object else {
            return Ok((used, None));
        };
        let message = guarded(|| decode(&mut self.processor, raw, &mut self.clock));
        match message {
            Some(Ok(message)) => {
                self.described.extend(message.as_ref().and_then(described_field));
                Ok((used, message))
            }
            Some(Err(())) | None => {
                self.undecoded += 1;
                Ok((used, None))
            }
        }
    }

    fn next_object(&mut self, input: &[u8]) -> Result<(usize, FitObject), String> {
        guarded(|| match self.processor.deserialize_next(input) {
            Ok((rest, object)) => Ok((input.len() - rest.len(), object)),
            Err(cause) => Err(cause.to_string()),
        })
        .unwrap_or_else(|| Err("the message makes no sense".into()))
    }

    /// Where `input` starts with a definition: puts right what the decoder would trip over.
    fn prepare_definition(&mut self, input: &mut [u8]) {
        let Some(&header) = input.first() else { return };
        if header & 0xC0 != 0x40 {
            return;
        }
        self.defined |= 1 << (header & 0x0F);
        quieten(input);
        if header & 0x20 == 0 {
            return;
        }
        let count = input.get(5).copied().map_or(0, usize::from);
        let developer = input.get(6 + 3 * count..).unwrap_or(&[]);
        let Some((&count, fields)) = developer.split_first() else {
            return;
        };
        for field in fields.chunks_exact(3).take(usize::from(count)) {
            if let [number, _, index] = *field
                && self.described.insert((index, number))
            {
                self.undescribed += 1;
                self.describe_as_bytes(index, number);
            }
        }
    }

    /// Gives the decoder a description of a developer field that has none, so that it can step over it. It comes in
    /// a local message type that the file does not use, and a later description from the file replaces it.
    fn describe_as_bytes(&mut self, index: u8, number: u8) {
        let Some(local) = (0..16u8).rev().find(|local| self.defined & (1 << local) == 0) else {
            return;
        };
        let definition = [0x40 | local, 0, 0, 206, 0, 3, 0, 1, 2, 1, 1, 2, 2, 1, 2];
        let description = [local, index, number, 0x0D];
        if self.next_object(&definition).is_ok()
            && let Ok((_, FitObject::DataMessage(raw))) = self.next_object(&description)
        {
            let _ = guarded(|| self.processor.decode_message(raw));
        }
    }
}

fn described_field(message: &Message) -> Option<(u8, u8)> {
    if message.kind != MesgNum::FieldDescription {
        return None;
    }
    let byte = |number: u8| {
        let field = message.native.iter().find(|field| field.number() == number)?;
        if let Value::UInt8(byte) = field.value() {
            Some(*byte)
        } else {
            None
        }
    };
    byte(0).zip(byte(1))
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

type Decoded = Result<Option<Message>, ()>;

/// Decodes the kinds of message we use. Developer fields are taken out first: their numbers and names may equal
/// native ones, and only the raw message tells them apart.
fn decode(processor: &mut FitStreamProcessor, mut raw: FitDataMessage, clock: &mut Clock) -> Decoded {
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
fn quieten(message: &mut [u8]) {
    let count = message.get(5).copied().map_or(0, usize::from);
    // The definition may itself run past the end of the data.
    let Some(fields) = message.get_mut(6..) else {
        return;
    };
    for field in fields.chunks_exact_mut(3).take(count) {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_impossible_size_is_declared_as_bytes_even_where_the_definition_is_cut() {
        let mut cut = [0x40, 0, 0, 20, 0, 9, 7, 3, 0x84, 253, 4, 0x86, 6];
        quieten(&mut cut);
        assert_eq!(cut, [0x40, 0, 0, 20, 0, 9, 7, 3, 0x0D, 253, 4, 0x86, 6]);
    }
}
