//! Bytes → text, and the two things every text format needs: numbers and times.

use super::bounds::{MAX_REWORKED_BYTES, too_large_because};
use crate::error::Fault;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use std::borrow::Cow;

/// UTF-8 (with or without its mark), UTF-16 with its mark, else Latin-1: in every encoding met so far the
/// characters that matter to us, digits and names of fields, come out right.
///
/// # Errors
/// It is not UTF-8, and too large to be put into it.
pub(super) fn decoded(mut bytes: Vec<u8>) -> Result<String, Fault> {
    if bytes.starts_with(&[0xef, 0xbb, 0xbf]) {
        bytes.drain(..3);
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(text),
        Err(other) if other.as_bytes().len() > MAX_REWORKED_BYTES => {
            Err(too_large_because("is not UTF-8 text"))
        }
        Err(other) => Ok(decode(other.as_bytes()).into_owned()),
    }
}

/// As [`decoded`], of a piece.
pub(super) fn decode(bytes: &[u8]) -> Cow<'_, str> {
    let utf16 = |rest: &[u8], pair: fn([u8; 2]) -> u16| -> String {
        let units = rest
            .chunks_exact(2)
            .filter_map(|two| <[u8; 2]>::try_from(two).ok().map(pair));
        char::decode_utf16(units)
            .map(|unit| unit.unwrap_or(char::REPLACEMENT_CHARACTER))
            .collect()
    };
    if let Some(rest) = bytes.strip_prefix(&[0xff, 0xfe]) {
        return Cow::Owned(utf16(rest, u16::from_le_bytes));
    }
    if let Some(rest) = bytes.strip_prefix(&[0xfe, 0xff]) {
        return Cow::Owned(utf16(rest, u16::from_be_bytes));
    }
    let rest = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(bytes);
    match std::str::from_utf8(rest) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(rest.iter().map(|&byte| char::from(byte)).collect()),
    }
}

/// A finite number, or nothing.
pub(super) fn number(text: &str) -> Option<f64> {
    text.trim().parse::<f64>().ok().filter(|value| value.is_finite())
}

/// ISO 8601 date and time → unix seconds. Without an offset it is UTC.
pub(super) fn time_s(text: &str) -> Option<f64> {
    let text = text.trim();
    let stamp = match text.parse::<Timestamp>() {
        Ok(stamp) => stamp,
        Err(_) => {
            let civil = text
                .trim_end_matches(['Z', 'z'])
                .trim_end()
                .parse::<DateTime>()
                .ok()?;
            TimeZone::UTC.to_timestamp(civil).ok()?
        }
    };
    // A bare date is midnight to the parser; a sample needs its time of day.
    text.contains(':')
        .then(|| stamp.as_second() as f64 + f64::from(stamp.subsec_nanosecond()) * 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_in_the_forms_that_files_use() {
        // 1 000 000 000 s is 2001-09-09T01:46:40Z: POSIX, a known second.
        for text in [
            "2001-09-09T01:46:40Z",
            "2001-09-09T01:46:40.000Z",
            "2001-09-09T01:46:40",
            "2001-09-09 01:46:40",
            "2001-09-09 01:46:40Z",
            "2001-09-09T03:46:40+02:00",
            "2001-09-08T18:46:40-0700",
            " 2001-09-09t01:46:40z ",
        ] {
            assert_eq!(time_s(text), Some(1e9), "{text}");
        }
        assert_eq!(time_s("2001-09-09T01:46:40.25Z"), Some(1e9 + 0.25));
        assert_eq!(time_s("1969-12-31T23:59:59.5Z"), Some(-0.5));
        for text in ["", "2001-09-09", "01:46:40", "yesterday", "1000000000"] {
            assert_eq!(time_s(text), None, "{text}");
        }
    }

    #[test]
    fn text_in_the_encodings_that_files_use() {
        assert_eq!(decode(b"\xef\xbb\xbftime"), "time");
        assert_eq!(decode("é".as_bytes()), "é");
        assert_eq!(decode(b"\xe9"), "é");
        assert_eq!(decode(b"\xff\xfet\0;\0"), "t;");
        assert_eq!(decode(b"\xfe\xff\0t\0;"), "t;");
    }

    #[test]
    fn what_is_not_a_finite_number_is_missing() {
        assert_eq!(number(" 12.5 "), Some(12.5));
        for text in ["NaN", "inf", "", "12,5", "--"] {
            assert_eq!(number(text), None, "{text}");
        }
    }
}
