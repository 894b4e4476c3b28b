use super::table::Columns;
use super::*;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::RowAccessor;

fn table() -> Table {
    let rows = [Some(0.1), None, Some(f64::NAN), Some(-2.5e-300)];
    Columns::of(&rows)
        .number("speed_m_s", "m/s", "A speed", |row| *row)
        .text("name", "A name, with a comma", |row| {
            row.map(|value| format!("\"{value}\", ä"))
        })
        .count("count", "A count", |row| row.map(|_| 3))
        .flag("kept", "Whether it counts", |row| Some(row.is_some()))
        .table("things")
}

#[test]
fn csv_quotes_what_it_must_and_leaves_out_what_is_not_there() {
    let text = String::from_utf8(csv_file::bytes(&table()).unwrap()).unwrap();
    let expected =
        "speed_m_s,name,count,kept\n0.1,\"\"\"0.1\"\", ä\",3,true\n,,,false\n,\"\"\"NaN\"\", ä\",3,true\n";
    assert!(text.starts_with(expected), "{text}");
    let last = text.lines().last().unwrap().split(',').next().unwrap();
    assert_eq!(last.parse::<f64>().unwrap(), -2.5e-300);
}

#[test]
fn parquet_gives_back_what_was_put_in() {
    let bytes = parquet_file::bytes(&table()).unwrap();
    assert_eq!(bytes, parquet_file::bytes(&table()).unwrap());
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
    let rows: Vec<_> = reader
        .get_row_iter(None)
        .unwrap()
        .map(|row| row.unwrap())
        .collect();
    assert_eq!(rows.len(), 4);
    assert_eq!(rows[0].get_double(0).unwrap(), 0.1);
    assert_eq!(rows[0].get_string(1).unwrap(), "\"0.1\", ä");
    assert_eq!(rows[0].get_long(2).unwrap(), 3);
    assert!(!rows[1].get_bool(3).unwrap());
    assert!(rows[1].get_double(0).is_err() && rows[2].get_double(0).is_err());
    assert_eq!(rows[3].get_double(0).unwrap(), -2.5e-300);
}

#[test]
fn tables_are_written_over_only_when_that_is_asked_for() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("tables");
    let both = Formats {
        csv: true,
        parquet: true,
    };
    let files = write(&folder, &[table()], both, false).unwrap();
    assert_eq!(files.len(), 3);
    std::fs::write(&files[0], "mine").unwrap();
    let error = write(&folder, &[table()], both, false).unwrap_err();
    assert_eq!(error.faults.len(), 3);
    assert!(error.to_string().contains("--replace"), "{error}");
    assert_eq!(std::fs::read(&files[0]).unwrap(), b"mine");
    write(&folder, &[table()], both, true).unwrap();
    assert_ne!(std::fs::read(&files[0]).unwrap(), b"mine");
}
