//! The header line → what each column is.

use crate::error::Fault;
use crate::recording::fields::{self, Conversion, Header, Known, Quantity};

pub(super) struct Columns {
    pub separator: u8,
    pub decimal_comma: bool,
    pub list: Vec<Column>,
    pub faults: Vec<Fault>,
}

pub(super) struct Column {
    pub index: usize,
    /// As the header has it.
    pub name: String,
    pub role: Role,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    /// A time, or seconds since the start.
    Moment(Moment),
    /// A date beside a column of clock times.
    Day,
    Value(Known, Conversion),
    Extra {
        units: String,
    },
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    /// The header says "elapsed", so it cannot be a date.
    pub elapsed: bool,
    pub rank: u8,
    /// Seconds in one unit of a number, where the header says so.
    pub unit_s: Option<f64>,
}

impl Columns {
    pub(super) fn read(line: &str) -> Columns {
        let separator = separator(line);
        let mut table = csv::ReaderBuilder::new();
        table.delimiter(separator).has_headers(false).flexible(true);
        let record = table
            .from_reader(line.as_bytes())
            .records()
            .next()
            .and_then(std::result::Result::ok);
        let mut columns = Columns {
            separator,
            // Where the comma does not separate, it may be a decimal comma.
            decimal_comma: separator != b',',
            list: Vec::new(),
            faults: Vec::new(),
        };
        for (index, name) in record.unwrap_or_default().iter().enumerate() {
            columns.add(index, name.trim());
        }
        columns.settle_duplicates();
        columns
    }

    pub(super) fn has_time(&self) -> bool {
        self.list
            .iter()
            .any(|column| matches!(column.role, Role::Moment(_)))
    }

    fn add(&mut self, index: usize, name: &str) {
        let extra = |units: String| Role::Extra { units };
        let role = match fields::header(name) {
            Header::Known {
                known,
                conversion,
                unit_written,
            } => match known.quantity {
                Quantity::Time | Quantity::Elapsed => Role::Moment(Moment {
                    elapsed: known.quantity == Quantity::Elapsed,
                    rank: known.rank,
                    unit_s: unit_written.then_some(conversion.factor),
                }),
                _ => {
                    if !unit_written && known.quantity == Quantity::Speed {
                        self.fault(
                            format!("column '{name}' gives no unit; it is read as m/s"),
                            "speed (km/h)",
                        );
                    }
                    Role::Value(known, conversion)
                }
            },
            Header::StrangeUnit { unit, .. } => {
                self.fault(
                    format!("column '{name}': the unit '{unit}' is not understood"),
                    "speed (km/h)",
                );
                extra(unit)
            }
            Header::Unknown { .. } if name.eq_ignore_ascii_case("date") => Role::Day,
            Header::Unknown { unit, .. } => extra(unit),
        };
        let name = if name.is_empty() {
            format!("column {}", index + 1)
        } else {
            name.to_string()
        };
        self.list.push(Column { index, name, role });
    }

    fn fault(&mut self, what: String, example: &str) {
        let next_step = format!("Write the unit into the header, as in '{example}', if that is wrong.");
        self.faults.push(Fault::new(what, next_step).at("header"));
    }

    /// Two columns for one quantity: the one of higher rank, else the first, is it; the other is kept as it is.
    fn settle_duplicates(&mut self) {
        let mut best: Vec<(Quantity, u8, usize)> = Vec::new();
        for (place, column) in self.list.iter().enumerate() {
            let Role::Value(known, _) = &column.role else {
                continue;
            };
            match best
                .iter_mut()
                .find(|(quantity, _, _)| *quantity == known.quantity)
            {
                Some(entry) if known.rank > entry.1 => *entry = (known.quantity, known.rank, place),
                Some(_) => {}
                None => best.push((known.quantity, known.rank, place)),
            }
        }
        for (place, column) in self.list.iter_mut().enumerate() {
            if matches!(column.role, Role::Value(..)) && !best.iter().any(|(_, _, kept)| *kept == place) {
                column.role = Role::Extra { units: String::new() };
            }
        }
    }
}

fn separator(line: &str) -> u8 {
    let count = |separator: u8| {
        let mut quoted = false;
        let outside = line.bytes().filter(|&byte| {
            quoted ^= byte == b'"';
            byte == separator && !quoted
        });
        outside.count()
    };
    // Of equal counts the last wins: the comma, which is the usual one.
    [b'\t', b';', b',']
        .into_iter()
        .max_by_key(|&separator| count(separator))
        .unwrap_or(b',')
}

pub(super) fn understood() -> String {
    "Name the columns in the first line: time (ISO 8601, unix seconds, or elapsed seconds), latitude, longitude, \
     altitude, distance, speed, power, cadence, heart rate, temperature, pressure; units in brackets, as in \
     'speed (km/h)'; separated by comma, semicolon or tab."
        .to_string()
}
