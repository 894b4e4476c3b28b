//! A day and the profile of its road → the model to be solved.

use super::contribution::Contribution;
use super::layout::Layout;
use super::system::Model;
use crate::course::Profile;
use crate::estimate::cells::Shift;
use crate::estimate::plain::Day;
use crate::estimate::rolling::Rolling;
use crate::test_day::Shape;
use nalgebra::DMatrix;

/// Without a profile a road may climb by this over a cell.
pub(super) const UNKNOWN_CLIMB_M: f64 = 3.0;
/// Weather moves a barometer by about 0.35 m in 2.5 min at 1 hPa/h (METHOD 3), and it walks besides.
pub const BAROMETER_DRIFT_M_S: f64 = 0.35 / 150.0;

/// `None` without a usable pass, or where the shared heights have no factor.
pub fn model(day: &Day, profile: Option<&Profile>, rolling: &Rolling, shift: &Shift) -> Option<Model> {
    if day.rides.is_empty() {
        return None;
    }
    let contributions: Vec<Contribution> = day
        .rides
        .iter()
        .map(|ride| {
            Contribution::of(
                ride,
                &day.setups[ride.setup],
                day.course_length_m,
                rolling.shift,
                shift,
            )
        })
        .collect();
    let count = contributions.len() as f64;
    let layout = Layout::of(
        &contributions,
        day.setups,
        (day.shape == Shape::Loop).then_some(day.course_length_m),
    );
    let wind = contributions
        .iter()
        .map(|c| c.wind_standard_uncertainty_m_s)
        .sum::<f64>()
        / count;
    Some(Model {
        profile_precision: profile_precision(&layout, &contributions, profile)?,
        wind_standard_uncertainty_m_s: wind,
        cross_square_m2_s2: 0.5 * unseen_cross_share(&contributions) * wind * wind,
        contributions,
        layout,
    })
}

/// How much of the wind's two directions the passes never meet head on: 1 on a straight road, 0 on a round one.
fn unseen_cross_share(contributions: &[Contribution]) -> f64 {
    let mut m = nalgebra::Matrix2::zeros();
    for c in contributions {
        for air in &c.air {
            let way = nalgebra::Vector2::new(air.slope[0], air.slope[1]);
            m += way * way.transpose();
        }
    }
    let eigen = m.symmetric_eigenvalues();
    let (small, large) = (eigen[0].min(eigen[1]), eigen[0].max(eigen[1]));
    // A tenth of the pull along the road tells the wind across it well enough.
    if large > 0.0 {
        (1.0 - 10.0 * small / large).clamp(0.0, 1.0)
    } else {
        1.0
    }
}

/// Of the errors of the shared profile at its free knots.
fn profile_precision(
    layout: &Layout,
    contributions: &[Contribution],
    profile: Option<&Profile>,
) -> Option<DMatrix<f64>> {
    let free = layout.free_knots();
    let count = contributions.len() as f64;
    let seconds = contributions.iter().map(|c| c.when.duration_s).sum::<f64>() / count;
    let (node_m2, walk_m2) = match profile {
        Some(p) => (
            0.5 * p.standard_uncertainty_m.powi(2),
            ((BAROMETER_DRIFT_M_S * seconds).powi(2) / count + p.wander_m.powi(2))
                / (layout.knots_m.len() - 1) as f64,
        ),
        None => (0.0, UNKNOWN_CLIMB_M.powi(2)),
    };
    // Error at a knot less that at the first: its own noise, that of the first, and what has walked up to it.
    let mut covariance = DMatrix::from_fn(free, free, |i, j| {
        let own = if i == j { node_m2 } else { 0.0 };
        own + node_m2 + walk_m2 * (i.min(j) + 1) as f64
    });
    if layout.closed {
        // Given that the walk comes back to where it began.
        let last = walk_m2 * (free + 1) as f64;
        for i in 0..free {
            for j in 0..free {
                covariance[(i, j)] -=
                    walk_m2 * walk_m2 * ((i + 1) * (j + 1)) as f64 / last.max(f64::MIN_POSITIVE);
            }
        }
    }
    if free == 0 {
        return Some(DMatrix::zeros(0, 0));
    }
    Some(nalgebra::Cholesky::new(covariance)?.inverse())
}
