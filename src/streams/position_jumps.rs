//! Positions that stood still or leapt aside while the bicycle rode on: under bridges, under trees, between houses.

use super::Streams;
use super::mark::{Span, list};
use super::position::{chord_m, offset_m, valid};

/// Steps longer apart in time than this hold bends and brakes, and are not judged. [s]
const LONGEST_STEP_S: f64 = 2.5;
/// A step of a second that differs so much from those around it takes 8 m/s² and more; of two seconds, twice as much: no bicycle does that, a receiver that
/// leaps does. Wander moves a position by less than 1 m in a second (real rides, wheel sensor beside positions).
const LEAP_M: f64 = 8.0;
/// Steps to either side whose median is what a step should be.
const AROUND: usize = 2;
/// Longer away than this, there is no telling which of the places was right. [s]
const LONGEST_AWAY_S: f64 = 30.0;
/// The leap back undoes the leap away, within this share of it or `LEAP_M`.
const UNDONE: f64 = 0.5;
/// Equal positions for so long while riding are no positions. [s]
const FROZEN_S: f64 = 3.0;
/// Slower than this before them, the rider may have stopped. [m/s]
const RIDING_M_S: f64 = 3.0;
/// Of the way that the speed before would have made: so far off is the next position after a frozen one at least.
const CAUGHT_UP: f64 = 0.5;

/// Takes out positions that were held.
pub(super) fn take_out_held(streams: &mut Streams) {
    let held = frozen(streams);
    take_out(streams, &held, "frozen position", |span| {
        format!(
            "{} that stood still while the bicycle rode on taken out {}",
            span.count("position"),
            span.when()
        )
    });
}

/// Takes out positions between a leap away and the leap back.
pub(super) fn take_out_aside(streams: &mut Streams) {
    let away = leapt(streams);
    take_out(streams, &away, "position aside", |span| {
        format!(
            "{} that lay aside between two leaps taken out {}",
            span.count("position"),
            span.when()
        )
    });
}

fn take_out(streams: &mut Streams, marked: &[usize], kind: &'static str, say: impl Fn(&Span) -> String) {
    for &index in marked {
        streams.latitude_deg[index] = f64::NAN;
        streams.longitude_deg[index] = f64::NAN;
    }
    list(&streams.time_s, marked, kind, &mut streams.repairs, say);
}

/// Positions equal to the one before, for 3 s or longer, where the rider came at a speed and the next one is about
/// as far off as that speed takes. The first of them was still right.
fn frozen(streams: &Streams) -> Vec<usize> {
    let present: Vec<usize> = (0..streams.time_s.len()).filter(|&i| valid(streams, i)).collect();
    let (lat, lon, time) = (&streams.latitude_deg, &streams.longitude_deg, &streams.time_s);
    let same = |a: usize, b: usize| {
        let (a, b) = (present[a], present[b]);
        lat[a] == lat[b] && lon[a] == lon[b] && !streams.paused_between(time[a], time[b])
    };
    let mut marked = Vec::new();
    for run in super::mark::runs(present.len(), 3, same) {
        let (first, last) = (present[run.start], present[run.end - 1]);
        let before = run.start.checked_sub(3).map(|place| present[place]);
        let (Some(before), Some(&after)) = (before, present.get(run.end)) else {
            continue;
        };
        let came_m_s = chord_m(streams, before, first).map_or(0.0, |m| m / (time[first] - time[before]));
        let ahead_m = chord_m(streams, last, after).unwrap_or(0.0);
        let due_m = came_m_s * (time[after] - time[first]);
        let rode_on = came_m_s > RIDING_M_S && ahead_m > CAUGHT_UP * due_m;
        if rode_on && time[last] - time[first] >= FROZEN_S {
            marked.extend(&present[run.start + 1..run.end]);
        }
    }
    marked
}

/// Samples after a leap and before the one that undoes it.
fn leapt(streams: &Streams) -> Vec<usize> {
    let leaps = leaps(streams);
    let time = &streams.time_s;
    let mut marked = Vec::new();
    let mut next = 0;
    while let (Some(&(from, away)), Some(&(to, back))) = (leaps.get(next), leaps.get(next + 1)) {
        let left_m = (away.0 + back.0).hypot(away.1 + back.1);
        let size_m = away.0.hypot(away.1);
        if time[to] - time[from] <= LONGEST_AWAY_S && left_m <= LEAP_M.max(UNDONE * size_m) {
            marked.extend((from..to).filter(|&index| valid(streams, index)));
            next += 2;
        } else {
            next += 1;
        }
    }
    marked
}

/// Samples that a leap leads to, with its east and north in metres.
///
/// Many units write a position a second late now and then: one value twice, then a step of twice the length (in 3 of
/// 15 real rides, for minutes on end). So steps go from one new position to the next.
fn leaps(streams: &Streams) -> Vec<(usize, (f64, f64))> {
    let steps = steps(streams);
    let differs = |a: Option<&Step>, b: Option<&Step>| match (a, b) {
        (Some(a), Some(b)) => (a.east - b.east).hypot(a.north - b.north) > 0.5 * LEAP_M,
        _ => false,
    };
    let median = |around: &[Step], side: fn(&Step) -> f64| {
        let mut values: Vec<f64> = around.iter().map(side).collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    (0..steps.len())
        // Most steps differ little from those beside them: only where they do are all around asked.
        .filter(|&k| {
            let before = k.checked_sub(1).and_then(|before| steps.get(before));
            differs(before, steps.get(k)) || differs(steps.get(k), steps.get(k + 1))
        })
        .filter_map(|k| {
            let own = steps.get(k)?;
            let around = steps.get(k.saturating_sub(AROUND)..(k + AROUND + 1).min(steps.len()))?;
            let near = around.iter().filter(|step| step.chain == own.chain);
            let around: Vec<Step> = near.copied().collect();
            if around.len() < 2 * AROUND {
                return None;
            }
            let due = (median(&around, |s| s.east)?, median(&around, |s| s.north)?);
            let leap = (
                (own.east - due.0) * own.lasted_s,
                (own.north - due.1) * own.lasted_s,
            );
            (leap.0.hypot(leap.1) > LEAP_M * own.lasted_s.max(1.0)).then_some((own.to, leap))
        })
        .collect()
}

/// From one new position to the next, in m/s.
#[derive(Clone, Copy)]
struct Step {
    to: usize,
    lasted_s: f64,
    east: f64,
    north: f64,
    /// Steps of one chain follow each other without a hole.
    chain: usize,
}

fn steps(streams: &Streams) -> Vec<Step> {
    let (lat, lon, time) = (&streams.latitude_deg, &streams.longitude_deg, &streams.time_s);
    let mut steps: Vec<Step> = Vec::new();
    let mut chain = 0;
    let mut last: Option<usize> = None;
    for to in (0..time.len()).filter(|&index| valid(streams, index)) {
        let Some(from) = last else {
            last = Some(to);
            continue;
        };
        if lat[from] == lat[to] && lon[from] == lon[to] {
            continue;
        }
        last = Some(to);
        let lasted_s = time[to] - time[from];
        let open = lasted_s <= LONGEST_STEP_S && !streams.paused_between(time[from], time[to]);
        match offset_m(streams, from, to).filter(|_| open) {
            Some((east, north)) => steps.push(Step {
                to,
                lasted_s,
                east: east / lasted_s,
                north: north / lasted_s,
                chain,
            }),
            None => chain += 1,
        }
    }
    steps
}

#[cfg(test)]
mod tests {
    use crate::streams::testing::{after, kinds, missing};
    use geo::{Destination, Geodesic, Point};

    fn moved(sample: &mut crate::recording::Sample, bearing_deg: f64, metres: f64) {
        let (Some(lat), Some(lon)) = (sample.latitude_deg, sample.longitude_deg) else {
            return;
        };
        let place = Geodesic.destination(Point::new(lon, lat), bearing_deg, metres);
        (sample.latitude_deg, sample.longitude_deg) = (Some(place.y()), Some(place.x()));
    }

    #[test]
    fn positions_that_leapt_aside_ahead_or_back_for_a_while_are_taken_out() {
        // The ride goes to 40°.
        for bearing_deg in [40.0, 130.0, 220.0, 330.0] {
            for (size_m, samples) in [(12.0, 1), (20.0, 4), (20.0, 25), (40.0, 2)] {
                let streams = after(|all| {
                    all[50..50 + samples]
                        .iter_mut()
                        .for_each(|s| moved(s, bearing_deg, size_m));
                });
                let gone: Vec<usize> = (50..50 + samples).collect();
                assert_eq!(missing(&streams.latitude_deg), gone, "{bearing_deg} {size_m}");
                assert_eq!(kinds(&streams.repairs), [("position aside", samples)]);
            }
        }
    }

    #[test]
    fn a_leap_that_stays_and_one_too_long_away_are_left_alone() {
        for away in [50..120, 50..90] {
            let streams = after(|all| all[away].iter_mut().for_each(|s| moved(s, 130.0, 20.0)));
            assert!(missing(&streams.latitude_deg).is_empty());
        }
    }

    #[test]
    fn positions_held_while_riding_are_taken_out_and_a_stop_is_not() {
        let streams = after(|all| {
            let held = all[60];
            for sample in &mut all[61..70] {
                (sample.latitude_deg, sample.longitude_deg) = (held.latitude_deg, held.longitude_deg);
            }
        });
        assert_eq!(missing(&streams.latitude_deg), (61..70).collect::<Vec<_>>());
        assert_eq!(kinds(&streams.repairs), [("frozen position", 9)]);
        let stopped = after(|all| {
            let held = all[60];
            let last = all.len() - 9;
            for index in (61..all.len()).rev() {
                let from = if index < 70 { held } else { all[index - 9] };
                (all[index].latitude_deg, all[index].longitude_deg) = (from.latitude_deg, from.longitude_deg);
            }
            assert!(last > 70);
        });
        assert!(missing(&stopped.latitude_deg).is_empty());
    }
}
