//! Worked examples of the guides (JCGM 100:2008, JCGM 101:2008) through the code of the budget.

use super::{Effect, effects};
use crate::estimate::comparison::Spread;
use crate::estimate::least_squares::gls;
use crate::estimate::student::t_quantile;
use crate::estimate::welch::{Mean, welch_from};
use nalgebra::{DMatrix, DVector};

/// Effects of errors in `at`, one output.
fn of_one(at: &[f64], uncertainties: &[f64], f: impl Fn(&[f64]) -> f64 + Sync) -> Vec<Effect> {
    effects(uncertainties, &[f(at)], |input, error| {
        let mut moved = at.to_vec();
        moved[input] += error;
        Some(vec![f(&moved)])
    })
    .into_iter()
    .map(|effect| effect.unwrap()[0])
    .collect()
}

fn combined(effects: &[Effect]) -> f64 {
    effects.iter().map(|e| e.together().powi(2)).sum::<f64>().sqrt()
}

/// Of a sum of independent parts (Welch–Satterthwaite): their variances and degrees of freedom.
fn degrees_of_freedom(parts: &[(f64, f64)]) -> f64 {
    let mean = |&(u, degrees_of_freedom): &(f64, f64)| Mean {
        value: 0.0,
        variance: u * u,
        degrees_of_freedom,
    };
    let mut sum = mean(&parts[0]);
    for part in &parts[1..] {
        let both = welch_from(sum, mean(part)).unwrap();
        sum.variance = both.standard_uncertainty.powi(2);
        sum.degrees_of_freedom = both.degrees_of_freedom;
    }
    sum.degrees_of_freedom
}

/// JCGM 100:2008, H.1, end gauge (S, several public tests that cite it; L GTC 1.5.1: 31.664 nm on 16.752, and the
/// difference of both gauges on 25.447). Nanometres.
#[test]
fn the_end_gauge_of_the_guide_comes_out_as_published() {
    let third = 3f64.sqrt();
    // Repeated readings, random and systematic effects of the comparator.
    let d = [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)];
    let u_d = d.iter().map(|(u, _)| u * u).sum::<f64>().sqrt();
    let freedom_d = degrees_of_freedom(&d);
    assert!(
        (u_d - 9.7).abs() < 0.05 && (freedom_d - 25.447).abs() < 1e-3,
        "{u_d} {freedom_d}"
    );

    // Standard, difference, expansion of the standard, difference of expansions, temperature off 20 °C (mean
    // ± 0.2, swinging by ± 0.5), difference of temperatures.
    let at = [50_000_623.0, 215.0, 11.5e-6, 0.0, -0.1, 0.0];
    let u_theta = (0.2f64.powi(2) + 0.5 * 0.5f64.powi(2)).sqrt();
    let uncertainties = [25.0, u_d, 2e-6 / third, 1e-6 / third, u_theta, 0.05 / third];
    let length = |x: &[f64]| x[0] + x[1] - x[0] * (x[3] * x[4] + x[2] * x[5]);
    let found = of_one(&at, &uncertainties, length);
    assert!((length(&at) - 50_000_838.0).abs() < 0.5);
    for (effect, expected) in found.iter().zip([25.0, 9.7, 0.0, 2.9, 0.0, 16.6]) {
        assert!((effect.together().abs() - expected).abs() < 0.05, "{found:?}");
        // Each input alone acts in a straight line. The guide's terms of second order (H.1.7: 34 nm instead of 32,
        // M) are products of two inputs, which one at a time does not see.
        assert!(effect.second_order.abs() < 1e-6);
    }
    let u = combined(&found);
    assert!((u - 31.664).abs() < 0.01, "{u}");
    let with_products = u
        .hypot(at[0] * uncertainties[3] * u_theta)
        .hypot(at[0] * uncertainties[2] * uncertainties[5]);
    assert!((with_products - 34.0).abs() < 0.5, "{with_products}");

    let parts = [
        (found[0].together(), 18.0),
        (found[1].together(), freedom_d),
        (found[3].together(), 50.0),
        (found[5].together(), 2.0),
    ];
    let freedom = degrees_of_freedom(&parts);
    assert!((freedom - 16.752).abs() < 0.05, "{freedom}");
    // The guide cuts 16.7 to 16.
    let t = t_quantile(0.995, freedom.floor()).unwrap();
    assert!(
        (t - 2.92).abs() < 0.005 && (t * u - 93.0).abs() < 0.6,
        "{t} {}",
        t * u
    );
}

/// JCGM 100:2008, H.3, calibration of a thermometer (data and results S; more digits L, GTC 1.5.1): intercept,
/// slope, and correction at 30 °C, with each of the eleven readings moved in turn.
#[test]
fn the_thermometer_of_the_guide_comes_out_as_published() {
    let t = [
        21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
    ];
    let b = [
        -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
    ];
    let fit = |b: &[f64]| {
        let design = DMatrix::from_fn(
            t.len(),
            2,
            |row, column| if column == 0 { 1.0 } else { t[row] - 20.0 },
        );
        gls(
            &design,
            &DVector::from_column_slice(b),
            &DMatrix::identity(t.len(), t.len()),
        )
        .unwrap()
    };
    let line = |b: &[f64]| {
        let y = fit(b).parameters;
        vec![y[0], y[1], y[0] + 10.0 * y[1]]
    };
    let rest = fit(&b);
    let spread = (rest.chi_squared / rest.degrees_of_freedom as f64).sqrt();
    let found: Vec<Vec<Effect>> = effects(&[spread; 11], &line(&b), |input, error| {
        let mut moved = b;
        moved[input] += error;
        Some(line(&moved))
    })
    .into_iter()
    .map(Option::unwrap)
    .collect();
    let together = |i: usize, j: usize| {
        found
            .iter()
            .map(|e| e[i].first_order * e[j].first_order)
            .sum::<f64>()
    };
    for (output, (value, u)) in [
        (-0.17120379, 0.0028776),
        (0.0021827, 0.00066794),
        (-0.1493768, 0.0041386),
    ]
    .into_iter()
    .enumerate()
    {
        let own: Vec<Effect> = found.iter().map(|e| e[output]).collect();
        assert!((line(&b)[output] - value).abs() < 1e-7);
        assert!((combined(&own) - u).abs() < 1e-7, "{output}: {}", combined(&own));
        assert!((together(output, output).sqrt() - u).abs() < 1e-7);
    }
    let correlation = together(0, 1) / (together(0, 0) * together(1, 1)).sqrt();
    assert!((correlation + 0.93043).abs() < 1e-5, "{correlation}");
}

/// JCGM 101:2008, 9.2: sums of four inputs. Four rectangular ones of u = 1 (9.2.3): 95 % within ± 3.92 by the guide's
/// framework, ± 3.88 in truth. One of them ten times as uncertain (9.2.4): ± 19.9, in truth ± 17.0 (M+, L). The
/// budget is the framework: one large input that has hard ends makes its interval too wide, never too narrow.
#[test]
fn sums_of_four_inputs_have_the_interval_of_the_framework() {
    for (largest, framework, truth) in [(1.0, 3.92, 3.88), (10.0, 19.89, 17.0)] {
        let found = of_one(&[0.0; 4], &[1.0, 1.0, 1.0, largest], |x| x.iter().sum());
        let half_width = Spread::student(combined(&found), f64::INFINITY).interval(0.95)[1];
        assert!((half_width - framework).abs() < 0.005, "{half_width}");
        assert!(half_width > truth);
    }
}

/// JCGM 101:2008, 9.3, calibration of a mass (inputs M; results M+, L). The air's density acts only together with
/// that of a weight, and both are at rest where they do nothing: the framework of first order says 0.0539 mg,
/// Monte Carlo 0.0754 mg. The budget moves one input at a time and has the smaller one.
#[test]
fn an_effect_of_two_inputs_together_is_not_in_the_budget() {
    let third = 3f64.sqrt();
    let at = [100_000.0, 1.234, 1.2, 8000.0, 8000.0];
    let uncertainties = [0.050, 0.020, 0.1 / third, 1000.0 / third, 50.0 / third];
    let mass = |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0;
    let found = of_one(&at, &uncertainties, mass);
    assert!((mass(&at) - 1.234).abs() < 1e-9);
    assert!((combined(&found) - 0.05385).abs() < 1e-5, "{found:?}");
    // What is left out, by hand: the mixed derivatives with both weights' densities.
    let product = |u_density: f64| at[0] * uncertainties[2] * u_density / (8000.0 * 8000.0);
    let all = combined(&found)
        .hypot(product(uncertainties[3]))
        .hypot(product(uncertainties[4]));
    assert!((all - 0.0754).abs() < 1e-3, "{all}");
}

/// y = x² at rest: no slope at all, and all of the effect in its second order.
#[test]
fn a_square_at_rest_acts_by_its_second_order() {
    let found = of_one(&[0.0, 3.0], &[0.5, 0.5], |x| x[0] * x[0] + x[1]);
    assert_eq!((found[0].first_order, found[0].second_order), (0.0, 0.25));
    assert_eq!((found[1].first_order, found[1].second_order), (0.5, 0.0));
}

#[test]
fn an_input_without_an_answer_has_no_effect() {
    let found = effects(&[1.0, 1.0], &[0.0], |input, error| {
        (input == 1).then(|| vec![2.0 * error])
    });
    assert_eq!(found[0], None);
    assert_eq!(found[1].as_ref().unwrap()[0].together(), 2.0);
}
