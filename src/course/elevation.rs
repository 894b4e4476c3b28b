//! One elevation profile from the altitudes of all passes.

use super::Pass;
use super::ascents::{Ascent, disagreement, of_pass, pool, uncertainty, wander_m, wander_uncertainty};
use super::late::{HeightLag, clear, told};
use super::line::Line;
use super::port::PortEffect;
use crate::streams::Streams;
use crate::test_day::{Measured, Shape};
use crate::treatment::{AsRecorded, Treatment};

/// Spacing of the heights. Barometers step by 0.2 m and follow with a lag of a second or two; finer
/// would be noise.
const SPACING_M: f64 = 20.0;
/// Length over which the uncertainty of a height difference is stated.
pub const UNCERTAINTY_OVER_M: f64 = 150.0;
/// Root mean square over that length, beyond which the passes' heights wander as those of positions do. A barometer
/// makes some 0.3 m of it (0.2 m steps, and 0.15 m in a minute), satellites 1.5 to 3 m (3 to 5 m with a memory of a
/// minute). Common practice, no published source.
const WANDERS_M: f64 = 0.9;
/// Rounds in which the lag is found: each takes off what the one before left.
const LAG_ROUNDS: usize = 7;
const LAG_DONE_S: f64 = 0.05;
/// Of each step: whole ones go to and fro.
const PART: f64 = 0.7;

/// What is known of the altitudes beforehand, and what of them is to be left as recorded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HeightsGiven {
    /// How late they are. [s]
    pub lag_s: Option<Measured>,
    pub as_recorded: AsRecorded,
}

/// Heights along the course, relative to its start. All vectors have the same length, at least 2.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Horizontal distance from the start, increasing, from 0 to the length of the line.
    pub distance_m: Vec<f64>,
    pub elevation_m: Vec<f64>,
    /// Finish minus start; 0 on a loop.
    pub climb_m: f64,
    /// Of a height difference over some 150 m, from the disagreement between passes.
    pub standard_uncertainty_m: f64,
    /// Median disagreement of two passes at one spot, each moved by its own offset and drift; NaN with
    /// one pass.
    pub disagreement_m: f64,
    /// How late the altitudes are; `None` where nobody says, as with one direction only.
    pub lag: Option<HeightLag>,
    /// What the altitudes have of the air stream; `None` as above.
    pub port: Option<PortEffect>,
    /// Standard uncertainty of the finish above the start, where the passes disagree in shape as altitudes from
    /// positions do, and a barometer's do not; else 0.
    pub wander_m: f64,
}

impl Profile {
    /// Length of the road over a horizontal length: longer by the slope.
    pub fn road_length_m(&self, flat_m: f64) -> f64 {
        let pieces = self.distance_m.windows(2).zip(self.elevation_m.windows(2));
        let (mut flat, mut road) = (0.0, 0.0);
        for (d, h) in pieces {
            flat += d[1] - d[0];
            road += (d[1] - d[0]).hypot(h[1] - h[0]);
        }
        if flat > 0.0 { flat_m * road / flat } else { flat_m }
    }

    /// Elevation relative to the start; that of the nearer end outside the course.
    pub fn elevation_at(&self, distance_m: f64) -> f64 {
        let piece = self.piece_at(distance_m);
        let (from, to) = (self.distance_m[piece], self.distance_m[piece + 1]);
        let share = ((distance_m - from) / (to - from)).clamp(0.0, 1.0);
        self.elevation_m[piece] + share * (self.elevation_m[piece + 1] - self.elevation_m[piece])
    }

    /// Rise over horizontal run, from start to finish.
    pub fn gradient_at(&self, distance_m: f64) -> f64 {
        let piece = self.piece_at(distance_m);
        (self.elevation_m[piece + 1] - self.elevation_m[piece])
            / (self.distance_m[piece + 1] - self.distance_m[piece])
    }

    fn piece_at(&self, distance_m: f64) -> usize {
        let after = self.distance_m.partition_point(|&d| d <= distance_m);
        after.clamp(1, self.distance_m.len() - 1) - 1
    }
}

/// `None` without altitudes.
///
/// Altitude of pass i at a place = shared height + offset of the pass + its drift × time + noise, by
/// weighted least squares in turns. The drift has a prior: free, it would be the climb itself.
/// Both directions count the same however often each was ridden, because a barometer that lags shows a
/// hill late, and the mean of the two directions shows it where it is. Where they tell clearly how late it is, or the
/// user does, each altitude is first put back to where it belongs.
pub fn shared_profile(
    line: &Line,
    passes: &[Pass],
    streams: &[Streams],
    shape: Shape,
    given: &HeightsGiven,
) -> Option<Profile> {
    let pieces = (line.length_m() / SPACING_M).ceil().max(2.0) as usize;
    let distance_m: Vec<f64> = (0..=pieces)
        .map(|n| line.length_m() * n as f64 / pieces as f64)
        .collect();
    let nodes = Nodes {
        passes,
        streams,
        shape,
        pieces,
        spacing_m: distance_m[1],
        apart: ((UNCERTAINTY_OVER_M / (distance_m[1] - distance_m[0])).round() as usize).clamp(1, pieces),
        split: !given.as_recorded.leaves(Treatment::AltitudeStep),
    };
    let InPlace {
        ascents,
        heights,
        lag,
        port,
    } = nodes.in_place(given)?;
    let climb_m = if shape == Shape::Loop {
        0.0
    } else {
        heights[pieces] - heights[0]
    };
    let wanders = !given.as_recorded.leaves(Treatment::AltitudeFromPositions)
        && wander_m(&ascents, pieces + 1, nodes.apart).is_some_and(|m| m > WANDERS_M);
    let start = heights[0];
    Some(Profile {
        distance_m,
        elevation_m: heights.iter().map(|h| h - start).collect(),
        climb_m,
        standard_uncertainty_m: uncertainty(&ascents, &heights, nodes.apart),
        disagreement_m: disagreement(&ascents, &heights),
        lag,
        port,
        wander_m: if wanders {
            wander_uncertainty(&ascents, &heights)
        } else {
            0.0
        },
    })
}

/// What the heights are made of.
struct Nodes<'a> {
    passes: &'a [Pass],
    streams: &'a [Streams],
    shape: Shape,
    pieces: usize,
    spacing_m: f64,
    /// Nodes over which passes are compared.
    apart: usize,
    /// Where the altitude was set anew, a pass has an offset on each side.
    split: bool,
}

impl Nodes<'_> {
    fn read(&self, lag_s: f64) -> Option<(Vec<Ascent>, Vec<f64>)> {
        let mut ascents: Vec<Ascent> = self
            .passes
            .iter()
            .filter_map(|pass| Some((pass, self.streams.get(pass.recording)?)))
            .flat_map(|(pass, s)| of_pass(pass, s, self.pieces, lag_s, self.split))
            .collect();
        if ascents.is_empty() {
            return None;
        }
        let heights = pool(&mut ascents, self.pieces + 1, self.shape, self.apart);
        Some((ascents, heights))
    }

    /// With the altitudes put back by how late they are, as far as that is known.
    fn in_place(&self, given: &HeightsGiven) -> Option<InPlace> {
        if let Some(known) = given.lag_s {
            let (ascents, heights) = self.read(known.value)?;
            let lag = HeightLag {
                lag_s: known.value,
                standard_uncertainty_s: known.standard_uncertainty,
                applied_s: known.value,
                given: true,
            };
            return Some(InPlace {
                ascents,
                heights,
                lag: Some(lag),
                port: None,
            });
        }
        let (ascents, heights) = self.read(0.0)?;
        let as_read = InPlace {
            ascents,
            heights,
            lag: None,
            port: None,
        };
        if given.as_recorded.leaves(Treatment::AltitudeLag) {
            return Some(as_read);
        }
        Some(match self.told_in_rounds(&as_read) {
            Some(moved) if moved.lag.is_some_and(|lag| lag.applied_s != 0.0) => moved,
            Some(told) => InPlace {
                lag: told.lag,
                port: told.port,
                ..as_read
            },
            None => as_read,
        })
    }

    /// Reads the altitudes later by what the two directions tell, until they tell no more; `None` where they tell
    /// nothing.
    fn told_in_rounds(&self, as_read: &InPlace) -> Option<InPlace> {
        let mut lag_s = 0.0;
        let mut told_now = told(&as_read.ascents, &as_read.heights, self.spacing_m, lag_s)?;
        let mut read = None;
        for _ in 0..LAG_ROUNDS {
            if told_now.more_s.abs() < LAG_DONE_S {
                break;
            }
            lag_s += PART * told_now.more_s;
            let (ascents, heights) = self.read(lag_s)?;
            told_now = told(&ascents, &heights, self.spacing_m, lag_s)?;
            read = Some((ascents, heights));
        }
        if !told_now.sure {
            return None;
        }
        let mut lag = HeightLag {
            lag_s: lag_s + told_now.more_s,
            standard_uncertainty_s: told_now.standard_uncertainty_s,
            applied_s: 0.0,
            given: false,
        };
        let (ascents, heights) = match read {
            Some(read) if clear(&lag) => {
                lag.applied_s = lag_s;
                read
            }
            _ => (Vec::new(), Vec::new()),
        };
        Some(InPlace {
            ascents,
            heights,
            lag: Some(lag),
            port: Some(told_now.port),
        })
    }
}

/// What the profile is made from.
struct InPlace {
    ascents: Vec<Ascent>,
    heights: Vec<f64>,
    lag: Option<HeightLag>,
    port: Option<PortEffect>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile() -> Profile {
        Profile {
            distance_m: vec![0.0, 100.0, 200.0],
            elevation_m: vec![0.0, 10.0, 5.0],
            climb_m: 5.0,
            standard_uncertainty_m: 0.1,
            disagreement_m: 0.1,
            lag: None,
            port: None,
            wander_m: 0.0,
        }
    }

    #[test]
    fn a_road_is_longer_than_its_map_by_the_slope() {
        // √(100² + 10²) + √(100² + 5²), Pythagoras.
        let exact = 10100f64.sqrt() + 10025f64.sqrt();
        assert!((profile().road_length_m(200.0) - exact).abs() < 1e-9);
    }

    #[test]
    fn heights_and_gradients_between_nodes() {
        let p = profile();
        assert_eq!(p.elevation_at(50.0), 5.0);
        assert_eq!(p.elevation_at(150.0), 7.5);
        assert_eq!(p.elevation_at(-10.0), 0.0);
        assert_eq!(p.elevation_at(900.0), 5.0);
        assert_eq!(p.gradient_at(150.0), -0.05);
        assert_eq!(
            p.gradient_at(100.0),
            -0.05,
            "a node belongs to the piece that starts there"
        );
    }

    /// Passes over a hill by a barometer with its own offset, drift and lag in time.
    fn ascents(truth: impl Fn(f64) -> f64, lag_s: f64, drifts: &[f64]) -> (Vec<Ascent>, usize) {
        let nodes = 76;
        let made = drifts.iter().enumerate().map(|(index, drift)| {
            let reverse = index % 2 == 1;
            let time = |n: usize| {
                2.0 * n as f64 * if reverse { -1.0 } else { 1.0 } - if reverse { -75.0 } else { 75.0 }
            };
            let place = |n: usize| n as f64 * 20.0 - if reverse { -lag_s * 10.0 } else { lag_s * 10.0 };
            Ascent {
                reverse,
                altitude_m: (0..nodes)
                    .map(|n| 300.0 + index as f64 + truth(place(n)) + drift * time(n))
                    .collect(),
                time_s: (0..nodes).map(time).collect(),
                offset_m: 300.0,
                drift_m_s: 0.0,
                weight: 1.0,
                part: false,
            }
        });
        (made.collect(), nodes)
    }

    fn solve(mut ascents: Vec<Ascent>, nodes: usize, shape: Shape) -> Vec<f64> {
        pool(&mut ascents, nodes, shape, 7)
    }

    #[test]
    fn both_directions_together_put_a_hill_where_it_is_although_the_barometer_lags() {
        let hill = |d: f64| 0.01 * d + 6.0 * (d / 240.0).sin();
        let (made, nodes) = ascents(hill, 1.5, &[0.001, -0.002, 0.0015, 0.0005, -0.001, 0.0]);
        let heights = solve(made, nodes, Shape::OutAndBack);
        let worst = (0..nodes)
            .map(|n| (heights[n] - heights[38] - hill(n as f64 * 20.0) + hill(760.0)).abs())
            .fold(0.0, f64::max);
        // One direction alone is wrong by lag × slope: 15 m × 3.5 % = 0.5 m.
        assert!(worst < 0.15, "{worst}");
    }

    #[test]
    fn a_loop_closes_whatever_the_barometer_does() {
        let hill = |d: f64| 3.0 * (d / 1500.0 * std::f64::consts::TAU).sin();
        let (made, nodes) = ascents(hill, 0.0, &[0.004, 0.004, 0.004, 0.004]);
        let forward = made.into_iter().step_by(2).collect();
        let heights = solve(forward, nodes, Shape::Loop);
        assert!((heights[nodes - 1] - heights[0]).abs() < 1e-9);
        let worst = (0..nodes)
            .map(|n| (heights[n] - heights[0] - hill(n as f64 * 20.0)).abs())
            .fold(0.0, f64::max);
        assert!(worst < 0.02, "{worst}");
    }

    /// Six passes over an hour of weather at 10 m/h, read to 0.2 m, each without another piece of the road.
    #[test]
    fn weather_and_steps_are_taken_by_each_pass_of_its_own_and_would_not_be_by_one_offset_for_all() {
        let hill = |d: f64| 0.01 * d + 6.0 * (d / 240.0).sin();
        let weather_m_s = 10.0 / 3600.0;
        let (made, nodes) = ascents(hill, 0.0, &[weather_m_s; 6]);
        let holed = || {
            made.iter().enumerate().map(|(pass, one)| {
                let began_s = 600.0 * pass as f64;
                let read = |(n, h): (usize, &f64)| {
                    let hole = 12 * pass..12 * pass + 11;
                    let plain = h - pass as f64 + weather_m_s * began_s;
                    if hole.contains(&n) {
                        f64::NAN
                    } else {
                        (plain / 0.2).round() * 0.2
                    }
                };
                Ascent {
                    reverse: one.reverse,
                    altitude_m: one.altitude_m.iter().enumerate().map(read).collect(),
                    time_s: one.time_s.clone(),
                    ..*one
                }
            })
        };
        let off = |heights: &[f64]| {
            let beside = |n: usize| heights[n] - hill(20.0 * n as f64);
            (7..nodes)
                .map(|n| (beside(n) - beside(n - 7)).powi(2))
                .sum::<f64>()
                .sqrt()
                / (nodes as f64).sqrt()
        };
        let own = off(&solve(holed().collect(), nodes, Shape::OutAndBack));
        let all: Vec<Ascent> = holed().collect();
        let one_offset: Vec<f64> = (0..nodes)
            .map(|n| {
                let known: Vec<f64> = all
                    .iter()
                    .map(|a| a.altitude_m[n])
                    .filter(|h| h.is_finite())
                    .collect();
                known.iter().sum::<f64>() / known.len() as f64
            })
            .collect();
        // Over 150 m: two readings to 0.2 m of five passes are 0.04 m; the holes of one offset are steps of metres.
        assert!(own < 0.1, "{own}");
        assert!(off(&one_offset) > 5.0 * own, "{} {own}", off(&one_offset));
    }
}
