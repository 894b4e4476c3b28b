//! Positions: what cannot be is taken out; lengths and bearings on the ellipsoid.

use super::mark::{excursions, list};
use super::{Streams, position_jumps};
use crate::treatment::{AsRecorded, Treatment};
use geo::{Bearing, Distance, Geodesic, Point};

/// No bicycle on a road is faster, so a longer step is a fault of the position.
const FASTEST_M_S: f64 = 60.0;
/// Longer excursions than this many samples are not told from a real, if strange, place.
const LONGEST_EXCURSION: usize = 10;

pub(super) fn clean(streams: &mut Streams, as_recorded: &AsRecorded) {
    take_out_impossible(streams);
    let judged = !as_recorded.leaves(Treatment::PositionJumps);
    if judged {
        // Before the jumps: the first place after a held one would look like one.
        position_jumps::take_out_held(streams);
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
}
