//! Ways in which a file is spoilt. The same seed spoils in the same way.

use rand::{Rng, RngCore};
use rand_chacha::ChaCha8Rng;

/// Numbers and words that mean trouble where a number or a time stands.
const WORDS: [&str; 20] = [
    "NaN",
    "-nan",
    "inf",
    "-Infinity",
    "1e309",
    "-1e308",
    "4294967296",
    "-2147483649",
    "18446744073709551616",
    "0",
    "-0",
    "",
    "1989-12-31T00:00:00Z",
    "2106-02-07T06:28:16Z",
    "9999-12-31T23:59:59Z",
    "-000001-01-01T00:00:00Z",
    "1e-320",
    "\u{0}",
    "\u{feff}",
    "é\u{202e}",
];

/// Spoils `bytes` by one to four changes; `other` is what is spliced in.
pub fn spoilt(bytes: &[u8], other: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..random.random_range(1..=4) {
        change(&mut out, other, random);
    }
    out
}

fn change(out: &mut Vec<u8>, other: &[u8], random: &mut ChaCha8Rng) {
    if out.is_empty() {
        out.extend(other);
        return;
    }
    match random.random_range(0..10) {
        0 => {
            let at = random.random_range(0..out.len());
            out[at] ^= 1 << random.random_range(0..8);
        }
        1 => {
            let at = random.random_range(0..out.len());
            out[at] = random.random();
        }
        2 => out.truncate(random.random_range(0..out.len())),
        3 => {
            let part = stretch(out.len(), 200, random);
            out.drain(part);
        }
        4 => {
            let part = stretch(out.len(), 400, random);
            let copy = out[part.clone()].to_vec();
            let at = random.random_range(0..=out.len());
            out.splice(at..at, copy);
        }
        5 => {
            let part = stretch(other.len(), 400, random);
            let at = random.random_range(0..=out.len());
            out.splice(at..at, other[part].to_vec());
        }
        6 => {
            let part = stretch(out.len(), 64, random);
            random.fill_bytes(&mut out[part]);
        }
        // Four bytes that say how long something is.
        7 => {
            let at = random.random_range(0..out.len());
            let size: [u8; 4] =
                [[0xFF; 4], [0; 4], [0xFF, 0xFF, 0xFF, 0x7F], [0, 0, 0, 0x80]][random.random_range(0..4)];
            for (place, byte) in out[at..].iter_mut().zip(size) {
                *place = byte;
            }
        }
        8 => {
            let (from, to) = (stretch(out.len(), 300, random), random.random_range(0..out.len()));
            let part: Vec<u8> = out.drain(from).collect();
            let to = to.min(out.len());
            out.splice(to..to, part);
        }
        _ => word(out, random),
    }
}

/// A run of digits, or what stands at any place, gives way to a word.
fn word(out: &mut Vec<u8>, random: &mut ChaCha8Rng) {
    let from = random.random_range(0..out.len());
    let is_part = |byte: &u8| byte.is_ascii_digit() || b".-:TZ".contains(byte);
    let start = out[from..]
        .iter()
        .position(u8::is_ascii_digit)
        .map_or(from, |after| from + after);
    let length = out[start..].iter().take_while(|byte| is_part(byte)).count();
    let word = WORDS[random.random_range(0..WORDS.len())];
    out.splice(start..start + length, word.bytes());
}

/// At most `longest` places somewhere among `count`.
fn stretch(count: usize, longest: usize, random: &mut ChaCha8Rng) -> std::ops::Range<usize> {
    if count == 0 {
        return 0..0;
    }
    let start = random.random_range(0..count);
    let length = random.random_range(1..=longest);
    start..(start + length).min(count)
}
