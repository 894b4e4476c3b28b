//! The tutorial is what its own commands print and draw. `OVERWRITE=1` makes its outputs and pictures anew.

use crate::program::said;
use assert_cmd::Command;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use stillair::report::picture::paint;

fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs")
}

/// As a shell cuts them: quotes hold words together.
fn words(line: &str) -> Vec<String> {
    let parts = line.split('"').enumerate();
    parts
        .flat_map(|(place, part)| match place % 2 {
            0 => part.split_whitespace().map(String::from).collect(),
            _ => vec![part.to_string()],
        })
        .collect()
}

/// `shown: from "…" to "…"`: the first line that starts with the one, up to the next that starts with the other.
fn piece(printed: &str, asked: &str) -> String {
    let asked: Vec<&str> = asked.split('"').collect();
    let (from, to) = (asked[1], asked[3]);
    let lines: Vec<&str> = printed.lines().collect();
    let start = lines.iter().position(|line| line.starts_with(from));
    let start = start.unwrap_or_else(|| panic!("no line starts with {from} in\n{printed}"));
    let end = lines[start..]
        .iter()
        .position(|line| line.starts_with(to) || from == to || line.contains(to));
    let end = start + end.unwrap_or_else(|| panic!("no line has {to} in\n{printed}"));
    let mut shown = lines[start..=end].join("\n");
    if start > 0 {
        shown.insert_str(0, "…\n");
    }
    if end + 1 < lines.len() {
        shown.push_str("\n…");
    }
    shown
}

/// The text with every output as it is printed now.
fn renewed(text: &str, folder: &Path) -> String {
    let (mut out, mut printed) = (Vec::new(), String::new());
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        out.push(line.to_string());
        if let Some(typed) = line.strip_prefix("    stillair ") {
            let mut command = Command::cargo_bin("stillair").unwrap();
            printed = said(command.args(words(typed)).current_dir(folder));
        }
        if let Some(asked) = line.strip_prefix("<!-- shown: ") {
            out.push("```text".to_string());
            out.push(piece(&printed, asked));
            out.push("```".to_string());
            assert_eq!(lines.next(), Some("```text"));
            let _ = lines.by_ref().find(|line| *line == "```");
        }
    }
    out.join("\n") + "\n"
}

/// Of the report, each on its own: with its colours, and a size for whoever shows it without being told one.
fn pictures(report: &str, wanted: &str) -> BTreeMap<String, String> {
    let shown = wanted.match_indices("](pictures/").map(|(at, mark)| {
        let rest = &wanted[at + mark.len()..];
        rest.split_once(".svg)").unwrap().0.to_string()
    });
    shown
        .map(|name| {
            let (_, from) = report
                .split_once(&format!("<svg id=\"picture-{name}\""))
                .unwrap_or_else(|| panic!("the report has no picture {name}"));
            let (head, rest) = from.split_once('>').unwrap();
            let (body, _) = rest.split_once("</svg>").unwrap();
            let (_, size) = head.split_once("viewBox=\"0 0 ").unwrap();
            let (width, height) = size.split_once('"').unwrap().0.split_once(' ').unwrap();
            let style = paint::style();
            let tenth = |size: &str| size.parse::<u32>().unwrap() / 5;
            let text = format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" id=\"picture-{name}\"{head} width=\"{}\" height=\"{}\">\
                 <style>{style}svg{{font-family:sans-serif;background:var(--paper)}}</style>{body}</svg>\n",
                tenth(width),
                tenth(height)
            );
            (name, text)
        })
        .collect()
}

#[test]
fn the_tutorial_is_what_its_commands_print_and_draw() {
    let file = docs().join("tutorial.md");
    let text = std::fs::read_to_string(&file).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let now = renewed(&text, folder.path());
    let report = std::fs::read_to_string(folder.path().join("to-share.html")).unwrap();
    let drawn = pictures(&report, &text);
    assert!(drawn.len() >= 3);
    let at = |name: &str| docs().join("pictures").join(format!("{name}.svg"));
    if std::env::var_os("OVERWRITE").is_some() {
        std::fs::create_dir_all(docs().join("pictures")).unwrap();
        std::fs::write(&file, now).unwrap();
        for (name, picture) in &drawn {
            std::fs::write(at(name), picture).unwrap();
        }
        return;
    }
    assert!(
        text == now,
        "docs/tutorial.md is out of date; OVERWRITE=1 renews it. It would be:\n{now}"
    );
    for (name, picture) in &drawn {
        let kept = std::fs::read_to_string(at(name)).unwrap();
        assert!(
            kept == *picture,
            "docs/pictures/{name}.svg is out of date; OVERWRITE=1 renews it"
        );
    }
}
