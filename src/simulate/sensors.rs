//! What the sensors make of the true ride, sample by sample.

use super::path::Path;
use super::plan::{DayPlan, Format, OneLeg, Sampling, SpeedTruth};
use super::ride::Trace;
use super::road::{moved, wrapped_longitude};
use super::second_unit::Clock;
use super::unit::Window;
use super::wind::Wander;
use super::{Purpose, random};
use crate::recording::Sample;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

pub(super) const CADENCE_RPM: f64 = 88.0;
/// A unit's own speed is smoothed: its error lasts.
const UNIT_SPEED_MEMORY_S: f64 = 3.0;

/// The errors that wander on from sample to sample.
struct Errors<'a> {
    plan: &'a DayPlan,
    rng: &'a mut ChaCha8Rng,
    east: Wander,
    north: Wander,
    speed: Wander,
    barometer_m: f64,
    /// Height as a sensor that lags has it, and the true height and time of the sample before.
    lagged: Option<Lagged>,
    by_satellites: Option<(Wander, ChaCha8Rng)>,
    jumps: &'a [(f64, f64)],
    leg_rng: ChaCha8Rng,
    leg: Wander,
    pedalled: Pedalled,
    /// The thermometer above what it comes to while riding.
    warmer_c: f64,
    wheel: Wheel,
}

/// What the wheel sensor counts where tyres change with the set-up: turns times one circumference.
struct Wheel {
    /// From here on: seconds, metres ridden, metres counted by then, and the factor that true metres are counted with.
    from: Vec<[f64; 4]>,
}

impl Wheel {
    fn of(plan: &DayPlan, trace: &Trace) -> Wheel {
        let factor = |block: usize| {
            let setup = plan.order.get(block).and_then(|block| block.setup).unwrap_or(0);
            plan.setups
                .get(setup)
                .map_or(1.0, |setup| setup.rollout_factor.recip())
        };
        let mut from = vec![[0.0, 0.0, 0.0, factor(0)]];
        for stand in &trace.stands {
            let (Some(block), Some(&[_, x, counted, before])) = (stand.next_block, from.last()) else {
                continue;
            };
            let here = Trace::at(&trace.ridden_m, stand.from_s);
            from.push([stand.from_s, here, counted + before * (here - x), factor(block)]);
        }
        Wheel { from }
    }

    fn at(&self, seconds: f64) -> [f64; 4] {
        let after = self.from.partition_point(|piece| piece[0] <= seconds);
        self.from
            .get(after.saturating_sub(1))
            .copied()
            .unwrap_or([0.0, 0.0, 0.0, 1.0])
    }

    fn factor(&self, seconds: f64) -> f64 {
        self.at(seconds)[3]
    }

    fn counted_m(&self, seconds: f64, ridden_m: f64) -> f64 {
        let [_, x, counted, factor] = self.at(seconds);
        if self.from.iter().all(|piece| piece[3] == 1.0) {
            return ridden_m;
        }
        counted + factor * (ridden_m - x)
    }
}

/// What the unit showed last while the pedals turned, and when.
#[derive(Clone, Copy, Default)]
struct Pedalled {
    seconds: f64,
    power_w: f64,
}

#[derive(Clone, Copy)]
struct Lagged {
    read_m: f64,
    true_m: f64,
    seconds: f64,
}

/// Every sample of the day with its time since the start, pauses included: taken when the unit's clock shows a
/// round time, stamped with the true one. `jumps`: seconds since the start at which
/// the altitude is set anew, and by how many metres.
pub(super) fn samples(
    plan: &DayPlan,
    path: &Path,
    trace: &Trace,
    silent: &[Window],
    jumps: &[(f64, f64)],
    clock: &Clock,
    rng: &mut ChaCha8Rng,
) -> Vec<(f64, Sample)> {
    let interval = match plan.sensors.sampling {
        Sampling::Every(seconds) if seconds >= super::ride::TICK_S => seconds,
        Sampling::Every(_) => super::ride::TICK_S,
        Sampling::OnChange { .. } | Sampling::ByNeed => 1.0,
    };
    let truth = &plan.sensors;
    let mut leg_rng = random(plan.seed, Purpose::OneLeg);
    let leg = truth.one_leg.unwrap_or(OneLeg {
        share: 0.5,
        share_per_h: 0.0,
        share_by_setup: 0.0,
        wander_sd: 0.0,
        wander_memory_s: 1.0,
    });
    let mut errors = Errors {
        plan,
        leg: Wander::new(leg.wander_sd, leg.wander_memory_s, interval, &mut leg_rng),
        leg_rng,
        pedalled: Pedalled::default(),
        warmer_c: if truth.thermometer_memory_s > 0.0 {
            truth.temperature_start_c
        } else {
            0.0
        },
        east: Wander::new(truth.position_sd_m, truth.position_memory_s, interval, rng),
        north: Wander::new(truth.position_sd_m, truth.position_memory_s, interval, rng),
        speed: Wander::new(truth.speed_noise_m_s, UNIT_SPEED_MEMORY_S, interval, rng),
        barometer_m: 0.0,
        lagged: None,
        by_satellites: truth.altitude_from_positions.map(|altitude| {
            let mut own = random(plan.seed, Purpose::PositionAltitude);
            let wander = Wander::new(altitude.sd_m, altitude.memory_s, interval, &mut own);
            (wander, own)
        }),
        jumps,
        wheel: Wheel::of(plan, trace),
        rng,
    };
    let first = (clock.shown_s(trace.start_s) / interval).ceil();
    let end_s = clock.shown_s(trace.start_s + trace.duration_s());
    let count = (end_s / interval - first).floor();
    let every: Vec<(f64, Sample)> = (0..=count.max(0.0) as usize)
        .map(|k| {
            let time_s = clock.true_s((first + k as f64) * interval);
            let seconds = time_s - trace.start_s;
            let heard = !silent.iter().any(|w| w.holds(seconds));
            let sample = errors.sample(path, trace, time_s, interval, heard);
            (seconds, sample)
        })
        .collect();
    match truth.sampling {
        Sampling::OnChange { longest_s } => only_changes(every, longest_s, truth.power_since_last),
        Sampling::ByNeed => by_need(every, truth.power_since_last, plan.seed),
        Sampling::Every(_) => every,
    }
}

/// What the meter reads too much while the cranks turn.
pub(super) fn drift_w(plan: &DayPlan, trace: &Trace, seconds: f64) -> f64 {
    let zeroed = trace.stands.iter().filter(|stand| stand.changes_block());
    let last_s = zeroed
        .map(|stand| stand.to_s)
        .filter(|to_s| plan.sensors.power_zeroed && *to_s < seconds)
        .fold(0.0, f64::max);
    plan.sensors.power_drift_w_per_h * (seconds - last_s) / 3600.0
}

/// What the air-speed sensor reads at each sample; nothing without one.
pub(super) fn air_speeds(
    plan: &DayPlan,
    trace: &Trace,
    samples: &[Sample],
    rng: &mut ChaCha8Rng,
) -> Option<Vec<Option<f64>>> {
    let truth = plan.sensors.air_speed?;
    let read = |sample: &Sample| {
        let noise = truth.noise_m_s * rng.sample::<f64, _>(StandardNormal);
        let along = Trace::at(&trace.air_along_m_s, sample.time_s - trace.start_s);
        let read = along * (1.0 + truth.scale_error) + noise;
        Some(rounded(read.max(0.0), truth.resolution_m_s))
    };
    Some(samples.iter().map(read).collect())
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
        let power = self.power_w(path, trace, seconds, interval);
        let (power, pedals) = self.stuck(power, pedals, seconds);
        let temperature_c = self.temperature_c(trace, seconds, interval);
        let place = self.place([latitude, longitude]);
        let speed = self.speed_m_s(Trace::at(&trace.speed_m_s, seconds), seconds);
        let altitude = self.altitude_m(trace, height, seconds, interval);
        Sample {
            time_s,
            latitude_deg: Some(place[0]),
            longitude_deg: Some(place[1]),
            altitude_m: Some(altitude),
            distance_m: (speed.is_some() && self.plan.format != Format::Gpx)
                .then_some(self.wheel.counted_m(seconds, x) * (1.0 + truth.speed_scale_error)),
            speed_m_s: speed,
            power_w: heard.then_some(power),
            cadence_rpm: Some(if pedals { CADENCE_RPM } else { 0.0 }),
            heart_rate_bpm: None,
            temperature_c: truth.has_thermometer.then_some(temperature_c),
            pressure_pa: None,
        }
    }

    /// Mean of the time that ends at the stamp (or a stated delay before it).
    fn power_w(&mut self, path: &Path, trace: &Trace, seconds: f64, interval: f64) -> f64 {
        let truth = &self.plan.sensors;
        let end = seconds - truth.power_delay_s;
        let averaged = truth.power_averaged_s.max(interval);
        let work = Trace::at(&trace.work_j, end) - Trace::at(&trace.work_j, end - averaged);
        let drift = drift_w(self.plan, trace, seconds);
        let noise = truth.power_noise_w * self.normal();
        let scale =
            (1.0 + truth.power_scale_error) * self.of_one_leg(path, trace, seconds) * self.warmed(seconds);
        if work <= 0.0 {
            return 0.0; // A crank that stands still reads nothing.
        }
        let read = work / averaged * scale + drift + noise;
        self.stepped(read.max(0.0), truth.power_resolution_w)
    }

    /// What a warmer meter reads too much, as a factor.
    fn warmed(&self, seconds: f64) -> f64 {
        let air = &self.plan.air;
        let warmer_c = air.after(seconds).temperature_c - air.temperature_c;
        1.0 + self.plan.sensors.power_scale_per_k * warmer_c
    }

    /// Twice the share of the leg that is read, over the whole.
    fn of_one_leg(&mut self, path: &Path, trace: &Trace, seconds: f64) -> f64 {
        let Some(leg) = self.plan.sensors.one_leg else {
            return 1.0;
        };
        let ridden_m = Trace::at(&trace.ridden_m, seconds);
        let span = path.spans.iter().find(|span| ridden_m < span.to_m);
        let block = span.and_then(|span| self.plan.order.get(span.block));
        let setup = block.and_then(|block| block.setup).unwrap_or(0);
        let wander = self.leg.advance(&mut self.leg_rng);
        let share = leg.share + leg.share_per_h * seconds / 3600.0 + leg.share_by_setup * setup as f64;
        2.0 * (share + wander)
    }

    /// Power as the unit shows it, and whether it shows turning pedals.
    fn stuck(&mut self, power_w: f64, pedals: bool, seconds: f64) -> (f64, bool) {
        if power_w > 0.0 {
            self.pedalled = Pedalled { seconds, power_w };
            return (power_w, pedals);
        }
        // Half a step of the tick, so that a hold of 3 s holds three samples.
        let held = seconds - self.pedalled.seconds <= self.plan.sensors.power_sticks_s + 0.05;
        if held && self.pedalled.power_w > 0.0 {
            (self.pedalled.power_w, true)
        } else {
            (power_w, pedals)
        }
    }

    fn temperature_c(&mut self, trace: &Trace, seconds: f64, interval: f64) -> f64 {
        let truth = &self.plan.sensors;
        let sun_c = truth.temperature_offset_c + truth.temperature_offset_c_per_h * seconds / 3600.0;
        let comes_to_c = self.plan.air.after(seconds).temperature_c + sun_c;
        if truth.thermometer_memory_s > 0.0 {
            let stands = Trace::at(&trace.speed_m_s, seconds) < 1.0;
            let aim_c = if stands { truth.temperature_standing_c } else { 0.0 };
            let keep = (-interval / truth.thermometer_memory_s).exp();
            self.warmer_c = aim_c + keep * (self.warmer_c - aim_c);
        }
        rounded(comes_to_c + self.warmer_c, truth.temperature_resolution_c)
    }

    fn stepped(&self, value: f64, step: f64) -> f64 {
        let half = if self.plan.sensors.cuts_off {
            0.5 * step
        } else {
            0.0
        };
        rounded(value - half, step).max(0.0)
    }

    fn speed_m_s(&mut self, speed: f64, seconds: f64) -> Option<f64> {
        let truth = &self.plan.sensors;
        let noise = match truth.speed_source {
            SpeedTruth::WheelSensor => truth.speed_noise_m_s * self.normal(),
            SpeedTruth::Unit => self.speed.advance(self.rng),
            SpeedTruth::None => return None,
        };
        if speed == 0.0 {
            return Some(0.0);
        }
        let counted = match truth.speed_source {
            SpeedTruth::WheelSensor => self.wheel.factor(seconds) * speed,
            _ => speed,
        };
        let read = counted * (1.0 + truth.speed_scale_error) + noise;
        Some(self.stepped(read.max(0.0), truth.speed_resolution_m_s))
    }

    fn altitude_m(&mut self, trace: &Trace, height: f64, seconds: f64, interval: f64) -> f64 {
        let truth = &self.plan.sensors;
        let walk = truth.barometer_walk_m_per_sqrt_min * (interval / 60.0).sqrt();
        self.barometer_m += walk * self.normal();
        let noise = truth.altitude_noise_m * self.normal();
        let airspeed = Trace::at(&trace.airspeed_m_s, seconds);
        let port = truth.barometer_port_coefficient * airspeed * airspeed / (2.0 * 9.81);
        let trend = truth.barometer_trend_m_per_h * seconds / 3600.0;
        let jumped: f64 = self
            .jumps
            .iter()
            .filter(|(at_s, _)| *at_s <= seconds)
            .map(|(_, m)| m)
            .sum();
        if let (Some((wander, own)), Some(altitude)) =
            (&mut self.by_satellites, truth.altitude_from_positions)
        {
            let read = height + truth.altitude_offset_m + wander.advance(own) + jumped;
            return rounded(read, altitude.resolution_m);
        }
        // The filter follows the pressure, whatever makes it.
        let height = self.late(height - port, seconds);
        let read = height + truth.altitude_offset_m + self.barometer_m + trend + noise + jumped;
        rounded(read, truth.altitude_resolution_m)
    }

    /// A first-order filter, exact for a height that runs straight between samples.
    fn late(&mut self, true_m: f64, seconds: f64) -> f64 {
        let lag_s = self.plan.sensors.altitude_lag_s;
        if lag_s <= 0.0 {
            return true_m;
        }
        let read_m = match self.lagged {
            Some(before) if seconds > before.seconds => {
                let climbs_m_s = (true_m - before.true_m) / (seconds - before.seconds);
                let behind_m = before.true_m - before.read_m - climbs_m_s * lag_s;
                true_m - climbs_m_s * lag_s - behind_m * (-(seconds - before.seconds) / lag_s).exp()
            }
            _ => true_m,
        };
        self.lagged = Some(Lagged {
            read_m,
            true_m,
            seconds,
        });
        read_m
    }

    fn place(&mut self, true_deg: [f64; 2]) -> [f64; 2] {
        let off = [self.east.advance(self.rng), self.north.advance(self.rng)];
        let place = moved(true_deg, off);
        let step = match self.plan.format {
            _ if !self.plan.sensors.position_as_stored => 0.0,
            Format::Fit => 180.0 / 2f64.powi(31),
            Format::Gpx | Format::Csv => 1e-7,
        };
        [
            rounded(place[0], step),
            rounded(wrapped_longitude(place[1]), step),
        ]
    }
}

pub(super) fn rounded(value: f64, step: f64) -> f64 {
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

/// Percent of the intervals of 1 to 8 s.
const BY_NEED_PERCENT: [u32; 8] = [27, 24, 18, 11, 8, 6, 4, 2];

/// Keeps samples that stand as far apart as those of real units.
fn by_need(every: Vec<(f64, Sample)>, mean_power: bool, seed: u64) -> Vec<(f64, Sample)> {
    let mut rng = random(seed, Purpose::ByNeed);
    let mut kept = Vec::new();
    let (mut left, mut since_last) = (1, Vec::new());
    for (seconds, mut sample) in every {
        since_last.extend(sample.power_w);
        left -= 1;
        if left > 0 {
            continue;
        }
        if mean_power {
            sample.power_w = mean_since_last(&since_last);
        }
        since_last.clear();
        kept.push((seconds, sample));
        let mut share = rng.random_range(0..BY_NEED_PERCENT.iter().sum::<u32>());
        left = 1;
        for percent in BY_NEED_PERCENT {
            if share < percent {
                break;
            }
            share -= percent;
            left += 1;
        }
    }
    kept
}

/// In whole watts.
fn mean_since_last(powers: &[f64]) -> Option<f64> {
    (!powers.is_empty()).then(|| (powers.iter().sum::<f64>() / powers.len() as f64).round())
}

/// Keeps a sample when speed or direction changed since the last one kept, or after `longest_s`.
fn only_changes(every: Vec<(f64, Sample)>, longest_s: f64, mean_power: bool) -> Vec<(f64, Sample)> {
    let mut since_last: Vec<f64> = Vec::new();
    let mut kept: Vec<(f64, Sample)> = Vec::new();
    let mut heading = f64::NAN;
    let mut last_place = None;
    for (seconds, mut sample) in every {
        since_last.extend(sample.power_w);
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
            if mean_power {
                sample.power_w = mean_since_last(&since_last);
            }
            since_last.clear();
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
