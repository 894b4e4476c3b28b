//! `export`: other people's libraries read from the tables what `compare --json` says, to the last digit.

use crate::outside::ask;
use crate::page::compare_json;
use crate::program::said;
use assert_cmd::Command;
use serde_json::{Value, json};
use std::path::Path;
use stillair::simulate::{out_and_back_plan, ride_day};

fn stillair(words: &[&str], at: &Path) -> Command {
    let mut command = Command::cargo_bin("stillair").unwrap();
    command.args(words).current_dir(at);
    command
}

fn exported(at: &Path) -> Value {
    let plan = out_and_back_plan(4, "ABBA", -6.0).calm();
    ride_day(&plan).write_folder(&at.join("day"), true).unwrap();
    // One is left out, so that some cells of the tables are empty.
    let file = at.join("day/test.toml");
    let text = std::fs::read_to_string(&file).unwrap()
        + "\n[[exclude]]\nnumber = 3\nreason = \"a lorry, and \\\"dust\\\"\"\n";
    std::fs::write(&file, text).unwrap();
    said(&mut stillair(&["export", "day", "--quiet"], at));
    ask("tables", &[json!(at.join("day/tables"))]).remove(0)
}

#[test]
fn four_readers_read_the_same_from_both_formats() {
    let home = tempfile::tempdir().unwrap();
    let read = exported(home.path());
    let tables = read.as_object().unwrap();
    assert_eq!(tables.len(), 6);
    for (name, of_readers) in tables {
        let first = &of_readers["pyarrow parquet"];
        let columns = first.as_object().unwrap();
        assert!(
            columns
                .values()
                .all(|column| !column.as_array().unwrap().is_empty()),
            "{name}"
        );
        for (reader, columns) in of_readers.as_object().unwrap() {
            for (column, values) in columns.as_object().unwrap() {
                let pairs = values
                    .as_array()
                    .unwrap()
                    .iter()
                    .zip(first[column].as_array().unwrap());
                for (one, other) in pairs {
                    // A CSV does not say whether 3 is a count, nor a time from a text.
                    let same = match (one.as_f64(), other.as_f64()) {
                        (Some(one), Some(other)) => one == other,
                        _ => one == other || column == "start_time",
                    };
                    assert!(same, "{name} {column} by {reader}: {one} {other}");
                }
            }
        }
    }
}

#[test]
fn the_tables_are_the_answer_and_the_dictionary_is_theirs() {
    let home = tempfile::tempdir().unwrap();
    let read = exported(home.path());
    let answer = compare_json(&home.path().join("day"));
    let column = |table: &str, name: &str| read[table]["pyarrow parquet"][name].as_array().unwrap().clone();
    let in_json = |list: &str, pointer: &str| -> Vec<Value> {
        let rows = answer[list].as_array().unwrap().iter();
        rows.map(|row| row.pointer(pointer).cloned().unwrap_or_default())
            .collect()
    };
    for (table, list, name, pointer) in [
        ("setups", "setups", "setup", "/name"),
        ("setups", "setups", "cda_m2", "/cda_m2/value"),
        (
            "setups",
            "setups",
            "cda_interval_90_low_m2",
            "/cda_m2/interval_90/0",
        ),
        (
            "setups",
            "setups",
            "crr_standard_uncertainty",
            "/crr/standard_uncertainty",
        ),
        (
            "comparisons",
            "comparisons",
            "cda_change_percent",
            "/cda_change_percent/value",
        ),
        (
            "comparisons",
            "comparisons",
            "cda_change_interval_90_high_percent",
            "/cda_change_percent/interval_90/1",
        ),
        (
            "comparisons",
            "comparisons",
            "cda_change_m2",
            "/cda_change_m2/value",
        ),
        ("comparisons", "comparisons", "power_change_w", "/watts_at/value"),
        (
            "comparisons",
            "comparisons",
            "time_change_40_km_s",
            "/seconds_per_40_km/value",
        ),
        (
            "comparisons",
            "comparisons",
            "probability_lower",
            "/probability_lower",
        ),
        ("comparisons", "comparisons", "verdict", "/verdict"),
        ("passes", "passes", "number", "/number"),
        ("passes", "passes", "file", "/file"),
        ("passes", "passes", "start_time", "/start_time"),
        ("passes", "passes", "direction", "/direction"),
        ("passes", "passes", "setup", "/setup"),
        ("passes", "passes", "kept", "/kept"),
        ("passes", "passes", "cda_m2", "/cda_m2/value"),
        (
            "passes",
            "passes",
            "cda_standard_uncertainty_m2",
            "/cda_m2/standard_uncertainty",
        ),
        ("passes", "passes", "still_air_time_s", "/still_air_time_s"),
        ("passes", "passes", "wind_east_m_s", "/wind/east_m_s/value"),
        (
            "passes",
            "passes",
            "wind_north_standard_uncertainty_m_s",
            "/wind/north_m_s/standard_uncertainty",
        ),
        (
            "passes",
            "passes",
            "crossing_standard_uncertainty_s",
            "/crossing_standard_uncertainty_s",
        ),
        (
            "comparisons",
            "comparisons",
            "time_change_40_km_interval_90_low_s",
            "/seconds_per_40_km/interval_90/0",
        ),
        (
            "setups",
            "setups",
            "yaw_standard_uncertainty_deg",
            "/yaw_standard_uncertainty_deg",
        ),
    ] {
        assert_eq!(column(table, name), in_json(list, pointer), "{table} {name}");
    }
    let of_passes = |pointer: &str| -> Vec<Value> {
        let lists = in_json("passes", pointer);
        lists
            .iter()
            .flat_map(|list| list.as_array().cloned().unwrap_or_default())
            .collect()
    };
    assert_eq!(
        column("virtual_elevations", "along_m"),
        of_passes("/elevation/along_m")
    );
    assert_eq!(
        column("virtual_elevations", "virtual_m"),
        of_passes("/elevation/virtual_m")
    );
    assert!(
        column("passes", "cda_m2")[2].is_null() && column("passes", "flags")[2].to_string().contains("dust")
    );

    let dictionary = std::fs::read_to_string(home.path().join("day/tables/dictionary.csv")).unwrap();
    for (table, of_readers) in read.as_object().unwrap() {
        for name in of_readers["pandas csv"].as_object().unwrap().keys() {
            let row = dictionary
                .lines()
                .find(|line| line.starts_with(&format!("{table},{name},")));
            assert!(
                row.is_some_and(|row| row.split(',').nth(3).is_some_and(|meaning| !meaning.is_empty())),
                "{table} {name}"
            );
        }
    }
    // What the draws spread is what the interval spreads, but for what all passes share, which hardly differs.
    let (draws, setups) = (column("draws", "log_cda"), column("draws", "setup"));
    let of = |name: &str| -> Vec<f64> {
        let rows = draws.iter().zip(&setups).filter(|row| row.1 == name);
        rows.map(|row| row.0.as_f64().unwrap()).collect()
    };
    let mut changes: Vec<f64> = of("set-up B")
        .iter()
        .zip(of("set-up A"))
        .map(|(b, a)| 100.0 * (b - a).exp_m1())
        .collect();
    changes.sort_by(f64::total_cmp);
    assert_eq!(changes.len(), 1000);
    let stated = in_json("comparisons", "/cda_change_percent/interval_90").remove(0);
    for (share, end) in [(50, 0), (949, 1)] {
        // The ends of 1000 draws stand to some 0.1 of a standard uncertainty.
        let stated = stated[end].as_f64().unwrap();
        assert!(
            (changes[share] - stated).abs() < 0.5,
            "{} {stated}",
            changes[share]
        );
    }
}

/// The commands and the query of docs/export.md, on three days.
#[test]
fn many_days_are_one_table_as_the_document_says() {
    let home = tempfile::tempdir().unwrap();
    for (day, seed) in [("2026-05-03", 4), ("2026-05-10", 5), ("2026-05-17", 6)] {
        let ridden = ride_day(&out_and_back_plan(seed, "ABBA", -6.0).calm());
        ridden
            .write_folder(&home.path().join("days").join(day), true)
            .unwrap();
    }
    let document =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/export.md")).unwrap();
    let fenced = |kind: &str| {
        let (_, rest) = document.split_once(&format!("```{kind}\n")).unwrap();
        rest.split_once("```").unwrap().0.to_string()
    };
    let program = assert_cmd::cargo::cargo_bin("stillair");
    let path = format!("{}:/usr/bin:/bin", program.parent().unwrap().display());
    let mut bash = Command::new("bash");
    said(
        bash.args(["-ec", &fenced("bash")])
            .current_dir(home.path())
            .env("PATH", path),
    );
    let rows = ask("query", &[json!([home.path(), fenced("sql")])]).remove(0);
    let rows = rows.as_array().unwrap();
    assert_eq!(rows.len(), 3, "{rows:?}");
    for row in rows {
        assert_eq!((&row[1], &row[5]), (&json!("set-up B"), &json!(4)), "{row}");
        let [change, low, high] = [2, 3, 4].map(|at| row[at].as_f64().unwrap());
        assert!(low < change && change < high, "{row}");
    }
}
