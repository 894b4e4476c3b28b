//! The slope of a noisy channel at one instant.

use nalgebra::{Matrix3, Vector3};

/// Slope at x = 0 of the parabola (of the straight line, for two points) through `points` by least
/// squares: instantaneous, and exact under constant acceleration, also at the end of a window.
/// `None` for fewer than two points or when they do not determine it.
pub(super) fn slope_at_zero(points: &[(f64, f64)]) -> Option<f64> {
    let (&(x_first, y_first), &(x_last, y_last)) = (points.first()?, points.last()?);
    let reach = points.iter().fold(0.0, |far: f64, p| far.max(p.0.abs()));
    if points.len() < 2 || x_first == x_last || !reach.is_normal() {
        return None;
    }
    if points.len() == 2 {
        return Some((y_last - y_first) / (x_last - x_first)).filter(|slope| slope.is_finite());
    }
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for &(x, y) in points {
        let row = Vector3::new(1.0, x / reach, (x / reach).powi(2));
        normal += row * row.transpose();
        right += row * (y - y_first);
    }
    let solution = normal.cholesky()?.solve(&right);
    Some(solution[1] / reach).filter(|slope| slope.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_gives_its_own_slope_inside_and_at_the_end_of_the_window() {
        let y = |x: f64| 4.0 + 7.0 * x - 0.3 * x * x;
        for from in [-2, 0, -4] {
            let points: Vec<_> = (from..from + 5)
                .map(|x| (f64::from(x), y(f64::from(x))))
                .collect();
            let slope = slope_at_zero(&points).unwrap();
            assert!((slope - 7.0).abs() < 1e-9, "{from}: {slope}");
        }
    }

    #[test]
    fn too_few_points_have_no_slope() {
        assert_eq!(slope_at_zero(&[(0.0, 1.0)]), None);
        assert_eq!(slope_at_zero(&[(0.0, 1.0), (0.0, 2.0)]), None);
        assert_eq!(slope_at_zero(&[(0.0, 1.0), (2.0, 2.0)]), Some(0.5));
    }
}
