use super::paint::{PAPER, Paint, SERIES, SHADE, SHAPES, TEXTS, dash};

/// Relative luminance of a colour `#rrggbb`: WCAG 2.1, definition of relative luminance (M).
fn luminance(colour: &str) -> f64 {
    let part = |at: usize| {
        let value = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()) / 255.0;
        if value <= 0.03928 {
            value / 12.92
        } else {
            ((value + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
}

/// WCAG 2.1, definition of contrast ratio (M).
fn contrast(one: &str, other: &str) -> f64 {
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

fn on(ground: usize, paint: &Paint) -> &'static str {
    [paint.1, paint.2][ground]
}

#[test]
fn the_ratio_is_that_of_the_guideline() {
    // Black on white is 21; #777777 on white is the well-known 4.48 just short of enough (M).
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    assert!((contrast("#777777", "#ffffff") - 4.48).abs() < 0.005);
}

/// WCAG 2.1: text 4.5 (1.4.3), what a picture is made of 3 (1.4.11).
#[test]
fn text_and_marks_stand_out_from_both_grounds() {
    for ground in [0, 1] {
        for behind in [PAPER, SHADE].map(|paint| on(ground, &paint)) {
            for text in &TEXTS {
                let ratio = contrast(on(ground, text), behind);
                assert!(ratio >= 4.5, "{} on {behind}: {ratio}", text.0);
            }
            for mark in &SERIES {
                let ratio = contrast(on(ground, mark), behind);
                assert!(ratio >= 3.0, "{} on {behind}: {ratio}", mark.0);
            }
        }
    }
}

#[test]
fn no_two_of_many_setups_look_alike_and_neighbours_differ_in_everything() {
    let look = |setup: usize| (setup % SERIES.len(), setup % SHAPES.len(), dash(setup));
    for setup in 0..26 {
        for other in 0..setup {
            assert_ne!(look(setup), look(other), "{setup} {other}");
        }
        let (one, next) = (look(setup), look(setup + 1));
        assert!(one.0 != next.0 && one.1 != next.1 && one.2 != next.2);
    }
}
