//! What all rides show of the chosen stretches, in one walk over them.

use super::super::legs::STEP_M;
use super::super::middle::median;
use super::net::Net;
use super::trail::Trail;
use super::windows::{Window, radius_m};
use crate::recording::RoutePoint;
use std::collections::{HashMap, HashSet};

/// Steps off the stretch that a ride of it survives.
const MISSES: usize = 8;
/// Farther back along it than this is turning round. [steps]
const BACK: usize = 6;
/// So much of it must be ridden for a pass.
const THROUGH: f64 = 0.9;
/// Turning of the road between places so far apart; shorter, and wander would turn it. [steps]
const TURN_STEPS: usize = 5;

/// A place on a stretch at which riders stop or brake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// From its start.
    pub along_m: f64,
    pub times: usize,
}

/// What all rides show of a stretch.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Seen {
    /// Ridden all of it, stops or not, in the direction of its points and against it.
    pub forward: usize,
    pub reverse: usize,
    pub recordings: usize,
    /// Of these, ridden with a stop, and with braking but no stop.
    pub passes_stopped: usize,
    pub passes_braked: usize,
    pub stops: Vec<Place>,
    pub braking: Vec<Place>,
    /// Medians over the passes without a stop: mean speed and power, and their spread within a pass over the mean.
    pub speed_m_s: Option<f64>,
    pub speed_spread: Option<f64>,
    pub power_w: Option<f64>,
    pub power_spread: Option<f64>,
    /// Tightest bend; infinite on a straight road.
    pub tightest_radius_m: f64,
    /// All turning, to either side.
    pub turning_deg: f64,
}

impl Seen {
    pub fn passes(&self) -> usize {
        self.forward + self.reverse
    }
}

/// What was seen, and heights along the stretch where they are known.
pub struct Walked {
    pub seen: Seen,
    heights_m: Vec<Option<f64>>,
}

/// A ride along a stretch that is going on.
struct Ride {
    first: usize,
    last: usize,
    /// Farthest each way, from `first`.
    low: i64,
    high: i64,
    at: i64,
    from_step: usize,
    last_step: usize,
}

pub fn seen(windows: &[Window], trails: &[&Trail], net: &Net) -> Vec<Walked> {
    let mut on_node: HashMap<u32, Vec<(usize, usize)>> = HashMap::new();
    for (index, window) in windows.iter().enumerate() {
        for (along, spot) in net.ways[window.trail][window.from..=window.to].iter().enumerate() {
            let places = on_node.entry(spot.node).or_default();
            if places.iter().all(|(known, _)| *known != index) {
                places.push((index, along));
            }
        }
    }
    let mut gathered: Vec<Gathered> = windows.iter().map(Gathered::of).collect();
    for (trail, way) in net.ways.iter().enumerate() {
        let mut open: HashMap<usize, Ride> = HashMap::new();
        for (step, spot) in way.iter().enumerate() {
            for &(index, along) in on_node.get(&spot.node).into_iter().flatten() {
                let window = &windows[index];
                let goes_on = open
                    .get_mut(&index)
                    .is_some_and(|ride| ride.goes_on(along, step, window));
                if !goes_on {
                    if let Some(ride) = open.remove(&index) {
                        gathered[index].take(&ride, trails[trail]);
                    }
                    open.insert(index, Ride::at(along, step));
                }
            }
        }
        let mut left: Vec<(usize, Ride)> = open.into_iter().collect();
        left.sort_by_key(|(index, _)| *index);
        for (index, ride) in left {
            gathered[index].take(&ride, trails[trail]);
        }
    }
    gathered
        .into_iter()
        .zip(windows)
        .map(|(one, window)| one.told(&net.places[window.trail][window.from..=window.to]))
        .collect()
}

impl Ride {
    fn at(along: usize, step: usize) -> Ride {
        Ride {
            first: along,
            last: along,
            low: 0,
            high: 0,
            at: 0,
            from_step: step,
            last_step: step,
        }
    }

    fn goes_on(&mut self, along: usize, step: usize, window: &Window) -> bool {
        let all = (window.to - window.from) as i64;
        let mut moved = along as i64 - self.last as i64;
        if window.closes && moved.abs() > all / 2 {
            moved -= moved.signum() * all;
        }
        let at = self.at + moved;
        let back = if self.high + self.low >= 0 {
            self.high - at
        } else {
            at - self.low
        };
        let lapped = window.closes && at.abs() > all;
        if step - self.last_step > MISSES
            || moved.unsigned_abs() as usize > 2 * MISSES
            || back > BACK as i64
            || lapped
        {
            return false;
        }
        self.at = at;
        self.low = self.low.min(at);
        self.high = self.high.max(at);
        self.last = along;
        self.last_step = step;
        true
    }
}

/// One ride of all of it.
struct Pass {
    speed: (f64, f64),
    power: Option<(f64, f64)>,
}

struct Gathered {
    index_steps: usize,
    closes: bool,
    seen: Seen,
    recordings: HashSet<usize>,
    passes: Vec<Pass>,
    stops: Vec<usize>,
    braking: Vec<usize>,
    heights: Vec<(f64, usize)>,
    level_m: Vec<f64>,
}

impl Gathered {
    fn of(window: &Window) -> Gathered {
        let steps = window.to - window.from;
        Gathered {
            index_steps: steps,
            closes: window.closes,
            seen: Seen::default(),
            recordings: HashSet::new(),
            passes: Vec::new(),
            stops: vec![0; steps + 1],
            braking: vec![0; steps + 1],
            heights: vec![(0.0, 0); steps + 1],
            level_m: Vec::new(),
        }
    }

    fn take(&mut self, ride: &Ride, trail: &Trail) {
        let covered = (ride.high - ride.low) as f64 / self.index_steps as f64;
        if covered < THROUGH {
            return;
        }
        let forward = ride.high >= -ride.low;
        if forward {
            self.seen.forward += 1;
        } else {
            self.seen.reverse += 1;
        }
        self.recordings.insert(trail.recording);
        let steps = &trail.steps[ride.from_step..=ride.last_step];
        let along = |offset: usize| -> usize {
            // By the share of the way, which is the same for every ride of one road.
            let share = offset as f64 / (steps.len() - 1).max(1) as f64;
            let all = self.index_steps as f64;
            let moved = share * (ride.high - ride.low) as f64;
            let raw = if forward {
                ride.first as f64 + moved
            } else {
                ride.first as f64 - moved
            };
            let raw = if self.closes { raw.rem_euclid(all) } else { raw };
            raw.round().clamp(0.0, all) as usize
        };
        let (mut stopped, mut braked) = (false, false);
        let mut was_braking = false;
        for (offset, step) in steps.iter().enumerate() {
            if step.stopped {
                stopped = true;
                self.stops[along(offset)] += 1;
            }
            if step.braked && !was_braking {
                braked = true;
                self.braking[along(offset)] += 1;
            }
            was_braking = step.braked;
        }
        self.seen.passes_stopped += usize::from(stopped);
        self.seen.passes_braked += usize::from(braked && !stopped);
        let known: Vec<f64> = steps
            .iter()
            .map(|s| f64::from(s.altitude_m))
            .filter(|h| h.is_finite())
            .collect();
        if 2 * known.len() > steps.len() {
            let mean = known.iter().sum::<f64>() / known.len() as f64;
            self.level_m.push(mean);
            for (offset, step) in steps.iter().enumerate() {
                if step.altitude_m.is_finite() {
                    let place = &mut self.heights[along(offset)];
                    place.0 += f64::from(step.altitude_m) - mean;
                    place.1 += 1;
                }
            }
        }
        if !stopped {
            let speeds = steps.iter().map(|step| f64::from(step.speed_m_s));
            let powers = steps
                .iter()
                .map(|step| f64::from(step.power_w))
                .filter(|w| w.is_finite());
            let powers: Vec<f64> = powers.collect();
            self.passes.push(Pass {
                speed: mean_and_spread(&speeds.collect::<Vec<_>>()),
                power: (2 * powers.len() > steps.len()).then(|| mean_and_spread(&powers)),
            });
        }
    }

    fn told(mut self, places: &[[f64; 2]]) -> Walked {
        let middle = |values: Vec<f64>| median(&mut { values });
        self.seen.recordings = self.recordings.len();
        self.seen.speed_m_s = middle(self.passes.iter().map(|p| p.speed.0).collect());
        self.seen.speed_spread = middle(self.passes.iter().map(|p| p.speed.1).collect());
        self.seen.power_w = middle(self.passes.iter().filter_map(|p| Some(p.power?.0)).collect());
        self.seen.power_spread = middle(self.passes.iter().filter_map(|p| Some(p.power?.1)).collect());
        self.seen.stops = gathered_places(&self.stops);
        self.seen.braking = gathered_places(&self.braking);
        self.seen.tightest_radius_m = (0..places.len())
            .map(|step| radius_m(places, step))
            .fold(f64::INFINITY, f64::min);
        self.seen.turning_deg = turning_deg(places);
        let level_m = self.level_m.iter().sum::<f64>() / self.level_m.len() as f64;
        let heights_m = self
            .heights
            .iter()
            .map(|(sum, count)| (*count > 0).then(|| level_m + sum / *count as f64))
            .collect();
        Walked {
            seen: self.seen,
            heights_m,
        }
    }
}

fn mean_and_spread(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let square = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count;
    (mean, square.sqrt() / mean)
}

/// Neighbours within 50 m are one place.
fn gathered_places(times: &[usize]) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for (step, times) in times.iter().enumerate().filter(|(_, times)| **times > 0) {
        let along_m = step as f64 * STEP_M;
        match places.last_mut() {
            Some(place) if along_m - place.along_m <= 50.0 => place.times += times,
            _ => places.push(Place {
                along_m,
                times: *times,
            }),
        }
    }
    places
}

fn turning_deg(places: &[[f64; 2]]) -> f64 {
    use super::super::ground::{cross, dot, minus};
    let nodes: Vec<[f64; 2]> = places.iter().step_by(TURN_STEPS).copied().collect();
    let turns = nodes.windows(3).map(|three| {
        let (into, out) = (minus(three[1], three[0]), minus(three[2], three[1]));
        cross(into, out).atan2(dot(into, out)).abs().to_degrees()
    });
    turns.sum()
}

/// The stretch as it was ridden where it was found, with the heights of all passes.
pub fn points(trail: &Trail, window: &Window, walked: &Walked) -> Vec<RoutePoint> {
    let mut points: Vec<RoutePoint> = trail.steps[window.from..=window.to]
        .iter()
        .enumerate()
        .map(|(along, step)| RoutePoint {
            latitude_deg: step.latitude_deg,
            longitude_deg: step.longitude_deg,
            altitude_m: walked.heights_m.get(along).copied().flatten(),
        })
        .collect();
    // A lap ends where it begins, at the same height.
    if window.closes && points.len() > 1 {
        let last = points.len() - 1;
        points[last] = points[0];
    }
    points
}
