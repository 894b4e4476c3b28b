//! From the solved day to what is said of it.

use super::contribution::Contribution;
use super::explore::Node;
use super::layout::{GUST_SQUARE, LOG_CDA, Layout, MEAN_WIND, Own, POWER_PER_KELVIN};
use super::prior::Hyper;
use super::system::{Model, Pooled, Solved};
use super::{Believed, Centre, InsideLine, Joint, PassJudged, Settled, Strengths};
use crate::estimate::disturbed::Disturbance;
use crate::estimate::plain::Day;
use nalgebra::{Cholesky, DMatrix, Matrix2, Vector2};
use statrs::distribution::{ContinuousCDF, Normal};

/// A pass further off than this is judged once more, with no say in the strengths.
const LOOK_CLOSER: f64 = 1.8;
/// A strength next to nothing, to see what the answer is without it.
const NOTHING: f64 = 1e-5;

pub(super) fn answer(
    day: &Day,
    model: &Model,
    settled: &Settled,
    nodes: &[Node],
    disturbed: Vec<Vec<Disturbance>>,
) -> Option<Joint> {
    let setups = day.setups.len();
    let mean = |value: fn(&Hyper) -> f64| nodes.iter().map(|n| n.weight * value(&n.hyper)).sum::<f64>();
    let hyper = Hyper {
        wander: mean(|h| h.wander),
        memory: mean(|h| h.memory),
        gust_q: mean(|h| h.gust_q),
        block: mean(|h| h.block),
        pass: mean(|h| h.pass),
    };
    let pooled = model.pool(&settled.point, hyper.gust_q)?;
    let solved = model.solve(&settled.point, &pooled, &hyper)?;
    Some(Joint {
        drags: believed(nodes, &told_of_setups(&model.layout, setups)),
        strengths: Strengths {
            wander_sd_m_s: hyper.wander.exp(),
            wander_memory_s: hyper.memory.exp(),
            gust_q_m2_s: hyper.gust_q.exp(),
            block_sd: hyper.block.exp(),
            pass_sd: hyper.pass.exp(),
        },
        passes: passes(day, model, &pooled, &solved, nodes, disturbed)?,
        inside: inside(model, settled, &pooled, &solved, &hyper, setups)?,
        gust_square_standard_uncertainty_m2_s2: model.gust_square_sd(hyper.gust_q),
        ended: settled.ended,
        steps: settled.steps,
        centre: Centre {
            point: settled.point.clone(),
            hyper,
        },
    })
}

/// The log drag area of each set-up, one a column, and then their log rolling resistances over what was assumed.
pub(super) fn told_of_setups(layout: &Layout, setups: usize) -> DMatrix<f64> {
    let mut functions = log_drags(layout, setups).resize_horizontally(2 * setups, 0.0);
    for s in 0..setups {
        if let Some(place) = layout.rolling[s] {
            functions[(place, setups + s)] = 1.0;
        }
    }
    functions
}

fn log_drags(layout: &Layout, setups: usize) -> DMatrix<f64> {
    let mut functions = DMatrix::zeros(layout.all(), setups);
    for s in 0..setups {
        functions[(LOG_CDA, s)] = 1.0;
        if let Some(place) = layout.drag[s] {
            functions[(place, s)] = 1.0;
        }
    }
    functions
}

fn believed(nodes: &[Node], functions: &DMatrix<f64>) -> Vec<Believed> {
    nodes
        .iter()
        .map(|node| Believed {
            weight: node.weight,
            mean: functions.tr_mul(&node.solved.point),
            covariance: node.solved.covariance(functions),
        })
        .collect()
}

fn passes(
    day: &Day,
    model: &Model,
    pooled: &Pooled,
    solved: &Solved,
    nodes: &[Node],
    disturbed: Vec<Vec<Disturbance>>,
) -> Option<Vec<PassJudged>> {
    let layout = &model.layout;
    let drags = log_drags(layout, day.setups.len());
    let mut winds = DMatrix::zeros(layout.all(), 2 * layout.passes);
    for pass in 0..layout.passes {
        for (way, own) in [Own::WindEast, Own::WindNorth].into_iter().enumerate() {
            winds[(MEAN_WIND[way], 2 * pass + way)] = 1.0;
            winds[(layout.own(own, pass), 2 * pass + way)] = 1.0;
        }
    }
    let spread = solved.covariance(&winds);
    let sd = |place: usize| spread[(place, place)].max(0.0).sqrt();
    disturbed
        .into_iter()
        .enumerate()
        .map(|(pass, disturbances)| {
            let air = &day.rides[pass].air;
            let beyond = model.wind_m_s(&solved.point, pass);
            let (mut left_out, change) = solved.left_out(model, pooled, pass, &drags)?;
            if left_out.studentised.abs() > LOOK_CLOSER {
                left_out.studentised = without_its_say(model, nodes, pass).unwrap_or(left_out.studentised);
            }
            let own_spread = spread.fixed_view::<2, 2>(2 * pass, 2 * pass).into_owned();
            let [headwind, crosswind] = along_and_across(&model.contributions[pass], &own_spread);
            Some(PassJudged {
                wind_m_s: [
                    (air.wind_east_m_s + beyond[0], sd(2 * pass)),
                    (air.wind_north_m_s + beyond[1], sd(2 * pass + 1)),
                ],
                headwind_standard_uncertainty_m_s: headwind,
                crosswind_standard_uncertainty_m_s: crosswind,
                left_out,
                without: change.iter().copied().collect(),
                disturbances,
            })
        })
        .collect()
}

/// The studentised residual of a pass where it has no say in the strengths either.
///
/// An odd pass makes the whole day look unsteady and so hides itself. Each set of strengths counts as much as the
/// other passes allow it: its weight over how likely it makes this one.
fn without_its_say(model: &Model, nodes: &[Node], pass: usize) -> Option<f64> {
    let seen: Vec<(f64, f64)> = nodes
        .iter()
        .filter_map(|node| {
            let (judged, log_likelihood) = node.solved.judged(model, &node.pooled, pass)?;
            Some((judged.studentised, node.weight.ln() - log_likelihood))
        })
        .collect();
    let most = seen.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = seen.iter().map(|(_, log)| (log - most).exp()).collect();
    let sum: f64 = weights.iter().sum();
    let parts = seen.iter().zip(&weights);
    let mean = parts.clone().map(|((t, _), w)| w * t).sum::<f64>() / sum;
    // How unlikely it is under all of them together, as a number of standard deviations of one normal.
    let normal = Normal::standard();
    let beyond = parts.map(|((t, _), w)| w * normal.sf(t.abs())).sum::<f64>() / sum;
    let z = -normal.inverse_cdf(beyond.clamp(1e-15, 0.5));
    z.is_finite().then(|| z.copysign(mean))
}

/// Root mean square over the cells of what the wind's covariance makes along the road, and across it.
fn along_and_across(contribution: &Contribution, covariance: &Matrix2<f64>) -> [f64; 2] {
    let (mut sums, mut weights) = ([0.0; 2], 0.0);
    for air in &contribution.air {
        let along = Vector2::from(air.slope);
        let across = Vector2::new(-along[1], along[0]);
        for (sum, way) in sums.iter_mut().zip([along, across]) {
            *sum += way.dot(&(covariance * way));
        }
        weights += along.norm_squared();
    }
    sums.map(|sum| (sum / weights).max(0.0).sqrt())
}

/// Each kind of unknown fixed in turn, and variances differenced: so that nothing counts twice.
fn inside(
    model: &Model,
    settled: &Settled,
    pooled: &Pooled,
    solved: &Solved,
    hyper: &Hyper,
    setups: usize,
) -> Option<Vec<InsideLine>> {
    let layout = &model.layout;
    let functions = with_ratios(&log_drags(layout, setups));
    let all = solved.covariance(&functions);
    let own = |process| (0..layout.passes).map(move |pass| layout.own(process, pass));
    let wander: Vec<usize> = own(Own::WindEast).chain(own(Own::WindNorth)).collect();
    let climb: Vec<usize> = (0..layout.free_knots()).map(|k| layout.knot(k)).collect();
    let mut lines = vec![
        ("mean wind", explained(solved, &functions, &MEAN_WIND)?),
        ("wandering wind", explained(solved, &functions, &wander)?),
        (
            "mean square of gusts and crosswind",
            explained(solved, &functions, &[GUST_SQUARE])?,
        ),
        ("climb of the road", explained(solved, &functions, &climb)?),
        (
            "power meter with temperature",
            explained(solved, &functions, &[POWER_PER_KELVIN])?,
        ),
    ];
    let without = |quiet: Hyper| -> Option<Vec<f64>> {
        let less = model
            .solve(&settled.point, pooled, &quiet)?
            .covariance(&functions);
        Some(
            (0..functions.ncols())
                .map(|f| all[(f, f)] - less[(f, f)])
                .collect(),
        )
    };
    lines.push((
        "remounting",
        without(Hyper {
            block: NOTHING.ln(),
            ..*hyper
        })?,
    ));
    lines.push((
        "position from pass to pass",
        without(Hyper {
            pass: NOTHING.ln(),
            ..*hyper
        })?,
    ));
    // What none of them explains is left by the noise of the cells.
    let left = (0..functions.ncols())
        .map(|f| all[(f, f)] - lines.iter().map(|(_, v)| v[f].max(0.0)).sum::<f64>())
        .collect();
    lines.push(("gusts and sensors within passes", left));
    Some(
        lines
            .into_iter()
            .map(|(input, variances)| {
                let sd: Vec<f64> = variances.iter().map(|v| v.max(0.0).sqrt()).collect();
                InsideLine {
                    input,
                    log_cda: sd[..setups].to_vec(),
                    log_ratio: sd[setups..].to_vec(),
                }
            })
            .collect(),
    )
}

/// Behind each set-up's log drag area its log ratio to the first.
fn with_ratios(drags: &DMatrix<f64>) -> DMatrix<f64> {
    let setups = drags.ncols();
    DMatrix::from_fn(drags.nrows(), 2 * setups, |row, column| {
        match column.checked_sub(setups) {
            None => drags[(row, column)],
            Some(s) => drags[(row, s)] - drags[(row, 0)],
        }
    })
}

/// How much less variance each function would have if the unknowns at `places` were known.
fn explained(solved: &Solved, functions: &DMatrix<f64>, places: &[usize]) -> Option<Vec<f64>> {
    if places.is_empty() {
        return Some(vec![0.0; functions.ncols()]);
    }
    let mut unknowns = DMatrix::zeros(functions.nrows(), places.len());
    for (column, place) in places.iter().enumerate() {
        unknowns[(*place, column)] = 1.0;
    }
    let (f, u) = (solved.whitened(functions), solved.whitened(&unknowns));
    let mut own = u.tr_mul(&u);
    for i in 0..places.len() {
        // An unknown of no width, such as the wander of a wind that is told to be steady, has no factor.
        own[(i, i)] *= 1.0 + 1e-9;
        own[(i, i)] += 1e-18;
    }
    let shared = u.tr_mul(&f);
    let weighed = Cholesky::new(own)?.solve(&shared);
    Some(
        (0..functions.ncols())
            .map(|k| shared.column(k).dot(&weighed.column(k)))
            .collect(),
    )
}
