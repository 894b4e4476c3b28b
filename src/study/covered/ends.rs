//! The ends of the course, where one side only can be held against the road.

use super::{BESIDE, Bump, Contradiction, GAP, SHAPE_M, SURE, agreed, standard_uncertainty};

/// Of heights at an end of the course, where the road beyond is not known to go on as before.
const LEAST_AT_END_M: f64 = 1.0;
const LONGEST_AT_END: usize = 6;

/// Ends of the course that stand off the road before them, by one step that stays.
pub(super) fn at_ends(all: &[Contradiction]) -> Vec<Bump> {
    let Some(nodes) = all.first().map(|pass| pass.off_m.len()) else {
        return Vec::new();
    };
    let longest = LONGEST_AT_END.min(nodes.saturating_sub(GAP + BESIDE + 1));
    let surest = |of: &dyn Fn(usize) -> Bump| {
        let bumps = (2..=longest).map(of);
        bumps
            .filter(|bump| bump.height_m.abs() >= LEAST_AT_END_M && bump.sure() >= SURE)
            .max_by(|a, b| a.sure().total_cmp(&b.sure()))
    };
    let bump = |from: usize, to: usize, off: &dyn Fn(&Contradiction) -> f64| {
        let (height, variance) = agreed(all, off);
        Bump {
            from,
            to,
            height_m: -height.unwrap_or(0.0),
            standard_uncertainty_m: standard_uncertainty(all, variance).hypot(SHAPE_M),
        }
    };
    let start = surest(&|inside| {
        let beside = inside + GAP..inside + GAP + BESIDE;
        bump(0, inside - 1, &|pass| {
            pass.mean(0, inside) - pass.mean(beside.start, beside.end)
        })
    });
    let finish = surest(&|inside| {
        let from = nodes - inside;
        bump(from, nodes - 1, &|pass| {
            pass.mean(from, nodes) - pass.mean(from - GAP - BESIDE, from - GAP)
        })
    });
    start.into_iter().chain(finish).collect()
}
