use super::*;
use crate::report::json;
use crate::simulate::{out_and_back_plan, ride_day};
use crate::study::compare;

const QUIETLY: Progress = &|_, _| ();

fn desk() -> (tempfile::TempDir, Desk) {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("day");
    ride_day(&out_and_back_plan(4, "ABBA", -6.0).calm())
        .write_folder(&folder, true)
        .unwrap();
    let desk = Desk::open(&folder, QUIETLY).unwrap();
    (home, desk)
}

fn on_disk(desk: &Desk) -> String {
    std::fs::read_to_string(desk.folder().join("test.toml")).unwrap()
}

fn said(compared: &Compared) -> String {
    json::compare(compared).to_string()
}

fn cut(from_m: f64, to_m: f64) -> Edit {
    Edit::Cut {
        start_s: None,
        from_m,
        to_m,
        reason: None,
    }
}

/// To the last digit: what is tried is what the command line says of the file once it is written.
#[test]
fn what_is_tried_is_what_is_said_once_it_is_written() {
    let (_home, mut desk) = desk();
    let before = on_disk(&desk);
    assert_eq!(
        said(&desk.answer().unwrap()),
        said(&compare(desk.folder(), QUIETLY).unwrap())
    );
    let mass = Edit::Number {
        table: "rider",
        key: "total_mass_kg",
        value: 85.5,
    };
    let previewed = desk.with(&mass).unwrap();
    assert_ne!(said(&previewed), said(&desk.answer().unwrap()));
    desk.change(&mass).unwrap();
    desk.change(&cut(400.0, 520.0)).unwrap();
    let start_s = desk.answer().unwrap().surveyed.ridden.passes[2].start_s;
    desk.change(&Edit::LeaveOut {
        start_s,
        reason: "a lorry".to_string(),
    })
    .unwrap();
    assert!(desk.is_changed() && on_disk(&desk) == before);
    desk.write().unwrap();
    assert!(!desk.is_changed() && on_disk(&desk) == desk.text());
    assert_eq!(
        said(&desk.answer().unwrap()),
        said(&compare(desk.folder(), QUIETLY).unwrap())
    );
}

#[test]
fn steps_are_taken_back_and_made_again() {
    let (_home, mut desk) = desk();
    let first = said(&desk.answer().unwrap());
    assert!(!desk.can_undo() && !desk.can_redo());
    desk.change(&cut(300.0, 500.0)).unwrap();
    let second = said(&desk.answer().unwrap());
    assert_ne!(first, second);
    desk.undo();
    assert_eq!(said(&desk.answer().unwrap()), first);
    desk.redo();
    assert_eq!(said(&desk.answer().unwrap()), second);
    desk.undo();
    desk.change(&cut(700.0, 800.0)).unwrap();
    assert!(!desk.can_redo());
    let lines = desk.difference();
    let added: Vec<&str> = lines
        .iter()
        .filter(|line| line.kind == Kind::Added)
        .map(|line| line.text.as_str())
        .collect();
    assert_eq!(added, ["", "[[cut]]", "from_m = 700", "to_m = 800"]);
    assert!(lines.iter().all(|line| line.kind != Kind::Taken));
}

#[test]
fn a_file_that_changed_meanwhile_is_not_written_over() {
    let (_home, mut desk) = desk();
    let theirs = format!("# by hand\n{}", on_disk(&desk));
    desk.change(&cut(300.0, 500.0)).unwrap();
    std::fs::write(desk.folder().join("test.toml"), &theirs).unwrap();
    assert!(desk.changed_meanwhile());
    assert!(
        desk.write()
            .unwrap_err()
            .to_string()
            .contains("changed by something else")
    );
    // Reading the folder again does not throw away what is being tried.
    desk.read_again(QUIETLY).unwrap();
    assert!(desk.text().contains("[[cut]]") && desk.write().is_err());
    assert_eq!(on_disk(&desk), theirs);
    desk.start_over(QUIETLY).unwrap();
    assert_eq!(desk.text(), theirs);
    desk.change(&cut(300.0, 500.0)).unwrap();
    desk.write().unwrap();
    assert!(on_disk(&desk).starts_with("# by hand\n"));
}

#[test]
fn without_an_answer_the_reason_is_shown_and_one_step_back_helps() {
    let (_home, mut desk) = desk();
    assert!(desk.change(&cut(500.0, 300.0)).is_err() && !desk.is_changed());
    desk.change(&cut(0.0, 1500.0)).unwrap();
    let error = desk.answer().unwrap_err().to_string();
    assert!(!error.is_empty());
    desk.undo();
    assert!(desk.answer().is_ok());
}
