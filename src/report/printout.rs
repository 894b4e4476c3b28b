//! A plan → a page to print and take along: HTML that needs nothing but itself.

use super::terminal::plan::{answer, enough, how_to_ride, letters, of_letter};
use super::words::real_minus;
use crate::plan::propose::{Proposal, Purpose};
use crate::plan::told::shape_words;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Black on white, one column, A4; boxes are wide enough for a gloved hand.
const STYLE: &str = "
@page { size: A4; margin: 12mm }
* { box-sizing: border-box }
body { font: 10.5pt/1.35 'Liberation Sans', Arial, sans-serif; color: #000; background: #fff; max-width: 186mm; margin: 8mm auto; padding: 0 4mm }
@media print { body { margin: 0; padding: 0; max-width: none } }
h1 { font-size: 16pt; margin: 0 0 1mm }
h2 { font-size: 11.5pt; margin: 5mm 0 1.5mm; border-bottom: 0.4mm solid #000 }
p, ul { margin: 0 0 1.5mm }
ul { padding-left: 5mm }
.cautions { border: 0.7mm solid #000; padding: 2mm 3mm; margin: 0 0 4mm; break-inside: avoid; font-size: 9.5pt }
.cautions h2 { border: 0; margin: 0 0 1mm }
table { border-collapse: collapse; width: 100% }
th, td { border: 0.25mm solid #000; padding: 0.8mm 1.5mm; text-align: left; vertical-align: top }
th { font-size: 8.5pt; font-weight: bold }
th code { font-weight: normal; font-size: 7pt }
tr { break-inside: avoid }
thead { display: table-header-group }
.box { width: 17mm; height: 10.5mm }
.number { text-align: right; white-space: nowrap }
.line { border-bottom: 0.25mm solid #000; display: inline-block; min-width: 55mm }
code { font-family: 'Liberation Mono', monospace; font-size: 9pt }
";

/// `cautions`: a heading, then one a line behind a dash, then a sentence that closes them.
pub fn printout(proposal: &Proposal, cautions: &str) -> String {
    let title = proposal.title.as_deref().unwrap_or("Test day");
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) ": sheet to take along" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (title) }
                (cautions_box(cautions))
                h2 { "The day" }
                @for sentence in answer(proposal) { p { (real_minus(&sentence)) } }
                p { (legend(proposal)) }
                (course(proposal))
                h2 { "How to ride it" }
                ul { @for sentence in how_to_ride(proposal) { li { (real_minus(&sentence)) } } }
                h2 { "Blocks, in this order" }
                (blocks(proposal))
                (air())
                h2 { "Afterwards" }
                p {
                    "Put the recordings into the folder of the plan and write what you noted into "
                    code { "test.toml" } ": names in the small print are its keys. A block that went wrong: ride it again, \
                    and write the spoilt passes as a block of set-up " code { "\"none\"" } ". "
                    (enough(proposal))
                }
            }
        }
    }
    .into_string()
}

fn cautions_box(cautions: &str) -> Markup {
    let items: Vec<&str> = cautions
        .lines()
        .filter_map(|line| line.strip_prefix("- "))
        .collect();
    let others: Vec<&str> = cautions.lines().filter(|line| !line.starts_with("- ")).collect();
    html! {
        section class="cautions" {
            @if let Some(first) = others.first() { h2 { (first) } }
            ul { @for item in items { li { (item) } } }
            @for sentence in others.iter().skip(1) { p { (sentence) } }
        }
    }
}

/// "A = vented helmet, B = closed helmet".
fn legend(proposal: &Proposal) -> String {
    let count = proposal.order.iter().max().map_or(0, |most| most + 1);
    let said: Vec<String> = (0..count)
        .map(|place| {
            format!(
                "{} = {}",
                super::terminal::letter(place),
                of_letter(proposal, place)
            )
        })
        .collect();
    format!("{}. Order: {}.", said.join(", "), letters(proposal))
}

fn course(proposal: &Proposal) -> Markup {
    let gates = proposal.place.gates_deg(proposal.shape);
    let at = |[latitude, longitude]: [f64; 2]| format!("{latitude:.5}, {longitude:.5}");
    let names: &[&str] = if gates.is_some_and(|(_, finish)| finish.is_none()) {
        &["Start and finish"]
    } else {
        &["Start", "Finish"]
    };
    let places: Vec<String> = gates
        .map(|(start, finish)| [Some(start), finish].into_iter().flatten().map(at).collect())
        .unwrap_or_default();
    html! {
        h2 { "The course" }
        p {
            (real_minus(&format!(
                "{}, {:.0} m, {:+.1} m from start to finish. {}",
                capital(shape_words(proposal.shape)),
                proposal.place.road.length_m,
                proposal.place.climb_m(),
                proposal.place.source
            )))
        }
        @for (place, name) in names.iter().enumerate() {
            p {
                (name) " gate"
                @if let Some(at) = places.get(place) { " at " (real_minus(at)) }
                ". Landmark to know it by: " span class="line" {}
            }
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn blocks(proposal: &Proposal) -> Markup {
    let what = match proposal.purpose {
        Purpose::TwoSpeed => "What to do",
        _ => "Set-up, and what to change",
    };
    html! {
        table {
            thead {
                tr {
                    th { "" }
                    th { (what) }
                    th { "Passes" }
                    th { "Target" }
                    th { "Clock, start" }
                    th { "Wind, m/s" br; code { "wind_" wbr; "speed_" wbr; "m_s" } }
                    th { "From, °" br; code { "wind_" wbr; "from_deg" } }
                    th { "Meter's zero, N m" br; code { "power_" wbr; "zero_nm" } }
                    th { "Tyres, bar" br; code { "tyre_" wbr; "pressure_" wbr; "bar" } }
                }
            }
            tbody {
                @for (number, block) in proposal.blocks.iter().enumerate() {
                    tr {
                        td class="number" { (number + 1) " " b { (super::terminal::letter(proposal.order[number])) } }
                        td { (capital(&block.before)) }
                        td class="number" { (block.passes) }
                        td class="number" { (format!("{:.0} W", proposal.powers_w[number])) }
                        @for _ in 0..5 { td class="box" {} }
                    }
                }
            }
        }
        p { "Read the power meter's zero before you set it anew. Wind: at rider height, beside the road, just before the block." }
    }
}

fn air() -> Markup {
    html! {
        h2 { "The air, before, halfway and after" }
        table {
            thead {
                tr {
                    th { "Time" br; code { "time" } }
                    th { "Temperature, °C, in the shade" br; code { "temperature_c" } }
                    th { "Pressure at the road, hPa" br; code { "pressure_hpa" } }
                    th { "Humidity, %" br; code { "relative_humidity_percent" } }
                }
            }
            tbody { @for _ in 0..3 { tr { @for _ in 0..4 { td class="box" {} } } } }
        }
        p { "They go into " code { "[[air]]" } ", a table for each time." }
    }
}
