//! Positions: what cannot be is taken out; lengths and bearings on the ellipsoid.

use super::mark::{excursions, list};
use super::{Streams, position_jumps};
use crate::treatment::{AsRecorded, Treatment};
use geo::{Bearing, Distance, Geodesic, Point};

/// Kind of repair: positions that were made up.
pub const LOST: &str = "lost positions";

/// No bicycle on a road is faster, so a longer step is a fault of the position.
const FASTEST_M_S: f64 = 60.0;
/// Longer excursions than this many samples are not told from a real, if strange, place.
const LONGEST_EXCURSION: usize = 10;

/// Positions that a unit makes up for so long are no positions: in a tunnel it repeats the last one, or runs on
/// straight. [s]
const LOST_S: f64 = 10.0;
/// Made-up positions lie on a straight line at even steps but for the rounding of the file, 8.4e-8° in FIT and 1e-7° in
/// text. A rider who speeds up by 0.002 m/s² is off such a line by more within ten seconds. [°]
const ON_LINE_DEG: f64 = 1.2e-7;
/// A rider who stands has one position. [m/s]
const MOVING_M_S: f64 = 3.0;

pub(super) fn clean(streams: &mut Streams, as_recorded: &AsRecorded) {
    take_out_impossible(streams);
    let judged = !as_recorded.leaves(Treatment::PositionJumps);
    if judged {
        // Before the jumps: the first place after a held one would look like one.
        position_jumps::take_out_held(streams);
    }
    if !as_recorded.leaves(Treatment::LostPositions) {
        take_out_lost(streams);
    }
    take_out_jumps(streams);
    if judged {
        position_jumps::take_out_aside(streams);
    }
}

fn take_out_jumps(streams: &mut Streams) {
    let jump = |a: usize, b: usize| {
        let elapsed = streams.time_s[b] - streams.time_s[a];
        chord_m(streams, a, b).is_some_and(|chord| chord > FASTEST_M_S * elapsed)
    };
    let marked = excursions(
        streams.time_s.len(),
        LONGEST_EXCURSION,
        |index| valid(streams, index),
        jump,
    );
    take_out(streams, &marked, "position jump", |span| {
        format!(
            "{} that would need more than {FASTEST_M_S:.0} m/s to get there and back taken out {}",
            span.count("position"),
            span.when()
        )
    });
}

/// Marks positions within stretches of `LOST_S` and more that lie on one line at even steps, while by speed, distance
/// or the steps themselves the rider moved.
fn take_out_lost(streams: &mut Streams) {
    let mut marked = Vec::new();
    let mut start = 1;
    while start + 1 < streams.time_s.len() {
        let mut end = start;
        while end + 1 < streams.time_s.len() && even(streams, end) {
            end += 1;
        }
        // The samples at both ends may be true ones.
        let lasted_s = streams.time_s[end] - streams.time_s[start - 1];
        // A recording that is even from end to end was computed, and has no tunnel.
        let within = start > 1 && end + 1 < streams.time_s.len();
        let made_up = within && lasted_s >= LOST_S && on_line(streams, start - 1, end);
        if made_up && moved(streams, start - 1, end) {
            let stood = chord_m(streams, end - 1, end).is_some_and(|step| step < 0.05);
            marked.extend(start..end + usize::from(stood));
        }
        start = end.max(start) + 1;
    }
    take_out(streams, &marked, LOST, |span| {
        format!(
            "{} that stood still or ran on in equal steps while the rider moved taken out {}",
            span.count("position"),
            span.when()
        )
    });
}

/// Whether the step after a sample is like the one before it, but for rounding.
fn even(streams: &Streams, index: usize) -> bool {
    let bent = |channel: &[f64]| channel[index + 1] - 2.0 * channel[index] + channel[index - 1];
    [&streams.latitude_deg, &streams.longitude_deg]
        .iter()
        .all(|channel| bent(channel).abs() < 4.0 * ON_LINE_DEG)
        && bent(&streams.time_s).abs() < 1e-6
}

/// Whether every sample between two lies where an even ride along the straight line between them would put it.
fn on_line(streams: &Streams, from: usize, to: usize) -> bool {
    let time = &streams.time_s;
    let share = |index: usize| (time[index] - time[from]) / (time[to] - time[from]);
    [&streams.latitude_deg, &streams.longitude_deg]
        .iter()
        .all(|channel| {
            (from..=to).all(|index| {
                let even = channel[from] + share(index) * (channel[to] - channel[from]);
                (channel[index] - even).abs() < ON_LINE_DEG
            })
        })
}

fn moved(streams: &Streams, from: usize, to: usize) -> bool {
    let seconds = streams.time_s[to] - streams.time_s[from];
    let by_distance = (streams.distance_m[to] - streams.distance_m[from]) / seconds;
    // Behind a tunnel in which it stood still, the position jumps to where the rider is.
    let by_positions = chord_m(streams, from, to + 1).unwrap_or(0.0) / seconds;
    let speeds: Vec<f64> = streams.speed_m_s[from..=to]
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    let by_speed = speeds.iter().sum::<f64>() / speeds.len() as f64;
    // Not known by either: NaN, which is no more than anything.
    by_distance > MOVING_M_S || by_positions > MOVING_M_S || by_speed > MOVING_M_S
}

fn take_out_impossible(streams: &mut Streams) {
    let far_from_zero = far_from_zero(streams);
    let (lat, lon) = (&streams.latitude_deg, &streams.longitude_deg);
    let bad = |index: usize| {
        let (lat, lon) = (lat[index], lon[index]);
        let outside = !(-90.0..=90.0).contains(&lat) || !(-180.0..=180.0).contains(&lon);
        // A unit without a fix writes 0, 0; near that point of the sea it is a place like any other.
        let no_fix = lat.abs() < 1e-6 && lon.abs() < 1e-6 && far_from_zero;
        let absent = lat.is_nan() && lon.is_nan();
        !absent && (outside || no_fix)
    };
    let marked: Vec<usize> = (0..lat.len()).filter(|&index| bad(index)).collect();
    take_out(streams, &marked, "impossible position", |span| {
        format!(
            "{} taken out {}: outside the globe, half missing, or 0, 0 for want of a fix",
            span.count("position"),
            span.when()
        )
    });
}

/// Whether the middle one of the latitudes or longitudes lies more than half a degree from zero.
fn far_from_zero(streams: &Streams) -> bool {
    let middle_is_far = |channel: &[f64]| {
        let mut sizes: Vec<f64> = channel.iter().map(|value| value.abs()).collect();
        sizes.retain(|size| size.is_finite() && *size >= 1e-6);
        sizes.sort_by(f64::total_cmp);
        sizes.get(sizes.len() / 2).is_some_and(|&size| size > 0.5)
    };
    middle_is_far(&streams.latitude_deg) || middle_is_far(&streams.longitude_deg)
}

fn take_out(
    streams: &mut Streams,
    marked: &[usize],
    kind: &'static str,
    say: impl Fn(&super::mark::Span) -> String,
) {
    for &index in marked {
        streams.latitude_deg[index] = f64::NAN;
        streams.longitude_deg[index] = f64::NAN;
    }
    list(&streams.time_s, marked, kind, &mut streams.repairs, say);
}

pub(super) fn valid(streams: &Streams, index: usize) -> bool {
    point(streams, index).is_some()
}

fn point(streams: &Streams, index: usize) -> Option<Point<f64>> {
    let lat = *streams.latitude_deg.get(index)?;
    let lon = *streams.longitude_deg.get(index)?;
    (lat.is_finite() && lon.is_finite()).then(|| Point::new(lon, lat))
}

/// Length of the geodesic between two samples (WGS 84). [m]
pub(super) fn chord_m(streams: &Streams, a: usize, b: usize) -> Option<f64> {
    Some(Geodesic.distance(point(streams, a)?, point(streams, b)?))
}

/// From a sample to a place. [m]
pub(super) fn distance_m(
    streams: &Streams,
    index: usize,
    latitude_deg: f64,
    longitude_deg: f64,
) -> Option<f64> {
    Some(Geodesic.distance(point(streams, index)?, Point::new(longitude_deg, latitude_deg)))
}

/// East and north of sample `b` as seen from sample `a`. [m]
pub(super) fn offset_m(streams: &Streams, a: usize, b: usize) -> Option<(f64, f64)> {
    let (from, to) = (point(streams, a)?, point(streams, b)?);
    let (length, bearing) = (
        Geodesic.distance(from, to),
        Geodesic.bearing(from, to).to_radians(),
    );
    Some((length * bearing.sin(), length * bearing.cos()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::streams::testing::{after, kinds, missing};

    #[test]
    fn places_outside_the_globe_and_the_want_of_a_fix_are_taken_out() {
        let streams = after(|samples| {
            samples[10].latitude_deg = Some(91.0);
            samples[11].longitude_deg = None;
            samples[12].latitude_deg = Some(0.0);
            samples[12].longitude_deg = Some(0.0);
        });
        assert_eq!(missing(&streams.latitude_deg), [10, 11, 12]);
        assert_eq!(missing(&streams.longitude_deg), [10, 11, 12]);
        assert_eq!(kinds(&streams.repairs), [("impossible position", 3)]);
    }

    #[test]
    fn zero_zero_is_a_place_for_those_who_ride_there() {
        let streams = after(|samples| {
            for (i, sample) in samples.iter_mut().enumerate() {
                sample.latitude_deg = Some((i as f64 - 60.0) * 8e-5);
                sample.longitude_deg = Some(0.0);
            }
        });
        assert_eq!(missing(&streams.latitude_deg), Vec::<usize>::new());
    }

    #[test]
    fn a_jump_that_comes_back_is_taken_out() {
        let streams = after(|samples| {
            for sample in &mut samples[50..53] {
                sample.latitude_deg = sample.latitude_deg.map(|lat| lat + 0.05);
            }
        });
        assert_eq!(missing(&streams.latitude_deg), [50, 51, 52]);
        assert_eq!(kinds(&streams.repairs), [("position jump", 3)]);
    }

    /// Karney (2013), J. Geodesy 87:43, table 2 gives no such short line; the semi-major axis does: a
    /// degree along the equator is a·π/180 with a = 6 378 137 m (WGS 84, by definition).
    #[test]
    fn a_degree_of_the_equator_has_its_length() {
        let streams = after(|samples| {
            for (i, sample) in samples.iter_mut().enumerate() {
                sample.latitude_deg = Some(0.0);
                sample.longitude_deg = Some(i as f64 / 1e4);
            }
        });
        let wanted = 6_378_137.0 * std::f64::consts::PI / 180.0 / 1e4;
        assert!((chord_m(&streams, 3, 4).unwrap() - wanted).abs() < 1e-6);
        let (east, north) = offset_m(&streams, 3, 4).unwrap();
        assert!((east - wanted).abs() < 1e-6 && north.abs() < 1e-6);
    }

    /// In a tunnel of 15 s one unit repeats its last position and another draws a straight line through; a rider who
    /// stands has one position and is left alone.
    #[test]
    fn positions_made_up_in_a_tunnel_are_taken_out() {
        let wander = |i: usize| 1e-6 * ((i * i) as f64).sin();
        let through = |frozen: bool| {
            after(|samples| {
                for (i, sample) in samples.iter_mut().enumerate() {
                    sample.latitude_deg = sample.latitude_deg.map(|lat| lat + wander(i));
                }
                let (a, b) = (samples[50], samples[65]);
                for (i, sample) in samples.iter_mut().enumerate().take(65).skip(51) {
                    let share = if frozen { 0.0 } else { (i as f64 - 50.0) / 15.0 };
                    let between = |a: Option<f64>, b: Option<f64>| Some(a? + share * (b? - a?));
                    sample.latitude_deg = between(a.latitude_deg, b.latitude_deg);
                    sample.longitude_deg = between(a.longitude_deg, b.longitude_deg);
                }
            })
        };
        for frozen in [true, false] {
            let streams = through(frozen);
            assert_eq!(
                missing(&streams.latitude_deg),
                (51..65).collect::<Vec<_>>(),
                "{frozen}"
            );
            let kind = if frozen {
                "frozen position"
            } else {
                "lost positions"
            };
            assert_eq!(kinds(&streams.repairs), [(kind, 14)]);
        }
        let stands = after(|samples| {
            let ridden = samples.to_vec();
            for (i, sample) in samples.iter_mut().enumerate().skip(51) {
                let there = ridden[i.saturating_sub(29).max(50)];
                sample.latitude_deg = there
                    .latitude_deg
                    .map(|lat| lat + if i > 80 { wander(i) } else { 0.0 });
                (sample.longitude_deg, sample.distance_m) = (there.longitude_deg, there.distance_m);
                sample.speed_m_s = if i < 80 { Some(0.0) } else { there.speed_m_s };
            }
        });
        assert!(
            stands.repairs.iter().all(|r| r.kind != "lost positions"),
            "{:?}",
            stands.repairs
        );
    }
}
