//! Names and notes from files are text, whatever they look like.

use super::driver::Browser;
use crate::page::Page;
use stillair::simulate::{out_and_back_plan, ride_day};
use tempfile::Builder;

const MARKUP: &str = "<script>document.title='taken'</script><img src=x onerror=document.title='taken'>";

#[test]
fn what_looks_like_markup_is_shown_as_it_is_written() {
    let home = Builder::new().prefix("<b>day<").tempdir().unwrap();
    let day = ride_day(&out_and_back_plan(4, "ABBA", -6.0).calm());
    day.write_folder(home.path(), true).unwrap();
    let file = home.path().join("test.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let start = text.find("[[exclude]]").map_or(text.len(), |at| at);
    let named = text[..start].replace("set-up B", MARKUP);
    assert!(named.contains(MARKUP));
    let reason = format!("\n[[cut]]\nfrom_m = 100\nto_m = 200\nreason = \"{MARKUP}\"\n");
    std::fs::write(&file, named + &reason).unwrap();
    std::fs::write(home.path().join("<i>broken<.fit"), "x").unwrap();

    let page = Page::of(home);
    let browser = Browser::at(&page.address());
    for part in ["#answer", "#board", "#stretches"] {
        assert!(
            browser.text(part).contains(MARKUP) || browser.text(part).contains("<script>"),
            "{part}"
        );
    }
    assert!(browser.text("#mind").contains("<i>broken<.fit"));
    assert!(browser.text("h1").contains("<b>day<"));
    for tag in ["main script", "main img", "main b:not(:empty) i", "h1 b"] {
        assert_eq!(
            browser.script(&format!("return document.querySelectorAll({tag:?}).length")),
            0,
            "{tag}"
        );
    }
    assert_ne!(browser.script("return document.title"), "taken");
    browser.was_quiet(page.port);
}
