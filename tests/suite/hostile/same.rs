//! The same input gives the same output, to the byte.

use crate::bad_input::workbench::{Bench, short_plan};
use stillair::simulate::{Files, ride_day};

/// A day whose blocks are files of their own, so that their order could matter.
fn bench() -> Bench {
    let mut plan = short_plan();
    plan.files = Files::PerBlock;
    Bench::of(&ride_day(&plan))
}

const ANSWERS: [&[&str]; 5] = [
    &["compare", "day", "--json"],
    &["compare", "day"],
    &["passes", "day", "--json"],
    &["report", "day", "--output", "-"],
    &["predict", "day", "--flat", "40km", "--power", "250", "--json"],
];

fn said(bench: &Bench, words: &[&str], environment: &[(&str, &str)]) -> String {
    let mut command = bench.command(words);
    command.envs(environment.iter().copied());
    let output = command.output().unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{words:?} {environment:?} {errors}");
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn neither_threads_nor_language_nor_the_clock_change_an_answer() {
    let bench = bench();
    for words in ANSWERS {
        let first = said(&bench, words, &[("RAYON_NUM_THREADS", "1")]);
        assert!(first.len() > 500);
        for environment in [
            &[("RAYON_NUM_THREADS", "1")][..],
            &[("RAYON_NUM_THREADS", "2")],
            &[("RAYON_NUM_THREADS", "8")],
            &[("LANG", "de_DE.UTF-8"), ("LC_ALL", "de_DE.UTF-8")],
            &[("LANG", "tr_TR.UTF-8"), ("LC_ALL", "C"), ("TZ", "Asia/Kathmandu")],
            &[
                ("HOME", "/nowhere"),
                ("USER", "somebody"),
                ("TZ", "America/St_Johns"),
            ],
        ] {
            assert!(
                said(&bench, words, environment) == first,
                "{words:?} {environment:?}"
            );
        }
    }
}

/// Names in the other order: the recordings are listed the other way round.
#[test]
fn names_of_recordings_change_nothing_but_themselves() {
    let bench = bench();
    let names: Vec<String> = (1..=4).map(|block| format!("ride-{block:02}.fit")).collect();
    let others: Vec<String> = (1..=4)
        .map(|block| format!("tour-{:02}.fit", 5 - block))
        .collect();
    let words = &["compare", "day", "--json"];
    let before = said(&bench, words, &[]);
    for (name, other) in names.iter().zip(&others) {
        std::fs::rename(
            bench.path(&format!("day/{name}")),
            bench.path(&format!("day/{other}")),
        )
        .unwrap();
    }
    let mut after = said(&bench, words, &[]);
    assert_ne!(after, before);
    for (name, other) in names.iter().zip(&others) {
        after = after.replace(other, name);
    }
    assert_eq!(after, before);
}
