//! Small made recordings for the tests of this room.

use super::ground::{Plane, length, minus};
use crate::streams::{Gap, SpeedSource, Streams};
use std::path::PathBuf;

pub const NOON_S: f64 = 1_780_000_000.0;
pub const ORIGIN: [f64; 2] = [45.0, 7.0];

/// A rider who follows a path through the plane at a speed that depends on the place.
pub struct Rider {
    pub streams: Streams,
    pub at: [f64; 2],
    plane: Plane,
    time_s: f64,
    interval_s: f64,
}

impl Rider {
    pub fn at(start: [f64; 2]) -> Rider {
        Rider::from(ORIGIN, NOON_S, start, 1.0)
    }

    pub fn from(origin: [f64; 2], time_s: f64, start: [f64; 2], interval_s: f64) -> Rider {
        let mut rider = Rider {
            streams: empty(interval_s),
            at: start,
            plane: Plane::at(origin[0], origin[1]),
            time_s,
            interval_s,
        };
        rider.record(0.0, 0.0);
        rider
    }

    fn record(&mut self, speed: f64, power: f64) {
        let [lat, lon] = self.plane.unproject(self.at);
        let s = &mut self.streams;
        s.time_s.push(self.time_s);
        s.latitude_deg.push(lat);
        s.longitude_deg.push(lon);
        s.altitude_m.push(100.0 + 0.01 * self.at[1]);
        s.distance_m.push(f64::NAN);
        s.speed_m_s.push(speed);
        s.power_w.push(power);
        s.cadence_rpm.push(f64::NAN);
        s.temperature_c.push(f64::NAN);
        s.pressure_pa.push(f64::NAN);
    }

    /// Rides straight to a place. Samples stand at whole intervals, wherever the place is.
    pub fn to(&mut self, place: [f64; 2], speed: f64, power: f64) -> &mut Rider {
        loop {
            let rest = minus(place, self.at);
            let distance = length(rest);
            let step = speed * self.interval_s;
            if distance < 0.5 * step {
                return self;
            }
            let share = (step / distance).min(1.0);
            self.at = [self.at[0] + share * rest[0], self.at[1] + share * rest[1]];
            self.time_s += self.interval_s;
            self.record(speed, power);
        }
    }

    pub fn stand(&mut self, seconds: usize) -> &mut Rider {
        for _ in 0..seconds {
            self.time_s += 1.0;
            self.record(0.0, 0.0);
        }
        self
    }

    /// The timer is stopped for a while.
    pub fn pause(&mut self, seconds: f64) -> &mut Rider {
        self.gap(seconds, true)
    }

    pub fn gap(&mut self, seconds: f64, paused: bool) -> &mut Rider {
        self.streams.gaps.push(Gap {
            start_s: self.time_s,
            end_s: self.time_s + seconds,
            paused,
        });
        self.time_s += seconds;
        self
    }

    pub fn done(&self) -> Streams {
        self.streams.clone()
    }
}

fn empty(interval_s: f64) -> Streams {
    Streams {
        file: PathBuf::from("ride.fit"),
        time_s: vec![],
        latitude_deg: vec![],
        longitude_deg: vec![],
        altitude_m: vec![],
        distance_m: vec![],
        speed_m_s: vec![],
        power_w: vec![],
        cadence_rpm: vec![],
        temperature_c: vec![],
        pressure_pa: vec![],
        air_speed_m_s: vec![],
        extra: vec![],
        nominal_interval_s: interval_s,
        gaps: vec![],
        altitude_steps_s: vec![],
        repairs: vec![],
        speed_source: SpeedSource::WheelSensor,
        speed_check: None,
        lap_marks_s: vec![],
        rider_mass_kg: None,
        joined: vec![],
        one_leg_power: false,
        by_need: false,
    }
}

/// North on a straight road from the origin, at one sample a second: speed and power as functions of time.
pub fn straight(seconds: usize, speed: impl Fn(f64) -> f64, power: impl Fn(f64) -> f64) -> Streams {
    let plane = Plane::at(ORIGIN[0], ORIGIN[1]);
    let mut rider = Rider::at([0.0, 0.0]);
    rider.streams = empty(1.0);
    let mut along = 0.0;
    for second in 0..=seconds {
        let t = second as f64;
        rider.at = [0.0, along];
        rider.time_s = NOON_S + t;
        rider.record(speed(t), power(t));
        along += speed(t + 0.5);
    }
    debug_assert!(
        plane.project(rider.streams.latitude_deg[0], rider.streams.longitude_deg[0])[1].abs() < 1e-6
    );
    rider.streams
}
