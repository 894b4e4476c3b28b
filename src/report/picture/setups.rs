//! Drag area of every set-up with its interval.

use super::rows::{Mark, Row, Rows};
use super::{Picture, WIDTH};
use crate::report::terminal::letter;
use crate::study::Compared;

/// `None` where no set-up has one.
pub fn setups(compared: &Compared) -> Option<Picture> {
    let several = compared.setups.len() > 1;
    let rows: Vec<Row> = compared
        .setups
        .iter()
        .enumerate()
        .filter_map(|(index, setup)| {
            let (cda_m2, _, ends) = setup.cda_m2?;
            let name = match several {
                true => format!("{}: {}", letter(index), setup.name),
                false => setup.name.clone(),
            };
            Some(Row {
                name,
                said: format!("{cda_m2:.3} m² ({:.3} to {:.3})", ends[0], ends[1]),
                mark: Mark::Dot {
                    setup: index,
                    value: cda_m2,
                    ends: Some(ends),
                },
            })
        })
        .collect();
    let told: Vec<String> = rows
        .iter()
        .map(|row| format!("{}, {}", row.name, row.said))
        .collect();
    let rows = Rows {
        rows,
        unit: "drag area CdA, m²",
        ..Rows::default()
    };
    (!rows.rows.is_empty()).then(|| Picture {
        id: "picture-set-ups".into(),
        title: "Drag area of each set-up, with 90 % intervals".into(),
        told: format!("{}.", told.join("; ")),
        width: WIDTH,
        height: rows.height(),
        body: rows.draw(),
    })
}
