//! A ridden day: what the files will show, and what really happened.

use super::path::{Doing, Path};
use super::plan::{DayPlan, Incident};
use super::ride::{TICK_S, Trace};
use super::road::{Road, offset_m, wrapped_longitude};
use super::sensors::{CADENCE_RPM, drift_w};
use super::{Purpose, random};
use crate::recording::Recording;
use rand::Rng;
use rand_distr::StandardNormal;

/// How far beside a gate the true path may pass and still go through it.
const GATE_HALF_WIDTH_M: f64 = 30.0;

#[derive(Debug, Clone, PartialEq)]
pub struct TrueDay {
    pub plan: DayPlan,
    pub recordings: Vec<Recording>,
    /// Every whole pass, in riding order.
    pub passes: Vec<TruePass>,
    pub near_passes: Vec<NearPass>,
    /// Latitude, longitude in degrees of the gates; a loop has one.
    pub start_deg: [f64; 2],
    pub finish_deg: [f64; 2],
    /// The centre line from start to finish, a point each 5 m.
    pub line: Vec<[f64; 2]>,
    /// The true position at each tick.
    track: Vec<[f64; 2]>,
    start_s: f64,
    /// N m that the meter showed before it was zeroed for each block, and at the end; empty where it was not.
    pub(super) power_zeros_nm: Vec<f64>,
    /// Where the air moved to before each block, east and north, as the rider's wind meter read it.
    pub(super) hand_held_winds_m_s: Vec<[f64; 2]>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct TruePass {
    /// Among the planned passes of the day, from 1; a pass that was cut leaves its number out.
    pub number: usize,
    /// Index into the plan's set-ups; `None`: warm-up.
    pub setup: Option<usize>,
    /// Index into the plan's order.
    pub block: usize,
    /// From start to finish; always true one way and on a loop.
    pub forward: bool,
    /// Unix seconds at the gates where it begins and ends.
    pub start_s: f64,
    pub end_s: f64,
    /// At the crank, true.
    pub mean_power_w: f64,
    pub entry_speed_m_s: f64,
    /// Position of the rider included.
    pub cda_m2: f64,
    /// Unix seconds, each 0.1 s, and metres from the start gate along the course at those times.
    pub times_s: Vec<f64>,
    pub distance_m: Vec<f64>,
    /// Lead-in and run-out included: where a gate of somebody else's choice may lie.
    window_s: [f64; 2],
}

/// A ride over the course that is no pass.
#[derive(Debug, Clone, PartialEq)]
pub struct NearPass {
    /// Unix seconds at its first gate.
    pub start_s: f64,
    pub block: usize,
    pub reason: NearReason,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NearReason {
    TurnedRound { after_m: f64 },
    Stopped { seconds: f64 },
    Paused { seconds: f64 },
}

impl TruePass {
    /// When the rider was `distance_m` metres from the start gate; `None` outside the pass.
    pub fn time_at(&self, distance_m: f64) -> Option<f64> {
        let pairs = self.distance_m.windows(2).zip(self.times_s.windows(2));
        for (d, t) in pairs {
            let (low, high) = (d[0].min(d[1]), d[0].max(d[1]));
            if low <= distance_m && distance_m <= high && high > low {
                return Some(t[0] + (distance_m - d[0]) / (d[1] - d[0]) * (t[1] - t[0]));
            }
        }
        None
    }
}

impl TrueDay {
    /// The recordings as they are when so many passes are ridden and the rider stands beside the road.
    pub fn recordings_after(&self, passes: usize) -> Vec<Recording> {
        let end_s = match (
            passes.checked_sub(1).and_then(|last| self.passes.get(last)),
            self.passes.get(passes),
        ) {
            (Some(last), Some(next)) => 0.5 * (last.end_s + next.start_s),
            (None, Some(next)) => next.start_s,
            (_, None) => f64::INFINITY,
        };
        let mut recordings = self.recordings.clone();
        for recording in &mut recordings {
            let kept = recording.samples.iter().take_while(|s| s.time_s <= end_s).count();
            recording.samples.truncate(kept);
            for channel in &mut recording.extra {
                channel.values.truncate(kept);
            }
            recording.lap_marks_s.retain(|mark| *mark <= end_s);
            recording.timer_events.retain(|event| event.time_s <= end_s);
        }
        recordings.retain(|recording| !recording.samples.is_empty());
        recordings
    }

    pub(super) fn new(
        plan: &DayPlan,
        road: &Road,
        path: &Path,
        trace: &Trace,
        recordings: Vec<Recording>,
    ) -> Self {
        let length = road.length_m();
        let place = |s: f64| {
            let point = road.at(s);
            [point.latitude_deg, wrapped_longitude(point.longitude_deg)]
        };
        let steps = (length / 5.0).ceil().max(1.0);
        let line = (0..=steps as usize).map(|k| place(length * k as f64 / steps));
        let track = trace.ridden_m.iter().zip(&trace.node);
        let ridden = passes(plan, path, trace);
        TrueDay {
            plan: plan.clone(),
            recordings,
            near_passes: near_passes(plan, path, trace),
            start_deg: place(0.0),
            finish_deg: place(length),
            line: line.collect(),
            track: track
                .map(|(&x, &node)| {
                    let [latitude, longitude, _] = path.place(node, x);
                    [latitude, longitude]
                })
                .collect(),
            start_s: trace.start_s,
            power_zeros_nm: power_zeros_nm(plan, trace, &ridden),
            passes: ridden,
            hand_held_winds_m_s: hand_held_winds_m_s(plan, trace),
        }
    }

    /// When the true path went through a gate across the road at `gate_deg` (latitude, longitude) in pass
    /// `pass` (an index into `passes`), unix seconds. The gate may lie outside the true stretch, on lead-in or
    /// run-out. On a loop: the crossing nearest to the pass's start. `None`: not crossed.
    pub fn crossing_times(&self, gate_deg: [f64; 2], pass: usize) -> Option<f64> {
        let pass = self.passes.get(pass)?;
        let [from_s, to_s] = pass.window_s;
        self.all_crossings(gate_deg)
            .into_iter()
            .filter(|t| from_s <= *t && *t <= to_s)
            .min_by(|a, b| {
                let away = |t: &f64| (t - pass.start_s).abs();
                away(a).total_cmp(&away(b))
            })
    }

    /// Start of a planned pass by its number, unless something cut it.
    pub(super) fn planned_pass(&self, number: usize) -> Option<f64> {
        let pass = self.passes.iter().find(|pass| pass.number == number)?;
        Some(pass.start_s)
    }

    /// Every time of the day at which the true path went through that gate, in either direction.
    pub fn all_crossings(&self, gate_deg: [f64; 2]) -> Vec<f64> {
        let [sin, cos] = self.direction_at(gate_deg);
        let relative = |place: &[f64; 2]| {
            let [east, north] = offset_m(gate_deg, *place);
            [east * sin + north * cos, east * cos - north * sin]
        };
        let mut crossings = Vec::new();
        let mut before: Option<[f64; 2]> = None;
        for (k, place) in self.track.iter().enumerate() {
            let here = relative(place);
            if let Some(there) = before
                && (there[0] < 0.0) != (here[0] < 0.0)
                && here[1].abs() < GATE_HALF_WIDTH_M
            {
                let part = there[0] / (there[0] - here[0]);
                crossings.push(self.start_s + (k as f64 - 1.0 + part) * TICK_S);
            }
            before = Some(here);
        }
        crossings
    }

    /// Sine and cosine of the bearing of the line where it comes nearest; beyond its ends, of its end piece.
    fn direction_at(&self, gate_deg: [f64; 2]) -> [f64; 2] {
        let nearest = self.line.windows(2).min_by(|a, b| {
            let distance = |pair: &[[f64; 2]]| {
                pair.iter()
                    .map(|place| {
                        let [east, north] = offset_m(gate_deg, *place);
                        east.hypot(north)
                    })
                    .sum::<f64>()
            };
            distance(a).total_cmp(&distance(b))
        });
        match nearest {
            Some([a, b]) => {
                let [east, north] = offset_m(*a, *b);
                let length = east.hypot(north).max(1e-9);
                [east / length, north / length]
            }
            _ => [0.0, 1.0],
        }
    }
}

/// The last zero is read when the rider has rolled out.
pub(super) const LAST_ZERO_AFTER_S: f64 = 30.0;

fn power_zeros_nm(plan: &DayPlan, trace: &Trace, passes: &[TruePass]) -> Vec<f64> {
    if !plan.sensors.power_zeroed {
        return Vec::new();
    }
    let changes = trace.stands.iter().filter(|stand| stand.changes_block());
    let last_s = passes
        .last()
        .map(|pass| pass.end_s - trace.start_s + LAST_ZERO_AFTER_S);
    let turning_rad_s = CADENCE_RPM * std::f64::consts::TAU / 60.0;
    changes
        .map(|stand| stand.to_s)
        .chain(last_s)
        .map(|seconds| drift_w(plan, trace, seconds) / turning_rad_s)
        .collect()
}

/// The mean of the last minute that the rider stands before each block, and an error.
fn hand_held_winds_m_s(plan: &DayPlan, trace: &Trace) -> Vec<[f64; 2]> {
    let Some(sd) = plan.sensors.hand_held_wind_sd_m_s else {
        return Vec::new();
    };
    let mut rng = random(plan.seed, Purpose::HandHeld);
    let changes = trace.stands.iter().filter(|stand| stand.changes_block());
    changes
        .map(|stand| {
            let from = (stand.from_s.max(stand.to_s - 60.0) / TICK_S) as usize;
            let to = (stand.to_s / TICK_S) as usize;
            let seen = trace.wind_m_s.get(from..to).unwrap_or_default();
            [0, 1].map(|k| {
                let mean = seen.iter().map(|wind| wind[k]).sum::<f64>() / seen.len().max(1) as f64;
                mean + sd * rng.sample::<f64, _>(StandardNormal)
            })
        })
        .collect()
}

fn is_cut(plan: &DayPlan, number: usize) -> bool {
    plan.incidents.iter().any(|incident| match *incident {
        Incident::Stop { pass, at_m, .. } | Incident::Pause { pass, at_m, .. } => {
            pass == number + 1 && 0.0 < at_m && at_m < plan.course.length_m
        }
        _ => false,
    })
}

fn passes(plan: &DayPlan, path: &Path, trace: &Trace) -> Vec<TruePass> {
    let spans = path.spans.iter().enumerate();
    spans
        .filter_map(|(index, span)| match span.doing {
            Doing::Pass { number, forward } if !is_cut(plan, number) => {
                Some(pass(plan, path, trace, index, number, forward))
            }
            _ => None,
        })
        .collect()
}

fn pass(plan: &DayPlan, path: &Path, trace: &Trace, index: usize, number: usize, forward: bool) -> TruePass {
    let span = &path.spans[index];
    let (from, to) = (trace.time_at(span.from_m), trace.time_at(span.to_m));
    let along = |x: f64| {
        let s = x - span.from_m;
        if forward { s } else { plan.course.length_m - s }
    };
    let ticks = (from / TICK_S).floor() as usize + 1..(to / TICK_S).ceil() as usize;
    let inner = ticks.filter_map(|k| {
        let x = trace.ridden_m.get(k).copied()?;
        Some((trace.start_s + k as f64 * TICK_S, along(x)))
    });
    let (times_s, distance_m) = std::iter::once((trace.start_s + from, along(span.from_m)))
        .chain(inner)
        .chain(std::iter::once((trace.start_s + to, along(span.to_m))))
        .unzip();
    let work = Trace::at(&trace.work_j, to) - Trace::at(&trace.work_j, from);
    TruePass {
        number: number + 1,
        setup: plan.order.get(span.block).and_then(|block| block.setup),
        block: span.block,
        forward,
        start_s: trace.start_s + from,
        end_s: trace.start_s + to,
        mean_power_w: work / (to - from),
        entry_speed_m_s: Trace::at(&trace.speed_m_s, from),
        cda_m2: trace.pass_cda_m2.get(number).copied().unwrap_or(f64::NAN),
        times_s,
        distance_m,
        window_s: window_s(path, trace, index),
    }
}

/// From the end of the last turn (or stand) before the pass to the beginning of the next one; on flying laps
/// half a lap to either side.
fn window_s(path: &Path, trace: &Trace, index: usize) -> [f64; 2] {
    let span = &path.spans[index];
    let half = 0.5 * (span.to_m - span.from_m);
    let is_pass = |doing: Doing| matches!(doing, Doing::Pass { .. });
    let before = path.spans.iter().take(index).rev();
    let mut from_m = span.from_m;
    for other in before {
        if is_pass(other.doing) {
            from_m = span.from_m - half;
        }
        if other.doing != Doing::LeadIn {
            break;
        }
        from_m = other.from_m;
    }
    let mut to_m = span.to_m;
    for other in path.spans.iter().skip(index + 1) {
        if is_pass(other.doing) {
            to_m = span.to_m + half;
        }
        if other.doing != Doing::RunOut {
            break;
        }
        to_m = other.to_m;
    }
    [from_m, to_m].map(|x| trace.start_s + trace.time_at(x))
}

fn near_passes(plan: &DayPlan, path: &Path, trace: &Trace) -> Vec<NearPass> {
    let mut near = Vec::new();
    let mut last_cut = None;
    for span in &path.spans {
        let start_s = trace.start_s + trace.time_at(span.from_m);
        let mut add = |reason: NearReason| {
            near.push(NearPass {
                start_s,
                block: span.block,
                reason,
            });
        };
        match span.doing {
            Doing::Spoilt { .. } => add(NearReason::TurnedRound {
                after_m: span.to_m - span.from_m,
            }),
            Doing::Pass { number, .. } if is_cut(plan, number) && last_cut != Some(number) => {
                last_cut = Some(number);
                for incident in plan.incidents.iter().filter(|i| i.pass() == number + 1) {
                    match *incident {
                        Incident::Stop { duration_s, .. } => add(NearReason::Stopped { seconds: duration_s }),
                        Incident::Pause { duration_s, .. } => add(NearReason::Paused { seconds: duration_s }),
                        _ => {}
                    }
                }
            }
            _ => {}
        }
    }
    near
}
