//! What the road does to the estimate: places to brake for, a surface that changes, hills that leave the air little to
//! do; and wheels, whose drag depends on how the wind crosses it.

use super::remarks::Seen;
use super::surface::{heavier, uneven};
use crate::course::Direction;
use crate::estimate::cells::{Shift, accounts, ride_rig};
use crate::physics::bearing_force_n;
use crate::warning::Warning;

/// Below this share of the work going into the air, CdA rests on everything else being right.
const SMALL_DRAG_SHARE: f64 = 0.35;
/// Yaw farther apart than this between set-ups is worth a remark.
const YAW_APART_DEG: f64 = 2.0;
/// Words in the name of a set-up that tell of wheels (common practice, no published source).
const WHEEL_WORDS: [&str; 5] = ["wheel", "disc", "disk", "rim", "spoke"];

pub(super) fn remarks(seen: &Seen) -> Vec<Warning> {
    let mut all = Vec::new();
    all.extend(drag_share(seen));
    all.extend(slow_places(seen));
    all.extend(surface(seen));
    all.extend(uneven_difference(seen));
    all.extend(yaw(seen));
    all.extend(wheels(seen));
    all
}

/// What the air took, and what air, tyres, bearings and climbing took together; J.
#[derive(Clone, Copy, Default)]
struct Taken {
    air_j: f64,
    all_j: f64,
}

impl Taken {
    fn add(&mut self, other: Taken) {
        self.air_j += other.air_j;
        self.all_j += other.all_j;
    }

    fn share(&self) -> f64 {
        self.air_j / self.all_j
    }
}

/// How little of the work goes into the air: over the whole, where it is least, and what that makes of the interval.
fn drag_share(seen: &Seen) -> Option<Warning> {
    let (mut air_j, mut crank_j) = (0.0, 0.0);
    // Of each stretch as cells have it, by its start along the course.
    let mut places: Vec<([f64; 2], Taken)> = Vec::new();
    for pass in &seen.averages.passes {
        let ride = &seen.day.rides[pass.ride];
        let setup = &seen.day.setups[ride.setup];
        let crr = setup.crr.value + seen.rolling.shift;
        let account = accounts(ride, setup, seen.day.course_length_m, &Shift::default());
        for (cell, account) in ride.cells.iter().zip(&account) {
            let air = pass.cda_m2 * account.air_j_m2;
            air_j += air;
            crank_j += setup.drivetrain_efficiency.value * account.crank_j;
            let speed_m_s = account.distance_m / account.duration_s;
            let taken = Taken {
                air_j: air,
                all_j: air
                    + crr * account.rolling_j
                    + bearing_force_n(speed_m_s) * account.distance_m
                    + account.weight_n * cell.climb_m.max(0.0),
            };
            let ends = [cell.from_m.min(cell.to_m), cell.from_m.max(cell.to_m)];
            match places
                .iter_mut()
                .find(|(place, _)| (place[0] - ends[0]).abs() < 1.0)
            {
                Some((_, sum)) => sum.add(taken),
                None => places.push((ends, taken)),
            }
        }
    }
    let share = air_j / crank_j;
    if crank_j <= 0.0 || share >= SMALL_DRAG_SHARE {
        return None;
    }
    let least = places.iter().min_by(|a, b| a.1.share().total_cmp(&b.1.share()))?;
    let [from_m, to_m] = least.0;
    let wider = flat(seen).map_or_else(String::new, |wider| {
        format!(
            "; beside a flat road at the same power an error of force (mass, slope, tyres, power zero) counts {:.1} \
             times, and one of wind {:.1} times",
            wider.force, wider.wind
        )
    });
    Some(Warning::new(
        "small share of drag",
        format!(
            "only {:.0} % of the work done went into the air, and {:.0} % of what was taken between {from_m:.0} and \
             {to_m:.0} m: every other input weighs {:.0} times as much in CdA{wider}",
            100.0 * share.max(0.0),
            100.0 * least.1.share().max(0.0),
            (1.0 / share.max(0.02)).round()
        ),
        "A flatter or faster stretch tells set-ups apart with fewer passes.",
    ))
}

/// How many times more an error counts in CdA than it would on a flat road at the same power.
pub(super) struct Wider {
    pub force: f64,
    pub wind: f64,
}

/// The mean of the passes, and the same power and drag area on the flat in still air.
fn flat(seen: &Seen) -> Option<Wider> {
    let (mut force, mut wind, mut count) = (0.0, 0.0, 0.0);
    for pass in &seen.averages.passes {
        let ride = &seen.day.rides[pass.ride];
        let setup = &seen.day.setups[ride.setup];
        let account = accounts(ride, setup, seen.day.course_length_m, &Shift::default());
        let sum = |value: fn(&crate::estimate::cells::Account) -> f64| account.iter().map(value).sum::<f64>();
        let (distance_m, duration_s) = (sum(|a| a.distance_m), sum(|a| a.duration_s));
        let power_w = setup.drivetrain_efficiency.value * sum(|a| a.crank_j) / duration_s;
        let rolling_n = (setup.crr.value + seen.rolling.shift)
            * ride_rig(ride, setup, &Shift::default()).total_mass_kg
            * ride.gravity_m_s2;
        let drag = 0.5 * ride.air.density_kg_m3 * pass.cda_m2;
        let flat_m_s = flat_speed_m_s(power_w, drag, rolling_n)?;
        let drag_n = pass.cda_m2 * sum(|a| a.air_j_m2) / distance_m;
        force += drag * flat_m_s * flat_m_s / drag_n;
        wind += flat_m_s / (distance_m / duration_s);
        count += 1.0;
    }
    (force > 0.0).then(|| Wider {
        force: force / count,
        wind: wind / count,
    })
}

/// Where power at the wheel, drag (½ρ CdA), tyres and bearings are in balance; by Newton's method from above, where
/// the balance is convex. `None` for nonsense.
fn flat_speed_m_s(power_w: f64, drag: f64, rolling_n: f64) -> Option<f64> {
    let mut speed = (power_w / drag).cbrt();
    for _ in 0..20 {
        let held_n = drag * speed * speed + rolling_n + bearing_force_n(speed);
        let slope = held_n + speed * 2.0 * drag * speed;
        speed -= (speed * held_n - power_w) / slope;
    }
    (speed.is_finite() && speed > 0.0).then_some(speed)
}

/// Places that most passes brake for: what the brakes take there looks like climb, or like drag.
fn slow_places(seen: &Seen) -> Option<Warning> {
    if seen.slow_places.is_empty() {
        return None;
    }
    let told: Vec<String> = seen
        .slow_places
        .iter()
        .map(|place| {
            let way = match place.direction {
                Direction::Forward => "forward",
                Direction::Reverse => "reverse",
            };
            format!(
                "{:.0} to {:.0} m ({way}, in {} of {} passes: from {:.0} down to {:.0} km/h, {:.1} kJ)",
                place.from_m,
                place.to_m,
                place.braked,
                place.passes,
                3.6 * place.before_m_s,
                3.6 * place.slowest_m_s,
                place.braked_j / 1000.0
            )
        })
        .collect();
    Some(Warning::new(
        "slow place",
        format!(
            "passes brake for the same place: {}; what the brakes took cannot be told from a climb, and these cells \
             hardly count in any pass of the direction",
            told.join(", ")
        ),
        "Fit a part of the course without it by [[window]], or choose another stretch.",
    ))
}

fn surface(seen: &Seen) -> Option<Warning> {
    let found = heavier(seen.day, seen.joint, seen.rolling)?;
    let base = seen.day.setups[0].crr.value + seen.rolling.shift;
    Some(Warning::new(
        "surface",
        format!(
            "between {:.0} and {:.0} m more is lost in both directions than on the rest of the course, as if Crr were \
             higher by {:.4} ± {:.4} there: a rougher surface, or less shelter from the wind",
            found.from_m, found.to_m, found.crr, found.standard_uncertainty
        ),
        format!(
            "If the surface changes there, write it as [[surface]] with from_m, to_m and crr_factor = {:.2} (where crr \
             holds for the rest); else fit one part by [[window]].",
            (base + found.crr) / base
        ),
    ))
}

/// What set-ups make is there all along the course; what is there in one place the rider made, or somebody else.
fn uneven_difference(seen: &Seen) -> Vec<Warning> {
    let found = uneven(seen.day, seen.joint, seen.rolling);
    let told = found.iter().map(|one| {
        let name = |setup: usize| &seen.setups[setup].name;
        let way = match one.direction {
            Direction::Forward => "",
            Direction::Reverse => " of reverse passes",
        };
        Warning::new(
            "uneven difference",
            format!(
                "between {:.0} and {:.0} m{way} '{}' takes {:.0} ± {:.0} % {} drag against '{}' than it does on the rest \
                 of the course: as by sitting up, somebody in front or brakes, each time at that place",
                one.from_m,
                one.to_m,
                name(one.setup),
                100.0 * one.more.abs(),
                100.0 * one.standard_uncertainty,
                if one.more > 0.0 { "more" } else { "less" },
                name(one.baseline)
            ),
            "If something was done there with one set-up only, fit the rest of the course by [[window]].",
        )
    });
    told.collect()
}

/// Yaw that differs between set-ups is a difference that the balance does not know.
fn yaw(seen: &Seen) -> Option<Warning> {
    let known = || seen.setups.iter().filter_map(|s| s.yaw);
    let yaws: Vec<f64> = known().map(|yaw| yaw.rms_deg).collect();
    // Beyond what the wind's uncertainty makes of it.
    let unknown = known().map(|yaw| yaw.unknown_deg).fold(0.0, f64::max);
    let (low, high) = yaws
        .iter()
        .fold((f64::INFINITY, 0f64), |(l, h), y| (l.min(*y), h.max(*y)));
    (yaws.len() > 1 && high - low > YAW_APART_DEG.max(unknown)).then(|| {
        Warning::new(
            "yaw",
            format!("the wind crossed the road differently for the set-ups: yaw of {low:.0}° to {high:.0}°"),
            "Ride both in the same wind; wheels and helmets change with yaw, and this shows as a difference.",
        )
    })
}

/// Wheels are made for yaw: what they do was seen at the yaw of this day alone.
fn wheels(seen: &Seen) -> Option<Warning> {
    let ridden = || (0..seen.setups.len()).filter(|s| seen.setups[*s].passes > 0);
    let first = ridden().next()?;
    let base = &seen.day.setups[first];
    let differs = |s: usize| {
        let own = &seen.day.setups[s];
        own.wheel_radius_m.value != base.wheel_radius_m.value
            || own.wheel_inertia_kg_m2.value != base.wheel_inertia_kg_m2.value
    };
    let named = |s: usize| {
        let name = seen.setups[s].name.to_lowercase();
        WHEEL_WORDS.iter().any(|word| name.contains(word))
    };
    if ridden().count() < 2 || !ridden().any(|s| differs(s) || named(s)) {
        return None;
    }
    let yaws: Vec<String> = ridden()
        .filter_map(|s| {
            Some(format!(
                "'{}' {}",
                seen.setups[s].name,
                seen.setups[s].yaw?.in_words()
            ))
        })
        .collect();
    let (message, next) = if yaws.is_empty() {
        (
            "wheels seem to be under test, and their drag depends on yaw; at which yaw they were ridden is not known"
                .to_string(),
            "Write the wind into [[air]] or before each block, and ride again in another wind.",
        )
    } else {
        (
            format!(
                "wheels seem to be under test, and their drag depends on yaw: the difference is that at the yaw ridden, \
                 {}",
                yaws.join(", ")
            ),
            "Ride again on a day with more wind across the road, and with less, before taking it for another day's.",
        )
    };
    Some(Warning::new("wheels", message, next))
}

#[cfg(test)]
#[path = "road_remarks_tests.rs"]
mod tests;
