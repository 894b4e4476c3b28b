//! Cutting: from gate to gate, each time the course was ridden.

use super::gate::{Crossing, Gate, STOOD_M};
use super::ground::{length, minus};
use super::line::Line;
use super::located::Located;
use super::track::Track;
use super::{Direction, NearPass, POSITION_STANDARD_UNCERTAINTY_M, Pass, flags, measure, why_not};
use crate::streams::Streams;
use crate::test_day::Shape;

/// Farther than this beside the line, longer than `OFF_S`, the rider was on another road. Positions
/// wander by a few metres, rarely by twenty under trees; the next parallel road is hardly ever nearer.
pub const OFF_M: f64 = 40.0;
const OFF_S: f64 = 5.0;
/// A gate only counts when the rider's progress along the line is within this of it: a road that
/// comes back close to its own gate (a hairpin, a figure of eight) crosses the gate's line as well.
const REACH_M: f64 = 60.0;
/// How long before a gate's crossing to look for the stand in which positions wandered over it: enough to tell
/// standing from slowing down.
const STOOD_S: f64 = 10.0;

pub struct Cut {
    pub passes: Vec<Pass>,
    pub near_passes: Vec<NearPass>,
    pub roll_backs: usize,
}

/// How a ride that began at a gate came to its end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ended {
    Through,
    TurnedBack,
    /// At a gate that can only be reached by another road.
    Elsewhere,
    OutOfRecording,
    /// The far gate was reached without the first one: metres beyond the first gate, and whether
    /// the recording (or the part after a pause) began there.
    JoinedLate {
        after_m: f64,
        at_start_of_recording: bool,
    },
}

/// A ride from one gate towards the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attempt {
    pub direction: Direction,
    pub from_s: f64,
    pub to_s: f64,
    /// Farthest from the first gate along the line.
    pub farthest_m: f64,
    /// The longest way ridden back, and where it began.
    pub back_m: f64,
    pub turned_at_m: f64,
    /// When the rider left the road, and how far from the first gate.
    pub left: Option<(f64, f64)>,
    pub ended: Ended,
    progress_m: f64,
    off_since_s: Option<f64>,
}

pub fn cut(located: &Located, tracks: &[Track], streams: &[Streams]) -> Cut {
    let mut cut = Cut {
        passes: vec![],
        near_passes: vec![],
        roll_backs: 0,
    };
    for track in tracks {
        let Some(s) = streams.get(track.recording) else {
            continue;
        };
        for at_gate in attempts(located, track) {
            let attempt = set_off(at_gate, track, s);
            match why_not::reason(&attempt, located, track, s) {
                Some(why_not::Reason::RolledBack) => cut.roll_backs += 1,
                Some(why_not::Reason::TooLittle) => {}
                Some(why_not::Reason::Near(reason)) => cut.near_passes.push(NearPass {
                    recording: track.recording,
                    start_s: attempt.from_s,
                    direction: attempt.direction,
                    reason,
                }),
                None => {
                    let mut pass = pass(&attempt, track, s);
                    if attempt.from_s > at_gate.from_s {
                        pass.flags.push("standing start at the gate".to_string());
                    }
                    cut.passes.push(pass);
                }
            }
        }
    }
    cut.passes.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    cut.near_passes.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    for (index, pass) in cut.passes.iter_mut().enumerate() {
        pass.number = index + 1;
    }
    flags::raise(&mut cut.passes, streams);
    cut
}

/// A rider who stands at the gate is put before it or behind it by the wander of positions: behind it, the
/// ride begins when he sets off.
fn set_off(attempt: Attempt, track: &Track, s: &Streams) -> Attempt {
    if matches!(attempt.ended, Ended::JoinedLate { .. }) {
        return attempt;
    }
    let (from_s, to_s) = (attempt.from_s, attempt.to_s);
    let pauses = s
        .gaps
        .iter()
        .filter(|gap| gap.paused && track.moved_m(gap.start_s, gap.end_s) < STOOD_M);
    let left_s = pauses
        .map(|gap| (gap.start_s, gap.end_s))
        .chain(why_not::stops(s, track, from_s - STOOD_S, to_s))
        .filter(|&(_, end_s)| from_s < end_s && end_s < to_s)
        .filter(|&(start_s, _)| measure::ridden_m(s, from_s, start_s.max(from_s)) < STOOD_M)
        .map(|(_, end_s)| end_s)
        .fold(from_s, f64::max);
    Attempt {
        from_s: left_s,
        ..attempt
    }
}

fn pass(attempt: &Attempt, track: &Track, s: &Streams) -> Pass {
    let (start_s, end_s) = (attempt.from_s, attempt.to_s);
    let speed = |time: f64| s.speed_at(time).unwrap_or_else(|| track.speed_at(time));
    let ridden_m = measure::ridden_m(s, start_s, end_s);
    let entry_speed_m_s = speed(start_s);
    Pass {
        number: 0,
        recording: track.recording,
        direction: attempt.direction,
        start_s,
        end_s,
        crossing_standard_uncertainty_s: POSITION_STANDARD_UNCERTAINTY_M / entry_speed_m_s.max(1.0),
        ridden_m: if ridden_m.is_finite() {
            ridden_m
        } else {
            track.path_m(start_s, end_s)
        },
        entry_speed_m_s,
        exit_speed_m_s: speed(end_s),
        mean_power_w: measure::power(s, start_s, end_s).mean_w,
        flags: vec![],
    }
}

/// Every ride that began at a gate, in order of time.
fn attempts(located: &Located, track: &Track) -> Vec<Attempt> {
    let [start, finish] = located.gates();
    let mut walk = Walk {
        line: &located.line,
        length_m: located.line.length_m(),
        is_loop: located.shape == Shape::Loop,
        open: None,
        done: vec![],
    };
    for index in 1..track.time_s.len() {
        let at_start = start.crossing(track, index).map(|c| (Which::Start, c));
        let at_finish = if walk.is_loop {
            None
        } else {
            crossing(&finish, track, index)
        };
        let mut crossings: Vec<(Which, Crossing)> = at_start.into_iter().chain(at_finish).collect();
        crossings.sort_by(|a, b| a.1.time_s.total_cmp(&b.1.time_s));
        for (which, crossing) in crossings {
            walk.cross(which, crossing, track, index);
        }
        walk.advance(track, index);
    }
    if let Some(attempt) = walk.open.take() {
        let end_s = track.time_s.last().copied().unwrap_or(attempt.from_s);
        walk.done.push(Attempt {
            to_s: end_s,
            ended: Ended::OutOfRecording,
            ..attempt
        });
    }
    walk.done
}

fn crossing(gate: &Gate, track: &Track, index: usize) -> Option<(Which, Crossing)> {
    gate.crossing(track, index).map(|c| (Which::Finish, c))
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Which {
    Start,
    Finish,
}

struct Walk<'a> {
    line: &'a Line,
    length_m: f64,
    is_loop: bool,
    open: Option<Attempt>,
    done: Vec<Attempt>,
}

impl Walk<'_> {
    /// The direction that a crossing begins, and the direction that it ends.
    fn meaning(&self, which: Which, onward: bool) -> (Option<Direction>, Option<Direction>) {
        use Direction::{Forward, Reverse};
        match (self.is_loop, which, onward) {
            (true, _, true) => (Some(Forward), Some(Forward)),
            (true, _, false) => (Some(Reverse), Some(Reverse)),
            (false, Which::Start, true) => (Some(Forward), None),
            (false, Which::Start, false) => (None, Some(Reverse)),
            (false, Which::Finish, true) => (None, Some(Forward)),
            (false, Which::Finish, false) => (Some(Reverse), None),
        }
    }

    fn cross(&mut self, which: Which, crossing: Crossing, track: &Track, index: usize) {
        let (begins, ends) = self.meaning(which, crossing.onward);
        let step_m = length(minus(track.at[index], track.at[index - 1]));
        if let Some(attempt) = self.open {
            let Some(ended) = self.how_it_ends(&attempt, begins, ends, step_m + REACH_M) else {
                return;
            };
            self.open = None;
            let farthest_m = if ended == Ended::Through && attempt.left.is_none() {
                self.length_m
            } else {
                attempt.farthest_m
            };
            self.done.push(Attempt {
                to_s: crossing.reached_s,
                ended,
                farthest_m,
                ..attempt
            });
        } else if let (Some(direction), false) = (ends, self.is_loop) {
            self.done
                .extend(self.joined_late(direction, crossing.reached_s, track, index));
        }
        if let Some(direction) = begins {
            self.open = Some(Attempt {
                direction,
                from_s: crossing.time_s,
                to_s: crossing.time_s,
                farthest_m: 0.0,
                back_m: 0.0,
                turned_at_m: 0.0,
                left: None,
                ended: Ended::OutOfRecording,
                progress_m: if direction == Direction::Forward {
                    0.0
                } else {
                    self.length_m
                },
                off_since_s: None,
            });
        }
    }

    /// What a crossing means for the ride that is under way; `None`: nothing, the road only comes close.
    fn how_it_ends(
        &self,
        attempt: &Attempt,
        begins: Option<Direction>,
        ends: Option<Direction>,
        reach_m: f64,
    ) -> Option<Ended> {
        let done_m = self.done_m(attempt);
        let lost = attempt.left.is_some();
        let at_first = lost || done_m < reach_m;
        let at_last = lost || done_m > self.length_m - reach_m;
        if ends == Some(attempt.direction) {
            if at_last {
                return Some(Ended::Through);
            }
            return (self.is_loop && at_first).then_some(Ended::TurnedBack);
        }
        if self.is_loop || ends.is_some() {
            // Back over the first gate the other way.
            return at_first.then_some(if lost { Ended::Elsewhere } else { Ended::TurnedBack });
        }
        // A gate that begins a ride: the first one again, or the last one from beyond.
        let again = begins == Some(attempt.direction);
        (if again { at_first } else { at_last }).then_some(Ended::Elsewhere)
    }

    /// Distance from the first gate along the line, in the direction ridden.
    fn done_m(&self, attempt: &Attempt) -> f64 {
        match attempt.direction {
            Direction::Forward => attempt.progress_m,
            Direction::Reverse => self.length_m - attempt.progress_m,
        }
    }

    fn advance(&mut self, track: &Track, index: usize) {
        let Some(mut attempt) = self.open else { return };
        let Some((progress_m, off_m)) = follow(self.line, track, index, index - 1, attempt.progress_m) else {
            return;
        };
        if attempt.left.is_some() {
            return;
        }
        let time = track.time_s[index];
        attempt.progress_m = progress_m;
        let done_m = self.done_m(&attempt);
        if off_m > OFF_M {
            let since = *attempt.off_since_s.get_or_insert(time);
            if time - since > OFF_S {
                attempt.left = Some((since, attempt.farthest_m));
            }
        } else {
            attempt.off_since_s = None;
            attempt.farthest_m = attempt.farthest_m.max(done_m);
            let back_m = attempt.farthest_m - done_m;
            if back_m > attempt.back_m {
                (attempt.back_m, attempt.turned_at_m) = (back_m, attempt.farthest_m);
            }
        }
        self.open = Some(attempt);
    }

    /// Looks back from the far gate to where the rider came onto the course.
    fn joined_late(&self, direction: Direction, end_s: f64, track: &Track, index: usize) -> Option<Attempt> {
        let mut progress_m = if direction == Direction::Forward {
            self.length_m
        } else {
            0.0
        };
        let mut earliest = index;
        let mut at_start_of_recording = true;
        for back in (0..index).rev() {
            let place = follow(self.line, track, back, back + 1, progress_m);
            let Some((next_m, _)) = place.filter(|&(_, off_m)| off_m <= OFF_M) else {
                at_start_of_recording = false;
                break;
            };
            let turned_m = match direction {
                Direction::Forward => next_m - progress_m,
                Direction::Reverse => progress_m - next_m,
            };
            if turned_m > 5.0 {
                at_start_of_recording = false;
                break;
            }
            (progress_m, earliest) = (next_m, back);
            if track.broken[back] {
                break;
            }
        }
        let after_m = match direction {
            Direction::Forward => progress_m,
            Direction::Reverse => self.length_m - progress_m,
        };
        Some(Attempt {
            direction,
            from_s: track.time_s[earliest].min(end_s),
            to_s: end_s,
            farthest_m: self.length_m,
            back_m: 0.0,
            turned_at_m: 0.0,
            left: None,
            ended: Ended::JoinedLate {
                after_m,
                at_start_of_recording,
            },
            progress_m,
            off_since_s: None,
        })
    }
}

/// Where on the line the rider is at one sample, knowing where he was at its neighbour: (along, off).
fn follow(line: &Line, track: &Track, index: usize, neighbour: usize, along_m: f64) -> Option<(f64, f64)> {
    let moved = length(minus(track.at[index], track.at[neighbour]));
    let reach = 1.5 * moved + 20.0;
    let place = line.nearest(track.at[index], Some((along_m - reach, along_m + reach)))?;
    Some((place.distance_m, place.off_m))
}
