//! What the sensors and the recording unit make of the true ride.

use super::path::{Doing, Path};
use super::plan::{DayPlan, Files, Format, Incident, LapHabit, Sampling, SpeedTruth, TimerHabit};
use super::ride::Trace;
use super::road::{moved, wrapped_longitude};
use super::wind::Wander;
use super::{Purpose, random};
use crate::recording::{self, Recording, Sample, Session, TimerEvent};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::path::PathBuf;

const CADENCE_RPM: f64 = 88.0;
const PAUSE_AFTER_S: f64 = 2.0;
/// A unit's own speed is smoothed: its error lasts.
const UNIT_SPEED_MEMORY_S: f64 = 3.0;

/// From and to, in seconds since the start of the trace.
#[derive(Debug, Clone, Copy)]
struct Window {
    from_s: f64,
    to_s: f64,
}

impl Window {
    fn holds(&self, seconds: f64) -> bool {
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
    let samples = samples(plan, path, trace, &silent, &mut rng);
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
            recording(plan, file_name(plan, index, count), held, &pauses, &marks)
        })
        .filter(|recording| !recording.samples.is_empty())
        .collect()
}

fn file_name(plan: &DayPlan, index: usize, count: usize) -> PathBuf {
    let ending = match plan.format {
        Format::Fit => "fit",
        Format::Gpx => "gpx",
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
fn while_in_pass(
    plan: &DayPlan,
    path: &Path,
    trace: &Trace,
    pick: impl Fn(&Incident) -> Option<(usize, f64, f64)>,
) -> Vec<Window> {
    let picked = plan.incidents.iter().filter_map(pick);
    picked
        .filter_map(|(pass, at_m, duration_s)| {
            let span = path
                .spans
                .iter()
                .find(|span| matches!(span.doing, Doing::Pass { number, .. } if number + 1 == pass))?;
            let from_s = trace.time_at(span.from_m + at_m);
            Some(Window {
                from_s,
                to_s: from_s + duration_s,
            })
        })
        .collect()
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

fn recording(
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
    let inside = |t: &&f64| first < **t && **t < last;
    Recording {
        file,
        format: if is_fit {
            recording::Format::Fit
        } else {
            recording::Format::Gpx
        },
        timer_events: timer_events(&samples, pauses, is_fit),
        samples,
        extra: Vec::new(),
        lap_marks_s: if is_fit {
            marks.iter().filter(inside).copied().collect()
        } else {
            Vec::new()
        },
        sessions: if is_fit {
            vec![Session {
                start_s: first,
                end_s: last,
                sport: Some("cycling".to_string()),
            }]
        } else {
            Vec::new()
        },
        wheel_sensor: (is_fit && plan.sensors.speed_source == SpeedTruth::WheelSensor).then_some(true),
        device: None,
        rider_mass_kg: None,
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

/// The errors that wander on from sample to sample.
struct Errors<'a> {
    plan: &'a DayPlan,
    rng: &'a mut ChaCha8Rng,
    east: Wander,
    north: Wander,
    speed: Wander,
    barometer_m: f64,
}

/// Every sample of the day with its time since the start, pauses included.
fn samples(
    plan: &DayPlan,
    path: &Path,
    trace: &Trace,
    silent: &[Window],
    rng: &mut ChaCha8Rng,
) -> Vec<(f64, Sample)> {
    let interval = match plan.sensors.sampling {
        Sampling::Every(seconds) if seconds >= super::ride::TICK_S => seconds,
        Sampling::Every(_) => super::ride::TICK_S,
        Sampling::OnChange { .. } => 1.0,
    };
    let truth = &plan.sensors;
    let mut errors = Errors {
        plan,
        east: Wander::new(truth.position_sd_m, truth.position_memory_s, interval, rng),
        north: Wander::new(truth.position_sd_m, truth.position_memory_s, interval, rng),
        speed: Wander::new(truth.speed_noise_m_s, UNIT_SPEED_MEMORY_S, interval, rng),
        barometer_m: 0.0,
        rng,
    };
    let first = (trace.start_s / interval).ceil();
    let count = ((trace.start_s + trace.duration_s()) / interval - first).floor();
    let every: Vec<(f64, Sample)> = (0..=count.max(0.0) as usize)
        .map(|k| {
            let time_s = (first + k as f64) * interval;
            let seconds = time_s - trace.start_s;
            let heard = !silent.iter().any(|w| w.holds(seconds));
            let sample = errors.sample(path, trace, time_s, interval, heard);
            (seconds, sample)
        })
        .collect();
    match truth.sampling {
        Sampling::OnChange { longest_s } => only_changes(every, longest_s),
        Sampling::Every(_) => every,
    }
}

impl Errors<'_> {
    fn normal(&mut self) -> f64 {
        self.rng.sample(StandardNormal)
    }

    fn sample(&mut self, path: &Path, trace: &Trace, time_s: f64, interval: f64, heard: bool) -> Sample {
        let truth = &self.plan.sensors;
        let seconds = time_s - trace.start_s;
        let tick = (seconds / super::ride::TICK_S) as usize;
        let node = trace.node.get(tick).copied().unwrap_or(0);
        let x = Trace::at(&trace.ridden_m, seconds);
        let [latitude, longitude, height] = path.place(node, x);
        let pedals = trace.pedalling.get(tick).copied().unwrap_or(false);
        let power = self.power_w(trace, seconds, interval);
        let place = self.place([latitude, longitude]);
        let speed = self.speed_m_s(Trace::at(&trace.speed_m_s, seconds));
        let altitude = self.altitude_m(trace, height, seconds, interval);
        Sample {
            time_s,
            latitude_deg: Some(place[0]),
            longitude_deg: Some(place[1]),
            altitude_m: Some(altitude),
            distance_m: (speed.is_some() && self.plan.format == Format::Fit)
                .then_some(x * (1.0 + truth.speed_scale_error)),
            speed_m_s: speed,
            power_w: heard.then_some(power),
            cadence_rpm: Some(if pedals { CADENCE_RPM } else { 0.0 }),
            heart_rate_bpm: None,
            temperature_c: Some(rounded(
                self.plan.air.temperature_c + truth.temperature_offset_c,
                truth.temperature_resolution_c,
            )),
            pressure_pa: None,
        }
    }

    /// Mean of the interval that ends at the stamp (or a stated delay before it).
    fn power_w(&mut self, trace: &Trace, seconds: f64, interval: f64) -> f64 {
        let truth = &self.plan.sensors;
        let end = seconds - truth.power_delay_s;
        let work = Trace::at(&trace.work_j, end) - Trace::at(&trace.work_j, end - interval);
        let drift = truth.power_drift_w_per_h * seconds / 3600.0;
        let noise = truth.power_noise_w * self.normal();
        if work <= 0.0 {
            return 0.0; // A crank that stands still reads nothing.
        }
        let read = work / interval * (1.0 + truth.power_scale_error) + drift + noise;
        rounded(read.max(0.0), truth.power_resolution_w)
    }

    fn speed_m_s(&mut self, speed: f64) -> Option<f64> {
        let truth = &self.plan.sensors;
        let noise = match truth.speed_source {
            SpeedTruth::WheelSensor => truth.speed_noise_m_s * self.normal(),
            SpeedTruth::Unit => self.speed.advance(self.rng),
            SpeedTruth::None => return None,
        };
        if speed == 0.0 {
            return Some(0.0);
        }
        let read = speed * (1.0 + truth.speed_scale_error) + noise;
        Some(rounded(read.max(0.0), truth.speed_resolution_m_s))
    }

    fn altitude_m(&mut self, trace: &Trace, height: f64, seconds: f64, interval: f64) -> f64 {
        let truth = &self.plan.sensors;
        let walk = truth.barometer_walk_m_per_sqrt_min * (interval / 60.0).sqrt();
        self.barometer_m += walk * self.normal();
        let noise = truth.altitude_noise_m * self.normal();
        let airspeed = Trace::at(&trace.airspeed_m_s, seconds);
        let port = truth.barometer_port_coefficient * airspeed * airspeed / (2.0 * 9.81);
        let trend = truth.barometer_trend_m_per_h * seconds / 3600.0;
        let read = height + truth.altitude_offset_m + self.barometer_m + trend + noise - port;
        rounded(read, truth.altitude_resolution_m)
    }

    fn place(&mut self, true_deg: [f64; 2]) -> [f64; 2] {
        let off = [self.east.advance(self.rng), self.north.advance(self.rng)];
        let place = moved(true_deg, off);
        let step = match self.plan.format {
            _ if !self.plan.sensors.position_as_stored => 0.0,
            Format::Fit => 180.0 / 2f64.powi(31),
            Format::Gpx => 1e-7,
        };
        [
            rounded(place[0], step),
            rounded(wrapped_longitude(place[1]), step),
        ]
    }
}

fn rounded(value: f64, step: f64) -> f64 {
    if step <= 0.0 {
        return value;
    }
    // A step such as 0.2 or 1e-7 has no exact double, its inverse has: 123.4 must be the double of "123.4".
    let per_unit = (1.0 / step).round();
    if (per_unit * step - 1.0).abs() < 1e-12 {
        (value * per_unit).round() / per_unit
    } else {
        (value / step).round() * step
    }
}

/// Keeps a sample when speed or direction changed since the last one kept, or after `longest_s`.
fn only_changes(every: Vec<(f64, Sample)>, longest_s: f64) -> Vec<(f64, Sample)> {
    let mut kept: Vec<(f64, Sample)> = Vec::new();
    let mut heading = f64::NAN;
    let mut last_place = None;
    for (seconds, sample) in every {
        let place = sample.latitude_deg.zip(sample.longitude_deg);
        if let (Some(a), Some(b)) = (last_place, place) {
            let (a, b): ((f64, f64), (f64, f64)) = (a, b);
            let [east, north] = super::road::offset_m([a.0, a.1], [b.0, b.1]);
            if east.hypot(north) > 1.0 {
                heading = east.atan2(north);
            }
        }
        last_place = place;
        let worth_keeping = kept.last().is_none_or(|(t, old)| {
            let speed = sample.speed_m_s.unwrap_or(0.0) - old.speed_m_s.unwrap_or(0.0);
            seconds - t >= longest_s || speed.abs() > 0.5
        });
        let turned = kept_heading(&kept, heading, place);
        if worth_keeping || turned {
            kept.push((seconds, sample));
        }
    }
    kept
}

/// True when the way since the last sample kept lies more than 10° off the present heading.
fn kept_heading(kept: &[(f64, Sample)], heading: f64, place: Option<(f64, f64)>) -> bool {
    let Some((_, old)) = kept.last() else {
        return false;
    };
    match (old.latitude_deg.zip(old.longitude_deg), place) {
        (Some(a), Some(b)) if heading.is_finite() => {
            let [east, north] = super::road::offset_m([a.0, a.1], [b.0, b.1]);
            let turn = heading - east.atan2(north);
            east.hypot(north) > 5.0 && turn.sin().atan2(turn.cos()).abs() > 10f64.to_radians()
        }
        _ => false,
    }
}
