//! Values → places on an axis, and where its ticks stand.

use crate::report::words::signed;

/// A value from `low` to `high` lies between `from` and `to`, in tenths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    from: i32,
    to: i32,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub at: i32,
    pub text: String,
}

impl Scale {
    /// Holds all of these that are finite, with a margin of this share on both sides.
    pub fn holding(values: impl IntoIterator<Item = f64>, margin: f64, [from, to]: [i32; 2]) -> Scale {
        let (mut low, mut high) = values
            .into_iter()
            .filter(|value| value.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        // A single value still needs a width to stand in the middle of.
        if high - low <= 1e-9 * (1.0 + high.abs()) {
            let aside = (0.1 * high.abs()).max(5e-4);
            (low, high) = (low - aside, high + aside);
        }
        let span = high - low;
        Scale {
            low: low - margin * span,
            high: high + margin * span,
            from,
            to,
        }
    }

    pub fn at(&self, value: f64) -> i32 {
        let share = ((value - self.low) / (self.high - self.low)).clamp(-0.5, 1.5);
        self.from + (share * f64::from(self.to - self.from)).round() as i32
    }

    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// At round values, `most` of them at most. `sign`: positive ones have one too.
    pub fn ticks(&self, most: usize, sign: bool) -> Vec<Tick> {
        let step = round_step((self.high - self.low) / most.max(1) as f64);
        let decimals = (-step.log10().floor()).max(0.0) as usize;
        let first = (self.low / step).ceil() as i64;
        let last = (self.high / step).floor() as i64;
        (first..=last)
            .map(|count| {
                let value = count as f64 * step;
                let text = signed(value, decimals);
                Tick {
                    at: self.at(value),
                    text: if sign {
                        text
                    } else {
                        text.trim_start_matches('+').to_string()
                    },
                }
            })
            .collect()
    }
}

/// The smallest of 1, 2 and 5 times a power of ten that is not below.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|times| times * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(low: f64, high: f64) -> Vec<String> {
        let scale = Scale::holding([low, high], 0.0, [0, 1000]);
        scale.ticks(5, true).into_iter().map(|tick| tick.text).collect()
    }

    #[test]
    fn ticks_are_round_and_stand_where_their_value_lies() {
        assert_eq!(texts(-9.0, 4.0), ["−5", "0"]);
        assert_eq!(texts(0.29, 0.33), ["+0.29", "+0.30", "+0.31", "+0.32", "+0.33"]);
        assert_eq!(
            texts(-0.004, 0.001),
            ["−0.004", "−0.003", "−0.002", "−0.001", "0.000", "+0.001"]
        );
        let scale = Scale::holding([0.0, 10.0], 0.0, [100, 1100]);
        let ticks = scale.ticks(5, false);
        assert_eq!(
            ticks[1],
            Tick {
                at: 300,
                text: "2".into()
            }
        );
        assert_eq!(scale.at(5.0), 600);
    }

    #[test]
    fn one_value_nothing_and_no_numbers_still_make_a_scale() {
        assert_eq!(Scale::holding([5.0], 0.0, [0, 100]).at(5.0), 50);
        assert_eq!(Scale::holding([f64::NAN, 1.0, 3.0], 0.0, [0, 100]).at(2.0), 50);
        assert!(Scale::holding([], 0.0, [0, 100]).ticks(4, false).len() > 2);
    }
}
