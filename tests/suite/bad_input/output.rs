//! Where output goes, how wide it is, and that it reads as text.

use super::workbench::{Bench, Ran, climb_day, short_day, short_plan, unwrapped};
use std::process::Stdio;
use stillair::simulate::{BlockTruth, Files, TrueDay, loop_plan, out_and_back_plan, ride_day};

const EVERYTHING: [&[&str]; 3] = [
    &["compare", "day"],
    &["passes", "day"],
    &["inspect", "day/ride.fit"],
];

fn with_json<'a>(words: &[&'a str]) -> Vec<&'a str> {
    words.iter().copied().chain(["--json"]).collect()
}

#[test]
fn json_stands_alone_on_standard_output() {
    let bench = Bench::of(&short_day());
    bench.write("day/broken.fit", b"");
    for words in EVERYTHING {
        let json = bench.run(&with_json(words)).json();
        assert_eq!(json["schema"], 1, "{words:?}");
    }
    let demo = bench.run(&["demo", "new", "--json"]);
    assert_eq!(demo.json()["comparisons"].as_array().unwrap().len(), 1);
    assert!(demo.stderr.contains("traffic law"), "{}", demo.stderr);
}

#[test]
fn a_bad_folder_does_not_cost_the_good_ones_and_a_day_named_twice_counts_once() {
    let bench = Bench::of(&short_day());
    let ran = bench.run(&["compare", "day", "absent", "day", "--json"]);
    assert_eq!(ran.code, Some(1));
    let found: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(found["days"].as_array().unwrap().len(), 2);
    assert_eq!(found["together"]["warnings"][0]["kind"], "same rides");
    assert!(ran.stderr.starts_with("stillair: absent: "), "{}", ran.stderr);
}

#[test]
fn quiet_leaves_standard_error_to_errors() {
    let bench = Bench::of(&short_day());
    bench.write("day/broken.fit", b"");
    for words in [&["compare", "day"][..], &["passes", "day"], &["demo", "new"]] {
        let words: Vec<&str> = words.iter().copied().chain(["--quiet"]).collect();
        let ran = bench.run(&words);
        assert_eq!(ran.works().stderr, "", "{words:?}");
    }
    bench
        .run(&["compare", "absent", "--quiet"])
        .refuses(&[("absent", &["no such folder"])]);
}

#[test]
fn a_reader_that_has_gone_is_no_failure() {
    let bench = Bench::of(&short_day());
    for words in EVERYTHING
        .iter()
        .map(|words| words.to_vec())
        .chain(EVERYTHING.map(with_json))
    {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = bench
            .command(&words)
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
            .wait_with_output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{words:?}");
        assert_eq!(String::from_utf8(output.stderr).unwrap(), "", "{words:?}");
    }
}

#[test]
fn no_colour_goes_where_no_terminal_is() {
    let bench = Bench::of(&short_day());
    for words in EVERYTHING {
        let plain = bench.run(words);
        assert!(!plain.works().stdout.contains('\u{1b}'), "{words:?}");
        let output = bench.command(words).env("NO_COLOR", "1").output().unwrap();
        assert_eq!(
            String::from_utf8(output.stdout).unwrap(),
            plain.stdout,
            "{words:?}"
        );
    }
}

fn wide_lines(text: &str) -> Vec<&str> {
    text.lines().filter(|line| line.chars().count() > 80).collect()
}

/// Days of every shape, with names as long as anybody gives, three set-ups, several files and days.
fn days_of_every_kind() -> Vec<TrueDay> {
    let mut three = out_and_back_plan(7, "AB", -4.0);
    let mut third = three.setups[0].clone();
    third.name =
        "a third one, with the long name that somebody gives who wants to remember all of it".to_string();
    third.crr = 0.004;
    three.setups.push(third);
    let block = |setup| BlockTruth { setup, passes: 2 };
    three.order = [None, Some(0), Some(1), Some(2), Some(2), Some(1), Some(0)]
        .map(block)
        .to_vec();
    three.files = Files::PerBlock;
    let mut names = short_plan();
    names.setups[1].name = "x".repeat(100);
    vec![
        ride_day(&three),
        ride_day(&names),
        ride_day(&loop_plan(4, "ABBA", 5.0)),
        ride_day(&out_and_back_plan(5, "A", 0.0)),
        climb_day(),
    ]
}

#[test]
fn no_line_is_longer_than_80_characters() {
    for day in days_of_every_kind() {
        let bench = Bench::of(&day);
        let inspected = format!("day/{}", day.recordings[0].file.display());
        for words in [
            &["compare", "day"][..],
            &["passes", "day"],
            &["inspect", &inspected],
        ] {
            let ran = bench.run(words);
            // A name alone may be longer than a line.
            let wide: Vec<&str> = wide_lines(&ran.works().stdout)
                .into_iter()
                .filter(|line| !line.contains(&"x".repeat(70)))
                .collect();
            assert_eq!(wide, [""; 0], "{words:?}");
        }
    }
    for words in [
        &["--help"][..],
        &["demo", "--help"],
        &["inspect", "--help"],
        &["compare", "--help"],
    ] {
        assert_eq!(
            wide_lines(&Bench::new().run(words).works().stdout),
            [""; 0],
            "{words:?}"
        );
    }
    let demo = Bench::new().run(&["demo", "day"]);
    assert_eq!(wide_lines(&demo.works().stdout), [""; 0]);
    assert_eq!(wide_lines(&demo.stderr), [""; 0]);
}

/// The lines below the header of the table of passes.
fn pass_lines(ran: &Ran) -> Vec<&str> {
    let header = |line: &str| line.split_whitespace().take(2).eq(["pass", "block"]);
    ran.stdout
        .lines()
        .skip_while(|line| !header(line))
        .skip(1)
        .collect()
}

#[test]
fn every_row_of_a_table_is_one_line() {
    for (day, passes) in days_of_every_kind().into_iter().zip([14, 8, 16, 2, 4]) {
        let bench = Bench::of(&day);
        let compared = bench.compare();
        let rows = pass_lines(compared.works());
        let numbered = rows.iter().take(passes).enumerate();
        for (index, row) in numbered {
            let first = row.split_whitespace().next().unwrap().trim_end_matches('*');
            assert_eq!(first, (index + 1).to_string(), "{}", compared.stdout);
        }
        assert!(rows.len() >= passes, "{}", compared.stdout);
    }
}

#[test]
fn the_first_sentence_is_the_answer_with_its_interval() {
    let ran = Bench::of(&short_day()).compare();
    let text = unwrapped(&ran.works().stdout);
    let (_, answer) = text.split_once("dike road ").unwrap();
    assert!(
        answer.starts_with("'close-fitting jacket' is faster than 'loose jacket': "),
        "{answer}"
    );
    let (sentence, _) = answer.split_once(". ").unwrap_or((answer, ""));
    for words in [
        "less drag area (90 % interval ",
        "W at 40 km/h (",
        "s over a flat 40 km (",
    ] {
        assert!(answer.contains(words), "{sentence}");
    }
}

#[test]
fn two_names_for_the_same_thing_are_called_so() {
    let bench = Bench::of(&ride_day(&out_and_back_plan(8, "ABBA", 0.0)));
    bench.replace(
        "name = \"set-up B\"",
        "name = \"set-up B\"\nsame_as = \"set-up A\"",
    );
    let text = unwrapped(&bench.compare().works().stdout);
    assert!(
        text.contains("'set-up B' and 'set-up A' are the same by test.toml, and came out ")
            && text.contains("Verdict: null test."),
        "{text}"
    );
    let json = bench.run(&["compare", "day", "--json"]).json();
    let pair = &json["comparisons"][0];
    assert_eq!(
        (&pair["null_test"], &pair["verdict"]),
        (&true.into(), &"not resolved".into())
    );
    let says = &pair["null_test_says"];
    assert_eq!(says["change_percent"], pair["cda_change_percent"]["value"]);
    let agrees = says["chance_of_more"].as_f64().unwrap() >= 0.1;
    assert_eq!(says["agrees"], agrees);
    assert!(
        says["sentence"].as_str().unwrap().starts_with("came out "),
        "{says}"
    );
}

/// Three set-ups, of which one is said to be another and is not: what casts doubt is read first, then each pair,
/// then who is likely to have the least drag.
#[test]
fn a_failed_null_test_is_read_before_the_pairs_that_it_casts_doubt_on() {
    let mut plan = out_and_back_plan(8, "", -6.0).calm();
    let mut third = plan.setups[0].clone();
    (third.name, third.cda_m2) = ("set-up C".to_string(), 1.09 * third.cda_m2);
    plan.setups.push(third);
    let bench = Bench::of(&ride_day(&plan.with_order("ABCCBA", 2)));
    bench.replace(
        "name = \"set-up C\"",
        "name = \"set-up C\"\nsame_as = \"set-up A\"",
    );
    let text = unwrapped(&bench.compare().works().stdout);
    let places: Vec<usize> = [
        "'set-up C' and 'set-up A' are the same by test.toml",
        "'set-up B' is faster than 'set-up A'",
        "'set-up C' is slower than 'set-up B'",
        "Chance of having the least drag of all: 'set-up B' ",
        "for all pairs",
        "To mind",
        "'set-up C' and 'set-up A' are the same thing under two names",
    ]
    .iter()
    .map(|words| {
        text.find(words)
            .unwrap_or_else(|| panic!("no {words:?} in {text}"))
    })
    .collect();
    assert!(places.is_sorted(), "{places:?} {text}");
}
