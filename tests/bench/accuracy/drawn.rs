//! One day drawn from its number: the truth, and what the rider wrote about it.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;
use std::path::Path;
use stillair::simulate::{
    DayPlan, SetupTruth, Shelter, Spectrum, TrueDay, Uncertain, draw_ordinary, log_uniform, loop_plan,
    one_way_plan, out_and_back_plan, ride_day,
};
use stillair::test_day::{TestDay, parse};

/// True change of drag area, in turn.
const CHANGES_PERCENT: [f64; 8] = [0.0, -1.0, -5.0, -15.0, 0.0, 1.0, 5.0, 15.0];
/// Standard uncertainties as test.toml says them, and as the truth is drawn.
const UNCERTAIN: Uncertain = Uncertain {
    crr: 0.0007,
    total_mass_kg: 0.5,
    power_scale: 0.015,
};
const FIRST_SEED: u64 = 1_000_000;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    OneWay,
    OutAndBack,
    Loop,
}

impl Course {
    pub fn name(self) -> &'static str {
        match self {
            Course::OneWay => "one way, 2 km climb",
            Course::OutAndBack => "out and back, 1.5 km",
            Course::Loop => "loop, 1.8 km",
        }
    }

    fn plan(self, seed: u64, order: &str, change_percent: f64) -> DayPlan {
        match self {
            Course::OneWay => one_way_plan(seed, order, change_percent),
            Course::OutAndBack => out_and_back_plan(seed, order, change_percent),
            Course::Loop => loop_plan(seed, order, change_percent),
        }
    }
}

/// Wind that the estimate does not assume.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Odd {
    FiveThirds,
    Turn,
    Trend,
    Shelter,
}

impl Odd {
    pub const ALL: [Odd; 4] = [Odd::FiveThirds, Odd::Turn, Odd::Trend, Odd::Shelter];

    pub fn name(self) -> &'static str {
        match self {
            Odd::FiveThirds => "spectrum as f^(−5/3)",
            Odd::Turn => "steady turn",
            Odd::Trend => "steady growth",
            Odd::Shelter => "shelter",
        }
    }
}

pub struct Drawn {
    pub plan: DayPlan,
    /// As the rider has them in test.toml.
    believed: Vec<SetupTruth>,
    pub change_percent: f64,
    /// `None`: wander and gusts of two scales, as assumed.
    pub odd: Option<Odd>,
}

impl Drawn {
    pub fn new(course: Course, order: &str, number: u64) -> Drawn {
        let seed = FIRST_SEED + number;
        let change_percent = CHANGES_PERCENT[(number % 8) as usize];
        let mut plan = course.plan(seed, order, change_percent);
        let believed = plan.setups.clone();
        // Stream 0: the simulator takes others of the same seed.
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        // The mean wind is that of the plan: 1.2 m/s each way, one standard deviation.
        draw_ordinary(&mut plan, &UNCERTAIN, &mut rng);
        // A third of the days; shifted each eight, so that every kind meets every change.
        let odd = number.is_multiple_of(3).then(|| {
            let turn = number / 3;
            Odd::ALL[((turn + turn / 8) % 4) as usize]
        });
        if let Some(odd) = odd {
            odd_wind(odd, &mut plan, &mut rng);
        }
        Drawn {
            plan,
            believed,
            change_percent,
            odd,
        }
    }

    pub fn ride(&self) -> TrueDay {
        ride_day(&self.plan)
    }

    /// What the rider wrote: mass and Crr as believed, with their uncertainties; no wind, no gates.
    pub fn test_day(&self, ridden: &mut TrueDay, file: &Path) -> Result<TestDay, String> {
        ridden.plan.setups = self.believed.clone();
        let mut day = parse(file, &ridden.test_toml(false)).map_err(|error| error.to_string())?;
        day.power_scale.standard_uncertainty = UNCERTAIN.power_scale;
        for setup in &mut day.setups {
            setup.total_mass_kg.standard_uncertainty = UNCERTAIN.total_mass_kg;
            setup.crr.standard_uncertainty = UNCERTAIN.crr;
        }
        Ok(day)
    }
}

fn odd_wind(odd: Odd, plan: &mut DayPlan, rng: &mut ChaCha8Rng) {
    match odd {
        Odd::FiveThirds => plan.wind.spectrum = Spectrum::FiveThirds,
        Odd::Turn => {
            let side = if rng.random() { 1.0 } else { -1.0 };
            plan.wind.turn_deg_per_h = side * rng.random_range(20.0..60.0);
        }
        Odd::Trend => {
            let (sin, cos) = rng.random_range(0.0..TAU).sin_cos();
            let growth = rng.random_range(0.3..1.0);
            plan.wind.trend_m_s_per_h = [growth * sin, growth * cos];
        }
        Odd::Shelter => {
            plan.wind.shelter = Some(Shelter {
                depth: rng.random_range(0.3..0.6),
                length_m: log_uniform(rng, 300.0, 2000.0),
            });
        }
    }
}
