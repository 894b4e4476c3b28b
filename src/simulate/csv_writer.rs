//! A recording as a table: a header with units, a row for each sample.

use super::unit::AIR_SPEED;
use crate::recording::{Recording, Sample};
use crate::units::utc_text;

type Column = (&'static str, fn(&Sample) -> Option<f64>);

const COLUMNS: [Column; 8] = [
    ("latitude (deg)", |s| s.latitude_deg),
    ("longitude (deg)", |s| s.longitude_deg),
    ("altitude (m)", |s| s.altitude_m),
    ("distance (m)", |s| s.distance_m),
    ("speed (m/s)", |s| s.speed_m_s),
    ("power (W)", |s| s.power_w),
    ("cadence (rpm)", |s| s.cadence_rpm),
    ("temperature (°C)", |s| s.temperature_c),
];

/// The text of the file. Numbers are written in full; what was not measured is an empty cell.
pub(super) fn text(recording: &Recording) -> String {
    let air_speed = recording.extra.iter().find(|channel| channel.name == AIR_SPEED);
    let mut header = vec!["time".to_string()];
    header.extend(COLUMNS.iter().map(|(name, _)| name.to_string()));
    header.extend(air_speed.map(|channel| format!("{} ({})", channel.name, channel.units)));
    let mut out = header.join(",") + "\n";
    for (index, sample) in recording.samples.iter().enumerate() {
        let decimals = if sample.time_s.fract() == 0.0 { 0 } else { 3 };
        let mut cells = vec![utc_text(sample.time_s, decimals)];
        cells.extend(COLUMNS.iter().map(|(_, value)| cell(value(sample))));
        cells.extend(air_speed.map(|channel| cell(channel.values.get(index).copied().flatten())));
        out.push_str(&(cells.join(",") + "\n"));
    }
    out
}

fn cell(value: Option<f64>) -> String {
    value.map_or(String::new(), |value| value.to_string())
}
