//! Points of an event → the road to ride: lengths on the ellipsoid, heights cleaned before they become slopes.

use crate::course::geodesic_m;
use crate::recording::RoutePoint;
use crate::verdict::Stretch;

/// Points nearer to each other than this are one: a rider who stands adds no road.
const APART_M: f64 = 5.0;
/// Slopes are taken between nodes this far apart, or farther where the event is long.
const NODE_M: f64 = 25.0;
const MOST_NODES: f64 = 4000.0;
/// Heights are averaged over the road with a bell of this standard deviation: 1 m steps of a height become slopes of
/// 0.5 % instead of 4 % between nodes, and a hill of 400 m keeps 91 % of its height (exp(−½(2π·50/400)²) = 0.73 for a
/// sine of that length as a wave, D).
const SMOOTHING_M: f64 = 50.0;
/// Steeper than this for a single point both ways is an error of the height (common practice, no published source).
const STEEPEST: f64 = 0.30;

/// The road of an event, in the order ridden.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRoad {
    pub stretches: Vec<Stretch>,
    /// Along the road. [m]
    pub length_m: f64,
    /// Sum of all climbs between nodes.
    pub climb_m: f64,
    /// `None` where there was nothing to clean: a flat event, or one without heights.
    pub cleaned: Option<Cleaned>,
    /// False where the file had no heights: the road is then taken as level.
    pub has_heights: bool,
}

/// What was done to the heights of an event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cleaned {
    /// Sum of all rises from point to point as they stand in the file.
    pub raw_climb_m: f64,
    /// Points whose height was taken out as an error.
    pub taken_out: usize,
    /// Points without a height, filled in between their neighbours.
    pub without: usize,
    pub smoothing_m: f64,
}

/// A level road of one bearing.
pub fn flat_road(length_m: f64) -> EventRoad {
    EventRoad {
        stretches: vec![Stretch {
            length_m,
            gradient: 0.0,
            bearing_rad: 0.0,
        }],
        length_m,
        climb_m: 0.0,
        cleaned: None,
        has_heights: true,
    }
}

/// `None` where the points are all at one place.
pub fn road_of(points: &[RoutePoint]) -> Option<EventRoad> {
    let (points, along_m) = thinned(points);
    let total_m = *along_m.last()?;
    if total_m.is_nan() || total_m < APART_M {
        return None;
    }
    let (heights_m, cleaned) = heights(&points, &along_m);
    let nodes = (total_m / NODE_M).ceil().clamp(1.0, MOST_NODES);
    let edges_m: Vec<f64> = (0..=nodes as usize).map(|k| total_m * k as f64 / nodes).collect();
    let smooth = |at_m: f64| heights_m.as_ref().map_or(0.0, |h| smoothed(&along_m, h, at_m));
    let at_edges: Vec<f64> = edges_m.iter().map(|at| smooth(*at)).collect();
    let stretches: Vec<Stretch> = edges_m
        .windows(2)
        .zip(at_edges.windows(2))
        .map(|(along, height)| {
            let level_m = along[1] - along[0];
            let gradient = (height[1] - height[0]) / level_m;
            Stretch {
                length_m: level_m * gradient.hypot(1.0),
                gradient,
                bearing_rad: bearing_rad(&points, &along_m, 0.5 * (along[0] + along[1])),
            }
        })
        .collect();
    Some(EventRoad {
        length_m: stretches.iter().map(|s| s.length_m).sum(),
        climb_m: at_edges.windows(2).map(|h| (h[1] - h[0]).max(0.0)).sum(),
        has_heights: cleaned.is_some(),
        cleaned,
        stretches,
    })
}

/// Points that lie apart, with their distance along the way on the ellipsoid.
fn thinned(points: &[RoutePoint]) -> (Vec<RoutePoint>, Vec<f64>) {
    let mut kept: Vec<RoutePoint> = Vec::new();
    let mut along_m = Vec::new();
    for point in points {
        let Some(last) = kept.last() else {
            kept.push(*point);
            along_m.push(0.0);
            continue;
        };
        let step_m = geodesic_m(
            [last.latitude_deg, last.longitude_deg],
            [point.latitude_deg, point.longitude_deg],
        );
        if step_m >= APART_M {
            along_m.push(along_m[along_m.len() - 1] + step_m);
            kept.push(*point);
        }
    }
    (kept, along_m)
}

/// The height of each point, errors taken out and gaps filled; `None` where fewer than two points have one.
fn heights(points: &[RoutePoint], along_m: &[f64]) -> (Option<Vec<f64>>, Option<Cleaned>) {
    let mut known: Vec<(f64, f64)> = points
        .iter()
        .zip(along_m)
        .filter_map(|(point, along)| Some((*along, point.altitude_m?)))
        .collect();
    if known.len() < 2 {
        return (None, None);
    }
    let raw_climb_m = known.windows(2).map(|w| (w[1].1 - w[0].1).max(0.0)).sum();
    let without = points.len() - known.len();
    let before = known.len();
    let spike = |w: &[(f64, f64)]| {
        let slope = |a: (f64, f64), b: (f64, f64)| (b.1 - a.1) / (b.0 - a.0);
        let (up, down) = (slope(w[0], w[1]), slope(w[1], w[2]));
        up.abs() > STEEPEST && down.abs() > STEEPEST && up.signum() != down.signum()
    };
    let spikes: Vec<usize> = known
        .windows(3)
        .enumerate()
        .filter(|(_, w)| spike(w))
        .map(|(index, _)| index + 1)
        .collect();
    let mut index = 0;
    known.retain(|_| {
        index += 1;
        spikes.binary_search(&(index - 1)).is_err()
    });
    let filled = along_m.iter().map(|at| between(&known, *at)).collect();
    let cleaned = Cleaned {
        raw_climb_m,
        taken_out: before - known.len(),
        without,
        smoothing_m: SMOOTHING_M,
    };
    (Some(filled), Some(cleaned))
}

/// Linear between the known heights, held beyond their ends.
fn between(known: &[(f64, f64)], at_m: f64) -> f64 {
    let after = known.partition_point(|(along, _)| *along < at_m);
    match (after.checked_sub(1).and_then(|i| known.get(i)), known.get(after)) {
        (Some(a), Some(b)) if b.0 > a.0 => a.1 + (b.1 - a.1) * (at_m - a.0) / (b.0 - a.0),
        (Some(only), _) | (None, Some(only)) => only.1,
        (None, None) => 0.0,
    }
}

/// A straight line through the heights around, weighted by a bell: a steady slope stays as it is, also at the ends.
fn smoothed(along_m: &[f64], heights_m: &[f64], at_m: f64) -> f64 {
    let from = along_m.partition_point(|a| *a < at_m - 3.0 * SMOOTHING_M);
    let to = along_m.partition_point(|a| *a <= at_m + 3.0 * SMOOTHING_M);
    let (mut w0, mut w1, mut w2, mut h0, mut h1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for i in from..to {
        let x = (along_m[i] - at_m) / SMOOTHING_M;
        // Points stand for the road between their neighbours, so that dense ones do not count for more.
        let before = along_m[i.saturating_sub(1)];
        let after = along_m[(i + 1).min(along_m.len() - 1)];
        let weight = (-0.5 * x * x).exp() * (after - before).min(SMOOTHING_M);
        w0 += weight;
        w1 += weight * x;
        w2 += weight * x * x;
        h0 += weight * heights_m[i];
        h1 += weight * x * heights_m[i];
    }
    let determinant = w0 * w2 - w1 * w1;
    if determinant > 1e-9 * w0 * w0 {
        (w2 * h0 - w1 * h1) / determinant
    } else {
        let pairs: Vec<(f64, f64)> = along_m.iter().copied().zip(heights_m.iter().copied()).collect();
        between(&pairs, at_m)
    }
}

/// Of travel, clockwise from true north, by the two points around.
fn bearing_rad(points: &[RoutePoint], along_m: &[f64], at_m: f64) -> f64 {
    let after = along_m
        .partition_point(|a| *a <= at_m)
        .clamp(1, points.len().saturating_sub(1).max(1));
    let (a, b) = (&points[after - 1], &points[after]);
    let north = b.latitude_deg - a.latitude_deg;
    let wrapped = (b.longitude_deg - a.longitude_deg + 180.0).rem_euclid(360.0) - 180.0;
    let east = wrapped * (0.5 * (a.latitude_deg + b.latitude_deg)).to_radians().cos();
    east.atan2(north)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Eastward along a parallel, a point each `step_m`, with heights.
    fn east(count: usize, step_m: f64, height: impl Fn(f64) -> Option<f64>) -> Vec<RoutePoint> {
        // A degree of longitude at 45° on WGS 84: 78 846.8 m (closed form of the ellipsoid, D).
        (0..count)
            .map(|k| RoutePoint {
                latitude_deg: 45.0,
                longitude_deg: k as f64 * step_m / 78_846.8,
                altitude_m: height(k as f64 * step_m),
            })
            .collect()
    }

    #[test]
    fn a_steady_slope_stays_as_it_is_to_the_ends() {
        let road = road_of(&east(201, 20.0, |s| Some(100.0 + 0.04 * s))).unwrap();
        for stretch in &road.stretches {
            assert!((stretch.gradient - 0.04).abs() < 1e-5, "{}", stretch.gradient);
            assert!((stretch.bearing_rad.to_degrees() - 90.0).abs() < 0.01);
        }
        assert!((road.climb_m - 160.0).abs() < 0.1, "{}", road.climb_m);
        assert!((road.length_m - 4000.0 * 0.04f64.hypot(1.0)).abs() < 0.5);
    }

    #[test]
    fn heights_in_whole_metres_make_no_steps_and_a_wrong_one_is_taken_out() {
        let rough = |s: f64| {
            let height = (100.0 + 15.0 * (s / 500.0).sin()).round();
            Some(if (s - 2000.0).abs() < 1.0 {
                height + 60.0
            } else {
                height
            })
        };
        let road = road_of(&east(401, 10.0, rough)).unwrap();
        let cleaned = road.cleaned.unwrap();
        assert_eq!((cleaned.taken_out, cleaned.without), (1, 0));
        let mut at_m = 0.0;
        for stretch in &road.stretches {
            let middle_m = at_m + 0.5 * stretch.length_m;
            let true_slope = 0.03 * (middle_m / 500.0).cos();
            assert!(
                (stretch.gradient - true_slope).abs() < 0.006,
                "{middle_m}: {} beside {true_slope}",
                stretch.gradient
            );
            at_m += stretch.length_m;
        }
    }

    #[test]
    fn without_heights_the_road_is_level_and_says_so() {
        let road = road_of(&east(101, 20.0, |_| None)).unwrap();
        assert!(!road.has_heights && road.climb_m == 0.0);
        assert!((road.length_m - 2000.0).abs() < 0.1);
        let half = road_of(&east(101, 20.0, |s| {
            (!(1000.0..=1400.0).contains(&s)).then_some(0.02 * s)
        }))
        .unwrap();
        assert_eq!(half.cleaned.unwrap().without, 21);
        assert!((half.climb_m - 40.0).abs() < 0.1);
        assert_eq!(road_of(&east(50, 0.0, |_| Some(1.0))), None);
    }
}
