//! How long it takes from a move of the pointer to the answer drawn anew, in a real browser. Nothing is asserted of it:
//!
//!     cargo test --release --test suite browser::timing -- --ignored --nocapture

use super::driver::Browser;
use crate::page::Page;
use stillair::simulate::{out_and_back_plan, ride_day};

const MOVES: u32 = 200;

#[test]
#[ignore = "it measures, and asserts nothing"]
fn from_a_move_to_the_answer_drawn_anew() {
    let home = tempfile::tempdir().unwrap();
    let day = ride_day(&out_and_back_plan(11, "ABBABAAB", -4.0));
    assert_eq!(day.passes.len(), 16);
    day.write_folder(home.path(), true).unwrap();
    let page = Page::of(home);
    let browser = Browser::at(&page.address());
    browser.script(
        "window.times = []; const board = document.querySelector('#board'); let moved = 0;
         board.addEventListener('pointermove', () => { moved = performance.now(); }, true);
         new MutationObserver(() => {
           const since = moved;
           // The frame after the next one begins when this one is painted.
           requestAnimationFrame(() => setTimeout(() => window.times.push(performance.now() - since)));
         }).observe(board, { childList: true });",
    );
    let [left, y] = browser.place("#line-all .lane", 0.2);
    let right = browser.place("#line-all .lane", 0.6)[0];
    // Shorter ones are no marks yet.
    let shortest = left + 20.0;
    browser.press_at([left, y]);
    for step in 1..=MOVES {
        browser.move_to([
            shortest + (right - shortest) * f64::from(step) / f64::from(MOVES),
            y,
        ]);
        browser.until("it is drawn", &format!("window.times.length >= {step}"));
    }
    browser.let_go();
    let mut times: Vec<f64> = serde_json::from_value(browser.script("return window.times")).unwrap();
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[(share * times.len() as f64) as usize];
    println!(
        "{} moves on a day of 16 passes: median {:.0} ms, 95th percentile {:.0} ms, largest {:.0} ms",
        times.len(),
        at(0.5),
        at(0.95),
        times[times.len() - 1]
    );
}
