//! A recording as a FIT activity: file_id, sensors, timer events, records, laps, session, activity.

use super::fit_message::{DEVELOPER_INDEX, Message, Stored, file, stamp, whole};
use super::unit::AIR_SPEED;
use crate::recording::{Recording, Sample, TimerEvent};

mod number {
    pub const FILE_ID: u16 = 0;
    pub const SESSION: u16 = 18;
    pub const LAP: u16 = 19;
    pub const RECORD: u16 = 20;
    pub const EVENT: u16 = 21;
    pub const DEVICE_INFO: u16 = 23;
    pub const ACTIVITY: u16 = 34;
    pub const FIELD_DESCRIPTION: u16 = 206;
    pub const DEVELOPER_DATA_ID: u16 = 207;
}

/// "development", the maker number kept free for files like these.
const DEVELOPMENT: u16 = 255;
const TIMESTAMP: u8 = 253;
const MESSAGE_INDEX: u8 = 254;
const EVENT_TIMER: u8 = 0;
const EVENT_SESSION: u8 = 8;
const EVENT_LAP: u8 = 9;
const EVENT_ACTIVITY: u8 = 26;
const START: u8 = 0;
const STOP: u8 = 1;
const STOP_ALL: u8 = 4;
const LAP_MANUAL: u8 = 0;
const LAP_SESSION_END: u8 = 7;

/// The bytes of the file. Values are rounded to the steps of the format.
pub(super) fn bytes(recording: &Recording) -> Vec<u8> {
    let (Some(first), Some(last)) = (recording.samples.first(), recording.samples.last()) else {
        return file(&[file_id(0.0)]);
    };
    let mut messages = vec![file_id(first.time_s), unit(first.time_s)];
    if recording.wheel_sensor == Some(true) {
        messages.push(sensor(first.time_s, 1, 123));
    }
    if recording.samples.iter().any(|s| s.power_w.is_some()) {
        messages.push(sensor(first.time_s, 2, 11));
    }
    let air_speed = recording.extra.iter().find(|channel| channel.name == AIR_SPEED);
    if air_speed.is_some() {
        messages.extend(air_speed_description());
    }
    let mut marks = recording.lap_marks_s.iter().copied().peekable();
    let mut events = recording.timer_events.iter().peekable();
    let mut lap = Lap::from(first);
    for (index, sample) in recording.samples.iter().enumerate() {
        // A start goes before the record of its time, a stop after it.
        while let Some(e) = events.next_if(|e| starts_by(e, sample.time_s)) {
            messages.push(event(e, false));
        }
        let (number, mut fields) = record(sample);
        fields.extend(air_speed.map(|channel| air_speed_field(channel.values.get(index).copied().flatten())));
        messages.push((number, fields));
        while let Some(mark) = marks.next_if(|mark| *mark <= sample.time_s) {
            messages.push(lap.close(recording, mark, sample.distance_m, LAP_MANUAL));
        }
        while let Some(e) = events.next_if(|e| !e.running && e.time_s <= sample.time_s) {
            messages.push(event(e, sample.time_s >= last.time_s));
        }
    }
    messages.push(lap.close(recording, last.time_s, last.distance_m, LAP_SESSION_END));
    messages.push(session(recording, first, last, lap.index));
    messages.push(activity(recording, first, last));
    file(&messages)
}

fn starts_by(event: &TimerEvent, time_s: f64) -> bool {
    event.time_s < time_s || (event.running && event.time_s <= time_s)
}

fn file_id(time_s: f64) -> Message {
    let activity_file = 4;
    (
        number::FILE_ID,
        vec![
            (0, Stored::Enum(activity_file)),
            (1, Stored::U16(Some(DEVELOPMENT))),
            (2, Stored::U16(Some(0))),
            (4, stamp(time_s)),
            (8, Stored::Text("simulated")),
        ],
    )
}

/// The unit itself.
fn unit(time_s: f64) -> Message {
    let local = 5;
    (
        number::DEVICE_INFO,
        vec![
            (TIMESTAMP, stamp(time_s)),
            (0, Stored::U8(Some(0))),
            (2, Stored::U16(Some(DEVELOPMENT))),
            (25, Stored::Enum(local)),
        ],
    )
}

/// A paired sensor by its device type: 11 power, 123 wheel speed.
fn sensor(time_s: f64, index: u8, device_type: u8) -> Message {
    let antplus = 1;
    (
        number::DEVICE_INFO,
        vec![
            (TIMESTAMP, stamp(time_s)),
            (0, Stored::U8(Some(index))),
            (1, Stored::U8(Some(device_type))),
            (2, Stored::U16(Some(DEVELOPMENT))),
            (25, Stored::Enum(antplus)),
        ],
    )
}

fn event(event: &TimerEvent, is_last: bool) -> Message {
    let kind = match (event.running, is_last) {
        (true, _) => START,
        (false, true) => STOP_ALL,
        (false, false) => STOP,
    };
    (
        number::EVENT,
        vec![
            (TIMESTAMP, stamp(event.time_s)),
            (0, Stored::Enum(EVENT_TIMER)),
            (1, Stored::Enum(kind)),
        ],
    )
}

fn record(sample: &Sample) -> Message {
    let semicircles = |degrees: Option<f64>| whole(degrees.map(|d| d * 2f64.powi(31) / 180.0));
    let scaled = |value: Option<f64>, scale: f64, offset: f64| whole(value.map(|v| (v + offset) * scale));
    (
        number::RECORD,
        vec![
            (TIMESTAMP, stamp(sample.time_s)),
            (0, Stored::I32(semicircles(sample.latitude_deg))),
            (1, Stored::I32(semicircles(sample.longitude_deg))),
            (78, Stored::U32(scaled(sample.altitude_m, 5.0, 500.0))),
            (73, Stored::U32(scaled(sample.speed_m_s, 1000.0, 0.0))),
            (5, Stored::U32(scaled(sample.distance_m, 100.0, 0.0))),
            (7, Stored::U16(whole(sample.power_w))),
            (4, Stored::U8(whole(sample.cadence_rpm))),
            (13, Stored::I8(whole(sample.temperature_c))),
        ],
    )
}

/// Developer fields have a scale of their own that not every decoder applies: m/s as they are need none.
const AIR_SPEED_FIELD: u8 = 0;

fn air_speed_field(value_m_s: Option<f64>) -> (u8, Stored) {
    let stored = Stored::F32(value_m_s.map(|v| v as f32));
    (AIR_SPEED_FIELD, Stored::Developer(Box::new(stored)))
}

fn air_speed_description() -> [Message; 2] {
    let f32_type = 0x88;
    [
        (
            number::DEVELOPER_DATA_ID,
            vec![(3, Stored::U8(Some(DEVELOPER_INDEX)))],
        ),
        (
            number::FIELD_DESCRIPTION,
            vec![
                (0, Stored::U8(Some(DEVELOPER_INDEX))),
                (1, Stored::U8(Some(AIR_SPEED_FIELD))),
                (2, Stored::U8(Some(f32_type))),
                (3, Stored::Text(AIR_SPEED)),
                (8, Stored::Text("m/s")),
            ],
        ),
    ]
}

/// The lap that is being ridden.
struct Lap {
    index: u16,
    start_s: f64,
    start_m: Option<f64>,
}

impl Lap {
    fn from(first: &Sample) -> Self {
        Lap {
            index: 0,
            start_s: first.time_s,
            start_m: first.distance_m,
        }
    }

    fn close(&mut self, recording: &Recording, end_s: f64, end_m: Option<f64>, trigger: u8) -> Message {
        let length = end_m.zip(self.start_m).map(|(b, a)| b - a);
        let mut fields = vec![
            (TIMESTAMP, stamp(end_s)),
            (MESSAGE_INDEX, Stored::U16(Some(self.index))),
            (0, Stored::Enum(EVENT_LAP)),
            (1, Stored::Enum(STOP)),
            (24, Stored::Enum(trigger)),
        ];
        fields.extend(totals(recording, self.start_s, end_s, length));
        self.index += 1;
        self.start_s = end_s;
        self.start_m = end_m;
        (number::LAP, fields)
    }
}

/// Start, elapsed and timer time, distance: the same numbers in a lap and in a session.
fn totals(recording: &Recording, start_s: f64, end_s: f64, length_m: Option<f64>) -> [(u8, Stored); 4] {
    let milliseconds = |seconds: f64| Stored::U32(whole(Some(seconds * 1000.0)));
    let timer_s = end_s - start_s - paused_s(recording, start_s, end_s);
    [
        (2, stamp(start_s)),
        (7, milliseconds(end_s - start_s)),
        (8, milliseconds(timer_s)),
        (9, Stored::U32(whole(length_m.map(|m| m * 100.0)))),
    ]
}

fn paused_s(recording: &Recording, start_s: f64, end_s: f64) -> f64 {
    let events = recording.timer_events.windows(2);
    events
        .filter_map(|pair| match pair {
            [stop, start] if !stop.running && start.running => {
                Some((start.time_s.min(end_s) - stop.time_s.max(start_s)).max(0.0))
            }
            _ => None,
        })
        .sum()
}

fn session(recording: &Recording, first: &Sample, last: &Sample, laps: u16) -> Message {
    let (cycling, road, activity_end) = (2, 7, 0);
    let length = last.distance_m.zip(first.distance_m).map(|(b, a)| b - a);
    let mut fields = vec![
        (TIMESTAMP, stamp(last.time_s)),
        (MESSAGE_INDEX, Stored::U16(Some(0))),
        (0, Stored::Enum(EVENT_SESSION)),
        (1, Stored::Enum(STOP)),
        (5, Stored::Enum(cycling)),
        (6, Stored::Enum(road)),
        (25, Stored::U16(Some(0))),
        (26, Stored::U16(Some(laps))),
        (28, Stored::Enum(activity_end)),
    ];
    fields.extend(totals(recording, first.time_s, last.time_s, length));
    (number::SESSION, fields)
}

fn activity(recording: &Recording, first: &Sample, last: &Sample) -> Message {
    let timer_s = last.time_s - first.time_s - paused_s(recording, first.time_s, last.time_s);
    let manual = 0;
    (
        number::ACTIVITY,
        vec![
            (TIMESTAMP, stamp(last.time_s)),
            (0, Stored::U32(whole(Some(timer_s * 1000.0)))),
            (1, Stored::U16(Some(1))),
            (2, Stored::Enum(manual)),
            (3, Stored::Enum(EVENT_ACTIVITY)),
            (4, Stored::Enum(STOP)),
        ],
    )
}
