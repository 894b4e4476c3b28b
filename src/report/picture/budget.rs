//! What is uncertain, and how far each of it moves the answer.

use super::rows::{Mark, Row, Rows};
use super::{Picture, WIDTH};
use crate::report::terminal::{letter, named, weightiest};
use crate::study::Compared;

/// What is smaller hardly shows beside these.
const MOST: usize = 10;

/// Of the first change, in per cent; of drag area where nothing is compared. `None` without a budget.
pub fn budget(compared: &Compared) -> Option<Picture> {
    let first = compared.findings.first();
    let lines = weightiest(compared);
    let rows: Vec<Row> = lines
        .into_iter()
        .take(MOST)
        .map(|(line, size)| {
            let (value, said) = match first {
                Some(_) => (100.0 * size, format!("{:.2} %", 100.0 * size)),
                None => (size, format!("{size:.4} m²")),
            };
            Row {
                name: named(line, compared),
                said,
                mark: Mark::Bar { value, sum: false },
            }
        })
        .collect();
    let told: Vec<String> = rows
        .iter()
        .map(|row| format!("{} {}", row.name, row.said))
        .collect();
    let what = first.map_or("drag area".to_string(), |f| {
        format!(
            "the change of drag area from {} to {}",
            letter(f.baseline),
            letter(f.setup)
        )
    });
    let rows = Rows {
        rows,
        unit: if first.is_some() {
            "moves the change by, %"
        } else {
            "moves CdA by, m²"
        },
        ..Rows::default()
    };
    (!rows.rows.is_empty()).then(|| Picture {
        id: "picture-budget".into(),
        title: format!("How far each uncertain input moves {what}"),
        told: format!("{}.", told.join("; ")),
        width: WIDTH,
        height: rows.height(),
        body: rows.draw(),
    })
}
