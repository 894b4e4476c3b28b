//! The truth of a day, before it is ridden.

/// Everything that decides a simulated day. Lengths, masses and speeds are meant finite and positive; the
/// caller sees to it.
#[derive(Debug, Clone, PartialEq)]
pub struct DayPlan {
    pub title: String,
    pub seed: u64,
    /// Unix seconds, UTC; a fraction is welcome.
    pub start_s: f64,
    pub course: CourseTruth,
    /// The first one is the baseline.
    pub setups: Vec<SetupTruth>,
    /// In riding order.
    pub order: Vec<BlockTruth>,
    pub rider: RiderTruth,
    pub wind: WindTruth,
    pub air: AirTruth,
    pub sensors: SensorTruth,
    /// Another unit on the same ride, with a clock of its own; `None`: one unit records everything.
    pub second_unit: Option<SecondUnit>,
    pub format: Format,
    pub files: Files,
    pub incidents: Vec<Incident>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Ridden one way under power; rolled back without pedalling.
    OneWay,
    /// Ridden both ways, with a turn beyond each end.
    OutAndBack,
    /// Flying laps; entered before the gate and left after it.
    Loop,
}

/// One sine along the road: `amplitude · sin(2π s / length_m + phase_rad)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    pub amplitude: f64,
    pub length_m: f64,
    pub phase_rad: f64,
}

/// Lengths are along the road (horizontal length / cos of its angle).
#[derive(Debug, Clone, PartialEq)]
pub struct CourseTruth {
    pub shape: Shape,
    /// Of the start gate.
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    pub elevation_m: f64,
    /// At the start gate, from true north; `bends` swing about it. A loop turns left from it.
    pub bearing_deg: f64,
    /// From gate to gate; one lap of a loop.
    pub length_m: f64,
    /// Climb per road length (sine of the road's angle); ignored on a loop.
    pub mean_gradient: f64,
    /// Amplitude in climb per road length. On a loop the length is rounded to a whole part of the lap.
    pub hills: Vec<Wave>,
    /// Amplitude in radians of bearing. On a loop rounded to an even number of waves a lap, so that it closes.
    pub bends: Vec<Wave>,
    /// From the turn, or from the junction with the service road of a loop, to the start gate.
    pub lead_in_m: f64,
    /// Beyond the finish, to the turn or to the junction.
    pub run_out_m: f64,
    /// The ride that leads to the course, and home from it.
    pub approach_m: f64,
    /// The road from gate to gate as it was measured; then `bearing_deg`, `mean_gradient`, `hills` and `bends` do not
    /// count, and `length_m` is the sum of its lengths. What lies beyond the gates leads straight on and level. A loop that does not close
    /// is closed by a little of the error at each metre. Empty: the road is what those say.
    pub measured: Vec<RoadPiece>,
    /// A loop that is a track, level and ridden along its measuring line; `bends` and `hills` do not count then.
    pub track: Option<TrackTruth>,
    /// A bridge over the road or an underpass, where sensors lie.
    pub covered: Option<Covered>,
    /// Stretches on which tyres roll otherwise.
    pub surfaces: Vec<SurfaceTruth>,
    /// Bends and traffic calming that every pass brakes for.
    pub slow_places: Vec<SlowPlace>,
}

/// A piece of a measured road in the direction from start to finish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoadPiece {
    /// Along the road.
    pub length_m: f64,
    /// tan θ, positive uphill.
    pub gradient: f64,
    /// Of travel, clockwise from true north.
    pub bearing_rad: f64,
}

/// A stretch of another surface, metres from the start gate along the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceTruth {
    pub from_m: f64,
    pub to_m: f64,
    /// Times the Crr of whatever is ridden.
    pub crr_factor: f64,
}

/// Nobody rides faster here; the rider brakes before it at 1.5 m/s² and pedals on behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlowPlace {
    pub from_m: f64,
    pub to_m: f64,
    pub speed_m_s: f64,
}

/// A stretch under cover, metres from the start gate along the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Covered {
    pub from_m: f64,
    pub to_m: f64,
    pub positions: UnderCover,
    /// Height that the barometer reads too much in the middle of it, rising and falling over 10 m at its ends.
    pub barometer_m: f64,
}

/// What a receiver makes of positions under cover.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UnderCover {
    /// Off by so much in a direction drawn anew each time, from the first metre to the last.
    Jump { off_m: f64 },
    /// The last place before it, until the sky is seen again.
    Frozen,
    /// On the straight line from the last place before it to the first one after.
    Straight,
}

/// Two straights and two bends whose curve grows and fades smoothly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackTruth {
    /// At full curve.
    pub bend_radius_m: f64,
    /// Over which the curve grows, and fades.
    pub transition_m: f64,
    /// Of rider and bicycle, upright. 0: as if nobody leaned.
    pub centre_of_mass_height_m: f64,
}

/// A set-up with everything it is ridden with.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupTruth {
    pub name: String,
    /// Times the rider's power, where another is pedalled in this set-up. 1: the same.
    pub power_share: f64,
    /// At no yaw.
    pub cda_m2: f64,
    /// CdA grows by this share for each rad² of yaw.
    pub yaw_share_per_rad2: f64,
    pub crr: f64,
    pub total_mass_kg: f64,
    pub wheel_radius_m: f64,
    /// Way of one turn of its wheel over that of the first set-up's, with which the unit counts: another tyre or
    /// wheel. 1: the same.
    pub rollout_factor: f64,
    /// Both wheels together.
    pub wheel_inertia_kg_m2: f64,
    pub drivetrain_efficiency: f64,
}

/// One mounting of a set-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BlockTruth {
    /// Index into `setups`; `None`: warm-up passes, easier, in the first set-up.
    pub setup: Option<usize>,
    /// Out and back: each direction is one. Loop: each lap.
    pub passes: usize,
}

#[derive(Debug, Clone, PartialEq)]
pub struct RiderTruth {
    /// Crank power aimed at within a pass.
    pub power_w: f64,
    /// Slow wander about it, as a fraction.
    pub power_wander_sd: f64,
    pub power_wander_memory_s: f64,
    /// Unevenness from second to second, as a fraction.
    pub power_uneven_sd: f64,
    /// Fraction of power lost (or, negative, gained) in an hour.
    pub fade_per_h: f64,
    /// Extra fraction of power for each 1 % of climb.
    pub climb_response: f64,
    /// Speed aimed at on the way to the gate.
    pub entry_speed_m_s: f64,
    pub entry_speed_sd_m_s: f64,
    /// The first pass of a block starts from a standstill just before the gate.
    pub standing_start: bool,
    /// Water that the rider loses by sweat and breath, from the start of the day. What is drunk stays aboard.
    pub mass_loss_kg_per_h: f64,
    /// Standing between two blocks.
    pub rest_s: f64,
    /// Standing at each turn within a block; 0: a rolling turn.
    pub turn_round_s: f64,
    /// Standard deviation of log CdA from one mounting to the next, the same set-up or not.
    pub position_block_sd: f64,
    /// The same from pass to pass within a mounting.
    pub position_pass_sd: f64,
    pub timer: TimerHabit,
    pub lap_button: LapHabit,
}

/// What happens to the timer when the rider stands still.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimerHabit {
    KeepsRunning,
    AutoPause,
    /// Stopped at some of the stands, by chance.
    Sometimes,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LapHabit {
    Never,
    /// Pressed on setting off for a block.
    Blocks,
    /// Pressed at each gate of each pass.
    Gates,
}

/// Wind at rider height. Velocities say where the air moves *to*.
#[derive(Debug, Clone, PartialEq)]
pub struct WindTruth {
    pub mean_east_m_s: f64,
    pub mean_north_m_s: f64,
    /// Steady turn of the mean wind, clockwise seen from above.
    pub turn_deg_per_h: f64,
    /// Steady growth of the mean wind, each of east and north, from the start of the day.
    pub trend_m_s_per_h: [f64; 2],
    /// Slow wander over the whole day, each of east and north (Ornstein–Uhlenbeck).
    pub wander_sd_m_s: f64,
    pub wander_memory_s: f64,
    /// Gusts along and across the bearing of the course (Ornstein–Uhlenbeck).
    pub gust_along_sd_m_s: f64,
    pub gust_across_sd_m_s: f64,
    pub gust_memory_s: f64,
    pub spectrum: Spectrum,
    pub shelter: Option<Shelter>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spectrum {
    /// Two time scales, as the analysis assumes.
    TwoScales,
    /// The same total variance with power falling as f^(−5/3) from an hour to two seconds:
    /// a day that the analysis does not assume.
    FiveThirds,
}

/// The wind is multiplied by 1 − depth · (½ + ½ sin(2π s / length)) along the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shelter {
    pub depth: f64,
    pub length_m: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirTruth {
    /// At the start of the day, as the two below.
    pub temperature_c: f64,
    /// What a barometer at the road reads.
    pub pressure_hpa: f64,
    pub relative_humidity_percent: f64,
    /// Steady change over the day.
    pub temperature_trend_c_per_h: f64,
    pub pressure_trend_hpa_per_h: f64,
}

impl AirTruth {
    /// The same air all day.
    pub fn steady(temperature_c: f64, pressure_hpa: f64, relative_humidity_percent: f64) -> Self {
        AirTruth {
            temperature_c,
            pressure_hpa,
            relative_humidity_percent,
            temperature_trend_c_per_h: 0.0,
            pressure_trend_hpa_per_h: 0.0,
        }
    }

    /// So many seconds after the start of the day; the water in it stays the same share of what it can hold.
    pub fn after(&self, seconds: f64) -> Self {
        let hours = seconds / 3600.0;
        AirTruth {
            temperature_c: self.temperature_c + hours * self.temperature_trend_c_per_h,
            pressure_hpa: self.pressure_hpa + hours * self.pressure_trend_hpa_per_h,
            ..*self
        }
    }

    /// Whether it changes over the day.
    pub fn changes(&self) -> bool {
        self.temperature_trend_c_per_h != 0.0 || self.pressure_trend_hpa_per_h != 0.0
    }
}

/// What the sensors make of the truth. A resolution of 0 means none.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorTruth {
    pub sampling: Sampling,
    /// 0.01: reads 1 % high.
    pub power_scale_error: f64,
    pub power_noise_w: f64,
    /// At a turning crank, from the start of the day or from the last time the meter was zeroed.
    pub power_drift_w_per_h: f64,
    /// The zero is read and set before each block, and read once more at the end; `test.toml` tells of it.
    pub power_zeroed: bool,
    /// 0.002: reads 0.2 % more for each kelvin that the air is warmer than at the start of the day.
    pub power_scale_per_k: f64,
    /// A meter in one leg only, that doubles what it reads; `None`: both are read.
    pub one_leg: Option<OneLeg>,
    /// When the pedals stop, the unit goes on showing the last power and cadence for so long.
    pub power_sticks_s: f64,
    /// Sampled by need, the power is the mean since the last record; else that of the last second.
    pub power_since_last: bool,
    pub power_resolution_w: f64,
    /// Power and speed are cut off to their steps instead of rounded.
    pub cuts_off: bool,
    /// The power at a stamp is the mean of the interval that ended this long before it.
    pub power_delay_s: f64,
    /// The power at a stamp is the mean over this time (or the sampling interval, where that is longer).
    pub power_averaged_s: f64,
    pub speed_source: SpeedTruth,
    pub speed_scale_error: f64,
    pub speed_noise_m_s: f64,
    pub speed_resolution_m_s: f64,
    pub altitude_offset_m: f64,
    pub altitude_noise_m: f64,
    pub altitude_resolution_m: f64,
    /// Random walk of the barometer: its standard deviation after one minute.
    pub barometer_walk_m_per_sqrt_min: f64,
    /// Weather.
    pub barometer_trend_m_per_h: f64,
    /// Part of the dynamic pressure that the port feels; altitude reads low by it.
    pub barometer_port_coefficient: f64,
    /// Altitude follows the height as a first-order filter of this time constant: on an even slope it is late by
    /// it. Barometers smooth, and smoothing of about this kind is common practice (no published source).
    pub altitude_lag_s: f64,
    /// Altitude by satellites; the barometer then has no say. `None`: by the barometer.
    pub altitude_from_positions: Option<PositionAltitude>,
    /// Position wander on each axis (Ornstein–Uhlenbeck).
    pub position_sd_m: f64,
    pub position_memory_s: f64,
    /// Round to what the file format stores (FIT: semicircles; GPX: seven decimals).
    pub position_as_stored: bool,
    /// The thermometer reads this much above the air, which a unit in the sun does.
    pub temperature_offset_c: f64,
    /// The offset grows with the sun.
    pub temperature_offset_c_per_h: f64,
    pub has_thermometer: bool,
    /// Seconds after which 1/e of a difference is left; 0: none. The three below need it.
    pub thermometer_memory_s: f64,
    /// Above what it comes to, at the start: the unit comes out of the house.
    pub temperature_start_c: f64,
    /// What it comes to lies so much higher while the rider stands and no wind cools it.
    pub temperature_standing_c: f64,
    pub temperature_resolution_c: f64,
    /// How often over the day the air is read, evenly from start to end, and written into `test.toml`.
    pub air_readings: usize,
    /// A sensor in front of the rider; `None`: the ordinary bike without one.
    pub air_speed: Option<AirSpeedTruth>,
    /// Error, each way, of a wind meter held beside the road in the minute before each block; `test.toml` tells of
    /// it. `None`: nobody looked.
    pub hand_held_wind_sd_m_s: Option<f64>,
}

/// A unit beside the first one. What the first unit has no sensor for stands here, or both have it.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondUnit {
    /// Its own sensors, with errors of their own.
    pub sensors: SensorTruth,
    pub has: Channels,
    /// What the first unit records beside it.
    pub first_has: Channels,
    /// Its clock less the true time, at the start of the day.
    pub clock_offset_s: f64,
    /// How much its clock gains in an hour.
    pub clock_drift_s_per_h: f64,
    pub format: Format,
}

/// Which channels a unit records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Channels {
    /// Power and cadence.
    pub power: bool,
    /// Speed and distance.
    pub speed: bool,
    pub positions: bool,
    pub altitude: bool,
    pub temperature: bool,
}

impl Channels {
    pub const NONE: Channels = Channels {
        power: false,
        speed: false,
        positions: false,
        altitude: false,
        temperature: false,
    };
    pub const ALL: Channels = Channels {
        power: true,
        speed: true,
        positions: true,
        altitude: true,
        temperature: true,
    };
}

/// Errors of an altitude that is a position's: it wanders (Ornstein–Uhlenbeck).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PositionAltitude {
    pub sd_m: f64,
    pub memory_s: f64,
    pub resolution_m: f64,
}

/// What the leg with the meter does of the whole work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneLeg {
    pub share: f64,
    /// Steady change over the day, as by fatigue.
    pub share_per_h: f64,
    /// Added in each set-up by its place in the list: 0 in the baseline, once in the next, twice in the third.
    pub share_by_setup: f64,
    /// Slow wander about it (Ornstein–Uhlenbeck).
    pub wander_sd: f64,
    pub wander_memory_s: f64,
}

/// Reads the speed of the air along the direction of travel, true · (1 + `scale_error`) + noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirSpeedTruth {
    /// 0.01: reads 1 % high.
    pub scale_error: f64,
    pub noise_m_s: f64,
    pub resolution_m_s: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sampling {
    /// Seconds. Both file formats store whole seconds; shorter steps are for samples kept in memory.
    Every(f64),
    /// Once a second at most, and only when something changed, or after `longest_s`.
    OnChange { longest_s: f64 },
    /// Every 1 to 8 s, as often as real units that sample by need do: 27, 24, 18, 11, 8, 6, 4 and 2 % of the intervals
    /// (some 50 rides of 2015 and 2016, 100,000 intervals).
    ByNeed,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpeedTruth {
    WheelSensor,
    /// From satellites by the unit itself: smoother, later errors (noise with 3 s memory).
    Unit,
    /// No speed and no distance channel.
    None,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    Fit,
    Gpx,
    Csv,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Files {
    One,
    PerBlock,
}

/// What goes wrong. `pass` counts the planned passes of the day from 1; `at_m` is metres ridden since its
/// first gate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Incident {
    /// Overtaken: for a while the air moves along with the rider, up to `gust_m_s`.
    Lorry {
        pass: usize,
        at_m: f64,
        gust_m_s: f64,
        duration_s: f64,
    },
    /// The brakes are touched for a moment while the rider keeps pedalling.
    BrakeDab {
        pass: usize,
        at_m: f64,
        brake_n: f64,
        duration_s: f64,
    },
    /// The rider stops; that pass is none any more.
    Stop { pass: usize, at_m: f64, duration_s: f64 },
    /// A first attempt is given up after `at_m`; the pass itself follows.
    TurnedRound { pass: usize, at_m: f64 },
    /// The power meter is silent: the samples hold no power.
    PowerDropOut { pass: usize, at_m: f64, duration_s: f64 },
    /// The timer is stopped while the ride goes on; that pass is none any more.
    Pause { pass: usize, at_m: f64, duration_s: f64 },
    /// Positions are off for a while, ahead of the rider and to his left, as under trees or between houses.
    PositionsOff {
        pass: usize,
        at_m: f64,
        ahead_m: f64,
        left_m: f64,
        duration_s: f64,
    },
    /// For a while CdA is this many times what it is: more than 1 where the rider sits up, less where he rides
    /// behind somebody. What is told as the true CdA of the pass knows nothing of it.
    OtherDrag {
        pass: usize,
        at_m: f64,
        factor: f64,
        duration_s: f64,
    },
    /// No pedalling and no brakes.
    Coast { pass: usize, at_m: f64, duration_s: f64 },
    /// From a standstill just before the gate; nothing on a lap that is entered flying.
    StandingStart { pass: usize },
    /// Over `over_m` of the course another line round its bends, longer by `extra_m` (shorter: negative). The wheel
    /// counts it; positions, which wander more, do not show it.
    OtherLine {
        pass: usize,
        at_m: f64,
        over_m: f64,
        extra_m: f64,
    },
    /// The unit's altitude is calibrated on the way: from there on it stands `jump_m` higher.
    AltitudeJump { pass: usize, at_m: f64, jump_m: f64 },
    /// A tunnel: the unit repeats its last position, or afterwards draws a straight line through.
    PositionsLost {
        pass: usize,
        at_m: f64,
        duration_s: f64,
        frozen: bool,
    },
}

impl Incident {
    pub fn pass(&self) -> usize {
        match *self {
            Incident::Lorry { pass, .. }
            | Incident::BrakeDab { pass, .. }
            | Incident::Stop { pass, .. }
            | Incident::TurnedRound { pass, .. }
            | Incident::PowerDropOut { pass, .. }
            | Incident::Pause { pass, .. }
            | Incident::PositionsOff { pass, .. }
            | Incident::OtherDrag { pass, .. }
            | Incident::Coast { pass, .. }
            | Incident::StandingStart { pass }
            | Incident::OtherLine { pass, .. }
            | Incident::AltitudeJump { pass, .. }
            | Incident::PositionsLost { pass, .. } => pass,
        }
    }
}

impl DayPlan {
    /// Passes that the order holds, whatever becomes of them.
    pub fn planned_passes(&self) -> usize {
        self.order.iter().map(|block| block.passes).sum()
    }

    /// Sets the order from letters ("ABBA"): A is the first set-up. Other characters are skipped, and so are
    /// letters beyond the last set-up.
    pub fn with_order(mut self, letters: &str, passes_per_block: usize) -> Self {
        let setups = self.setups.len();
        self.order = letters
            .bytes()
            .filter_map(|letter| letter.to_ascii_uppercase().checked_sub(b'A'))
            .map(usize::from)
            .filter(|&setup| setup < setups)
            .map(|setup| BlockTruth {
                setup: Some(setup),
                passes: passes_per_block,
            })
            .collect();
        self
    }

    /// The same day in nearly still air, and a rider who holds the position better.
    pub fn calm(mut self) -> Self {
        self.wind.mean_east_m_s *= 0.1;
        self.wind.mean_north_m_s *= 0.1;
        self.wind.wander_sd_m_s = 0.1;
        self.wind.gust_along_sd_m_s = 0.15;
        self.wind.gust_across_sd_m_s = 0.15;
        self.rider.position_block_sd = 0.003;
        self.rider.position_pass_sd = 0.0;
        self
    }

    /// The same day without wind, without wobble and with sensors that make no error.
    pub fn ideal(mut self) -> Self {
        self.wind = WindTruth::still();
        self.rider.position_block_sd = 0.0;
        self.rider.position_pass_sd = 0.0;
        self.sensors = SensorTruth::perfect();
        self
    }
}

impl WindTruth {
    pub fn still() -> Self {
        WindTruth {
            mean_east_m_s: 0.0,
            mean_north_m_s: 0.0,
            turn_deg_per_h: 0.0,
            trend_m_s_per_h: [0.0; 2],
            wander_sd_m_s: 0.0,
            wander_memory_s: 900.0,
            gust_along_sd_m_s: 0.0,
            gust_across_sd_m_s: 0.0,
            gust_memory_s: 5.0,
            spectrum: Spectrum::TwoScales,
            shelter: None,
        }
    }
}

impl SensorTruth {
    /// No error and no rounding.
    pub fn perfect() -> Self {
        SensorTruth {
            sampling: Sampling::Every(1.0),
            power_scale_error: 0.0,
            power_noise_w: 0.0,
            power_drift_w_per_h: 0.0,
            power_zeroed: false,
            power_scale_per_k: 0.0,
            one_leg: None,
            power_sticks_s: 0.0,
            power_since_last: false,
            power_resolution_w: 0.0,
            cuts_off: false,
            power_delay_s: 0.0,
            power_averaged_s: 0.0,
            speed_source: SpeedTruth::WheelSensor,
            speed_scale_error: 0.0,
            speed_noise_m_s: 0.0,
            speed_resolution_m_s: 0.0,
            altitude_offset_m: 0.0,
            altitude_noise_m: 0.0,
            altitude_resolution_m: 0.0,
            barometer_walk_m_per_sqrt_min: 0.0,
            barometer_trend_m_per_h: 0.0,
            barometer_port_coefficient: 0.0,
            altitude_lag_s: 0.0,
            altitude_from_positions: None,
            position_sd_m: 0.0,
            position_memory_s: 45.0,
            position_as_stored: false,
            temperature_offset_c: 0.0,
            temperature_offset_c_per_h: 0.0,
            has_thermometer: true,
            thermometer_memory_s: 0.0,
            temperature_start_c: 0.0,
            temperature_standing_c: 0.0,
            temperature_resolution_c: 0.0,
            air_readings: 1,
            air_speed: None,
            hand_held_wind_sd_m_s: None,
        }
    }

    /// Those of an ordinary bike with a power meter, a wheel sensor and a barometer.
    /// The sizes are assumptions (common practice, no published source); the steps are the file format's.
    pub fn ordinary() -> Self {
        SensorTruth {
            power_noise_w: 2.0,
            power_resolution_w: 1.0,
            speed_noise_m_s: 0.03,
            speed_resolution_m_s: 0.001,
            altitude_offset_m: 3.0,
            altitude_noise_m: 0.15,
            altitude_resolution_m: 0.2,
            barometer_walk_m_per_sqrt_min: 0.15,
            barometer_trend_m_per_h: 2.0,
            position_sd_m: 2.5,
            position_as_stored: true,
            temperature_offset_c: 1.5,
            temperature_resolution_c: 1.0,
            ..SensorTruth::perfect()
        }
    }
}
