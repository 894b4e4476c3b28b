//! Tables for a terminal, and the list of a recording's channels.

use crate::recording::{Recording, Sample};
use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, ContentArrangement, Table};

/// Columns to the right where they hold numbers. No frame: a rule under the header is enough.
pub fn table(header: &[&str], left: &[usize], rows: Vec<Vec<String>>, width: usize) -> String {
    let mut table = Table::new();
    table.load_style(NOTHING);
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(u16::try_from(width).unwrap_or(80));
    table.set_header(header.to_vec());
    table.add_rows(rows);
    for index in 0..header.len() {
        if let Some(column) = table.column_mut(index) {
            let side = if left.contains(&index) {
                CellAlignment::Left
            } else {
                CellAlignment::Right
            };
            column.set_cell_alignment(side);
            column.set_padding((0, 2));
        }
    }
    table
        .lines()
        .map(|line| line.trim_end().to_string())
        .collect::<Vec<_>>()
        .join("\n")
}

type Channel = (&'static str, &'static str, fn(&Sample) -> bool);

const CHANNELS: [Channel; 10] = [
    ("position", "deg", |s| {
        s.latitude_deg.is_some() && s.longitude_deg.is_some()
    }),
    ("altitude", "m", |s| s.altitude_m.is_some()),
    ("speed", "m/s", |s| s.speed_m_s.is_some()),
    ("distance", "m", |s| s.distance_m.is_some()),
    ("power", "W", |s| s.power_w.is_some()),
    ("cadence", "rpm", |s| s.cadence_rpm.is_some()),
    ("heart rate", "bpm", |s| s.heart_rate_bpm.is_some()),
    ("temperature", "°C", |s| s.temperature_c.is_some()),
    ("pressure", "Pa", |s| s.pressure_pa.is_some()),
    ("time", "s", |_| true),
];

/// Name, unit and number of valid samples of every channel that has any.
pub fn channels(recording: &Recording) -> Vec<(String, String, usize)> {
    let own = CHANNELS.iter().map(|(name, unit, has)| {
        (
            name.to_string(),
            unit.to_string(),
            recording.samples.iter().filter(|s| has(s)).count(),
        )
    });
    let extra = recording.extra.iter().map(|channel| {
        (
            channel.name.clone(),
            channel.units.clone(),
            channel.values.iter().flatten().count(),
        )
    });
    own.chain(extra).filter(|(_, _, count)| *count > 0).collect()
}
