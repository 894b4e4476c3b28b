//! What one pass, or two, bring to the twin: integrals over cells, averages over time, noise.

use crate::estimate::cells::{Cell, PassRide, RiddenStep};
use crate::estimate::joint::prior::DRIFT_N_PER_SQRT_H;
use crate::estimate::one_pass::GUST_MEMORY_S;
use crate::test_day::Setup;
use nalgebra::DMatrix;

pub(super) fn midway(step: &RiddenStep) -> f64 {
    (step.start_speed_m_s + step.end_speed_m_s) / 2.0
}

pub(super) fn metres(cell: &Cell) -> f64 {
    cell.steps.iter().map(|s| midway(s) * s.duration_s).sum()
}

pub(super) fn crank_j(cell: &Cell) -> f64 {
    cell.steps.iter().map(|s| s.power_w * s.duration_s).sum()
}

pub(super) fn seconds(ride: &PassRide) -> f64 {
    ride.cells
        .iter()
        .flat_map(|c| &c.steps)
        .map(|s| s.duration_s)
        .sum()
}

/// As weighed before the block, or else as it holds for the set-up.
pub(super) fn mass_kg(ride: &PassRide, setup: &Setup) -> f64 {
    ride.total_mass_kg
        .as_ref()
        .map_or(setup.total_mass_kg.value, |weighed| weighed.value)
}

pub(super) fn effective_mass_kg(ride: &PassRide, setup: &Setup) -> f64 {
    let radius = ride.wheel_radius_m.unwrap_or(setup.wheel_radius_m.value);
    mass_kg(ride, setup) + setup.wheel_inertia_kg_m2.value / radius.powi(2)
}

/// Cells in which the air speed is known for four fifths of the time.
pub(super) fn sensed(ride: &PassRide) -> impl Iterator<Item = &Cell> {
    ride.cells.iter().filter(|cell| {
        let long_s: f64 = cell.steps.iter().map(|s| s.duration_s).sum();
        let known = cell.steps.iter().filter(|s| s.air_speed_m_s.is_finite());
        known.map(|s| s.duration_s).sum::<f64>() >= 0.8 * long_s
    })
}

/// Mean over the time in which the air speed is known.
pub(super) fn mean_known(cell: &Cell, f: impl Fn(&RiddenStep) -> f64) -> f64 {
    let known = || cell.steps.iter().filter(|s| s.air_speed_m_s.is_finite());
    known().map(|s| f(s) * s.duration_s).sum::<f64>() / known().map(|s| s.duration_s).sum::<f64>()
}

/// ∫ f(speed, step) dt over a cell; speed goes evenly within a step.
pub(super) fn over_cell(cell: &Cell, f: impl Fn(f64, &RiddenStep) -> f64) -> f64 {
    let of_step = |step: &RiddenStep| {
        let speed = |x: f64| step.start_speed_m_s * (1.0 - x) + step.end_speed_m_s * x;
        step.duration_s * mean_over(4, |x| f(speed(x), step))
    };
    cell.steps.iter().map(of_step).sum()
}

/// ∫(v+w) V_a ds with this wind beside what is known of it, m³/s².
pub(super) fn air_m3_s2(ride: &PassRide, cell: &Cell, [east, north]: [f64; 2]) -> f64 {
    let (east, north) = (ride.air.wind_east_m_s + east, ride.air.wind_north_m_s + north);
    over_cell(cell, |wheel, step| {
        let (v, bearing) = (wheel * step.lean.centre_speed_ratio, step.bearing_rad);
        let along = v - east * bearing.sin() - north * bearing.cos();
        let across = east * bearing.cos() - north * bearing.sin();
        along * (along * along + across * across).sqrt() * v
    })
}

/// σ_u² + ½ σ_c² of gusts alike in both directions, whose strength q is 2 σ² × memory.
pub(super) fn gust_mean_square(q: f64) -> f64 {
    let square = q / (2.0 * GUST_MEMORY_S);
    square + 0.5 * square
}

/// A walk that began in the middle of the day and goes both ways from there: what two moments share of it.
pub(super) fn walked_n2(a_s: f64, b_s: f64) -> f64 {
    let overlap_s = if a_s > 0.0 { b_s.min(a_s) } else { -b_s.max(a_s) };
    DRIFT_N_PER_SQRT_H * DRIFT_N_PER_SQRT_H * overlap_s.max(0.0) / 3600.0
}

/// Mean of f(x) for x from 0 to 1 by Simpson's rule.
fn mean_over(panels: u32, f: impl Fn(f64) -> f64) -> f64 {
    let width = 1.0 / f64::from(panels);
    (0..panels)
        .map(|i| f64::from(i) * width)
        .map(|x| width / 6.0 * (f(x) + 4.0 * f(x + 0.5 * width) + f(x + width)))
        .sum()
}

/// Mean of e^(−|t − t'| / memory) for t in one span and t' in another: over both times, or within one span over
/// the lags between them, so that no panel lies across the kink at t = t'.
fn mean_decay([a_from, a_s]: [f64; 2], [b_from, b_s]: [f64; 2], memory_s: f64) -> f64 {
    if [a_from, a_s] == [b_from, b_s] {
        // Lags up to the whole span, as shares x of it, have the density 2 (1 − x).
        return mean_over(400, |x| 2.0 * (1.0 - x) * (-x * a_s / memory_s).exp());
    }
    mean_over(60, |x| {
        mean_over(60, |y| {
            let lag_s = (a_from + x * a_s) - (b_from + y * b_s);
            (-lag_s.abs() / memory_s).exp()
        })
    })
}

/// Correlation of a wind's averages over two passes.
pub(super) fn blown_together(a: &PassRide, b: &PassRide, memory_s: f64) -> f64 {
    let span = |r: &PassRide| [r.middle_s - 0.5 * seconds(r), seconds(r)];
    mean_decay(span(a), span(b), memory_s)
}

/// Unevenness of power, power that was not measured, speed at the edges, and where the edges are.
pub(super) fn pass_noise_j2(ride: &PassRide, setup: &Setup) -> DMatrix<f64> {
    let count = ride.cells.len();
    let weight_n = mass_kg(ride, setup) * ride.gravity_m_s2;
    let mut r = DMatrix::zeros(count, count);
    for (i, cell) in ride.cells.iter().enumerate() {
        let crank_j: f64 = cell.steps.iter().map(|s| s.power_w * s.duration_s).sum();
        let long_s: f64 = cell.steps.iter().map(|s| s.duration_s).sum();
        // docs/method.md, 5: 4 % of a second's power; ten times what the brakes took.
        r[(i, i)] =
            (0.04 * crank_j).powi(2) / long_s + cell.unknown_power_j.powi(2) + 100.0 * cell.braked_j.powi(2);
    }
    // docs/method.md, 5: each edge has an error of the speed's (0.04 m/s by a wheel) and one of 3 m; it adds to one cell what it takes
    // from the next.
    let mut edges = DMatrix::zeros(count, count + 1);
    for edge in 0..=count {
        let (speed, slope) = if edge < count {
            (ride.cells[edge].start_speed_m_s, ride.cells[edge].start_gradient)
        } else {
            (
                ride.cells[count - 1].end_speed_m_s,
                ride.cells[count - 1].end_gradient,
            )
        };
        let error_j = (effective_mass_kg(ride, setup) * speed * ride.speed_standard_uncertainty_m_s)
            .hypot(weight_n * slope * 3.0);
        if edge > 0 {
            edges[(edge - 1, edge)] = error_j;
        }
        if edge < count {
            edges[(edge, edge)] = -error_j;
        }
    }
    r + &edges * edges.transpose()
}

/// Gusts along the road, an Ornstein–Uhlenbeck speed: each second they take the work that a metre a second of them
/// does, and an air-speed sensor shows their mean.
pub(super) fn gust_noise(ride: &PassRide, cda_m2: f64, q: f64) -> DMatrix<f64> {
    let variance_m2_s2 = q / (2.0 * GUST_MEMORY_S);
    let mut from_s = 0.0;
    let spans: Vec<[f64; 2]> = ride
        .cells
        .iter()
        .map(|cell| {
            let long_s = cell.steps.iter().map(|s| s.duration_s).sum::<f64>();
            from_s += long_s;
            [from_s - long_s, long_s]
        })
        .collect();
    // Of the mean of a gust over each cell.
    let means = DMatrix::from_fn(spans.len(), spans.len(), |i, j| {
        variance_m2_s2 * mean_decay(spans[i], spans[j], GUST_MEMORY_S)
    });
    let sensors = sensed(ride).count();
    let mut does = DMatrix::zeros(spans.len() + sensors, spans.len());
    for (i, cell) in ride.cells.iter().enumerate() {
        // ρ CdA (v+w) v, as the mean over the cell's length of ρ CdA (v+w) V_a.
        let rate = ride.air.density_kg_m3 * cda_m2 * air_m3_s2(ride, cell, [0.0, 0.0]).abs() / metres(cell);
        does[(i, i)] = rate * spans[i][1];
        if let Some(sensor) = sensed(ride).position(|other| std::ptr::eq(other, cell)) {
            does[(spans.len() + sensor, i)] = 1.0;
        }
    }
    &does * means * does.transpose()
}
