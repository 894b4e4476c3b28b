//! In which order to ride the blocks: balanced against drift, and drawn among the balanced ones.

use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// So many orders are looked through one by one; where there are more, so many mirrored ones are drawn.
const MOST_LISTED: u128 = 40_000;
const DRAWN: usize = 4_000;

/// How far an order is from balance: what a drift of something (wind, temperature, the rider) would put into the
/// means of set-ups. Zero is perfect; sums of whole numbers, so that equals are equal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Imbalance {
    /// Sum over set-ups of (Σ x)², x = twice the place of each of its blocks from the middle of the day: a steady drift.
    pub linear: i64,
    /// Sum over set-ups of (its share of Σ x² less an equal share)², times the square of the number of set-ups: a
    /// drift that bends.
    pub quadratic: i64,
}

/// `order` names the set-up of each block, from 0 to `setups` − 1, all blocks equally long.
pub fn imbalance(order: &[usize], setups: usize) -> Imbalance {
    let blocks = order.len() as i64;
    let (mut first, mut second) = (vec![0i64; setups], vec![0i64; setups]);
    for (place, setup) in order.iter().enumerate() {
        let x = 2 * place as i64 - (blocks - 1);
        first[*setup] += x;
        second[*setup] += x * x;
    }
    let all: i64 = second.iter().sum();
    Imbalance {
        linear: first.iter().map(|sum| sum * sum).sum(),
        quadratic: second.iter().map(|sum| (setups as i64 * sum - all).pow(2)).sum(),
    }
}

/// An order of `each` blocks a set-up, drawn by `seed` among all that are balanced best: first against a steady drift,
/// then against one that bends. Which set-up comes first is drawn with it. Empty for no set-up or no block.
pub fn order(setups: usize, each: usize, seed: u64) -> Vec<usize> {
    if setups == 0 || each == 0 {
        return Vec::new();
    }
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut best = if how_many(setups, each) <= MOST_LISTED {
        balanced(setups, each)
    } else {
        mirrored(setups, each, &mut random)
    };
    let place = random.random_range(0..best.len());
    best.swap_remove(place)
}

/// All orders that are balanced best, where they can be listed.
fn balanced(setups: usize, each: usize) -> Vec<Vec<usize>> {
    let mut best = Best::default();
    let mut left = vec![each; setups];
    list(&mut Vec::new(), &mut left, setups * each, &mut |order| {
        best.offer(order, setups);
    });
    best.orders
}

fn list(order: &mut Vec<usize>, left: &mut [usize], blocks: usize, offer: &mut dyn FnMut(&[usize])) {
    if order.len() == blocks {
        return offer(order);
    }
    for setup in 0..left.len() {
        if left[setup] > 0 {
            left[setup] -= 1;
            order.push(setup);
            list(order, left, blocks, offer);
            order.pop();
            left[setup] += 1;
        }
    }
}

/// Of orders in which each round of all set-ups is followed by its mirror image, which a steady drift leaves alone, the
/// best of many; with an odd number of blocks each, one round has no mirror image.
fn mirrored(setups: usize, each: usize, random: &mut ChaCha8Rng) -> Vec<Vec<usize>> {
    let mut best = Best::default();
    let mut round: Vec<usize> = (0..setups).collect();
    for _ in 0..DRAWN {
        let mut order = Vec::with_capacity(setups * each);
        for _ in 0..each / 2 {
            round.shuffle(random);
            order.extend(round.iter().copied());
            order.extend(round.iter().rev().copied());
        }
        if each % 2 == 1 {
            round.shuffle(random);
            order.extend(round.iter().copied());
        }
        best.offer(&order, setups);
    }
    best.orders
}

#[derive(Default)]
struct Best {
    orders: Vec<Vec<usize>>,
    imbalance: Option<Imbalance>,
}

impl Best {
    fn offer(&mut self, order: &[usize], setups: usize) {
        let found = imbalance(order, setups);
        if self.imbalance.is_some_and(|best| found > best) {
            return;
        }
        if self.imbalance != Some(found) {
            self.orders.clear();
            self.imbalance = Some(found);
        }
        if !self.orders.iter().any(|known| known == order) {
            self.orders.push(order.to_vec());
        }
    }
}

/// Number of different orders; one more than can be listed where it is larger than that.
fn how_many(setups: usize, each: usize) -> u128 {
    let mut count: u128 = 1;
    let mut places: u128 = 0;
    for _ in 0..setups {
        for k in 1..=each as u128 {
            places += 1;
            count = count * places / k;
            if count > MOST_LISTED {
                return MOST_LISTED + 1;
            }
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    fn text(order: &[usize]) -> String {
        order.iter().map(|s| char::from(b'A' + *s as u8)).collect()
    }

    /// Closed form: x = −3, −1, 1, 3 for four blocks.
    #[test]
    fn imbalance_is_the_sum_that_it_is_said_to_be() {
        let of = |order: &[usize]| imbalance(order, 2);
        assert_eq!(of(&[0, 1, 1, 0]).linear, 0);
        // Σx² of A: 18 of 20, so (2·18 − 20)² twice.
        assert_eq!(of(&[0, 1, 1, 0]).quadratic, 2 * 16 * 16);
        assert_eq!(of(&[0, 0, 1, 1]).linear, 2 * 16);
        assert_eq!(of(&[0, 1, 0, 1]).linear, 2 * 4);
    }

    /// The four and eight blocks of two set-ups are known by heart (M: the sequence that alternates each doubling with
    /// its complement is balanced against the next higher power each time).
    #[test]
    fn orders_are_balanced_as_well_as_can_be() {
        let all = |setups, each| -> Vec<String> { balanced(setups, each).iter().map(|o| text(o)).collect() };
        assert_eq!(all(2, 2), ["ABBA", "BAAB"]);
        assert_eq!(all(2, 4), ["ABBABAAB", "BAABABBA"]);
        for (setups, each) in [(2, 2), (2, 4), (2, 6), (3, 2), (3, 4), (4, 2), (2, 16), (5, 4)] {
            for seed in 0..3 {
                let order = order(setups, each, seed);
                assert_eq!(order.len(), setups * each);
                assert_eq!(imbalance(&order, setups).linear, 0, "{}", text(&order));
                for setup in 0..setups {
                    assert_eq!(order.iter().filter(|s| **s == setup).count(), each);
                }
            }
        }
        // Three blocks each of two set-ups cannot be in balance: Σx is odd for each.
        assert_eq!(imbalance(&order(2, 3, 1), 2).linear, 2);
        assert!(order(0, 3, 1).is_empty() && order(2, 0, 1).is_empty());
    }

    #[test]
    fn every_balanced_order_is_drawn_alike_and_the_seed_decides() {
        let (setups, each, draws) = (3, 2, 6000);
        let possible = balanced(setups, each).len();
        assert!(possible >= 6, "{possible}");
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for seed in 0..draws {
            *seen.entry(text(&order(setups, each, seed))).or_default() += 1;
        }
        assert_eq!(seen.len(), possible);
        // Counts are binomial: five standard deviations.
        let mean = draws as f64 / possible as f64;
        for (order, count) in &seen {
            assert!(
                (*count as f64 - mean).abs() < 5.0 * mean.sqrt(),
                "{order}: {count} of {mean}"
            );
        }
        let starts = seen
            .iter()
            .filter(|(order, _)| order.starts_with('A'))
            .map(|(_, count)| count)
            .sum::<usize>() as f64;
        assert!((starts - draws as f64 / 3.0).abs() < 5.0 * (draws as f64 * 2.0 / 9.0).sqrt());
        assert_eq!(order(2, 4, 9), order(2, 4, 9));
    }
}
