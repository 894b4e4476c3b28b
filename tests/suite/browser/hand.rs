//! With a mouse: marks are pulled, answers follow, files are dropped, and nothing is written unasked.

use super::driver::{Browser, CONTROL, SHIFT};
use crate::page::{Page, compare_json};
use base64::Engine;
use serde_json::{Value, json};
use stillair::simulate::{out_and_back_plan, ride_day};

const FIRST: &str = ".line[data-start] .lane";

/// Kept, and nothing under way.
const AT_REST: &str = "!document.body.classList.contains('trying')";

#[test]
fn a_stretch_is_pulled_and_the_answer_follows_while_the_file_stays() {
    let page = Page::open();
    let (file, numbers) = (page.test_toml(), page.get("/numbers").json());
    let browser = Browser::at(&page.address());
    let at_first = browser.text("#answer");

    let [left, y] = browser.place(FIRST, 0.3);
    let right = browser.place(FIRST, 0.5)[0];
    browser.press_at([left, y]);
    let mut seen = at_first.clone();
    for share in [0.3, 0.6, 1.0] {
        browser.move_to([left + share * (right - left), y]);
        browser.until_changed("#answer", &seen);
        seen = browser.text("#answer");
    }
    browser.until(
        "a try is shown as one",
        "document.body.classList.contains('trying')",
    );
    assert_eq!(page.get("/numbers").json(), numbers, "a try is not kept");
    browser.let_go();
    browser.until(
        "it is kept",
        &format!("{AT_REST} && !document.querySelector('#undo').disabled"),
    );
    let kept = browser.text("#answer");
    assert_ne!(kept, at_first);
    assert_ne!(page.get("/numbers").json(), numbers);
    assert_eq!(page.test_toml(), file, "nothing is written unasked");

    // Its end, further along.
    let end = ".end[data-end=to]";
    let [x, y] = browser.place(end, 0.5);
    let there = browser.place(FIRST, 0.65)[0];
    let changes = browser.text("#changes");
    browser.press_at([x, y]);
    browser.move_to([there, y]);
    browser.until_changed("#answer", &kept);
    browser.let_go();
    browser.until_changed("#changes", &changes);
    browser.until("it is kept", AT_REST);
    let pulled = browser.text("#answer");
    assert_ne!(pulled, kept);

    // Back by the button, back by keys, and forth again.
    browser.click("#undo");
    browser.until(
        "one step is undone",
        &format!(
            "document.querySelector('#answer').textContent === {}",
            json!(kept)
        ),
    );
    browser.keys(&[CONTROL], "z");
    browser.until(
        "all is undone",
        &format!(
            "document.querySelector('#answer').textContent === {}",
            json!(at_first)
        ),
    );
    browser.keys(&[CONTROL, SHIFT], "z");
    browser.until(
        "one step is redone",
        &format!(
            "document.querySelector('#answer').textContent === {}",
            json!(kept)
        ),
    );
    assert_eq!(page.test_toml(), file);
    browser.was_quiet(page.port);
}

#[test]
fn what_is_written_is_the_difference_that_was_shown() {
    let page = Page::open();
    let before = page.test_toml();
    let browser = Browser::at(&page.address());
    assert!(browser.text("#changes").contains("stays as it is"));
    let [left, y] = browser.place("#line-all .lane", 0.2);
    let right = browser.place("#line-all .lane", 0.4)[0];
    browser.press_at([left, y]);
    browser.move_to([right, y]);
    browser.let_go();
    browser.until("a difference is shown", "document.querySelector('#changes ins')");
    let added =
        browser.script("return [...document.querySelectorAll('#changes ins')].map((one) => one.textContent)");
    let added: Vec<String> = serde_json::from_value(added).unwrap();
    assert_eq!(
        browser.script("return document.querySelectorAll('#changes del').length"),
        0
    );
    assert_eq!(page.test_toml(), before);
    browser.click("#write");
    browser.until("it is written", "document.querySelector('#write').disabled");
    let written = page.test_toml();
    let new = written
        .strip_prefix(&before)
        .expect("what was there stays byte for byte");
    let shown: Vec<&str> = added
        .iter()
        .map(|line| line.strip_prefix("+ ").unwrap())
        .collect();
    assert_eq!(new.lines().collect::<Vec<_>>(), shown);
    assert!(new.contains("[[cut]]"), "{new}");
    assert_eq!(page.get("/numbers").json(), compare_json(page.folder()));
    browser.was_quiet(page.port);
}

/// What was refused on purpose is all that the browser may complain of, and it does.
fn only_refused(browser: &Browser, path: &str) {
    let complaints = browser.complaints();
    assert!(!complaints.is_empty(), "a refusal is logged");
    let refused = |one: &String| one.contains(path) && one.contains("422");
    assert!(complaints.iter().all(refused), "{complaints:?}");
}

fn drop_file(browser: &Browser, name: &str, bytes: &[u8]) {
    let text = base64::engine::general_purpose::STANDARD.encode(bytes);
    browser.script_with(
        "const [name, text] = arguments;
         const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
         const dataTransfer = new DataTransfer();
         dataTransfer.items.add(new File([bytes], name));
         for (const kind of ['dragover', 'drop'])
           document.body.dispatchEvent(new DragEvent(kind, { dataTransfer, bubbles: true, cancelable: true }));",
        vec![Value::from(name), Value::from(text)],
    );
}

#[test]
fn rides_are_dropped_in_and_a_damaged_one_is_shown_as_such() {
    let page = Page::open();
    let browser = Browser::at(&page.address());
    let at_first = browser.text("#passes");
    drop_file(&browser, "damaged.fit", b"no recording at all");
    browser.until(
        "it is told",
        "document.querySelector('#mind').textContent.includes('damaged.fit')",
    );
    assert_eq!(browser.text("#passes"), at_first, "the whole ones stay");

    // A ride of an hour later on the same road, after which the blocks do not add up: said, and the page stays usable.
    let later = ride_day(&out_and_back_plan(4, "AB", -6.0).calm());
    let elsewhere = tempfile::tempdir().unwrap();
    let rides = later.write_files(elsewhere.path()).unwrap();
    std::fs::remove_file(page.folder().join("damaged.fit")).unwrap();
    browser.until(
        "its loss is seen",
        "!document.querySelector('#mind').textContent.includes('damaged.fit')",
    );
    drop_file(&browser, "later.fit", &std::fs::read(&rides[0]).unwrap());
    browser.until(
        "the ride is read",
        "document.querySelector('#mind').textContent.includes('later.fit')",
    );
    assert!(page.folder().join("later.fit").exists());

    drop_file(&browser, "later.fit", b"another");
    browser.until(
        "it is refused",
        "document.querySelector('#trouble').textContent.includes('later.fit')",
    );
    assert_eq!(
        std::fs::read(page.folder().join("later.fit")).unwrap(),
        std::fs::read(&rides[0]).unwrap()
    );
    only_refused(&browser, "/drop/later.fit");
    browser.was_quiet(page.port);
}

fn type_into(browser: &Browser, css: &str, text: &str) {
    browser.click(css);
    browser.keys(&[], text);
}

#[test]
fn the_air_is_typed_as_read_or_as_a_station_reports_it() {
    let home = tempfile::tempdir().unwrap();
    let day = ride_day(&out_and_back_plan(4, "ABBA", -6.0).calm());
    let written = day.test_toml(true);
    let (head, rest) = written.split_once("[[air]]").unwrap();
    let (_, tail) = rest.split_once("\n[").unwrap();
    let without = format!("{head}[{tail}");
    day.write_with(home.path(), &without).unwrap();
    let page = Page::of(home);
    let before = page.test_toml();
    let browser = Browser::at(&page.address());
    let at_first = browser.text("#answer");

    type_into(&browser, "#add-temperature_c", "18,5");
    type_into(&browser, "#add-pressure_hpa", "much");
    type_into(&browser, "#add-relative_humidity_percent", "60");
    browser.click("#add-air");
    browser.until(
        "it is refused",
        "document.querySelector('#trouble').textContent.includes('no number')",
    );
    browser.script("document.querySelector('#add-pressure_hpa').value = ''");
    type_into(&browser, "#add-pressure_hpa", "998.9");
    assert_eq!(
        browser.script("return document.querySelector('#add-temperature_c').value"),
        "18,5",
        "what was typed stays"
    );
    browser.click("#add-air");
    browser.until(
        "it is taken",
        "document.querySelector('#changes').textContent.includes('temperature_c = 18.5')",
    );
    assert_ne!(browser.text("#answer"), at_first);
    assert_eq!(page.test_toml(), before);

    browser.keys(&[CONTROL], "z");
    browser.until("it is undone", "document.querySelector('#add-air')");
    type_into(&browser, "#add-report", "METAR XXXX 160620Z 24003KT 19/09 Q1013");
    browser.click("#add-metar");
    browser.until("the report is taken", "document.querySelector('#remove-air-0')");
    assert!(browser.text("#changes").contains("metar = "));
    assert_ne!(browser.text("#answer"), at_first);
    browser.click("#remove-air-0");
    browser.until("it is taken away", "document.querySelector('#add-air')");
    assert_eq!(browser.text("#answer"), at_first);
    only_refused(&browser, "/change");
    browser.was_quiet(page.port);
}
