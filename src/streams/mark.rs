//! Lists of marked samples → entries a person can read.

use super::Repair;
use crate::units::clock_text;

/// Marked samples nearer than this are told as one happening, so that a bad minute is one line, not sixty.
const TOGETHER_S: f64 = 30.0;

/// Marked samples that belong together.
pub(super) struct Span {
    pub start_s: f64,
    pub end_s: f64,
    pub samples: usize,
}

impl Span {
    /// "at 08:10:00 UTC" or "between 08:10:00 and 08:10:05 UTC".
    pub fn when(&self) -> String {
        let (start, end) = (clock_text(self.start_s), clock_text(self.end_s));
        if start == end {
            format!("at {start} UTC")
        } else {
            format!("between {start} and {end} UTC")
        }
    }

    /// "1 power reading", "3 power readings".
    pub fn count(&self, one: &str) -> String {
        count(self.samples, one)
    }
}

pub(super) fn count(number: usize, one: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {one}{plural}")
}

/// Groups ascending sample indices into spans.
pub(super) fn spans(time_s: &[f64], marked: &[usize]) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::new();
    for &index in marked {
        let Some(&at) = time_s.get(index) else {
            continue;
        };
        match out.last_mut() {
            Some(last) if at - last.end_s <= TOGETHER_S => {
                last.end_s = at;
                last.samples += 1;
            }
            _ => out.push(Span {
                start_s: at,
                end_s: at,
                samples: 1,
            }),
        }
    }
    out
}

/// Takes the marked values out (NaN) and lists each group of them.
pub(super) fn take_out(
    channel: &mut [f64],
    time_s: &[f64],
    marked: &[usize],
    kind: &'static str,
    repairs: &mut Vec<Repair>,
    say: impl Fn(&Span) -> String,
) {
    for &index in marked {
        if let Some(value) = channel.get_mut(index) {
            *value = f64::NAN;
        }
    }
    list(time_s, marked, kind, repairs, say);
}

/// Lists each group of marked samples without touching a value.
pub(super) fn list(
    time_s: &[f64],
    marked: &[usize],
    kind: &'static str,
    repairs: &mut Vec<Repair>,
    say: impl Fn(&Span) -> String,
) {
    repairs.extend(spans(time_s, marked).iter().map(|span| Repair {
        kind,
        start_s: span.start_s,
        end_s: span.end_s,
        samples: span.samples,
        message: say(span),
    }));
}

/// Half-open index ranges over which `same(i, i + 1)` holds, for ranges of at least `shortest` samples.
pub(super) fn runs(
    length: usize,
    shortest: usize,
    same: impl Fn(usize, usize) -> bool,
) -> Vec<std::ops::Range<usize>> {
    let mut out = Vec::new();
    let mut start = 0;
    for next in 1..=length {
        if next == length || !same(next - 1, next) {
            if next - start >= shortest {
                out.push(start..next);
            }
            start = next;
        }
    }
    out
}

/// Samples of a short excursion: the channel leaves by a jump and within `longest` samples is back where
/// a jump is not needed. `jump(a, b)`: going from sample a to sample b is impossible.
/// A step that stays is left alone: there is no telling which side is right.
pub(super) fn excursions(
    length: usize,
    longest: usize,
    valid: impl Fn(usize) -> bool,
    jump: impl Fn(usize, usize) -> bool,
) -> Vec<usize> {
    let present: Vec<usize> = (0..length).filter(|&index| valid(index)).collect();
    let mut marked = Vec::new();
    let mut good = 0;
    let mut next = 1;
    while let (Some(&before), Some(&here)) = (present.get(good), present.get(next)) {
        let mut back = next;
        if jump(before, here) {
            let returned = (next + 1..=next + longest)
                .find(|&later| present.get(later).is_some_and(|&index| !jump(before, index)));
            if let Some(later) = returned {
                marked.extend(present.get(next..later).unwrap_or_default());
                back = later;
            }
        }
        good = back;
        next = back + 1;
    }
    marked
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_near_each_other_are_one_span_and_far_ones_are_two() {
        let time: Vec<f64> = (0..200).map(f64::from).collect();
        let spans = spans(&time, &[3, 4, 30, 100]);
        let seen: Vec<_> = spans.iter().map(|s| (s.start_s, s.end_s, s.samples)).collect();
        assert_eq!(seen, [(3.0, 30.0, 3), (100.0, 100.0, 1)]);
    }

    #[test]
    fn an_excursion_comes_back_and_a_step_does_not() {
        let values: [f64; 10] = [0.0, 1.0, 90.0, 91.0, 2.0, 3.0, 80.0, 80.0, 80.0, 80.0];
        let jump = |a: usize, b: usize| (values[a] - values[b]).abs() > 30.0;
        assert_eq!(excursions(values.len(), 2, |_| true, jump), [2, 3]);
    }

    #[test]
    fn runs_end_where_neighbours_differ() {
        let values = [1, 1, 1, 2, 3, 3];
        let found = runs(values.len(), 2, |a, b| values[a] == values[b]);
        assert_eq!(found, [0..3, 4..6]);
        assert!(runs(0, 1, |_, _| true).is_empty());
    }
}
