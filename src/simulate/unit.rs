//! What the recording unit makes of the samples: files, pauses, laps and timer events.

use super::path::{Doing, Path};
use super::plan::{DayPlan, Files, Format, Incident, LapHabit, SpeedTruth, TimerHabit};
use super::ride::Trace;
use super::second_unit::{self, Clock};
use super::sensors;
use super::{Purpose, cover, random};
use crate::recording::{self, ExtraChannel, Recording, Sample, Session, TimerEvent};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use std::path::PathBuf;

/// Name of the channel of the air-speed sensor.
pub(super) const AIR_SPEED: &str = "air speed";
const PAUSE_AFTER_S: f64 = 2.0;

/// From and to, in seconds since the start of the trace.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window {
    pub from_s: f64,
    pub to_s: f64,
}

impl Window {
    pub fn holds(&self, seconds: f64) -> bool {
        self.from_s < seconds && seconds < self.to_s
    }
}

pub(super) fn record(plan: &DayPlan, path: &Path, trace: &Trace) -> Vec<Recording> {
    if trace.ridden_m.is_empty() {
        return Vec::new(); // A plan without a pass is not ridden.
    }
    let mut rng = random(plan.seed, Purpose::Sensors);
    let pauses = pauses(plan, path, trace, &mut rng);
    let silent = while_in_pass(plan, path, trace, |incident| match *incident {
        Incident::PowerDropOut {
            pass,
            at_m,
            duration_s,
        } => Some((pass, at_m, duration_s)),
        _ => None,
    });
    let jumps = altitude_jumps(plan, path, trace);
    let mut samples = sensors::samples(plan, path, trace, &silent, &jumps, &Clock::TRUE, &mut rng);
    cover::spoil(plan, path, trace, &mut samples);
    lose_positions(plan, path, trace, &mut samples);
    if let Some(second) = &plan.second_unit {
        for (_, sample) in &mut samples {
            second_unit::keep(sample, &second.first_has);
        }
    }
    let counts_turns = plan
        .second_unit
        .as_ref()
        .is_none_or(|second| second.first_has.speed);
    let mut air_rng = random(plan.seed, Purpose::AirSpeed);
    let marks = lap_marks(plan, path, trace);
    let windows = file_windows(plan, trace);
    let count = windows.len();
    windows
        .iter()
        .enumerate()
        .map(|(index, window)| {
            let held: Vec<Sample> = samples
                .iter()
                .filter(|(t, _)| window.from_s <= *t && *t <= window.to_s)
                .filter(|(t, _)| !pauses.iter().any(|pause| pause.holds(*t)))
                .map(|(_, sample)| *sample)
                .collect();
            let absolute = |w: &Window| Window {
                from_s: w.from_s + trace.start_s,
                to_s: w.to_s + trace.start_s,
            };
            let pauses: Vec<Window> = pauses.iter().map(absolute).collect();
            let air = sensors::air_speeds(plan, trace, &held, &mut air_rng);
            let mut recording = recording(plan, file_name(plan, index, count), held, &pauses, &marks);
            recording.wheel_sensor = recording.wheel_sensor.filter(|_| counts_turns);
            recording.extra.extend(air.map(|values| ExtraChannel {
                name: AIR_SPEED.to_string(),
                units: "m/s".to_string(),
                values,
            }));
            recording
        })
        .chain(second_unit::record(plan, path, trace))
        .filter(|recording| !recording.samples.is_empty())
        .collect()
}

fn file_name(plan: &DayPlan, index: usize, count: usize) -> PathBuf {
    let ending = match plan.format {
        Format::Fit => "fit",
        Format::Gpx => "gpx",
        Format::Csv => "csv",
    };
    PathBuf::from(if count == 1 {
        format!("ride.{ending}")
    } else {
        format!("ride-{:02}.{ending}", index + 1)
    })
}

fn file_windows(plan: &DayPlan, trace: &Trace) -> Vec<Window> {
    let mut windows = Vec::new();
    let mut from_s = 0.0;
    if plan.files == Files::PerBlock {
        for stand in trace.stands.iter().filter(|s| s.next_block.is_some()) {
            let rest = stand.to_s - stand.from_s;
            windows.push(Window {
                from_s,
                to_s: stand.from_s + 0.3 * rest,
            });
            from_s = stand.from_s + 0.7 * rest;
        }
    }
    windows.push(Window {
        from_s,
        to_s: trace.duration_s(),
    });
    windows
}

fn pauses(plan: &DayPlan, path: &Path, trace: &Trace, rng: &mut ChaCha8Rng) -> Vec<Window> {
    let mut pauses = while_in_pass(plan, path, trace, |incident| match *incident {
        Incident::Pause {
            pass,
            at_m,
            duration_s,
        } => Some((pass, at_m, duration_s)),
        _ => None,
    });
    for stand in &trace.stands {
        let by_chance: bool = rng.random();
        let pauses_here = match plan.rider.timer {
            TimerHabit::KeepsRunning => false,
            TimerHabit::AutoPause => true,
            TimerHabit::Sometimes => by_chance,
        };
        if pauses_here && stand.to_s - stand.from_s > 2.0 * PAUSE_AFTER_S {
            pauses.push(Window {
                from_s: stand.from_s + PAUSE_AFTER_S,
                to_s: stand.to_s,
            });
        }
    }
    pauses.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    pauses
}

/// When the incidents that `pick` knows take place: (pass, metres after its first gate, duration).
pub(super) fn while_in_pass(
    plan: &DayPlan,
    path: &Path,
    trace: &Trace,
    pick: impl Fn(&Incident) -> Option<(usize, f64, f64)>,
) -> Vec<Window> {
    let picked = plan.incidents.iter().filter_map(pick);
    picked
        .filter_map(|(pass, at_m, duration_s)| {
            let from_s = time_in_pass(path, trace, pass, at_m)?;
            Some(Window {
                from_s,
                to_s: from_s + duration_s,
            })
        })
        .collect()
}

/// Seconds since the start of the trace, and metres.
fn altitude_jumps(plan: &DayPlan, path: &Path, trace: &Trace) -> Vec<(f64, f64)> {
    let jumps = plan.incidents.iter().filter_map(|incident| match *incident {
        Incident::AltitudeJump { pass, at_m, jump_m } => {
            Some((time_in_pass(path, trace, pass, at_m)?, jump_m))
        }
        _ => None,
    });
    jumps.collect()
}

/// When a pass, by its number, was so far beyond its first gate; seconds since the start of the trace.
fn time_in_pass(path: &Path, trace: &Trace, pass: usize, at_m: f64) -> Option<f64> {
    let of_pass = |doing: Doing| matches!(doing, Doing::Pass { number, .. } if number + 1 == pass);
    let span = path.spans.iter().find(|span| of_pass(span.doing))?;
    Some(trace.time_at(span.from_m + at_m))
}

/// What a unit writes in a tunnel, and a sample before and behind it for the straight line.
fn lose_positions(plan: &DayPlan, path: &Path, trace: &Trace, samples: &mut [(f64, Sample)]) {
    for incident in &plan.incidents {
        let Incident::PositionsLost { frozen, .. } = *incident else {
            continue;
        };
        let one = |candidate: &Incident| match *candidate {
            Incident::PositionsLost {
                pass,
                at_m,
                duration_s,
                ..
            } if candidate == incident => Some((pass, at_m, duration_s)),
            _ => None,
        };
        for window in while_in_pass(plan, path, trace, one) {
            let first = samples.partition_point(|(t, _)| *t <= window.from_s);
            let last = samples.partition_point(|(t, _)| *t < window.to_s);
            let (Some(before), Some(after)) = (first.checked_sub(1), samples.get(last)) else {
                continue;
            };
            let (before, after) = (samples[before], *after);
            for (t, sample) in &mut samples[first..last] {
                let share = if frozen {
                    0.0
                } else {
                    (*t - before.0) / (after.0 - before.0)
                };
                let between = |a: Option<f64>, b: Option<f64>| Some(a? + share * (b? - a?));
                sample.latitude_deg = between(before.1.latitude_deg, after.1.latitude_deg);
                sample.longitude_deg = between(before.1.longitude_deg, after.1.longitude_deg);
            }
        }
    }
}

/// When the lap button was pressed, unix seconds, whole.
fn lap_marks(plan: &DayPlan, path: &Path, trace: &Trace) -> Vec<f64> {
    let seconds: Vec<f64> = match plan.rider.lap_button {
        LapHabit::Never => Vec::new(),
        LapHabit::Blocks => {
            let stands = trace.stands.iter();
            stands
                .filter(|stand| stand.first || stand.next_block.is_some())
                .map(|stand| stand.to_s + 1.0)
                .collect()
        }
        LapHabit::Gates => path
            .spans
            .iter()
            .filter(|span| matches!(span.doing, Doing::Pass { .. }))
            .flat_map(|span| [span.from_m, span.to_m])
            .map(|x| trace.time_at(x))
            .collect(),
    };
    let mut marks: Vec<f64> = seconds.iter().map(|s| (trace.start_s + s).round()).collect();
    marks.dedup();
    marks
}

pub(super) fn recording(
    plan: &DayPlan,
    file: PathBuf,
    samples: Vec<Sample>,
    pauses: &[Window],
    marks: &[f64],
) -> Recording {
    let (first, last) = match (samples.first(), samples.last()) {
        (Some(first), Some(last)) => (first.time_s, last.time_s),
        _ => (0.0, 0.0),
    };
    let mut samples = samples;
    let start_m = samples.first().and_then(|s| s.distance_m).unwrap_or(0.0);
    for sample in &mut samples {
        sample.distance_m = sample.distance_m.map(|d| cents(d - start_m));
    }
    let is_fit = plan.format == Format::Fit;
    let is_table = plan.format == Format::Csv;
    let inside = |t: &&f64| first < **t && **t < last;
    Recording {
        file,
        format: match plan.format {
            Format::Fit => recording::Format::Fit,
            Format::Gpx => recording::Format::Gpx,
            Format::Csv => recording::Format::Csv,
        },
        // A table knows neither timer nor session.
        timer_events: if is_table {
            Vec::new()
        } else {
            timer_events(&samples, pauses, is_fit)
        },
        samples,
        extra: Vec::new(),
        lap_marks_s: if is_fit {
            marks.iter().filter(inside).copied().collect()
        } else {
            Vec::new()
        },
        sessions: if is_table {
            Vec::new()
        } else {
            vec![Session {
                start_s: first,
                end_s: last,
                sport: Some("cycling".to_string()),
            }]
        },
        wheel_sensor: (is_fit && plan.sensors.speed_source == SpeedTruth::WheelSensor).then_some(true),
        device: None,
        rider_mass_kg: None,
        one_leg_power: false,
        faults: Vec::new(),
    }
}

fn cents(metres: f64) -> f64 {
    (metres * 100.0).round() / 100.0
}

/// Stops and starts at the samples around each pause; a FIT file also says when it all began and ended.
fn timer_events(samples: &[Sample], pauses: &[Window], is_fit: bool) -> Vec<TimerEvent> {
    let mut events = Vec::new();
    let mut add = |time_s: f64, running: bool| events.push(TimerEvent { time_s, running });
    if let (true, Some(first)) = (is_fit, samples.first()) {
        add(first.time_s, true);
    }
    for pair in samples.windows(2) {
        let (a, b) = (pair[0].time_s, pair[1].time_s);
        if pauses.iter().any(|p| a <= p.from_s && p.to_s <= b) {
            add(a, false);
            add(b, true);
        }
    }
    if let (true, Some(last)) = (is_fit, samples.last()) {
        add(last.time_s, false);
    }
    events
}
