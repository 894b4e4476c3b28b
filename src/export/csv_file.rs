//! A table as CSV (RFC 4180): UTF-8, a header, an empty cell where there is no value.

use super::{Table, Values};
use crate::error::{Fault, Result};

pub(super) fn bytes(table: &Table) -> Result<Vec<u8>> {
    let written = || -> std::result::Result<Vec<u8>, csv::Error> {
        let mut out = csv::WriterBuilder::new()
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(Vec::new());
        out.write_record(table.columns.iter().map(|column| column.name))?;
        for row in 0..table.rows() {
            out.write_record(table.columns.iter().map(|column| cell(&column.values, row)))?;
        }
        out.into_inner().map_err(|error| error.into_error().into())
    };
    written().map_err(|error| {
        Fault::new(
            format!("the table '{}' cannot be written as CSV ({error})", table.name),
            "Please report it.",
        )
        .into()
    })
}

/// Numbers in the fewest digits that are read as the same number.
fn cell(values: &Values, row: usize) -> String {
    match values {
        Values::Text(values) => values[row].clone(),
        Values::Number(values) => values[row].map(|value| value.to_string()),
        Values::Count(values) => values[row].map(|value| value.to_string()),
        Values::Flag(values) => values[row].map(|value| value.to_string()),
    }
    .unwrap_or_default()
}
