//! What is said of heights that power and speed contradict.

use super::Bump;
use crate::warning::Warning;

fn said(bump: &Bump, step_m: f64) -> String {
    format!(
        "between {:.0} and {:.0} m of the course the altitudes stand {:.1} ± {:.1} m {} what power and speed climbed, \
         in every pass alike, as under a bridge",
        bump.from as f64 * step_m,
        bump.to as f64 * step_m,
        bump.height_m.abs(),
        bump.standard_uncertainty_m,
        if bump.height_m > 0.0 { "above" } else { "below" },
    )
}

pub(super) fn mended(bump: &Bump, step_m: f64) -> Warning {
    Warning::new(
        "heights under cover",
        format!(
            "{}; there the climb is taken from power and speed",
            said(bump, step_m)
        ),
        "Nothing where a bridge or a cutting stands. If every pass braked there, choose another stretch or a [[window]].",
    )
}

pub(super) fn at_end(bump: &Bump, step_m: f64) -> Warning {
    let advice = if bump.from == 0 {
        format!("from_m = {:.0}", (bump.to + 3) as f64 * step_m)
    } else {
        format!("to_m = {:.0}", bump.from.saturating_sub(3) as f64 * step_m)
    };
    Warning::new(
        "heights under cover",
        format!(
            "{}; it lies at an end of the course, so the climb from start to finish may be wrong by as much",
            said(bump, step_m)
        ),
        format!("Move the gate away from the bridge, or write [[window]] with {advice}."),
    )
}
