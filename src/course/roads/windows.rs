//! The pieces of each ride that may do as a course, with a first guess of what they are worth.
//!
//! The guess only decides which are looked at closely: it costs a few sums each, the expected uncertainty a fit.

use super::super::ground::{cross, dot, minus};
use super::super::legs::STEP_M;
use super::net::Net;
use super::trail::Trail;
use std::collections::HashMap;

/// Lengths that are tried, in steps, and every how many steps one begins.
const LENGTHS: [usize; 8] = [50, 70, 100, 140, 200, 280, 400, 500];
const EVERY: usize = 5;
/// A lap is this long. [steps]
const LAP: std::ops::RangeInclusive<usize> = 50..=500;
/// A road is met again after this many steps: before, it is the same place.
const AGAIN: usize = 4;
/// Slower than this is manoeuvring, not riding. [m/s]
const SLOW_M_S: f64 = 4.0;
/// Radius below which a bend is not taken at test speed: at 10 m/s, 3 m/s² sideways (common practice, no published
/// source).
const TIGHT_RADIUS_M: f64 = 33.0;
/// Less power than this is coasting. [W]
const COASTING_W: f64 = 15.0;
/// For the guess: usual speed, a turn with the way beyond the gate and back, spreads at which half of the worth is gone, and what gates cost. Judgement.
const SPEED_M_S: f64 = 9.5;
const TURN_S: f64 = 54.0;
const HALF_SPEED_SPREAD: f64 = 0.2;
const HALF_POWER_SPREAD: f64 = 0.5;
const HALF_LENGTH_M: f64 = 600.0;
/// Longer roads are not thought better: an hour rides them too rarely.
const NO_BETTER_M: f64 = 2000.0;

/// Steps `from..=to` of a trail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    pub trail: usize,
    pub from: usize,
    pub to: usize,
    pub closes: bool,
    /// Which road it is a length of; set where windows are chosen.
    pub road: usize,
    pub score: f64,
}

/// The best window about each node, of each length.
pub fn best(trails: &[&Trail], net: &Net) -> Vec<Window> {
    let mut best: HashMap<(u32, usize), Window> = HashMap::new();
    for (index, trail) in trails.iter().enumerate() {
        let way = &net.ways[index];
        let before = met_before(way);
        let sums = Sums::of(trail, index, net);
        let mut offer = |window: Window, class: usize| {
            let middle = way[(window.from + window.to) / 2].node;
            let known = best.entry((middle, class)).or_insert(window);
            if window.score > known.score {
                *known = window;
            }
        };
        for (class, &steps) in LENGTHS.iter().enumerate() {
            for from in (0..way.len().saturating_sub(steps)).step_by(EVERY) {
                let to = from + steps;
                if sums.met_from[to] > from || !sums.rideable(from, to) {
                    continue;
                }
                let score = sums.score(from, to, TURN_S);
                offer(
                    Window {
                        trail: index,
                        from,
                        to,
                        closes: false,
                        road: 0,
                        score,
                    },
                    class,
                );
            }
        }
        for (to, met) in before.into_iter().enumerate() {
            let Some((from, same_way)) = met else {
                continue;
            };
            if !same_way || !LAP.contains(&(to - from)) || !sums.rideable(from, to) {
                continue;
            }
            // Inside, the road is met once only.
            if sums.met_from[to - 1] > from {
                continue;
            }
            let score = sums.score(from, to, 0.0);
            offer(
                Window {
                    trail: index,
                    from,
                    to,
                    closes: true,
                    road: 0,
                    score,
                },
                LENGTHS.len(),
            );
        }
    }
    let mut all: Vec<Window> = best.into_values().collect();
    all.sort_by(|a, b| {
        b.score
            .total_cmp(&a.score)
            .then((a.trail, a.from, a.to).cmp(&(b.trail, b.from, b.to)))
    });
    all
}

/// For each step, the last time before that the trail was on the same node, and whether it went the same way.
fn met_before(way: &[super::net::Spot]) -> Vec<Option<(usize, bool)>> {
    let mut last: HashMap<u32, (usize, bool)> = HashMap::new();
    way.iter()
        .enumerate()
        .map(|(step, spot)| {
            let known = last.insert(spot.node, (step, spot.same_way));
            known
                .filter(|(before, _)| step - before >= AGAIN)
                .map(|(before, same_way)| (before, same_way == spot.same_way))
        })
        .collect()
}

/// Running sums along a trail.
struct Sums {
    /// The latest step up to here whose road was met again up to here, plus one.
    met_from: Vec<usize>,
    stops: Vec<f64>,
    slow: Vec<f64>,
    tight: Vec<f64>,
    /// Stops and braking a visit, over all rides.
    spoilt: Vec<f64>,
    visits: Vec<f64>,
    speed: Vec<f64>,
    speed_squared: Vec<f64>,
    power: Vec<f64>,
    power_squared: Vec<f64>,
    powered: Vec<f64>,
    coasted: Vec<f64>,
}

impl Sums {
    fn of(trail: &Trail, index: usize, net: &Net) -> Sums {
        let way = &net.ways[index];
        let places = &net.places[index];
        let steps = &trail.steps;
        let running = |value: &dyn Fn(usize) -> f64| -> Vec<f64> {
            let mut sum = 0.0;
            let sums = (0..steps.len()).map(|step| {
                sum += value(step);
                sum
            });
            std::iter::once(0.0).chain(sums).collect()
        };
        let before = met_before(way);
        let mut met = 0;
        let met_from = before
            .iter()
            .map(|one| {
                met = met.max(one.map_or(0, |(from, _)| from + 1));
                met
            })
            .collect();
        let power = |step: usize| {
            let watts = f64::from(steps[step].power_w);
            if watts.is_finite() { watts } else { 0.0 }
        };
        let speed = |step: usize| f64::from(steps[step].speed_m_s);
        let node = |step: usize| net.nodes[way[step].node as usize];
        Sums {
            met_from,
            stops: running(&|step| f64::from(u8::from(steps[step].stopped))),
            slow: running(&|step| f64::from(u8::from(speed(step) < SLOW_M_S))),
            tight: running(&|step| f64::from(u8::from(radius_m(places, step) < TIGHT_RADIUS_M))),
            spoilt: running(&|step| {
                f64::from(node(step).stops + node(step).braked) / f64::from(node(step).visits.max(1))
            }),
            visits: running(&|step| f64::from(node(step).visits)),
            speed: running(&speed),
            speed_squared: running(&|step| speed(step).powi(2)),
            power: running(&power),
            power_squared: running(&|step| power(step).powi(2)),
            powered: running(&|step| f64::from(u8::from(steps[step].power_w.is_finite()))),
            coasted: running(&|step| f64::from(u8::from(f64::from(steps[step].power_w) < COASTING_W))),
        }
    }

    /// Ridden without a stop or walking pace.
    fn rideable(&self, from: usize, to: usize) -> bool {
        let over = |sums: &[f64]| sums[to + 1] - sums[from];
        over(&self.stops) == 0.0 && over(&self.slow) == 0.0
    }

    /// Inverse variance an hour, by rule of thumb.
    fn score(&self, from: usize, to: usize, turn_s: f64) -> f64 {
        let over = |sums: &[f64]| sums[to + 1] - sums[from];
        let steps = (to + 1 - from) as f64;
        let length_m = steps * STEP_M;
        let spread = |sum: f64, squares: f64, count: f64| {
            let mean = sum / count.max(1.0);
            ((squares / count.max(1.0) - mean * mean).max(0.0)).sqrt() / mean.abs().max(1e-6)
        };
        let by = |value: f64, half: f64| 1.0 / (1.0 + (value / half).powi(2));
        let length_m = length_m.min(NO_BETTER_M);
        let riding_s = length_m / SPEED_M_S;
        let visits = over(&self.visits) / steps;
        let powered = over(&self.powered);
        let power_spread = if powered > 0.5 * steps {
            spread(over(&self.power), over(&self.power_squared), powered)
        } else {
            HALF_POWER_SPREAD
        };
        riding_s / (riding_s + turn_s)
            * (length_m / (length_m + HALF_LENGTH_M))
            * by(
                spread(over(&self.speed), over(&self.speed_squared), steps),
                HALF_SPEED_SPREAD,
            )
            * by(power_spread, HALF_POWER_SPREAD)
            * (-over(&self.spoilt)).exp()
            * (1.0 - over(&self.coasted) / steps).powi(2)
            / (1.0 + 0.2 * over(&self.tight))
            * (visits + 1.0)
            / (visits + 2.0)
    }
}

/// Radius of the road about a step, by places 30 m to each side: shorter, and wander would bend it. [m]
pub fn radius_m(places: &[[f64; 2]], step: usize) -> f64 {
    const REACH: usize = 3;
    if step < REACH || step + REACH >= places.len() {
        return f64::INFINITY;
    }
    let (into, out) = (
        minus(places[step], places[step - REACH]),
        minus(places[step + REACH], places[step]),
    );
    let turn_rad = cross(into, out).atan2(dot(into, out)).abs();
    REACH as f64 * STEP_M / turn_rad.max(1e-9)
}
