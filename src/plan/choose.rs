//! How many blocks, how many passes in each, one way or out and back: what tells most within the time.

use super::orders::order;
use crate::test_day::Shape;
use rayon::prelude::*;

/// With one block a set-up, how much putting it on anew changes would be assumed and not seen.
pub const FEWEST_EACH: usize = 2;
/// Blocks in all: more than that nobody rides in a day.
const MOST_BLOCKS: usize = 16;
/// A shorter day is taken where it is no worse than the best by more than this share of its uncertainty.
const AS_GOOD: f64 = 0.01;
/// One block more no longer helps where it takes off less than this share of the uncertainty.
pub const LEAST_GAIN: f64 = 0.05;

/// A way to spend the time.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    pub shape: Shape,
    /// Blocks of each set-up.
    pub each: usize,
    /// In each block; out and back: each direction is one.
    pub passes: usize,
    /// The set-up of each block, from 0.
    pub order: Vec<usize>,
}

/// What it is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighed {
    /// Expected standard uncertainty of what is looked for; of several comparisons the largest. [%]
    pub uncertainty_percent: f64,
    /// That the difference looked for is resolved; `None` where nothing is compared.
    pub chance: Option<f64>,
    pub duration_s: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    pub candidate: Candidate,
    pub weighed: Weighed,
}

/// What there was to choose from.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    pub chosen: Alternative,
    /// For each shape and number of blocks, the number of passes that tells most within the time; the chosen one among
    /// them.
    pub alternatives: Vec<Alternative>,
    /// False: nothing fits into the time, and the shortest day was chosen.
    pub within_time: bool,
    /// Blocks of each set-up from which on one more block takes off less than 5 % of the uncertainty, at the chosen
    /// number of passes; time does not count. `None`: not up to sixteen blocks.
    pub enough_each: Option<usize>,
}

type Weigh<'a> = &'a (dyn Fn(&Candidate) -> Option<Weighed> + Sync);

/// The best use of a time. `None` where no candidate can be ridden.
///
/// `setups`: how many are to be told apart; `duration_s`: of a candidate, without weighing it, which takes longer.
pub fn choose(
    shapes: &[Shape],
    setups: usize,
    time_s: f64,
    seed: u64,
    duration_s: &(dyn Fn(&Candidate) -> Option<f64> + Sync),
    weigh: Weigh,
) -> Option<Choice> {
    let most_each = (MOST_BLOCKS / setups.max(1)).max(FEWEST_EACH);
    let orders: Vec<Vec<usize>> = (0..=most_each).map(|each| order(setups, each, seed)).collect();
    let candidate = |shape, each: usize, passes| Candidate {
        shape,
        each,
        passes,
        order: orders[each].clone(),
    };
    let mut all: Vec<(Candidate, f64)> = Vec::new();
    for shape in shapes {
        for each in FEWEST_EACH..=most_each {
            all.extend(passes_of(*shape).iter().filter_map(|passes| {
                let candidate = candidate(*shape, each, *passes);
                Some((duration_s(&candidate)?, candidate)).map(|(s, c)| (c, s))
            }));
        }
    }
    let shortest = all.iter().min_by(|a, b| a.1.total_cmp(&b.1))?.clone();
    all.retain(|(_, seconds)| *seconds <= time_s);
    let within_time = !all.is_empty();
    if !within_time {
        all.push(shortest);
    }
    let weighed: Vec<Alternative> = all
        .into_par_iter()
        .filter_map(|(candidate, _)| {
            let weighed = weigh(&candidate).filter(|w| w.uncertainty_percent.is_finite())?;
            Some(Alternative { candidate, weighed })
        })
        .collect();
    let chosen = best(weighed.iter())?.clone();
    let mut alternatives = Vec::new();
    for shape in shapes {
        for each in FEWEST_EACH..=most_each {
            let of = |a: &&Alternative| a.candidate.shape == *shape && a.candidate.each == each;
            alternatives.extend(best(weighed.iter().filter(of)).cloned());
        }
    }
    let (shape, passes) = (chosen.candidate.shape, chosen.candidate.passes);
    let more: Vec<Option<f64>> = (FEWEST_EACH..=most_each)
        .into_par_iter()
        .map(|each| Some(weigh(&candidate(shape, each, passes))?.uncertainty_percent))
        .collect();
    let helps_no_more = |pair: &[Option<f64>]| match pair {
        [Some(now), Some(then)] => (now - then) / now < LEAST_GAIN * setups as f64,
        _ => false,
    };
    let enough_each = more.windows(2).position(helps_no_more).map(|at| at + FEWEST_EACH);
    Some(Choice {
        chosen,
        alternatives,
        within_time,
        enough_each,
    })
}

fn best<'a>(among: impl Iterator<Item = &'a Alternative> + Clone) -> Option<&'a Alternative> {
    let least = among
        .clone()
        .map(|a| a.weighed.uncertainty_percent)
        .min_by(f64::total_cmp)?;
    among
        .filter(|a| a.weighed.uncertainty_percent <= least * (1.0 + AS_GOOD))
        .min_by(|a, b| a.weighed.duration_s.total_cmp(&b.weighed.duration_s))
}

/// Numbers of passes a block that are tried. Out and back a block ends where it began.
pub(super) fn passes_of(shape: Shape) -> &'static [usize] {
    match shape {
        Shape::OneWay => &[1, 2, 3, 4, 6],
        Shape::OutAndBack => &[2, 4, 6, 8],
        Shape::Loop => &[1, 2, 3, 4, 6, 8, 10],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PASS_S: f64 = 150.0;
    const CHANGE_S: f64 = 300.0;

    fn duration_s(candidate: &Candidate) -> Option<f64> {
        let blocks = candidate.order.len() as f64;
        Some(blocks * candidate.passes as f64 * PASS_S + (blocks - 1.0) * CHANGE_S)
    }

    /// Independent blocks of spread `block` and passes of spread `pass`: u² = 2 (block² + pass²/passes) / each.
    fn independent(block: f64, pass: f64) -> impl Fn(&Candidate) -> Option<Weighed> + Sync {
        move |candidate| {
            let of_block = block * block + pass * pass / candidate.passes as f64;
            Some(Weighed {
                uncertainty_percent: (2.0 * of_block / candidate.each as f64).sqrt(),
                chance: None,
                duration_s: duration_s(candidate)?,
            })
        }
    }

    /// Closed form: with time T = N (p t + c) − c, the best p is √(c/t) · pass/block = 1.41 · 2 = 2.8.
    #[test]
    fn the_time_goes_where_it_tells_most() {
        let weigh = independent(1.0, 2.0);
        let choice = choose(&[Shape::OneWay], 2, 5400.0, 1, &duration_s, &weigh).unwrap();
        assert!(choice.within_time && choice.chosen.weighed.duration_s <= 5400.0);
        // By hand: (each, passes) within 5400 s with the least (1 + 4/p)/n: n = 3, p = 4: 5100 s, 0.667; n = 4, p = 2:
        // 4500 s, 0.75; n = 2, p = 6: 4500 s, 0.83; n = 3, p = 4 it is.
        assert_eq!(
            (choice.chosen.candidate.each, choice.chosen.candidate.passes),
            (3, 4)
        );
        // Noise of passes alone: one long block would do, and two each is the fewest.
        let choice = choose(
            &[Shape::OneWay],
            2,
            5400.0,
            1,
            &duration_s,
            &independent(0.0, 2.0),
        )
        .unwrap();
        assert!(choice.chosen.candidate.passes >= 4);
        // n → n + 1 takes off 1 − √(n/(n+1)): below 10 % from n = 5 on (√(5/6) = 0.913; √(4/5) = 0.894).
        assert_eq!(choice.enough_each, Some(5));
        // As good in less time: the shorter day.
        let level = |candidate: &Candidate| {
            Some(Weighed {
                uncertainty_percent: 1.0,
                chance: None,
                duration_s: duration_s(candidate)?,
            })
        };
        let choice = choose(&[Shape::Loop], 2, 5400.0, 1, &duration_s, &level).unwrap();
        assert_eq!(
            (choice.chosen.candidate.each, choice.chosen.candidate.passes),
            (2, 1)
        );
        assert_eq!(choice.enough_each, Some(2));
    }

    #[test]
    fn where_nothing_fits_the_shortest_day_stands_and_says_so() {
        let choice = choose(
            &[Shape::OutAndBack],
            2,
            600.0,
            1,
            &duration_s,
            &independent(1.0, 1.0),
        )
        .unwrap();
        assert!(!choice.within_time);
        assert_eq!((choice.chosen.candidate.each, choice.alternatives.len()), (2, 1));
        assert!(choose(&[], 2, 600.0, 1, &duration_s, &independent(1.0, 1.0)).is_none());
        assert!(choose(&[Shape::Loop], 2, 600.0, 1, &duration_s, &|_| None).is_none());
    }
}
