//! The bytes of a FIT file: header, definition and data messages, checksums (REFERENCES 7.2).

/// Seconds from the Unix epoch to 1989-12-31T00:00:00Z, where FIT time begins.
const FIT_EPOCH_UNIX_S: f64 = 631_065_600.0;
const HEADER_BYTES: u8 = 14;
const PROTOCOL_2_0: u8 = 0x20;
const PROFILE_VERSION: u16 = 21_218;
pub(super) const DEVELOPER_INDEX: u8 = 0;

/// A value as it is stored; `None` becomes the type's "invalid".
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Stored {
    Enum(u8),
    U8(Option<u8>),
    I8(Option<i8>),
    U16(Option<u16>),
    U32(Option<u32>),
    I32(Option<i32>),
    F32(Option<f32>),
    Text(&'static str),
    /// A field that is described in the file itself (developer 0); it stands behind the others.
    Developer(Box<Stored>),
}

impl Stored {
    fn base_type(&self) -> u8 {
        match self {
            Stored::Enum(_) => 0x00,
            Stored::I8(_) => 0x01,
            Stored::U8(_) => 0x02,
            Stored::Text(_) => 0x07,
            Stored::U16(_) => 0x84,
            Stored::I32(_) => 0x85,
            Stored::U32(_) => 0x86,
            Stored::F32(_) => 0x88,
            Stored::Developer(value) => value.base_type(),
        }
    }

    fn is_developer(&self) -> bool {
        matches!(self, Stored::Developer(_))
    }

    fn bytes(&self) -> Vec<u8> {
        match self {
            Stored::Enum(v) => vec![*v],
            Stored::U8(v) => vec![v.unwrap_or(u8::MAX)],
            Stored::I8(v) => v.unwrap_or(i8::MAX).to_le_bytes().to_vec(),
            Stored::U16(v) => v.unwrap_or(u16::MAX).to_le_bytes().to_vec(),
            Stored::U32(v) => v.unwrap_or(u32::MAX).to_le_bytes().to_vec(),
            Stored::I32(v) => v.unwrap_or(i32::MAX).to_le_bytes().to_vec(),
            // All bits set: not a number.
            Stored::F32(v) => v.map_or([0xFF; 4], f32::to_le_bytes).to_vec(),
            Stored::Text(text) => text.bytes().chain([0]).collect(),
            Stored::Developer(value) => value.bytes(),
        }
    }
}

/// A number of the message, and its fields by number.
pub(super) type Message = (u16, Vec<(u8, Stored)>);

/// Unix seconds as FIT stores them.
pub(super) fn stamp(time_s: f64) -> Stored {
    Stored::U32(whole(Some(time_s - FIT_EPOCH_UNIX_S)))
}

/// Rounded to the whole number that is stored; `None` where it does not fit.
pub(super) fn whole<T: TryFrom<i64>>(value: Option<f64>) -> Option<T> {
    let value = value.filter(|v| v.is_finite())?.round();
    T::try_from(value as i64).ok()
}

/// The whole file. Each kind of message keeps a local number; a definition goes before its first message
/// and again where its layout changes.
pub(super) fn file(messages: &[Message]) -> Vec<u8> {
    let mut locals: Vec<(u16, Vec<u8>)> = Vec::new();
    let mut data = Vec::new();
    for (number, fields) in messages {
        let layout = layout(*number, fields);
        let known = locals.iter().position(|(other, _)| other == number);
        let local = known.unwrap_or(locals.len());
        let is_defined = locals.get(local).is_some_and(|(_, old)| *old == layout);
        if !is_defined {
            let developer = fields.iter().any(|(_, value)| value.is_developer());
            let definition = if developer { 0x60 } else { 0x40 };
            data.push(definition | (local as u8 & 0x0F));
            data.extend_from_slice(&layout);
            match locals.get_mut(local) {
                Some(slot) => slot.1 = layout,
                None => locals.push((*number, layout)),
            }
        }
        data.push(local as u8 & 0x0F);
        for (_, value) in fields {
            data.extend(value.bytes());
        }
    }
    let mut bytes = header(data.len());
    bytes.append(&mut data);
    let sum = checksum(&bytes);
    bytes.extend(sum.to_le_bytes());
    bytes
}

fn layout(number: u16, fields: &[(u8, Stored)]) -> Vec<u8> {
    let little_endian = 0;
    let mut layout = vec![0, little_endian];
    layout.extend(number.to_le_bytes());
    let (developer, native): (Vec<_>, Vec<_>) = fields.iter().partition(|(_, value)| value.is_developer());
    layout.push(native.len() as u8);
    for (field, value) in native {
        layout.extend([*field, value.bytes().len() as u8, value.base_type()]);
    }
    if !developer.is_empty() {
        layout.push(developer.len() as u8);
        for (field, value) in developer {
            layout.extend([*field, value.bytes().len() as u8, DEVELOPER_INDEX]);
        }
    }
    layout
}

fn header(data_bytes: usize) -> Vec<u8> {
    let mut header = vec![HEADER_BYTES, PROTOCOL_2_0];
    header.extend(PROFILE_VERSION.to_le_bytes());
    header.extend((data_bytes as u32).to_le_bytes());
    header.extend(b".FIT");
    let sum = checksum(&header);
    header.extend(sum.to_le_bytes());
    header
}

/// CRC-16/ARC, half a byte at a time.
fn checksum(bytes: &[u8]) -> u16 {
    const TABLE: [u16; 16] = [
        0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401, 0xA001, 0x6C00, 0x7800, 0xB401,
        0x5000, 0x9C01, 0x8801, 0x4400,
    ];
    let mut sum = 0u16;
    for &byte in bytes {
        for nibble in [byte & 0x0F, byte >> 4] {
            let index = usize::from((sum & 0x0F) as u8 ^ nibble);
            sum = (sum >> 4) ^ TABLE[index];
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checksum_has_the_known_check_value() {
        assert_eq!(checksum(b"123456789"), 0xBB3D); // CRC-16/ARC check value (REFERENCES 7.2, S/L)
    }

    #[test]
    fn checksum_over_a_file_with_its_checksum_is_zero() {
        let bytes = file(&[(0, vec![(0, Stored::Enum(4))])]);
        assert_eq!(checksum(&bytes), 0);
    }

    #[test]
    fn time_is_counted_from_the_epoch_of_the_format() {
        // REFERENCES 7.2 (S): 1000000000 is 2021-09-08T01:46:40Z.
        assert_eq!(stamp(1_631_065_600.0), Stored::U32(Some(1_000_000_000)));
    }

    #[test]
    fn what_does_not_fit_is_stored_as_missing() {
        assert_eq!(whole::<u16>(Some(70_000.0)), None);
        assert_eq!(whole::<u16>(Some(-1.0)), None);
        assert_eq!(whole::<u16>(Some(f64::NAN)), None);
        assert_eq!(whole::<i8>(Some(-12.6)), Some(-13));
        assert_eq!(Stored::U16(None).bytes(), [0xFF, 0xFF]);
        assert_eq!(Stored::I8(None).bytes(), [0x7F]);
    }
}
