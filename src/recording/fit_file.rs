//! FIT messages → a recording.

use super::bounds::too_many;
use super::fields::{self, Conversion, Known, Quantity};
use super::fit_part::Message;
use super::fit_stream::{self, Visitor};
use super::rows::Rows;
use super::{Format, Recording, Sample, Session, TimerEvent};
use crate::error::{Error, Fault, Result};
use fitparser::profile::MesgNum;
use fitparser::{FitDataField, Value};
use std::collections::HashMap;
use std::path::Path;

/// Damage makes the decoder invent messages (29 after 64 smashed bytes, in one trial) whose times fall anywhere in
/// 136 years. In a damaged part, times further than this from the part's median time are taken for invented.
const PLAUSIBLE_SPAN_S: f64 = 8.0 * 86_400.0;

pub(super) fn read(file: &Path, mut bytes: Vec<u8>) -> Result<Recording> {
    let mut reader = Reader::new(file);
    let faults = fit_stream::walk(&mut bytes, &mut reader);
    drop(bytes);
    reader.finish(faults)
}

/// Gathers what the messages say.
struct Reader {
    recording: Recording,
    rows: Rows,
    /// Where the part being read began, in rows and in each list of times.
    part: Marks,
    names: HashMap<String, Option<Known>>,
    developer: HashMap<(u8, u8), DeveloperField>,
    rolling_distance: Option<RollingDistance>,
    timeless: usize,
    invented: usize,
    /// A sensor other than the unit itself was listed.
    remote_sensors: RemoteSensors,
    legs: Legs,
}

#[derive(Default, Clone, Copy)]
struct Marks {
    rows: usize,
    laps: usize,
    events: usize,
    sessions: usize,
}

#[derive(Default)]
struct RemoteSensors {
    wheel: bool,
    /// A power meter in a hub counts turns of the wheel too, and the file does not say where the meter sits.
    power: bool,
    any: bool,
}

/// Records with power in which the share of the legs stands, and those of them in which one leg does everything.
#[derive(Default)]
struct Legs {
    told: usize,
    one: usize,
}

/// Below this a leg may rest for a turn.
const LEGS_TOLD_W: f64 = 50.0;
/// So many records, and this share of them, make it the meter and not the rider.
const LEGS_TOLD: usize = 30;
const ONE_LEG_SHARE: f64 = 0.95;

impl Legs {
    fn one_leg_power(&self) -> bool {
        self.told >= LEGS_TOLD && self.one as f64 >= ONE_LEG_SHARE * self.told as f64
    }
}

struct DeveloperField {
    name: String,
    units: String,
    conversion: Conversion,
}

/// The 12-bit counter of sixteenths of a metre in `compressed_speed_distance`.
struct RollingDistance {
    last: u16,
    total: u64,
}

impl Visitor for Reader {
    fn message(&mut self, message: Message) {
        match message.kind {
            MesgNum::Record => self.record(&message),
            MesgNum::Lap => self.lap(&message),
            MesgNum::Event => self.event(&message),
            MesgNum::Session => self.session(&message),
            MesgNum::DeviceInfo => self.device_info(&message),
            MesgNum::UserProfile => {
                let mass = number(&message.native, "weight").filter(|mass| *mass > 0.0);
                self.recording.rider_mass_kg = mass.or(self.recording.rider_mass_kg);
            }
            MesgNum::FileId => self.file_id(&message),
            MesgNum::FieldDescription => self.field_description(&message),
            _ => {}
        }
    }

    fn full(&self) -> bool {
        self.rows.full() || self.recording.marks_full()
    }

    fn end_part(&mut self, damaged: bool) {
        if damaged {
            self.drop_invented();
        }
        self.part = Marks {
            rows: self.rows.samples.len(),
            laps: self.recording.lap_marks_s.len(),
            events: self.recording.timer_events.len(),
            sessions: self.recording.sessions.len(),
        };
        self.developer.clear();
        self.rolling_distance = None;
    }
}

impl Reader {
    fn new(file: &Path) -> Self {
        Reader {
            recording: Recording::empty(file, Format::Fit),
            rows: Rows::default(),
            part: Marks::default(),
            names: HashMap::new(),
            developer: HashMap::new(),
            rolling_distance: None,
            timeless: 0,
            invented: 0,
            remote_sensors: RemoteSensors::default(),
            legs: Legs::default(),
        }
    }

    fn record(&mut self, message: &Message) {
        let Some(time_s) = message.time_s else {
            self.timeless += 1;
            return;
        };
        let mut sample = Sample {
            time_s,
            ..Sample::default()
        };
        if let Some(packed) = message.packed_speed_distance {
            self.unpack(packed, &mut sample);
        }
        let mut ranks: HashMap<Quantity, u8> = HashMap::new();
        let mut extra = Vec::new();
        for field in &message.native {
            if field.number() == 253 {
                continue;
            }
            let Some(value) = as_number(field.value()) else {
                continue;
            };
            match self.known(field.name()) {
                Some(known) => {
                    if ranks.get(&known.quantity).is_some_and(|rank| *rank >= known.rank) {
                        continue;
                    }
                    if let Some(conversion) = fields::conversion(known.quantity, field.units()) {
                        ranks.insert(known.quantity, known.rank);
                        sample.put(known.quantity, conversion.apply(value));
                    }
                }
                None => extra.push((field.name(), field.units(), value)),
            }
        }
        if let (Some(one), true) = (one_leg(&message.native), sample.power_w > Some(LEGS_TOLD_W)) {
            self.legs.told += 1;
            self.legs.one += usize::from(one);
        }
        self.rows.push(sample);
        for (name, units, value) in extra {
            self.rows.put_extra(name, units, value);
        }
        for (key, value) in &message.developer {
            if let (Some(field), Some(value)) = (self.developer.get(key), as_number(value)) {
                self.rows
                    .put_extra(&field.name, &field.units, field.conversion.apply(value));
            }
        }
    }

    /// Native names alone come here: a developer's "power" is not the unit's.
    fn known(&mut self, name: &str) -> Option<Known> {
        if let Some(known) = self.names.get(name) {
            return *known;
        }
        let known = fields::lookup(name);
        self.names.insert(name.to_string(), known);
        known
    }

    /// 12 bits of speed in 1/100 m/s and 12 bits of a counter in 1/16 m, low bits first (profile, code S).
    fn unpack(&mut self, [low, middle, high]: [u8; 3], sample: &mut Sample) {
        let speed = u16::from(low) | (u16::from(middle & 0x0F) << 8);
        let counter = u16::from(middle >> 4) | (u16::from(high) << 4);
        let rolling = self.rolling_distance.get_or_insert(RollingDistance {
            last: counter,
            total: u64::from(counter),
        });
        rolling.total += u64::from(counter.wrapping_sub(rolling.last) & 0x0FFF);
        rolling.last = counter;
        sample.put(Quantity::Distance, rolling.total as f64 / 16.0);
        if speed != 0x0FFF {
            sample.put(Quantity::Speed, f64::from(speed) / 100.0);
        }
    }

    /// The press of the button is the end of its lap. The lap message may be written later (some units write all of
    /// them at the end), so start and length are used where they are given.
    fn lap(&mut self, message: &Message) {
        if word(&message.native, "lap_trigger") != Some("manual") {
            return;
        }
        let ends = moment(&message.native, "start_time")
            .zip(number(&message.native, "total_elapsed_time"))
            .map(|(start, length)| start + length);
        self.recording.lap_marks_s.extend(ends.or(message.time_s));
    }

    fn event(&mut self, message: &Message) {
        let (Some("timer"), Some(time_s)) = (word(&message.native, "event"), message.time_s) else {
            return;
        };
        let running = match word(&message.native, "event_type") {
            Some("start") => true,
            Some("stop" | "stop_all" | "stop_disable" | "stop_disable_all") => false,
            _ => return,
        };
        self.recording.timer_events.push(TimerEvent { time_s, running });
    }

    fn session(&mut self, message: &Message) {
        let start = moment(&message.native, "start_time").or(message.time_s);
        let Some(start_s) = start else { return };
        let length = number(&message.native, "total_elapsed_time").unwrap_or(0.0);
        let end_s = message
            .time_s
            .filter(|end| *end > start_s)
            .unwrap_or(start_s + length);
        let sport = word(&message.native, "sport").map(str::to_string);
        self.recording.sessions.push(Session {
            start_s,
            end_s,
            sport,
        });
    }

    fn device_info(&mut self, message: &Message) {
        // The profile gives field 1 a name that depends on the radio.
        let Some(kind) = message.native.iter().find(|field| field.number() == 1) else {
            return;
        };
        let remote = word(&message.native, "source_type").is_some_and(|source| source != "local");
        let name = match kind.value() {
            Value::String(name) => name.as_str(),
            _ => "",
        };
        self.remote_sensors.wheel |= matches!(name, "bike_speed" | "bike_speed_cadence");
        self.remote_sensors.power |= name == "bike_power";
        self.remote_sensors.any |= remote;
    }

    fn file_id(&mut self, message: &Message) {
        let maker = word(&message.native, "manufacturer");
        let product = word(&message.native, "product_name")
            .map(str::to_string)
            .or_else(|| {
                let field = message.native.iter().find(|field| field.number() == 2)?;
                Some(field.value().to_string())
            });
        let words: Vec<String> = maker.map(str::to_string).into_iter().chain(product).collect();
        if self.recording.device.is_none() && !words.is_empty() {
            self.recording.device = Some(words.join(" "));
        }
    }

    fn field_description(&mut self, message: &Message) {
        let byte = |name| number(&message.native, name).filter(|value| (0.0..256.0).contains(value));
        let (Some(index), Some(field)) = (byte("developer_data_index"), byte("field_definition_number"))
        else {
            return;
        };
        let key = (index as u8, field as u8);
        let plain = word(&message.native, "field_name").filter(|name| !name.is_empty());
        let name = plain.map_or_else(|| format!("developer field {}/{}", key.0, key.1), str::to_string);
        // A second field of the same name, or one named like the unit's own, stays apart.
        let taken = self
            .developer
            .iter()
            .any(|(other, field)| *other != key && field.name == name);
        let name = if taken || fields::lookup(&name).is_some() {
            format!("{name} (developer field {}/{})", key.0, key.1)
        } else {
            name
        };
        let units = word(&message.native, "units").unwrap_or("").to_string();
        let scale = number(&message.native, "scale")
            .filter(|scale| *scale != 0.0)
            .unwrap_or(1.0);
        let offset = number(&message.native, "offset").unwrap_or(0.0);
        let conversion = Conversion {
            factor: 1.0 / scale,
            offset: -offset,
        };
        self.developer.insert(
            key,
            DeveloperField {
                name,
                units,
                conversion,
            },
        );
    }

    fn drop_invented(&mut self) {
        let mut times: Vec<f64> = self
            .rows
            .samples
            .iter()
            .skip(self.part.rows)
            .map(|s| s.time_s)
            .collect();
        times.sort_by(f64::total_cmp);
        let Some(&median) = times.get(times.len() / 2) else {
            return;
        };
        let near = |time_s: f64| (time_s - median).abs() <= PLAUSIBLE_SPAN_S;
        self.invented += self
            .rows
            .retain_from(self.part.rows, |sample| near(sample.time_s));
        let recording = &mut self.recording;
        retain_from(&mut recording.lap_marks_s, self.part.laps, |time| near(*time));
        retain_from(&mut recording.timer_events, self.part.events, |event| {
            near(event.time_s)
        });
        retain_from(&mut recording.sessions, self.part.sessions, |session| {
            near(session.start_s)
        });
    }

    fn finish(mut self, faults: Vec<Fault>) -> Result<Recording> {
        if self.full() {
            return Err(too_many().into());
        }
        self.recording.faults = faults;
        let mut fault = |count: usize, what: &str| {
            if count > 0 {
                let what = format!("{count} {what}");
                self.recording
                    .faults
                    .push(Fault::new(what, "Nothing need be done; the rest is used."));
            }
        };
        fault(self.timeless, "samples have no time and are left out");
        fault(
            self.invented,
            "samples read from damaged data have impossible times and are left out",
        );
        let (samples, extra) = self.rows.finish()?;
        if samples.is_empty() {
            let mut faults = self.recording.faults;
            let what = "holds no samples: there is no usable 'record' message in it";
            faults.insert(
                0,
                Fault::new(
                    what,
                    "Choose the file of a ride, not of a plan, a course or settings.",
                ),
            );
            return Err(Error { faults });
        }
        (self.recording.samples, self.recording.extra) = (samples, extra);
        self.recording.wheel_sensor = match self.remote_sensors {
            RemoteSensors { wheel: true, .. } => Some(true),
            RemoteSensors {
                power: false,
                any: true,
                ..
            } => Some(false),
            _ => None,
        };
        self.recording.one_leg_power = self.legs.one_leg_power();
        Ok(self.recording)
    }
}

/// What one leg does of the whole in a record, in percent: field 30, seven bits, beside one that says whether it is the
/// right one (profile of the format's owner, M+). The decoder names the bare bit and the bare mask.
fn leg_percent(native: &[FitDataField]) -> Option<u8> {
    let field = native.iter().find(|field| field.number() == 30)?;
    match field.value() {
        Value::String(name) if name == "right" => Some(0),
        other => as_number(other)
            .filter(|number| (0.0..255.0).contains(number))
            .map(|number| number as u8 & 0x7F),
    }
}

/// Whether one leg alone is read in a record; `None` where it says nothing of the legs. Meters in one crank that write
/// no share write the torque effectiveness of both sides, fields 43 and 44, and nought or nothing for the side they do
/// not have (seen on recordings of fifteen rides).
fn one_leg(native: &[FitDataField]) -> Option<bool> {
    if let Some(percent) = leg_percent(native) {
        return Some(percent == 0 || percent >= 100);
    }
    let effectiveness = |number: u8| {
        let field = native.iter().find(|field| field.number() == number)?;
        as_number(field.value())
    };
    let sides = [effectiveness(43), effectiveness(44)];
    let reads = |side: &Option<f64>| side.is_some_and(|percent| percent > 0.0);
    sides.iter().any(reads).then(|| !sides.iter().all(reads))
}

fn retain_from<T>(list: &mut Vec<T>, start: usize, keep: impl Fn(&T) -> bool) {
    let mut index = 0;
    list.retain(|item| {
        index += 1;
        index <= start || keep(item)
    });
}

fn named<'a>(native: &'a [FitDataField], name: &str) -> Option<&'a Value> {
    native
        .iter()
        .find(|field| field.name() == name)
        .map(FitDataField::value)
}

fn number(native: &[FitDataField], name: &str) -> Option<f64> {
    named(native, name).and_then(as_number)
}

fn word<'a>(native: &'a [FitDataField], name: &str) -> Option<&'a str> {
    match named(native, name) {
        Some(Value::String(word)) => Some(word),
        _ => None,
    }
}

/// Unix seconds. The decoder's local time depends on the machine's zone; the count of seconds does not.
fn moment(native: &[FitDataField], name: &str) -> Option<f64> {
    match named(native, name) {
        Some(Value::Timestamp(moment)) => Some(moment.timestamp() as f64),
        _ => None,
    }
}

fn as_number(value: &Value) -> Option<f64> {
    if matches!(
        value,
        Value::String(_) | Value::Timestamp(_) | Value::Array(_) | Value::Invalid
    ) {
        return None;
    }
    let number: f64 = value.clone().try_into().ok()?;
    number.is_finite().then_some(number)
}

#[cfg(test)]
mod tests;
