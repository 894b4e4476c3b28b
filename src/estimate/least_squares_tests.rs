use super::*;
use crate::physics::{RelativeWind, drag_force_n};

fn line_through(x: &[f64], y: &[f64]) -> Fit {
    let design = DMatrix::from_fn(x.len(), 2, |row, column| if column == 0 { 1.0 } else { x[row] });
    let same = DMatrix::identity(x.len(), x.len());
    gls(&design, &DVector::from_column_slice(y), &same).unwrap()
}

/// Standard deviation of the residuals, and with it the uncertainties of an unknown common scale.
fn scale(fit: &Fit) -> f64 {
    (fit.chi_squared / fit.degrees_of_freedom as f64).sqrt()
}

/// NIST StRD, Norris (linear regression, lower difficulty): data and certified values as shipped in
/// scipy 1.17.1, stats/tests/data/nist_linregress (S).
#[test]
fn norris_comes_out_as_certified() {
    #[rustfmt::skip]
    let x = [
        0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
        447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
        229.2, 669.1, 448.9, 0.5,
    ];
    #[rustfmt::skip]
    let y = [
        0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
        448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
        228.9, 668.4, 449.2, 0.2,
    ];
    let fit = line_through(&x, &y);
    let spread = scale(&fit);
    let near = |found: f64, certified: f64| (found / certified - 1.0).abs() < 1e-10;
    assert!(near(fit.parameters[0], -0.262323073774029), "{}", fit.parameters);
    assert!(near(fit.parameters[1], 1.00211681802045));
    assert!(near(spread, 0.884796396144373));
    assert!(near(spread * fit.covariance[(0, 0)].sqrt(), 0.232818234301152));
    assert!(near(spread * fit.covariance[(1, 1)].sqrt(), 4.29796848199937e-4));
}

/// JCGM 100:2008, H.3, calibration of a thermometer (data and results S; more digits L, GTC 1.5.1).
#[test]
fn the_thermometer_of_the_guide_comes_out_as_published() {
    let t = [
        21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
    ];
    let b = [
        -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
    ];
    let fit = line_through(&t.map(|t| t - 20.0), &b);
    let spread = scale(&fit);
    let u = |index: usize| spread * fit.covariance[(index, index)].sqrt();
    assert!((fit.parameters[0] + 0.17120379).abs() < 1e-7);
    assert!((fit.parameters[1] - 0.0021827).abs() < 1e-7);
    assert!((u(0) - 0.0028776).abs() < 1e-7 && (u(1) - 0.00066794).abs() < 1e-8);
    let correlation = fit.covariance[(0, 1)] / (fit.covariance[(0, 0)] * fit.covariance[(1, 1)]).sqrt();
    assert!((correlation + 0.93043).abs() < 1e-5);
    let at_30 = fit.parameters[0] + 10.0 * fit.parameters[1];
    let there = DVector::from_column_slice(&[1.0, 10.0]);
    let u_at_30 = spread * (there.transpose() * &fit.covariance * &there)[(0, 0)].sqrt();
    assert!((at_30 + 0.1493768).abs() < 1e-6 && (u_at_30 - 0.0041386).abs() < 1e-7);
    assert!((spread - 0.0035).abs() < 5e-5);
}

/// Lim et al. 2011, Med Sci Sports Exerc 43:853-860: the regression of P/V on V² with the published
/// slopes and intercepts (S) gives them back, and hands on the drops lower the slope by 11.4 %.
#[test]
fn a_regression_of_force_on_speed_squared_gives_drag_and_rolling_back() {
    let density = 1.1;
    let slope_of = |k: f64, rolling: f64| {
        let speeds = [5.0, 6.5, 8.0, 9.0, 10.5, 12.0];
        let forces = speeds.map(|v| {
            let drag = drag_force_n(2.0 * k / density, density, v, RelativeWind::default());
            drag + rolling
        });
        let fit = line_through(&speeds.map(|v| v * v), &forces);
        assert!((fit.parameters[0] - rolling).abs() < 1e-9);
        assert!((fit.parameters[1] - k).abs() < 1e-9);
        fit.parameters[1]
    };
    let hoods = slope_of(0.175, 5.575);
    let drops = slope_of(0.155, 4.215);
    assert!((drops / hoods - 1.0 + 0.114).abs() < 5e-4);
}

/// Against the textbook formula (XᵀV⁻¹X)⁻¹XᵀV⁻¹y written out with inverses: slow and obvious.
#[test]
fn correlated_errors_are_weighted_as_the_textbook_says() {
    let n = 12;
    let design = DMatrix::from_fn(n, 3, |i, j| {
        (0.3 * i as f64).powi(j as i32) + if i == j { 0.5 } else { 0.0 }
    });
    let y = DVector::from_fn(n, |i, _| (i as f64 * 1.7).sin() + 0.1 * i as f64);
    // Neighbours share an error with opposite sign, as speeds at the edge of two cells do.
    let covariance = DMatrix::from_fn(n, n, |i, j| match i.abs_diff(j) {
        0 => 2.0 + 0.1 * i as f64,
        1 => -0.9,
        _ => 0.05,
    });
    let fit = gls(&design, &y, &covariance).unwrap();
    let weight = covariance.clone().try_inverse().unwrap();
    let information = design.transpose() * &weight * &design;
    let textbook_covariance = information.clone().try_inverse().unwrap();
    let textbook = &textbook_covariance * design.transpose() * &weight * &y;
    assert!((&fit.parameters - &textbook).norm() < 1e-10);
    assert!((&fit.covariance - &textbook_covariance).norm() < 1e-10);
    let residuals = &y - &design * &textbook;
    let chi_squared = (residuals.transpose() * &weight * &residuals)[(0, 0)];
    assert!((fit.chi_squared - chi_squared).abs() < 1e-10);
    assert!((&fit.residuals - &residuals).norm() < 1e-10);
    assert!((fit.log_determinant_information - information.determinant().ln()).abs() < 1e-9);
    let density =
        -0.5 * (n as f64 * std::f64::consts::TAU.ln() + covariance.determinant().ln() + chi_squared);
    assert!((fit.log_likelihood - density).abs() < 1e-9);
    assert_eq!(fit.degrees_of_freedom, 9);
}

/// Scaling a column by a million (watts against coefficients) changes its parameter and nothing else.
#[test]
fn units_do_not_matter() {
    let x = [1.0, 2.0, 3.0, 4.5, 6.0];
    let y = [2.0, 2.9, 4.2, 5.4, 7.1];
    let plain = line_through(&x, &y);
    let scaled = line_through(&x.map(|x| 1e-9 * x), &y);
    assert!((scaled.parameters[1] * 1e-9 / plain.parameters[1] - 1.0).abs() < 1e-12);
    assert!((scaled.chi_squared / plain.chi_squared - 1.0).abs() < 1e-9);
}

#[test]
fn what_cannot_be_told_apart_is_not_fitted() {
    let y = DVector::from_column_slice(&[1.0, 2.0, 3.0]);
    let same = DMatrix::identity(3, 3);
    let twice = DMatrix::from_row_slice(3, 2, &[1.0, 10.0, 2.0, 20.0, 3.0, 30.0]);
    assert_eq!(gls(&twice, &y, &same), None);
    let empty_column = DMatrix::from_row_slice(3, 2, &[1.0, 0.0, 2.0, 0.0, 3.0, 0.0]);
    assert_eq!(gls(&empty_column, &y, &same), None);
    let good = DMatrix::from_row_slice(3, 2, &[1.0, 1.0, 1.0, 2.0, 1.0, 3.0]);
    assert!(gls(&good, &y, &same).is_some());
    assert_eq!(gls(&good, &y, &DMatrix::zeros(3, 3)), None);
    assert_eq!(gls(&good, &y, &DMatrix::identity(2, 2)), None);
    assert_eq!(
        gls(
            &good.rows(0, 1).into_owned(),
            &y.rows(0, 1).into_owned(),
            &DMatrix::identity(1, 1)
        ),
        None
    );
    assert_eq!(gls(&good, &(&y * f64::NAN), &same), None);
}
