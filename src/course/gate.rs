//! A gate across the road, and the moment it was crossed.

use super::ground::{cross, dot, length, minus, unit};
use super::line::Line;
use super::track::Track;
use super::{GATE_HALF_WIDTH_M, POSITION_STANDARD_UNCERTAINTY_M, Shape};

/// Farther apart in time than this, samples are joined by a curve that keeps their speeds: over 5 s a
/// change of 1 m/s would put a straight-line crossing off by 0.06 s.
const STRAIGHT_S: f64 = 1.5;
/// Cosine of the steepest angle (75°) at which a gate counts as crossed and not run along.
const LEAST_ALONG: f64 = 0.26;
/// Shorter steps than this have no direction: positions of a rider who stands still wander.
const DIRECTED_M: f64 = 2.0;
/// A rider who comes out of a pause within this of where it began stood there: three standard uncertainties of
/// a position.
pub const STOOD_M: f64 = 3.0 * POSITION_STANDARD_UNCERTAINTY_M;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    pub at: [f64; 2],
    /// Unit vector in the direction from start to finish.
    pub along: [f64; 2],
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// When a ride from here begins.
    pub time_s: f64,
    /// When a ride to here ends: earlier only where a pause was made across the gate.
    pub reached_s: f64,
    /// True in the direction from start to finish.
    pub onward: bool,
}

/// The gates at the two ends of a line; a loop has the same gate twice.
pub fn of(line: &Line, shape: Shape) -> [Gate; 2] {
    let nodes = &line.nodes;
    let last = nodes.len() - 1;
    let ahead = minus(nodes[1], nodes[0]);
    let behind = minus(nodes[last], nodes[last - 1]);
    let direction = |vector| unit(vector).unwrap_or([0.0, 1.0]);
    if shape == Shape::Loop {
        let both = [ahead[0] + behind[0], ahead[1] + behind[1]];
        return [Gate {
            at: nodes[0],
            along: direction(both),
        }; 2];
    }
    [
        Gate {
            at: nodes[0],
            along: direction(ahead),
        },
        Gate {
            at: nodes[last],
            along: direction(behind),
        },
    ]
}

impl Gate {
    /// The crossing between sample `index - 1` and sample `index` of a track, if there is one.
    pub fn crossing(&self, track: &Track, index: usize) -> Option<Crossing> {
        let (from, to) = (
            minus(track.at[index - 1], self.at),
            minus(track.at[index], self.at),
        );
        let (before, after) = (dot(from, self.along), dot(to, self.along));
        if (before < 0.0) == (after < 0.0) {
            return None;
        }
        let share = before / (before - after);
        let beside = (1.0 - share) * cross(self.along, from) + share * cross(self.along, to);
        let step = minus(to, from);
        let run_along = length(step) > DIRECTED_M && (after - before).abs() < LEAST_ALONG * length(step);
        if beside.abs() > GATE_HALF_WIDTH_M || run_along {
            return None;
        }
        let onward = after > before;
        let (earlier_s, later_s) = (track.time_s[index - 1], track.time_s[index]);
        if track.broken[index] {
            return (length(step) < STOOD_M).then_some(Crossing {
                time_s: later_s,
                reached_s: earlier_s,
                onward,
            });
        }
        let dt = later_s - earlier_s;
        let share = if dt > STRAIGHT_S {
            let slope = (after - before) / length(step);
            let speeds = [track.speed_m_s[index - 1], track.speed_m_s[index]];
            curved_share(before, after, speeds.map(|v| v * slope * dt)).unwrap_or(share)
        } else {
            share
        };
        let time_s = earlier_s + share * dt;
        Some(Crossing {
            time_s,
            reached_s: time_s,
            onward,
        })
    }
}

/// Where the cubic from `before` to `after` with the given end slopes passes zero, as a share of the interval.
///
/// Slopes beyond three times the chord would make the cubic turn back (Fritsch and Carlson 1980, SIAM J
/// Numer Anal 17:238, from memory); a wheel sensor that far off is not believed at all.
fn curved_share(before: f64, after: f64, slopes: [f64; 2]) -> Option<f64> {
    let chord = after - before;
    if slopes
        .iter()
        .any(|slope| !slope.is_finite() || slope / chord < 0.0 || slope / chord > 3.0)
    {
        return None;
    }
    let value = |t: f64| {
        let (t2, t3) = (t * t, t * t * t);
        before * (2.0 * t3 - 3.0 * t2 + 1.0)
            + slopes[0] * (t3 - 2.0 * t2 + t)
            + after * (3.0 * t2 - 2.0 * t3)
            + slopes[1] * (t3 - t2)
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if (value(middle) < 0.0) == (before < 0.0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(time_s: Vec<f64>, along: Vec<f64>, beside: f64, speed_m_s: Vec<f64>) -> Track {
        let broken = (0..time_s.len()).map(|i| i == 0).collect();
        let at = along.iter().map(|&y| [beside, y]).collect();
        Track {
            recording: 0,
            time_s,
            at,
            speed_m_s,
            broken,
        }
    }

    const GATE: Gate = Gate {
        at: [0.0, 0.0],
        along: [0.0, 1.0],
    };

    #[test]
    fn crossings_fall_between_samples_and_know_their_direction() {
        let there = track(vec![10.0, 11.0], vec![-2.0, 8.0], 5.0, vec![10.0; 2]);
        let crossing = GATE.crossing(&there, 1).unwrap();
        assert!((crossing.time_s - 10.2).abs() < 1e-12 && crossing.onward);
        let back = track(vec![10.0, 11.0], vec![8.0, -2.0], 5.0, vec![10.0; 2]);
        assert!(!GATE.crossing(&back, 1).unwrap().onward);
        let beside = track(vec![10.0, 11.0], vec![-2.0, 8.0], 26.0, vec![10.0; 2]);
        assert_eq!(GATE.crossing(&beside, 1), None, "the next street");
    }

    #[test]
    fn sparse_samples_of_a_rider_who_speeds_up_still_give_the_crossing_to_a_hundredth() {
        // Constant acceleration, closed form: y = -20 + 6 t + 0.3 t², zero at t = (-6 + √60) / 0.6.
        let at = |t: f64| -20.0 + 6.0 * t + 0.3 * t * t;
        let sparse = track(vec![0.0, 5.0], vec![at(0.0), at(5.0)], 0.0, vec![6.0, 9.0]);
        let exact = (60f64.sqrt() - 6.0) / 0.6;
        let crossing = GATE.crossing(&sparse, 1).unwrap().time_s;
        assert!((crossing - exact).abs() < 1e-6, "{crossing} {exact}");
        let straight = 5.0 * 20.0 / (at(5.0) + 20.0);
        assert!(
            (straight - exact).abs() > 0.2,
            "a straight line would have been wrong: {straight}"
        );
    }

    #[test]
    fn a_speed_channel_that_cannot_be_true_is_not_used_for_the_crossing() {
        let odd = track(vec![0.0, 5.0], vec![-20.0, 20.0], 0.0, vec![30.0, 30.0]);
        assert!((GATE.crossing(&odd, 1).unwrap().time_s - 2.5).abs() < 1e-9);
    }
}
