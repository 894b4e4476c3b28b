//! Without a mouse: everything can be done from the keyboard, and it is always to be seen where one is.

use super::driver::{Browser, DELETE, END, ENTER, ESCAPE, HOME, RIGHT, SHIFT, TAB};
use crate::page::Page;

/// Tabs on until the element that has the focus matches; every stop on the way must show that it has it.
fn tab_to(browser: &Browser, css: &str) {
    for _ in 0..200 {
        browser.key(TAB);
        let stop = browser.script(&format!(
            "const one = document.activeElement;
             if (one === document.body) return 'nowhere';
             const edge = one.querySelector('.edge');
             const shown = getComputedStyle(edge || one);
             const box = one.getBoundingClientRect();
             if (!edge && shown.outlineStyle === 'none') return 'unseen: ' + one.outerHTML.slice(0, 200);
             if (box.bottom < 0 || box.top > innerHeight) return 'out of sight: ' + one.outerHTML.slice(0, 200);
             return one.matches({css:?}) ? 'there' : 'on the way'"
        ));
        match stop.as_str().unwrap() {
            "there" => return,
            "on the way" | "nowhere" => {}
            bad => panic!("{bad}"),
        }
    }
    panic!("no way by Tab to {css}");
}

fn has_focus(browser: &Browser, css: &str) -> bool {
    browser.script(&format!("return document.activeElement.matches({css:?})")) == true
}

#[test]
fn from_the_first_tab_to_what_is_written() {
    let page = Page::open();
    let before = page.test_toml();
    let browser = Browser::at(&page.address());
    let at_first = browser.text("#answer");

    // A mark of 200 m on the first pass.
    tab_to(&browser, ".line[data-start]");
    browser.key(HOME);
    browser.keys(&[], &RIGHT.to_string().repeat(30));
    assert!(
        browser.text("#reading").starts_with("Pass 1"),
        "{}",
        browser.text("#reading")
    );
    browser.key(ENTER);
    browser.keys(&[], &RIGHT.to_string().repeat(20));
    browser.until_changed("#answer", &at_first);
    browser.key(ENTER);
    browser.until("it is kept", "document.querySelector('#changes ins')");
    assert!(
        browser.text("#changes").contains("from_m = 300"),
        "{}",
        browser.text("#changes")
    );
    assert!(browser.text("#changes").contains("to_m = 500"));
    assert!(
        has_focus(&browser, ".line[data-start]"),
        "the focus is where it was"
    );

    // Its end, 10 m and 3 m on.
    tab_to(&browser, ".end[data-end=to]");
    browser.key(RIGHT);
    browser.keys(&[SHIFT], &RIGHT.to_string().repeat(3));
    browser.key(ENTER);
    browser.until(
        "the end is kept",
        "document.querySelector('#changes').textContent.includes('to_m = 513')",
    );
    assert!(has_focus(&browser, ".end[data-end=to]"));

    // Given up, and taken away.
    tab_to(&browser, ".line[data-start]");
    let kept = browser.text("#answer");
    browser.key(HOME);
    browser.key(ENTER);
    browser.keys(&[], &RIGHT.to_string().repeat(70));
    browser.until_changed("#answer", &kept);
    browser.key(ESCAPE);
    browser.until(
        "the try is dropped",
        &format!(
            "document.querySelector('#answer').textContent === {}",
            serde_json::json!(kept)
        ),
    );
    browser.key(END);
    assert!(browser.text("#reading").starts_with("Pass "));

    // A pass is left out, with a reason.
    tab_to(&browser, "#reason");
    browser.keys(&[], "a lorry overtook");
    tab_to(&browser, "button[data-leave]");
    browser.key(ENTER);
    browser.until(
        "it is left out",
        "document.querySelector('#changes').textContent.includes('[[exclude]]')",
    );
    assert!(browser.text("#changes").contains("a lorry overtook"));
    assert_eq!(page.test_toml(), before);

    // Written.
    browser.go(&page.address());
    tab_to(&browser, "#write");
    browser.key(ENTER);
    browser.until("it is written", "document.querySelector('#write').disabled");
    let written = page.test_toml();
    let new = written.strip_prefix(&before).unwrap();
    assert!(new.contains("[[exclude]]") && new.contains("to_m = 513"), "{new}");

    // And the mark is taken away again.
    tab_to(&browser, ".end[data-end=from]");
    browser.key(DELETE);
    browser.until("it is taken away", "document.querySelector('#changes del')");
    browser.was_quiet(page.port);
}
