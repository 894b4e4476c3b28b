//! `[[surface]]`: part of the course on which tyres roll otherwise.

use super::quantity::{CRR, CRR_FACTOR, plain};
use super::section::Section;
use super::{Measured, Surface};

/// In the order of their places. `base`: the Crr of the first set-up, which a `crr` is set against, so that the
/// surface does the same to every tyre.
pub(super) fn read(
    sections: &[Section],
    base: Option<Measured>,
    assumptions: &mut Vec<String>,
) -> Vec<Surface> {
    let mut surfaces: Vec<Surface> = Vec::new();
    for section in sections {
        let Some(surface) = one(section, base, assumptions) else {
            continue;
        };
        let overlaps = |other: &&Surface| surface.from_m < other.to_m && other.from_m < surface.to_m;
        if let Some(other) = surfaces.iter().find(overlaps) {
            section.fault(
                "from_m",
                format!("this surface overlaps the surface of line {}", other.line),
                "Let each end where the next begins.",
            );
        }
        surfaces.push(surface);
    }
    surfaces.sort_by(|a, b| a.from_m.total_cmp(&b.from_m));
    surfaces
}

fn one(section: &Section, base: Option<Measured>, assumptions: &mut Vec<String>) -> Option<Surface> {
    let advice = "Write metres along the course from its start, zero or more.";
    let place = |key: &str, missing: f64| match section.has(key) {
        true => section.number_within(key, 0.0, 100_000.0, advice),
        false => Some(missing),
    };
    let (from_m, to_m) = (place("from_m", 0.0), place("to_m", f64::INFINITY));
    if !section.has("from_m") && !section.has("to_m") {
        section.fault(
            "",
            "this surface has no ends",
            "Write from_m, to_m or both, in metres along the course; [tyres] has the Crr of the whole.",
        );
    }
    let factor = factor(section, base, assumptions);
    let (from_m, to_m) = (from_m?, to_m?);
    if from_m >= to_m {
        section.fault(
            "to_m",
            format!("the surface from {from_m} m to {to_m} m is empty"),
            "Write from_m smaller than to_m.",
        );
    }
    Some(Surface {
        line: section.line,
        from_m,
        to_m,
        crr_factor: factor?,
    })
}

fn factor(section: &Section, base: Option<Measured>, assumptions: &mut Vec<String>) -> Option<Measured> {
    let (of_crr, of_factor) = (section.quantity(&CRR), section.quantity(&CRR_FACTOR));
    if section.has(CRR.key) == section.has(CRR_FACTOR.key) {
        let what = match section.has(CRR.key) {
            true => "both crr and crr_factor say how tyres roll on this surface",
            false => "this surface does not say how tyres roll on it",
        };
        section.fault(
            "",
            what,
            "Write crr = with their rolling resistance there, or crr_factor = times that of [tyres].",
        );
        return None;
    }
    let (typed, quantity, unit) = match section.has(CRR.key) {
        true => (of_crr, &CRR, base?.value),
        false => (of_factor, &CRR_FACTOR, 1.0),
    };
    if typed.uncertainty.is_none() {
        assumptions.push(format!(
            "Rolling resistance of the surface of line {} as in test.toml, ± {} by default ({}).",
            section.line,
            plain(quantity.uncertainty),
            quantity.key
        ));
    }
    Some(Measured {
        value: typed.value? / unit,
        standard_uncertainty: typed.uncertainty.unwrap_or(quantity.uncertainty) / unit,
        given: true,
    })
}

#[cfg(test)]
#[path = "surfaces_tests.rs"]
mod tests;
