//! Strips to work on: what is left over along the course, a strip for each pass and a ruler above them.
//!
//! As wide as whatever holds them: places along the course are shares of the width, so that whoever points at one knows
//! its metre.

use super::draw::route;
use super::paint::{dash, series};
use super::scale::Scale;
use crate::report::words::signed;
use crate::study::{Compared, Elevations, PassResult};
use crate::test_day::edit::Stretches;
use crate::test_day::{Cut, PassRef, TestDay, Window};
use maud::{Markup, html};

/// Of a strip, in pixels.
pub const HEIGHT: i32 = 64;
const RULER: i32 = 44;
/// Units of the drawing from start to finish.
const WIDE: i32 = 2000;
/// The lane of the curve, and that of the bars below it.
const CURVE: [i32; 2] = [40, 3];
const BARS: [i32; 2] = [62, 42];

/// A stretch written in `test.toml`.
#[derive(Debug, Clone, PartialEq)]
pub struct Marked {
    pub list: Stretches,
    /// Among the others of its list.
    pub place: usize,
    pub from_m: f64,
    pub to_m: f64,
    /// `None`: of all passes.
    pub pass: Option<PassRef>,
    pub reason: Option<String>,
}

impl Marked {
    pub fn is_of(&self, number: usize, start_s: f64) -> bool {
        self.pass
            .is_some_and(|pass| pass.off_s(number, start_s).is_some())
    }

    /// As a part of the name of a thing on the page.
    pub fn id(&self) -> String {
        match self.list {
            Stretches::Cuts => format!("cut-{}", self.place),
            Stretches::Windows => format!("window-{}", self.place),
        }
    }
}

/// Every cut and window of a day.
pub fn marked(day: &TestDay, length_m: f64) -> Vec<Marked> {
    let cut = |(place, cut): (usize, &Cut)| Marked {
        list: Stretches::Cuts,
        place,
        from_m: cut.from_m,
        to_m: cut.to_m,
        pass: cut.pass,
        reason: cut.reason.clone(),
    };
    let window = |(place, window): (usize, &Window)| Marked {
        list: Stretches::Windows,
        place,
        from_m: window.from_m.unwrap_or(0.0),
        to_m: window.to_m.unwrap_or(length_m),
        pass: window.pass,
        reason: None,
    };
    let cuts = day.cuts.iter().enumerate().map(cut);
    cuts.chain(day.windows.iter().enumerate().map(window)).collect()
}

/// What all strips have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Common {
    pub length_m: f64,
    /// The largest of all that count.
    pub apart_m: f64,
    pub left_over_j: f64,
}

pub fn common(compared: &Compared) -> Common {
    let of = |values: &dyn Fn(&Elevations) -> Vec<f64>| {
        let counted = compared.passes.iter().filter(|result| result.kept);
        counted
            .filter_map(|result| result.elevation.as_ref())
            .flat_map(values)
            .map(f64::abs)
            .fold(0.0, f64::max)
    };
    Common {
        length_m: compared.surveyed.ridden.course.length_m(),
        apart_m: of(&Elevations::apart_m),
        left_over_j: of(&|seen| seen.left_over_j.clone()),
    }
}

/// Metres along the course, and what belongs to all passes.
pub fn ruler(common: &Common, marked: &[Marked]) -> Markup {
    let x = Scale::holding([0.0, common.length_m], 0.0, [0, WIDE]);
    let ticks = x.ticks(6, false);
    html! {
        svg class="strip ruler" width="100%" height=(RULER) role="presentation" {
            (hatch())
            @for tick in &ticks {
                @let share = share(f64::from(tick.at), f64::from(WIDE));
                line class="rule" x1=(share) x2=(share) y1="20" y2=(RULER) {}
            }
            @for one in marked.iter().filter(|one| one.pass.is_none()) { (band(one, common, RULER)) }
            // Over the marks, to be read through them.
            @for tick in &ticks {
                @let share = share(f64::from(tick.at), f64::from(WIDE));
                @let end = if tick.at * 10 > 9 * WIDE { Some("end") } else { None };
                text class="soft" x=(share) y="14" text-anchor=[end] { (tick.text) @if end.is_some() { " m" } }
            }
        }
    }
}

/// `None` where nothing is known along the course.
pub fn strip(compared: &Compared, result: &PassResult, common: &Common, marked: &[Marked]) -> Option<Markup> {
    let seen = result.elevation.as_ref()?;
    let pass = &compared.surveyed.ridden.passes[result.pass];
    let x = Scale::holding([0.0, common.length_m], 0.0, [0, WIDE]);
    let y = Scale::holding([-common.apart_m, common.apart_m], 0.0, CURVE);
    let bar = Scale::holding([-common.left_over_j, common.left_over_j], 0.0, BARS);
    let curve: Vec<[i32; 2]> = seen
        .along_m
        .iter()
        .zip(seen.apart_m())
        .map(|(along_m, apart_m)| [x.at(*along_m), y.at(apart_m)])
        .collect();
    let zero = bar.at(0.0);
    let bars: String = seen
        .along_m
        .windows(2)
        .zip(&seen.left_over_j)
        .map(|(edges, left_j)| {
            let (from, to) = (x.at(edges[0].min(edges[1])), x.at(edges[0].max(edges[1])));
            format!("M{} {zero}V{}H{}V{zero}z", from + 2, bar.at(*left_j), to - 2)
        })
        .collect();
    let setup = result.setup.unwrap_or(0);
    let kind = if result.kept { "counts" } else { "left-out" };
    let of_it = |one: &&Marked| one.is_of(pass.number, pass.start_s);
    let of_all = |one: &&Marked| one.pass.is_none();
    Some(html! {
        svg class=(format!("strip {} {kind}", series(setup))) width="100%" height=(HEIGHT) role="presentation" {
            @for [from_m, to_m] in not_counted(&result.fitted_m, common.length_m).into_iter().filter(|_| result.kept) {
                rect class="not-counted" x=(share(from_m, common.length_m)) y="0"
                    width=(share(to_m - from_m, common.length_m)) height=(HEIGHT) {}
            }
            @for one in marked.iter().filter(of_all) { (faint(one, common)) }
            svg width="100%" height=(HEIGHT) viewBox=(format!("0 0 {WIDE} {HEIGHT}")) preserveAspectRatio="none" aria-hidden="true" {
                path class="rule" d=(format!("M0 {}H{WIDE}M0 {zero}H{WIDE}", y.at(0.0))) {}
                path class="bars" d=(bars) {}
                path class="curve" stroke-dasharray=[dash(setup).map(|_| "9 4")] d=(route(&curve, false)) {}
            }
            @for one in marked.iter().filter(of_it) { (band(one, common, HEIGHT)) }
        }
    })
}

/// What stands at each piece of a strip, ready to be shown: the metres of its edges and a line for each piece, both
/// from the start of the course.
pub fn readings(seen: &Elevations) -> (String, String) {
    let mut pieces: Vec<([f64; 2], String)> = seen
        .along_m
        .windows(2)
        .zip(seen.apart_m().windows(2))
        .zip(&seen.left_over_j)
        .map(|((edges, apart), left_j)| {
            let [low, high] = [edges[0].min(edges[1]), edges[0].max(edges[1])];
            let middle_m = 0.5 * (apart[0] + apart[1]);
            let said = format!(
                "{low:.0} to {high:.0} m: apart {} m, left over {} J",
                signed(middle_m, 2),
                signed(*left_j, 0)
            );
            ([low, high], said)
        })
        .collect();
    pieces.sort_by(|a, b| a.0[0].total_cmp(&b.0[0]));
    let mut edges: Vec<String> = pieces.iter().map(|([low, _], _)| format!("{low:.1}")).collect();
    edges.extend(pieces.last().map(|([_, high], _)| format!("{high:.1}")));
    let said: Vec<String> = pieces.into_iter().map(|(_, said)| said).collect();
    (edges.join(" "), said.join("|"))
}

fn share(part: f64, whole: f64) -> String {
    format!("{:.2}%", 100.0 * (part / whole).clamp(0.0, 1.0))
}

fn not_counted(fitted_m: &[(f64, f64)], length_m: f64) -> Vec<[f64; 2]> {
    let mut gaps = Vec::new();
    let mut at_m = 0.0;
    for (from_m, to_m) in fitted_m {
        gaps.push([at_m, *from_m]);
        at_m = *to_m;
    }
    gaps.push([at_m, length_m]);
    gaps.retain(|[from_m, to_m]| to_m - from_m > 0.5);
    gaps
}

/// Of all passes, seen in the strip of one.
fn faint(one: &Marked, common: &Common) -> Markup {
    html! {
        @if one.list == Stretches::Cuts {
            rect class="faint" fill="url(#hatch)" x=(share(one.from_m, common.length_m)) y="0"
                width=(share(one.to_m - one.from_m, common.length_m)) height=(HEIGHT) {}
        }
    }
}

/// A stretch with ends that can be pulled.
fn band(one: &Marked, common: &Common, height: i32) -> Markup {
    let (class, fill, named) = match one.list {
        Stretches::Cuts => ("band cut", Some("url(#hatch)"), "left out"),
        Stretches::Windows => ("band window", None, "kept alone"),
    };
    let list = match one.list {
        Stretches::Cuts => "cuts",
        Stretches::Windows => "windows",
    };
    html! {
        rect class=(class) fill=[fill] x=(share(one.from_m, common.length_m)) y="0"
            width=(share(one.to_m - one.from_m, common.length_m)) height=(height) {}
        @for (end, at_m) in [("from", one.from_m), ("to", one.to_m)] {
            @let at = share(at_m, common.length_m);
            g id=(format!("{}-{end}", one.id())) class="end" tabindex="0" role="slider"
                aria-label=(format!("{end} where it is {named}, m"))
                aria-valuemin="0" aria-valuemax=(format!("{:.0}", common.length_m)) aria-valuenow=(format!("{at_m:.0}"))
                data-list=(list) data-place=(one.place) data-end=(end)
                data-from=(one.from_m) data-to=(one.to_m) {
                line class="grip" x1=(at) x2=(at) y1="0" y2=(height) {}
                line class="edge" x1=(at) x2=(at) y1="0" y2=(height) {}
            }
        }
    }
}

fn hatch() -> Markup {
    html! {
        defs {
            pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                rect class="hatch" width="2.4" height="7" {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_count_is_what_is_left_of_the_course() {
        assert_eq!(
            not_counted(&[(0.0, 100.0), (150.0, 900.0)], 1000.0),
            [[100.0, 150.0], [900.0, 1000.0]]
        );
        assert_eq!(not_counted(&[(0.0, 1000.0)], 1000.0), [[0.0; 2]; 0]);
    }

    #[test]
    fn readings_stand_from_the_start_of_the_course_whichever_way_it_was_ridden() {
        let seen = Elevations {
            along_m: vec![50.0, 25.0, 0.0],
            virtual_m: vec![0.0, 0.5, 0.2],
            shared_m: vec![0.0, 0.1, 0.2],
            left_over_j: vec![320.0, -320.0],
            left_over_m: None,
        };
        let (edges, said) = readings(&seen);
        assert_eq!(edges, "0.0 25.0 50.0");
        assert_eq!(
            said,
            "0 to 25 m: apart +0.20 m, left over −320 J|25 to 50 m: apart +0.20 m, left over +320 J"
        );
    }
}
