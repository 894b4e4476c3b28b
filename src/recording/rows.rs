//! Samples with their extra channels, grown row by row.

use super::bounds::{MAX_EXTRA_VALUES, MAX_SAMPLES, too_many};
use super::{ExtraChannel, Sample};
use crate::error::Fault;
use std::collections::HashMap;

/// Far above what any unit writes; keeps a damaged file from inventing channels without end.
pub(super) const MAX_EXTRA_CHANNELS: usize = 256;

#[derive(Debug, Default)]
pub(super) struct Rows {
    pub samples: Vec<Sample>,
    extra: Vec<ExtraChannel>,
    places: HashMap<String, usize>,
    extra_values: usize,
    full: bool,
}

impl Rows {
    pub(super) fn push(&mut self, sample: Sample) {
        self.full |= self.samples.len() >= MAX_SAMPLES;
        if !self.full {
            self.samples.push(sample);
        }
    }

    /// There is more than is kept: the file is refused, and need not be read further.
    pub(super) fn full(&self) -> bool {
        self.full
    }

    /// Adds a value with no name of ours to the row pushed last.
    pub(super) fn put_extra(&mut self, name: &str, units: &str, value: f64) {
        let Some(row) = self.samples.len().checked_sub(1) else {
            return;
        };
        if !value.is_finite() {
            return;
        }
        let place = match self.places.get(name) {
            Some(&place) => place,
            None if self.extra.len() < MAX_EXTRA_CHANNELS => {
                let place = self.extra.len();
                self.places.insert(name.to_string(), place);
                self.extra.push(ExtraChannel {
                    name: name.to_string(),
                    units: units.to_string(),
                    values: Vec::new(),
                });
                place
            }
            None => return,
        };
        if let Some(channel) = self.extra.get_mut(place) {
            self.extra_values += (row + 1).saturating_sub(channel.values.len());
            self.full |= self.extra_values > MAX_EXTRA_VALUES;
            if self.full {
                return;
            }
            channel.values.resize(row, None);
            channel.values.push(Some(value));
        }
    }

    /// Keeps the rows from `start` on for which `keep` holds; says how many went.
    pub(super) fn retain_from(&mut self, start: usize, keep: impl Fn(&Sample) -> bool) -> usize {
        let kept: Vec<bool> = self
            .samples
            .iter()
            .enumerate()
            .map(|(row, sample)| row < start || keep(sample))
            .collect();
        let before = self.samples.len();
        for channel in &mut self.extra {
            channel.values.resize(before, None);
            let mut flags = kept.iter();
            channel.values.retain(|_| *flags.next().unwrap_or(&true));
        }
        let mut flags = kept.iter();
        self.samples.retain(|_| *flags.next().unwrap_or(&true));
        before - self.samples.len()
    }

    /// The samples and the extra channels, each as long as the samples; a fault where there were more than are kept.
    pub(super) fn finish(mut self) -> Result<(Vec<Sample>, Vec<ExtraChannel>), Fault> {
        let values = self.samples.len().saturating_mul(self.extra.len());
        if self.full || values > MAX_EXTRA_VALUES {
            return Err(too_many());
        }
        for channel in &mut self.extra {
            channel.values.resize(self.samples.len(), None);
        }
        self.extra
            .retain(|channel| channel.values.iter().any(Option::is_some));
        Ok((self.samples, self.extra))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(time_s: f64) -> Sample {
        Sample {
            time_s,
            ..Sample::default()
        }
    }

    #[test]
    fn every_channel_is_as_long_as_the_samples() {
        let mut rows = Rows::default();
        rows.put_extra("too early", "", 1.0);
        rows.push(at(0.0));
        rows.push(at(1.0));
        rows.put_extra("yaw", "deg", 4.0);
        rows.put_extra("yaw", "deg", f64::NAN);
        rows.push(at(2.0));
        let (samples, extra) = rows.finish().unwrap();
        assert_eq!(samples.len(), 3);
        assert_eq!(extra.len(), 1);
        assert_eq!(extra[0].values, [None, Some(4.0), None]);
    }

    #[test]
    fn rows_go_with_their_extra_values() {
        let mut rows = Rows::default();
        for second in 0..4 {
            rows.push(at(f64::from(second)));
            rows.put_extra("number", "", f64::from(second));
        }
        assert_eq!(rows.retain_from(1, |sample| sample.time_s == 3.0), 2);
        let (samples, extra) = rows.finish().unwrap();
        assert_eq!(samples.iter().map(|s| s.time_s).collect::<Vec<_>>(), [0.0, 3.0]);
        assert_eq!(extra[0].values, [Some(0.0), Some(3.0)]);
    }
}
