//! Colours, shapes and dashes.
//!
//! The colours of series are of the set that Okabe and Ito chose for people of any colour vision (Color Universal
//! Design, 2008; M): on a light ground those that stand out from it, on a dark ground their light ones.

/// A name of a CSS property with its value on a light and on a dark ground.
pub type Paint = (&'static str, &'static str, &'static str);

pub const PAPER: Paint = ("--paper", "#ffffff", "#12171a");
/// Behind what belongs together.
pub const SHADE: Paint = ("--shade", "#edf1f2", "#20292e");
pub const INK: Paint = ("--ink", "#1b2226", "#e8ecee");
pub const SOFT: Paint = ("--soft", "#4a565d", "#b0bbc1");
pub const RULE: Paint = ("--rule", "#c6cfd3", "#3c484e");
pub const LINK: Paint = ("--link", "#00588a", "#7cc4ee");

/// Of set-ups, in turn.
pub const SERIES: [Paint; 5] = [
    ("--s0", "#0072b2", "#56b4e9"),
    ("--s1", "#d55e00", "#e69f00"),
    ("--s2", "#007d5c", "#009e73"),
    ("--s3", "#000000", "#f0e442"),
    ("--s4", "#b3578c", "#cc79a7"),
];

/// Whose contrast with paper and shade is that of text.
pub const TEXTS: [Paint; 3] = [INK, SOFT, LINK];

/// Round a point: circle, square, triangle, diamond, triangle on its tip, cross.
pub(super) const SHAPES: [&str; 6] = [
    "m-42 0a42 42 0 1 0 84 0a42 42 0 1 0 -84 0z",
    "m-38 -38h76v76h-76z",
    "m0 -48l46 82h-92z",
    "m0 -54l54 54l-54 54l-54 -54z",
    "m0 48l46 -82h-92z",
    "m-16 -46h32v30h30v32h-30v30h-32v-30h-30v-32h30z",
];

const DASHES: [Option<&str>; 4] = [None, Some("90 50"), Some("20 40"), Some("110 40 20 40")];

/// The class that colours a set-up's marks.
pub fn series(setup: usize) -> String {
    format!("s{}", setup % SERIES.len())
}

pub(super) fn dash(setup: usize) -> Option<&'static str> {
    DASHES[setup % DASHES.len()]
}

/// Custom properties of one ground: `0` light, `1` dark.
fn properties(ground: usize) -> String {
    [PAPER, SHADE, INK, SOFT, RULE, LINK]
        .iter()
        .chain(&SERIES)
        .map(|(name, light, dark)| format!("{name}:{};", [light, dark][ground]))
        .collect()
}

/// Rules of all pictures, for whichever document shows them.
pub fn style() -> String {
    let series: String = (0..SERIES.len())
        .map(|s| format!(".s{s}{{color:var(--s{s})}}"))
        .collect();
    let (light, dark) = (properties(0), properties(1));
    format!(
        ":root{{color-scheme:light dark;{light}}}\
         @media (prefers-color-scheme:dark){{:root{{{dark}}}}}\
         @media print{{:root{{{light}}}}}{series}{RULES}"
    )
}

const RULES: &str = "\
svg.picture{display:block;width:100%;height:auto;font-size:130px;overflow:visible}\
svg.picture text{fill:var(--ink)}\
svg.picture text.soft{fill:var(--soft)}\
svg.picture text.strong{font-weight:600}\
svg.picture .rule{stroke:var(--rule);stroke-width:8;fill:none}\
svg.picture .zero{stroke:var(--soft);stroke-width:14;fill:none}\
svg.picture .shared{stroke:var(--soft);stroke-width:16;fill:none;stroke-dasharray:60 40}\
svg.picture .shade{fill:var(--shade)}\
svg.picture .bar{fill:var(--soft)}\
svg.picture .outlined{fill:var(--paper);stroke:var(--soft);stroke-width:14}\
svg.picture .road{stroke:var(--ink);stroke-width:34;fill:none;stroke-linejoin:round}\
svg.picture .gate{stroke:var(--ink);stroke-width:26;fill:none}\
svg.picture .dot{fill:currentColor}\
svg.picture .hollow{fill:var(--paper);stroke:currentColor;stroke-width:16}\
svg.picture .curve{stroke:currentColor;stroke-width:20;fill:none;stroke-linejoin:round}\
svg.picture .thin .curve{stroke-width:11}\
svg.picture .interval{stroke:currentColor;stroke-width:18;fill:none}\
svg.picture .odd{stroke:var(--ink);stroke-width:16;fill:none}";
