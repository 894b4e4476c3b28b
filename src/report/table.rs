//! Tables for a terminal, and the list of a recording's channels.

use crate::recording::{Recording, Sample};
use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, ContentArrangement, Table};

/// A shorter name tells nothing.
const SHORTEST_NAME: usize = 6;

/// A header, and a line for each row: no cell is ever broken. `left` are the columns of text; numbers stand
/// to the right. What is wider than `width` closes up its columns, then shortens its longest text.
pub fn lines(header: &[&str], left: &[usize], mut rows: Vec<Vec<String>>, width: usize) -> Vec<String> {
    let columns = header.len();
    let wide = |rows: &[Vec<String>], column: usize| {
        let cells = rows
            .iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count());
        cells.chain([header[column].chars().count()]).max().unwrap_or(0)
    };
    let all: usize = (0..columns).map(|column| wide(&rows, column)).sum();
    let gap = if all + 2 * columns.saturating_sub(1) <= width {
        2
    } else {
        1
    };
    let over = (all + gap * columns.saturating_sub(1)).saturating_sub(width);
    let longest = left.iter().copied().max_by_key(|&column| wide(&rows, column));
    if let Some(column) = longest.filter(|_| over > 0) {
        let room = wide(&rows, column).saturating_sub(over).max(SHORTEST_NAME);
        for cell in rows.iter_mut().filter_map(|row| row.get_mut(column)) {
            *cell = shortened(cell, room);
        }
    }
    let mut table = Table::new();
    table.load_style(NOTHING);
    table.set_content_arrangement(ContentArrangement::Disabled);
    table.set_header(header.to_vec());
    table.add_rows(rows);
    for index in 0..columns {
        if let Some(column) = table.column_mut(index) {
            let side = if left.contains(&index) {
                CellAlignment::Left
            } else {
                CellAlignment::Right
            };
            column.set_cell_alignment(side);
            column.set_padding((0, if gap == 2 { 2 } else { 1 }));
        }
    }
    table.lines().map(|line| line.trim_end().to_string()).collect()
}

pub fn table(header: &[&str], left: &[usize], rows: Vec<Vec<String>>, width: usize) -> String {
    lines(header, left, rows, width).join("\n")
}

/// As `table`, with a heading above each row whose group differs from that of the row before.
pub fn grouped(header: &[&str], left: &[usize], rows: Vec<(String, Vec<String>)>, width: usize) -> String {
    let (groups, rows): (Vec<String>, Vec<Vec<String>>) = rows.into_iter().unzip();
    let mut lines = lines(header, left, rows, width).into_iter();
    let mut text: Vec<String> = lines.next().into_iter().collect();
    let mut before = String::new();
    for (group, line) in groups.into_iter().zip(lines) {
        if group != before {
            text.push(group.clone());
            before = group;
        }
        text.push(line);
    }
    text.join("\n")
}

fn shortened(name: &str, room: usize) -> String {
    if name.chars().count() <= room {
        return name.to_string();
    }
    name.chars().take(room.saturating_sub(1)).chain(['…']).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    fn row(cells: &[&str]) -> Vec<String> {
        cells.iter().map(|cell| cell.to_string()).collect()
    }

    #[test]
    fn text_stands_left_and_numbers_right() {
        let rows = vec![row(&["a", "1.5"]), row(&["long name", "10.25"])];
        let expected = ["name           W", "a            1.5", "long name  10.25"];
        assert_eq!(lines(&["name", "W"], &[0], rows, 80), expected);
    }

    #[test]
    fn a_wide_table_closes_up_then_shortens_its_text_and_breaks_no_cell() {
        let rows = || vec![row(&["abcdefghij", "1 to 2", "3"])];
        assert_eq!(
            lines(&["a", "b", "c"], &[0], rows(), 21)[1],
            "abcdefghij  1 to 2  3"
        );
        assert_eq!(
            lines(&["a", "b", "c"], &[0], rows(), 19)[1],
            "abcdefghij 1 to 2 3"
        );
        assert_eq!(lines(&["a", "b", "c"], &[0], rows(), 17)[1], "abcdefg… 1 to 2 3");
        // A number is never shortened, and text never to nothing.
        assert_eq!(
            lines(&["a", "b", "c"], &[0], rows(), 5),
            ["a           b c", "abcde… 1 to 2 3"]
        );
    }

    #[test]
    fn groups_have_a_heading_each_time_they_change() {
        let rows = vec![
            ("x".into(), row(&["1"])),
            ("x".into(), row(&["2"])),
            ("y".into(), row(&["3"])),
        ];
        assert_eq!(grouped(&["n"], &[], rows, 80), "n\nx\n1\n2\ny\n3");
        assert_eq!(
            grouped(&["n"], &[], vec![(String::new(), row(&["1"]))], 80),
            "n\n1"
        );
    }
}
