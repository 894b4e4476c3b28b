//! The account of the stopwatch: the difference of two set-ups' times, split by what made it.
//!
//! The course is ridden again by the balance in the conditions of the baseline, and with every subset of them
//! exchanged for those of the other set-up. What one condition does depends on which others have been exchanged
//! before it: a heavier rider loses more time at less power. So each is averaged over all orders in which the
//! exchanges can be made, which is the value of Shapley (*A value for n-person games*, Contributions to the
//! Theory of Games II, 1953, pp. 307-317; M): the lines add up to the whole, what changes nothing gets nothing,
//! and exchanging the two set-ups turns every sign.

use super::road::Stretch;
use crate::physics::{Piece, Rig, Surroundings, ride_road};
use rayon::prelude::*;

/// How one set-up was ridden in one direction: means over its passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AsRidden {
    /// With drag area and rolling resistance as estimated.
    pub rig: Rig,
    /// At the meter.
    pub power_w: f64,
    pub entry_speed_m_s: f64,
    /// Where the air moves *to*, at rider height.
    pub wind_east_m_s: f64,
    pub wind_north_m_s: f64,
    pub air_density_kg_m3: f64,
    /// From gate to gate, as measured.
    pub time_s: f64,
}

/// The course in one direction, and how it was ridden with both set-ups.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    pub road: Vec<Stretch>,
    pub gravity_m_s2: f64,
    pub baseline: AsRidden,
    pub setup: AsRidden,
}

/// What can make one set-up's time differ from another's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    Power,
    EntrySpeed,
    Wind,
    AirDensity,
    Mass,
    RollingResistance,
    Drivetrain,
    /// Their radius and inertia; what they do to the drag area is part of the set-up.
    Wheels,
    /// The drag area: what the test is about.
    SetUp,
    /// What means over whole passes do not explain: power that came and went along the road, gusts, and wind
    /// that nobody knows of.
    Uneven,
}

impl Cause {
    /// In the order in which they are told.
    pub const ALL: [Cause; 10] = [
        Cause::Power,
        Cause::EntrySpeed,
        Cause::Wind,
        Cause::AirDensity,
        Cause::Mass,
        Cause::RollingResistance,
        Cause::Drivetrain,
        Cause::Wheels,
        Cause::SetUp,
        Cause::Uneven,
    ];

    /// As in the JSON.
    pub fn as_text(self) -> &'static str {
        match self {
            Cause::Power => "power",
            Cause::EntrySpeed => "entry speed",
            Cause::Wind => "wind",
            Cause::AirDensity => "air density",
            Cause::Mass => "mass",
            Cause::RollingResistance => "rolling resistance",
            Cause::Drivetrain => "drivetrain",
            Cause::Wheels => "wheels",
            Cause::SetUp => "set-up",
            Cause::Uneven => "uneven riding and gusts",
        }
    }

    /// Told only where it differs: hardly anybody exchanges these.
    fn is_rare(self) -> bool {
        matches!(self, Cause::Drivetrain | Cause::Wheels)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    pub cause: Cause,
    /// For a pass, mean over the directions; positive: it made the set-up slower than the baseline.
    pub time_change_s: f64,
}

/// The lines add up to the raw change.
#[derive(Debug, Clone, PartialEq)]
pub struct Stopwatch {
    /// Mean over the directions of the difference of mean pass times; positive: the set-up was slower.
    pub raw_time_change_s: f64,
    pub lines: Vec<Line>,
    /// The causes in which the two differ, and the mean time with each subset of them exchanged.
    moved: Vec<Cause>,
    times_s: Vec<f64>,
}

impl Stopwatch {
    /// Seconds a pass put down to a cause; 0 where it has no line.
    pub fn time_change_s(&self, cause: Cause) -> f64 {
        self.lines
            .iter()
            .filter(|line| line.cause == cause)
            .map(|line| line.time_change_s)
            .sum()
    }
}

/// Why there is no account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoAccount {
    /// No direction was ridden with both set-ups.
    NothingInCommon,
    /// With some of the conditions exchanged the rider would come to a stand on the way.
    Stall,
}

/// Splits the difference of the pass times by its causes.
///
/// # Errors
/// No leg; a rider who would stall (below 0.5 m/s) in the conditions of either set-up or a mixture of them.
pub fn stopwatch(legs: &[Leg]) -> Result<Stopwatch, NoAccount> {
    if legs.is_empty() {
        return Err(NoAccount::NothingInCommon);
    }
    let moved: Vec<Cause> = Cause::ALL
        .into_iter()
        .filter(|&cause| {
            legs.iter()
                .any(|leg| exchanged(leg.baseline, &leg.setup, cause) != leg.baseline)
        })
        .collect();
    split(legs, moved, None)
}

/// The account again, for another drag area of the set-up and all else as it was: whatever of the times does not depend
/// on it is known already.
///
/// # Errors
/// As [`stopwatch`].
pub fn with_other_drag(known: &Stopwatch, legs: &[Leg]) -> Result<Stopwatch, NoAccount> {
    if !known.moved.contains(&Cause::SetUp) {
        return stopwatch(legs);
    }
    split(legs, known.moved.clone(), Some(&known.times_s))
}

/// `known`: times of the subsets without the set-up itself, of an account with the same causes.
fn split(legs: &[Leg], moved: Vec<Cause>, known: Option<&[f64]>) -> Result<Stopwatch, NoAccount> {
    let count = legs.len() as f64;
    let own = moved.iter().position(|cause| *cause == Cause::SetUp);
    let mean_time_s = |subset: usize| {
        if let (Some(known), Some(own)) = (known, own)
            && subset >> own & 1 == 0
        {
            return Some(known[subset]);
        }
        legs.iter().try_fold(0.0, |sum, leg| {
            let mixed = moved
                .iter()
                .enumerate()
                .filter(|(bit, _)| subset >> bit & 1 == 1)
                .fold(leg.baseline, |from, (_, &cause)| {
                    exchanged(from, &leg.setup, cause)
                });
            Some(sum + ridden_s(leg, &mixed)? / count)
        })
    };
    let times_s: Option<Vec<f64>> = (0..1_usize << moved.len())
        .into_par_iter()
        .map(mean_time_s)
        .collect();
    let times_s = times_s.ok_or(NoAccount::Stall)?;
    let raw_time_change_s = legs
        .iter()
        .map(|leg| (leg.setup.time_s - leg.baseline.time_s) / count)
        .sum();
    let shares = shapley(&times_s, moved.len());
    let share = |cause: Cause| Some(shares[moved.iter().position(|&other| other == cause)?]);
    let explained_s: f64 = shares.iter().sum();
    let lines = Cause::ALL
        .into_iter()
        .filter(|&cause| !cause.is_rare() || moved.contains(&cause))
        .map(|cause| Line {
            cause,
            time_change_s: match cause {
                Cause::Uneven => raw_time_change_s - explained_s,
                _ => share(cause).unwrap_or(0.0),
            },
        })
        .collect();
    Ok(Stopwatch {
        raw_time_change_s,
        lines,
        moved,
        times_s,
    })
}

/// `from` with one of its conditions taken from `to`.
fn exchanged(from: AsRidden, to: &AsRidden, cause: Cause) -> AsRidden {
    let rig = |rig: Rig| AsRidden { rig, ..from };
    match cause {
        Cause::Power => AsRidden {
            power_w: to.power_w,
            ..from
        },
        Cause::EntrySpeed => AsRidden {
            entry_speed_m_s: to.entry_speed_m_s,
            ..from
        },
        Cause::Wind => AsRidden {
            wind_east_m_s: to.wind_east_m_s,
            wind_north_m_s: to.wind_north_m_s,
            ..from
        },
        Cause::AirDensity => AsRidden {
            air_density_kg_m3: to.air_density_kg_m3,
            ..from
        },
        Cause::Mass => rig(Rig {
            total_mass_kg: to.rig.total_mass_kg,
            ..from.rig
        }),
        Cause::RollingResistance => rig(Rig {
            crr: to.rig.crr,
            ..from.rig
        }),
        Cause::Drivetrain => rig(Rig {
            drivetrain_efficiency: to.rig.drivetrain_efficiency,
            ..from.rig
        }),
        Cause::Wheels => rig(Rig {
            wheel_radius_m: to.rig.wheel_radius_m,
            wheel_inertia_kg_m2: to.rig.wheel_inertia_kg_m2,
            ..from.rig
        }),
        Cause::SetUp => rig(Rig {
            cda_m2: to.rig.cda_m2,
            ..from.rig
        }),
        Cause::Uneven => from,
    }
}

/// Time over the course by the balance; `None` for a rider who would stall.
pub(super) fn ridden_s(leg: &Leg, as_ridden: &AsRidden) -> Option<f64> {
    let wind = [as_ridden.wind_east_m_s, as_ridden.wind_north_m_s];
    let pieces: Vec<Piece> = leg.road.iter().map(|stretch| stretch.in_wind(wind)).collect();
    let around = Surroundings {
        air_density_kg_m3: as_ridden.air_density_kg_m3,
        gravity_m_s2: leg.gravity_m_s2,
    };
    ride_road(
        &as_ridden.rig,
        &around,
        &pieces,
        as_ridden.power_w,
        as_ridden.entry_speed_m_s,
    )
    .map(|ridden| ridden.time_s)
}

/// The value of each of `players`, averaged over all orders in which they can come. `worth[subset]` is what a
/// subset is worth, player k being in it where bit k is set: 2^players numbers.
fn shapley(worth: &[f64], players: usize) -> Vec<f64> {
    let factorial = |n: usize| (1..=n).map(|k| k as f64).product::<f64>();
    // Of all orders, the share in which exactly `before` given players come first, then this one.
    let share = |before: usize| factorial(before) * factorial(players - before - 1) / factorial(players);
    (0..players)
        .map(|player| {
            let bit = 1 << player;
            (0..worth.len())
                .filter(|subset| subset & bit == 0)
                .map(|subset| share(subset.count_ones() as usize) * (worth[subset | bit] - worth[subset]))
                .sum()
        })
        .collect()
}

#[cfg(test)]
#[path = "stopwatch_tests.rs"]
mod tests;
