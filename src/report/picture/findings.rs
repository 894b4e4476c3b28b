//! Every pair of set-ups on one axis: the difference, its interval, and what would be too small to matter.

use super::rows::{Mark, Row, Rows};
use super::{Picture, WIDTH};
use crate::report::terminal::letter;
use crate::report::words::{signed, signed_range};
use crate::study::Compared;
use crate::verdict::About;

/// `None` where nothing is compared.
pub fn findings(compared: &Compared) -> Option<Picture> {
    let all = &compared.findings;
    let first = all.first()?;
    let small = compared.surveyed.test_day.smallest_difference_percent;
    let rows: Vec<Row> = all
        .iter()
        .map(|finding| {
            let percent = finding.tested_percent();
            let range = percent
                .interval_90
                .map_or("no interval".to_string(), |ends| signed_range(ends, 1));
            Row {
                name: format!("{} to {}", letter(finding.baseline), letter(finding.setup)),
                said: format!("{} % ({range})", signed(percent.value, 1)),
                mark: Mark::Dot {
                    setup: finding.setup,
                    value: percent.value,
                    ends: percent.interval_90,
                },
            }
        })
        .collect();
    let said: Vec<String> = rows
        .iter()
        .map(|row| format!("{}: {}", row.name, row.said))
        .collect();
    let drag = first.about == About::Drag;
    let rows = Rows {
        rows,
        band: Some([-small, small]),
        zero: true,
        sides: Some(if drag {
            ["less drag", "more drag"]
        } else {
            ["less resistance", "more resistance"]
        }),
        unit: "change, %",
    };
    Some(Picture {
        id: "picture-differences".into(),
        title: "Differences between set-ups, with 90 % intervals".into(),
        told: format!(
            "{}. Shaded: from −{small} to +{small} %, too small to matter to the rider.",
            said.join("; ")
        ),
        width: WIDTH,
        height: rows.height(),
        body: rows.draw(),
    })
}
