//! Which columns give the time of a row, and in what form.

use super::columns::{Columns, Moment, Role};
use super::number;
use crate::error::Fault;
use crate::recording::text;

/// Unix seconds since 1973; a ride's elapsed seconds stay far below, a date's milliseconds far above.
const FIRST_UNIX_S: f64 = 1e8;
const FIRST_UNIX_MS: f64 = 1e11;

/// How the rows' times are to be read, settled once for the whole file.
pub(super) struct Times {
    index: usize,
    day: Option<usize>,
    form: Form,
    decimal_comma: bool,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Form {
    /// ISO 8601.
    Iso,
    /// A number, times this many seconds: since 1970 or since the start.
    Number(f64),
    /// h:mm:ss since the start.
    Clock,
    /// h:mm:ss of the day in the date column.
    ClockOfDay,
}

impl Times {
    /// Takes the first column that has a date in it, else the first that has elapsed time.
    /// `records` starts again from the first row at each call.
    pub(super) fn settle<R: Iterator<Item = csv::StringRecord>>(
        columns: &Columns,
        records: impl Fn() -> R,
        faults: &mut Vec<Fault>,
    ) -> std::result::Result<Times, Fault> {
        let day = columns
            .list
            .iter()
            .find(|column| column.role == Role::Day)
            .map(|column| column.index);
        let mut candidates: Vec<(usize, Moment)> = Vec::new();
        for column in &columns.list {
            if let Role::Moment(moment) = column.role {
                candidates.push((column.index, moment));
            }
        }
        candidates.sort_by_key(|(_, moment)| (moment.elapsed, std::cmp::Reverse(moment.rank)));
        let mut dateless = None;
        for (index, moment) in candidates {
            let Some((form, dated)) = first_form(records(), index, day, moment, columns.decimal_comma) else {
                continue;
            };
            let day = day.filter(|_| form == Form::ClockOfDay);
            let times = Times {
                index,
                day,
                form,
                decimal_comma: columns.decimal_comma,
            };
            if dated {
                return Ok(times);
            }
            dateless.get_or_insert(times);
        }
        let Some(times) = dateless else {
            let what = "holds no samples: no row below its header has a usable time";
            return Err(Fault::new(what, super::columns::understood()));
        };
        let what =
            "no date: the times are only seconds since the start, and are counted from 1970-01-01T00:00:00Z";
        faults.push(Fault::new(
            what,
            "Add a column with date and time where the weather at that time matters.",
        ));
        Ok(times)
    }

    /// Unix seconds of a row.
    pub(super) fn of(&self, record: &csv::StringRecord) -> Option<f64> {
        let cell = record.get(self.index)?.trim();
        let time_s = match self.form {
            Form::Iso => text::time_s(cell),
            Form::Number(unit_s) => number(cell, self.decimal_comma).map(|value| value * unit_s),
            Form::Clock => clock_s(cell, self.decimal_comma),
            Form::ClockOfDay => text::time_s(&format!("{}T{cell}", record.get(self.day?)?.trim())),
        };
        time_s.filter(|time_s| time_s.is_finite())
    }

    /// What stands in a row's time, for a message.
    pub(super) fn cell(&self, record: &csv::StringRecord) -> String {
        super::short(record.get(self.index).unwrap_or("").trim())
    }
}

/// The form of the first time that can be read at all, and whether it has a date.
fn first_form(
    mut records: impl Iterator<Item = csv::StringRecord>,
    index: usize,
    day: Option<usize>,
    moment: Moment,
    comma: bool,
) -> Option<(Form, bool)> {
    records.find_map(|record| {
        let cell = record.get(index)?.trim();
        if !moment.elapsed && text::time_s(cell).is_some() {
            return Some((Form::Iso, true));
        }
        if let Some(value) = number(cell, comma) {
            return Some(match moment.unit_s {
                Some(unit_s) => (Form::Number(unit_s), value * unit_s >= FIRST_UNIX_S),
                None if value >= FIRST_UNIX_MS => (Form::Number(1e-3), true),
                None => (Form::Number(1.0), value >= FIRST_UNIX_S),
            });
        }
        clock_s(cell, comma)?;
        let of_day = day
            .and_then(|day| record.get(day))
            .map(|date| format!("{}T{cell}", date.trim()));
        match of_day.and_then(|both| text::time_s(&both)) {
            Some(_) if !moment.elapsed => Some((Form::ClockOfDay, true)),
            _ => Some((Form::Clock, false)),
        }
    })
}

/// "1:02:03.5" or "02:03" in seconds.
fn clock_s(cell: &str, comma: bool) -> Option<f64> {
    let parts: Vec<&str> = cell.split(':').collect();
    let (seconds, whole) = parts.split_last()?;
    if whole.is_empty() || whole.len() > 2 {
        return None;
    }
    let minutes = whole.iter().try_fold(0.0, |sum, part| {
        Some(sum * 60.0 + f64::from(part.parse::<u16>().ok()?))
    })?;
    let seconds = number(seconds, comma).filter(|seconds| (0.0..60.0).contains(seconds))?;
    Some(minutes * 60.0 + seconds)
}
