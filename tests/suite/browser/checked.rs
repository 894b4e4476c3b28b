//! Contrast, labels, order and roles, by an accessibility checker of others: axe-core, fetched by
//! `tests/fetch_checker`, with all its rules for WCAG 2.0 to 2.2, A and AA, and its best practices.

use super::driver::Browser;
use crate::page::Page;
use serde_json::Value;
use std::path::Path;
use std::process::Command;

fn checker() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let fetched = Command::new(root.join("tests/fetch_checker")).status().unwrap();
    assert!(fetched.success(), "tests/fetch_checker must run");
    std::fs::read_to_string(root.join(".target/axe.min.js")).unwrap()
}

/// Every element that breaks a rule, with the rule.
fn found(browser: &Browser, checker: &str) -> Vec<String> {
    browser.script(checker);
    browser.script("window.found = null; axe.run(document, { resultTypes: ['violations'] }).then((all) => { window.found = all; })");
    browser.until("it is checked", "window.found");
    assert!(
        browser
            .script("return window.found.passes.length")
            .as_u64()
            .unwrap()
            > 10,
        "it did check"
    );
    let all = browser.script(
        "return window.found.violations.flatMap((rule) => rule.nodes.map((one) => \
         `${rule.id}: ${one.html.slice(0, 160)} ${one.failureSummary}`))",
    );
    serde_json::from_value::<Vec<String>>(all).unwrap()
}

const LOOKS: [(u32, u32, &str); 4] = [
    (1280, 960, "light"),
    (1280, 960, "dark"),
    (360, 740, "light"),
    (360, 740, "dark"),
];

#[test]
fn the_page_keeps_the_rules_in_light_and_dark_wide_and_narrow() {
    let page = Page::open();
    let browser = Browser::at(&page.address());
    // With a mark, a pass left out, a difference and a remark, all that can be there is there.
    page.post("/change", &serde_json::json!({ "do": "cut", "start_s": null, "from_m": 400.0, "to_m": 520.0, "reason": "gravel" }));
    let leave = browser.script("return Number(document.querySelector('button[data-leave]').dataset.leave)");
    page.post(
        "/change",
        &serde_json::json!({ "do": "leave-out", "start_s": leave, "reason": "a lorry" }),
    );
    browser.until(
        "both are there",
        "document.querySelector('button[data-exclude]') && document.querySelector('#changes ins')",
    );
    in_every_look(&browser, "page");
    browser.was_quiet(page.port);
}

#[test]
fn the_document_keeps_the_rules_in_light_and_dark_wide_and_narrow() {
    let page = Page::open();
    let file = page.folder().join("report.html");
    let written = Command::new(assert_cmd::cargo::cargo_bin("stillair"))
        .args(["report", "--quiet"])
        .arg(page.folder())
        .status()
        .unwrap();
    assert!(written.success());
    let browser = Browser::at(&format!("file://{}", file.display()));
    in_every_look(&browser, "report");
    assert_eq!(browser.complaints(), Vec::<String>::new());
    let asked = browser.asked_for();
    assert!(
        asked.iter().all(|address| ["file:", "data:", "chrome"]
            .iter()
            .any(|ours| address.starts_with(ours))),
        "{asked:?}"
    );
}

/// Light and dark, wide and narrow: no rule is broken, and nothing is cut off or has to be pushed aside.
fn in_every_look(browser: &Browser, name: &str) {
    let checker = checker();
    for (width, height, scheme) in LOOKS {
        browser.look(width, height, scheme);
        assert_eq!(found(browser, &checker), Vec::<String>::new(), "{width} {scheme}");
        assert_eq!(sideways(browser), 0, "{width}");
        browser.picture(&format!("{name}-{width}-{scheme}.png"));
    }
}

/// How far the page is wider than its window, in pixels.
fn sideways(browser: &Browser) -> Value {
    browser.script("return document.documentElement.scrollWidth - document.documentElement.clientWidth")
}
