//! Writes small FIT files for tests.

use super::fit_stream::crc16;

#[derive(Clone, Copy)]
pub(super) enum Kind {
    Enum = 0x00,
    U8 = 0x02,
    U16 = 0x84,
    S32 = 0x85,
    U32 = 0x86,
    Byte = 0x0D,
}

/// (field number, size, base type)
type Field = (u8, u8, Kind);

pub(super) struct FitWriter {
    big_endian: bool,
    fields: [Vec<Field>; 16],
    body: Vec<u8>,
}

impl FitWriter {
    pub(super) fn new(big_endian: bool) -> Self {
        FitWriter {
            big_endian,
            fields: Default::default(),
            body: Vec::new(),
        }
    }

    pub(super) fn define(&mut self, local: u8, global: u16, fields: &[Field]) {
        self.define_with_developer(local, global, fields, &[]);
    }

    /// `developer`: (field number, size, developer's index).
    pub(super) fn define_with_developer(
        &mut self,
        local: u8,
        global: u16,
        fields: &[Field],
        developer: &[(u8, u8, u8)],
    ) {
        let flag = if developer.is_empty() { 0x40 } else { 0x60 };
        self.body.extend([flag | local, 0, u8::from(self.big_endian)]);
        self.body.extend(if self.big_endian {
            global.to_be_bytes()
        } else {
            global.to_le_bytes()
        });
        self.body.push(fields.len() as u8);
        for (number, size, kind) in fields {
            self.body.extend([*number, *size, *kind as u8]);
        }
        if !developer.is_empty() {
            self.body.push(developer.len() as u8);
            for (number, size, index) in developer {
                self.body.extend([*number, *size, *index]);
            }
        }
        self.fields[usize::from(local)] = fields.to_vec();
    }

    /// One message; values in the order of its fields.
    pub(super) fn data(&mut self, local: u8, values: &[i64]) {
        let fields = self.fields[usize::from(local)].clone();
        assert_eq!(fields.len(), values.len());
        self.body.push(local);
        for ((_, size, _), value) in fields.iter().zip(values) {
            let size = usize::from(*size);
            match self.big_endian {
                true => self.body.extend(&value.to_be_bytes()[8 - size..]),
                false => self.body.extend(&value.to_le_bytes()[..size]),
            }
        }
    }

    pub(super) fn data_bytes(&mut self, local: u8, bytes: &[u8]) {
        self.body.push(local);
        self.body.extend(bytes);
    }

    /// A field_description message; uses local type 15.
    pub(super) fn developer_field(&mut self, index: u8, number: u8, base: u8, name: &str, units: &str) {
        let (name_size, units_size) = (name.len() as u8 + 1, units.len() as u8 + 1);
        self.body.extend([0x4F, 0, 0, 206, 0, 5]);
        self.body
            .extend([0, 1, 2, 1, 1, 2, 2, 1, 2, 3, name_size, 7, 8, units_size, 7]);
        self.body.extend([0x0F, index, number, base]);
        for text in [name, units] {
            self.body.extend(text.bytes());
            self.body.push(0);
        }
    }

    pub(super) fn finish(&self) -> Vec<u8> {
        with_frame(&self.body)
    }
}

/// Header before, checksum behind.
pub(super) fn with_frame(body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![14, 0x20, 0x40, 0x08];
    bytes.extend((body.len() as u32).to_le_bytes());
    bytes.extend(b".FIT");
    let header = crc16(&bytes);
    bytes.extend(header.to_le_bytes());
    bytes.extend(body);
    let all = crc16(&bytes);
    bytes.extend(all.to_le_bytes());
    bytes
}
