//! Which of many rides show the roads. A road that was ridden a thousand times is known after a few of them, so what
//! is read grows with the roads and not with the years.

use super::seen::SeenRide;
use std::collections::HashMap;

/// Rides that show a road well enough: its stops, its heights, how often it is ridden through. Judgement, no published
/// source.
pub(super) const ENOUGH: usize = 8;
/// A ride is read where this share of its cells is not yet shown by enough later ones. Judgement, no published source.
const BRINGS: f64 = 0.2;

/// For each ride whether it is to be read. The latest come first: they show the road as it is now.
pub(super) fn for_roads(rides: &[SeenRide]) -> Vec<bool> {
    let mut order: Vec<usize> = (0..rides.len())
        .filter(|place| !rides[*place].cells.is_empty())
        .collect();
    // Of rides that began at once, the first by name; so the order of reading does not matter.
    order.sort_by(|a, b| rides[*b].start_s.total_cmp(&rides[*a].start_s).then(a.cmp(b)));
    let mut shown: HashMap<u64, usize> = HashMap::new();
    let mut chosen = vec![false; rides.len()];
    for place in order {
        let cells = &rides[place].cells;
        let wanting = cells
            .iter()
            .filter(|cell| shown.get(cell).is_none_or(|rides| *rides < ENOUGH))
            .count();
        if wanting as f64 >= BRINGS * cells.len() as f64 {
            chosen[place] = true;
            for cell in cells {
                *shown.entry(*cell).or_insert(0) += 1;
            }
        }
    }
    chosen
}
