//! Windows → roads, each once, in a few lengths.

use super::net::Net;
use super::windows::Window;
use std::collections::HashMap;

/// Windows that share more than this of the shorter are the same road.
pub const SAME_ROAD: f64 = 0.35;
/// Lengths of one road that are looked at closely, and how far the guess of a further one may be below the first.
const LENGTHS_A_ROAD: usize = 7;
const WORTH_A_LOOK: f64 = 0.4;
/// One length differs from another by this factor at least.
const OTHER_LENGTH: f64 = 1.3;

/// From the best on; a window on a road that is taken already counts as another length of it or not at all.
pub fn choose(windows: Vec<Window>, net: &Net, roads: usize) -> Vec<Window> {
    let mut of_node: HashMap<u32, usize> = HashMap::new();
    let mut chosen: Vec<Vec<Window>> = Vec::new();
    for window in windows {
        let nodes = &net.ways[window.trail][window.from..=window.to];
        let mut shared: HashMap<usize, usize> = HashMap::new();
        for spot in nodes {
            if let Some(road) = of_node.get(&spot.node) {
                *shared.entry(*road).or_default() += 1;
            }
        }
        let taken: usize = shared.values().sum();
        if taken as f64 <= SAME_ROAD * nodes.len() as f64 {
            if chosen.len() < roads {
                for spot in nodes {
                    of_node.entry(spot.node).or_insert(chosen.len());
                }
                chosen.push(vec![Window {
                    road: chosen.len(),
                    ..window
                }]);
            }
            continue;
        }
        // Another length of one road, and of one only.
        let Some((&road, _)) = shared.iter().max_by_key(|(road, steps)| (**steps, **road)) else {
            continue;
        };
        let known = &mut chosen[road];
        let steps = |one: &Window| (one.to - one.from) as f64;
        let new_length = known.iter().all(|one| {
            let ratio = steps(one) / steps(&window);
            !(1.0 / OTHER_LENGTH..=OTHER_LENGTH).contains(&ratio) || one.closes != window.closes
        });
        if shared.len() == 1
            && known.len() < LENGTHS_A_ROAD
            && new_length
            && window.score > WORTH_A_LOOK * known[0].score
        {
            known.push(Window { road, ..window });
        }
    }
    chosen.into_iter().flatten().collect()
}
