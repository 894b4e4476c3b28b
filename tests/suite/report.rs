//! `report`: one document that stands alone, says what `compare` says, and keeps to itself what it is asked to.

use crate::program;
use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::{contains, is_empty};
use quick_xml::Reader;
use quick_xml::events::Event;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use stillair::cli::cautions::CAUTIONS;
use stillair::report::words::{signed, signed_range};
use stillair::simulate::{DayPlan, demo_plan, loop_plan, one_way_plan, ride_day};
use tempfile::TempDir;

const HOSTILE: &str = "<script>alert(1)</script> & \"co\"";

fn written(plan: &DayPlan) -> TempDir {
    let home = TempDir::new().unwrap();
    ride_day(plan).write_folder(home.path(), false).unwrap();
    home
}

fn edit(folder: &Path, change: impl Fn(String) -> String) {
    let file = folder.join("test.toml");
    let text = change(std::fs::read_to_string(&file).unwrap());
    std::fs::write(&file, text).unwrap();
}

/// The demonstration with a third set-up of a hostile name, a pass left out, and a date in the file's name.
fn three_setups() -> TempDir {
    let home = written(&demo_plan());
    edit(home.path(), |text| {
        let name = toml_quoted(HOSTILE);
        let (before, last) = text.rsplit_once("setup = \"loose jacket\"").unwrap();
        let text = format!("{before}setup = {name}{last}");
        let at = text.find("[[block]]").unwrap();
        let more = format!(
            "[[setup]]\nname = {name}\n\n[[exclude]]\nnumber = 5\nreason = \"a lorry at 06:47:20 on 2026-05-16\"\n\n"
        );
        format!("{}{more}{}", &text[..at], &text[at..])
    });
    std::fs::rename(
        home.path().join("ride.fit"),
        home.path().join("2026-05-16-dike.fit"),
    )
    .unwrap();
    home
}

fn toml_quoted(text: &str) -> String {
    format!("'{text}'")
}

fn one_setup() -> TempDir {
    let home = written(&one_way_plan(4, "AA", 0.0));
    std::fs::remove_file(home.path().join("test.toml")).unwrap();
    home
}

fn days() -> [TempDir; 4] {
    [
        written(&demo_plan()),
        written(&loop_plan(2, "ABBA", -5.0)),
        three_setups(),
        one_setup(),
    ]
}

fn output(folder: &Path, words: &[&str]) -> String {
    program::said(Command::cargo_bin("stillair").unwrap().args(words).arg(folder))
}

fn report(folder: &Path, more: &[&str]) -> String {
    output(folder, &[&["report", "--output", "-"], more].concat())
}

/// An element with its attributes, and the text in it without that of style.
struct Element {
    name: String,
    attributes: BTreeMap<String, String>,
    text: String,
    /// Names of the elements directly in it.
    holds: Vec<String>,
}

/// Every element; fails where the document is not well-formed XML.
fn elements(document: &str) -> Vec<Element> {
    let mut reader = Reader::from_str(document);
    let (mut all, mut open): (Vec<Element>, Vec<usize>) = (Vec::new(), Vec::new());
    let begin = |start: &quick_xml::events::BytesStart, open: &[usize], all: &mut Vec<Element>| {
        let name = start.name().as_ref().to_string();
        if let Some(parent) = open.last() {
            all[*parent].holds.push(name.clone());
        }
        let attributes = start
            .attributes()
            .map(|attribute| {
                let attribute = attribute.unwrap();
                (attribute.key.as_ref().to_string(), attribute.value.to_string())
            })
            .collect();
        all.push(Element {
            name,
            attributes,
            text: String::new(),
            holds: Vec::new(),
        });
    };
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                begin(&start, &open, &mut all);
                open.push(all.len() - 1);
            }
            Event::Empty(empty) => begin(&empty, &open, &mut all),
            Event::End(_) => {
                open.pop().unwrap();
            }
            Event::Text(text) => {
                let text: &str = text.as_ref();
                open.iter().for_each(|at| all[*at].text.push_str(text));
            }
            Event::GeneralRef(entity) => {
                let letter = match entity.as_ref() {
                    "lt" => "<",
                    "gt" => ">",
                    "amp" => "&",
                    "quot" => "\"",
                    other => panic!("an entity that XML does not know: {other}"),
                };
                open.iter().for_each(|at| all[*at].text.push_str(letter));
            }
            Event::Eof => break,
            _ => {}
        }
    }
    assert!(open.is_empty(), "the document ends inside an element");
    all
}

const SECTIONS: [&str; 14] = [
    "set-ups",
    "passes",
    "elevation",
    "left-over",
    "both",
    "wind",
    "stopwatch",
    "budget",
    "event",
    "course",
    "rests-on",
    "mind",
    "cautions",
    "again",
];

#[test]
fn it_stands_alone_and_reads_as_xml() {
    for day in days() {
        let document = report(day.path(), &[]);
        assert!(document.len() < 200_000, "{}", document.len());
        for outside in [
            "http",
            "<script",
            "javascript",
            "@import",
            "url(",
            "<link",
            "<img",
            "src=",
            "onload",
        ] {
            assert!(!document.contains(outside), "{outside}");
        }
        let all = elements(&document);
        let ids: Vec<&String> = all.iter().filter_map(|e| e.attributes.get("id")).collect();
        let once: BTreeSet<&&String> = ids.iter().collect();
        assert_eq!(once.len(), ids.len(), "an id stands twice");
        for link in all.iter().filter(|e| e.name == "a") {
            let to = link.attributes["href"].strip_prefix('#').unwrap();
            assert!(ids.iter().any(|id| *id == to), "{to}");
        }
    }
}

/// 40 passes are far more than a day of riding has.
#[test]
fn a_long_day_stays_below_a_megabyte() {
    let day = written(&demo_plan().with_order("ABBAABBAABBAABBAABBA", 2));
    let document = report(day.path(), &[]);
    assert!(document.contains(">pass 40 A<"), "40 passes are drawn");
    assert!(document.len() < 500_000, "{}", document.len());
}

#[test]
fn every_section_is_there_and_only_what_does_not_exist_is_left_out() {
    for (number, day) in days().iter().enumerate() {
        let all = elements(&report(day.path(), &[]));
        let sections: Vec<&str> = all
            .iter()
            .filter(|e| e.name == "section")
            .map(|e| e.attributes["id"].as_str())
            .collect();
        let single = number == 3;
        let expected: Vec<&str> = SECTIONS
            .into_iter()
            .filter(|id| !single || !["stopwatch", "event"].contains(id))
            .filter(|id| *id != "mind" || sections.contains(id))
            .collect();
        assert_eq!(sections, expected);
        for line in CAUTIONS.lines().skip(1) {
            let main = all.iter().find(|e| e.name == "main").unwrap();
            assert!(main.text.contains(line.trim_start_matches("- ")), "{line}");
        }
    }
}

#[test]
fn every_picture_has_its_text() {
    for day in days() {
        let all = elements(&report(day.path(), &[]));
        let pictures: Vec<&Element> = all.iter().filter(|e| e.name == "svg").collect();
        let by_id = |id: &str| {
            all.iter()
                .find(|e| e.attributes.get("id").is_some_and(|own| own == id))
                .unwrap_or_else(|| panic!("{id}"))
        };
        assert!(pictures.len() > 8, "{}", pictures.len());
        for picture in pictures {
            assert_eq!(picture.attributes["role"], "img");
            assert_eq!(picture.holds[..2], ["title", "desc"]);
            for id in picture.attributes["aria-labelledby"].split(' ') {
                assert!(by_id(id).text.len() > 5, "{id}");
            }
            assert!(
                !picture.text.contains("NaN") && !picture.text.contains("inf"),
                "{}",
                picture.text
            );
        }
    }
}

/// What the JSON has, to the digits in which the terminal shows it.
#[test]
fn its_numbers_are_those_of_compare() {
    for day in days() {
        let document = elements(&report(day.path(), &[]));
        let cells: BTreeSet<&str> = document
            .iter()
            .filter(|e| e.name == "td")
            .map(|e| e.text.as_str())
            .collect();
        let holds = |text: String| assert!(cells.contains(text.as_str()), "{text}");
        let compared: Value = serde_json::from_str(&output(day.path(), &["compare", "--json"])).unwrap();
        let number = |value: &Value| value.as_f64().unwrap();
        let range = |value: &Value| [number(&value[0]), number(&value[1])];
        let list = |key: &str| compared[key].as_array().unwrap().clone();
        for setup in list("setups") {
            let cda = &setup["cda_m2"];
            holds(format!("{:.3}", number(&cda["value"])));
            let [low, high] = range(&cda["interval_90"]);
            holds(format!("{low:.3} to {high:.3}"));
        }
        for pair in list("comparisons") {
            let change = &pair["cda_change_percent"];
            holds(signed(number(&change["value"]), 1));
            if change["interval_90"].is_array() {
                holds(signed_range(range(&change["interval_90"]), 1));
                holds(signed_range(range(&pair["watts_at"]["interval_90"]), 1));
            }
            holds(signed(number(&pair["watts_at"]["value"]), 1));
            holds(signed(number(&pair["seconds_per_40_km"]["value"]), 0));
            holds(signed(number(&pair["stopwatch"]["raw_time_change_s"]), 1));
        }
        for pass in list("passes").iter().filter(|pass| pass["kept"] == true) {
            holds(format!("{:.3}", number(&pass["cda_m2"]["value"])));
            holds(format!("{:.1}", number(&pass["still_air_time_s"])));
            let east = &pass["wind"]["east_m_s"];
            holds(format!(
                "{} ± {:.1}",
                signed(number(&east["value"]), 1),
                number(&east["standard_uncertainty"])
            ));
        }
        for line in list("budget") {
            holds(format!("{:.4}", number(&line["effect_cda_m2"])));
        }
        // The answer is the terminal's, word by word.
        let said = output(day.path(), &["compare"]);
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        let answers = document.iter().filter(|e| {
            let class = e.attributes.get("class");
            e.name == "p" && class.is_some_and(|class| class.starts_with("answer"))
        });
        let answers: Vec<&Element> = answers.collect();
        assert!(!answers.is_empty());
        for answer in answers {
            assert!(said.contains(&answer.text), "{}", answer.text);
        }
    }
}

#[test]
fn names_are_shown_as_text() {
    let day = three_setups();
    let document = report(day.path(), &[]);
    assert!(!document.contains("<script"));
    let all = elements(&document);
    assert!(
        all.iter().any(|e| e.name == "td" && e.text == HOSTILE),
        "the name is not in a table as it was typed"
    );
}

#[test]
fn a_pass_that_is_left_out_stays_as_a_hollow_mark() {
    let day = three_setups();
    let all = elements(&report(day.path(), &[]));
    let told = all
        .iter()
        .find(|e| {
            e.attributes
                .get("id")
                .is_some_and(|id| id == "picture-passes-told")
        })
        .unwrap();
    assert!(told.text.contains("m², not counted, flagged"), "{}", told.text);
    assert_eq!(told.text.matches("not counted").count(), 1);
    let hollow = |e: &&Element| e.attributes.get("class").is_some_and(|c| c.starts_with("hollow"));
    assert_eq!(all.iter().filter(hollow).count(), 1);
}

#[test]
fn private_leaks_neither_place_nor_time_nor_mass_nor_names_of_files() {
    for day in days() {
        let compared: Value = serde_json::from_str(&output(day.path(), &["compare", "--json"])).unwrap();
        let document = report(day.path(), &["--private"]);
        let open = report(day.path(), &[]);
        let mut secrets: BTreeSet<String> = BTreeSet::new();
        for end in ["start", "finish"] {
            for axis in 0..2 {
                let degrees = compared["course"][end][axis].as_f64().unwrap().abs();
                secrets.insert(format!("{degrees:.6}")[..5].to_string());
            }
        }
        for pass in compared["passes"].as_array().unwrap() {
            let start = pass["start_time"].as_str().unwrap();
            secrets.insert(start[..10].to_string());
            secrets.insert(start[11..16].to_string());
            secrets.insert(pass["file"].as_str().unwrap().to_string());
        }
        secrets.insert(day.path().file_name().unwrap().to_string_lossy().into_owned());
        secrets.extend(compared["title"].as_str().map(str::to_string));
        // Of any of these days: their year, the pass left out, the file's name without its end, what the rider weighs.
        secrets.extend(["2026", "06:47", "dike", "picture-course", "83.0 kg", "83 kg"].map(str::to_string));
        for secret in &secrets {
            assert!(!document.contains(secret.as_str()), "{secret}");
        }
        // The search finds what the open document has.
        let start = compared["passes"][0]["start_time"].as_str().unwrap();
        let place = compared["course"]["start"][0].as_f64().unwrap();
        let file = compared["passes"][0]["file"].as_str().unwrap();
        for shown in [&start[11..16], &format!("{place:.5}"), file, "picture-course"] {
            assert!(open.contains(shown), "{shown}");
        }
        assert!(document.contains("recording 1") && document.contains("start min"));
        elements(&document);
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let day = three_setups();
    for more in [&[][..], &["--private"]] {
        assert_eq!(report(day.path(), more), report(day.path(), more));
    }
}

#[test]
fn it_is_written_beside_the_rides_and_replaces_only_itself() {
    let day = written(&demo_plan());
    let stillair = |words: &[&str]| {
        let mut command = Command::cargo_bin("stillair").unwrap();
        command.args(words).current_dir(day.path());
        command.assert()
    };
    stillair(&["report", "."])
        .success()
        .stderr(contains("Wrote ./report.html"));
    let first = std::fs::read_to_string(day.path().join("report.html")).unwrap();
    assert!(first.ends_with("</html>\n"));
    stillair(&["report", ".", "--quiet"])
        .success()
        .stdout(is_empty())
        .stderr(is_empty());
    assert_eq!(
        std::fs::read_to_string(day.path().join("report.html")).unwrap(),
        first
    );
    let before = std::fs::read(day.path().join("test.toml")).unwrap();
    stillair(&["report", ".", "--output", "test.toml"])
        .code(1)
        .stdout(is_empty())
        .stderr(contains("test.toml: there is one already").and(contains("not written over")));
    assert_eq!(std::fs::read(day.path().join("test.toml")).unwrap(), before);
    stillair(&["report", ".", "--output", "absent/report.html"])
        .code(1)
        .stderr(contains("absent/report.html: it cannot be written"));
    stillair(&["report", ".", "--json"])
        .code(1)
        .stdout(is_empty())
        .stderr(contains("compare --json"));
    let names = std::fs::read_dir(day.path()).unwrap().count();
    assert_eq!(names, 3, "the ride, test.toml and the report");
}

/// `sha256sum` is of GNU coreutils: another implementation of the same digest.
#[test]
fn the_digests_are_those_of_sha256sum() {
    let day = written(&demo_plan());
    let output = std::process::Command::new("sha256sum")
        .args(["ride.fit", "test.toml"])
        .current_dir(day.path())
        .output()
        .unwrap();
    let document = report(day.path(), &[]);
    let text = String::from_utf8(output.stdout).unwrap();
    let digests: Vec<&str> = text.lines().filter_map(|line| line.split(' ').next()).collect();
    assert_eq!(digests.len(), 2);
    for digest in digests {
        assert!(digest.len() == 64 && document.contains(digest), "{digest}");
    }
}
