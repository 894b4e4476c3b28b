//! Bytes of a file, unpacked where they are gzipped; both bounded.

use super::bounds::{MAX_BYTES, too_large};
use crate::error::{Error, Fault, Result};
use flate2::read::MultiGzDecoder;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

pub(super) struct Unpacked {
    pub bytes: Vec<u8>,
    /// The packed file was damaged; `bytes` is what came out before that.
    pub fault: Option<Fault>,
}

/// Reads a whole file, refusing one that is larger than `MAX_BYTES`.
pub(super) fn read_bounded(path: &Path) -> Result<Vec<u8>> {
    let unreadable = |cause: std::io::Error| {
        let fault = match cause.kind() {
            ErrorKind::NotFound => Fault::new("there is no such file", "Check the path."),
            _ => Fault::new(
                format!("it cannot be read ({cause})"),
                "Check that it is a file, and that you may read it.",
            ),
        };
        Error::from(fault.in_file(path))
    };
    let file = File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(MAX_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(too_large().in_file(path).into());
    }
    Ok(bytes)
}

/// What is in the bytes, or the bytes themselves where they are not gzipped.
pub(super) fn unpacked(bytes: Vec<u8>) -> std::result::Result<Unpacked, Fault> {
    Ok(match unpack(&bytes)? {
        Some(unpacked) => unpacked,
        None => Unpacked { bytes, fault: None },
    })
}

/// `None` where the bytes are not gzipped.
fn unpack(bytes: &[u8]) -> std::result::Result<Option<Unpacked>, Fault> {
    unpack_at_most(bytes, MAX_BYTES)
}

fn unpack_at_most(bytes: &[u8], limit: u64) -> std::result::Result<Option<Unpacked>, Fault> {
    if !bytes.starts_with(&[0x1f, 0x8b]) {
        return Ok(None);
    }
    let mut unpacked = Vec::new();
    // read_to_end keeps what it got before an error, which is what a cut file still holds.
    let ended = MultiGzDecoder::new(bytes)
        .take(limit + 1)
        .read_to_end(&mut unpacked);
    if unpacked.len() as u64 > limit {
        return Err(too_large());
    }
    let fault = match ended {
        Ok(_) => None,
        Err(cause) => {
            let fault = Fault::new(
                format!("gzip data are damaged or cut short: {cause}"),
                "Copy the file again from where it came; what could be unpacked is used.",
            );
            if unpacked.is_empty() {
                return Err(fault);
            }
            Some(fault.at(format!("byte {} unpacked", unpacked.len())))
        }
    };
    Ok(Some(Unpacked {
        bytes: unpacked,
        fault,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::{Compression, write::GzEncoder};
    use std::io::Write;

    fn packed(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(bytes).unwrap();
        encoder.finish().unwrap()
    }

    #[test]
    fn plain_bytes_are_left_alone() {
        assert!(unpack(b"time,power").unwrap().is_none());
    }

    #[test]
    fn packed_bytes_come_back() {
        let unpacked = unpack(&packed(b"time,power")).unwrap().unwrap();
        assert_eq!(unpacked.bytes, b"time,power");
        assert_eq!(unpacked.fault, None);
    }

    #[test]
    fn a_file_that_unpacks_beyond_the_bound_is_refused() {
        let bomb = packed(&vec![b'0'; 100_000]);
        assert!(bomb.len() < 1000);
        let fault = unpack_at_most(&bomb, 50_000).err().unwrap();
        assert!(fault.what.contains("larger than 128 MiB"), "{fault}");
        assert!(unpack_at_most(&bomb, 100_000).unwrap().is_some());
    }

    #[test]
    fn a_cut_file_keeps_its_beginning_and_says_so() {
        // Noise, so that the packed form is long and a cut falls inside the data.
        let mut state = 1u32;
        let noise: Vec<u8> = (0..200_000)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 24) as u8
            })
            .collect();
        let whole = packed(&noise);
        let unpacked = unpack(&whole[..whole.len() / 2]).unwrap().unwrap();
        assert!(unpacked.fault.is_some());
        assert!(!unpacked.bytes.is_empty());
        assert!(noise.starts_with(&unpacked.bytes));
    }
}
