//! Generalised least squares: a linear model with errors of known covariance.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// A column whose part independent of the others is smaller than this share of it is not told apart.
const RANK_TOLERANCE: f64 = 1e-10;

#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// p.
    pub parameters: DVector<f64>,
    /// p × p, with the covariance of the errors taken as given.
    pub covariance: DMatrix<f64>,
    /// Observed minus fitted, n, in the units of the observations.
    pub residuals: DVector<f64>,
    /// Residuals weighted by the inverse of their covariance.
    pub chi_squared: f64,
    /// n − p.
    pub degrees_of_freedom: usize,
    /// Logarithm of the likelihood at the fitted parameters, its constant n/2 log 2π included.
    pub log_likelihood: f64,
    /// log det of the information matrix XᵀV⁻¹X: what the restricted likelihood needs besides.
    pub log_determinant_information: f64,
}

/// Fit y = X β + ε, ε of covariance V.
///
/// `design` X is n × p, `y` n, `covariance` V n × n, symmetric. Solved through the Cholesky factor of V
/// and a QR decomposition of the whitened design, never through an inverse or the normal equations.
/// `None` where the shapes differ, V is not positive definite, a value is not finite, or the columns
/// of X cannot be told apart.
pub fn gls(design: &DMatrix<f64>, y: &DVector<f64>, covariance: &DMatrix<f64>) -> Option<Fit> {
    let (rows, columns) = design.shape();
    if y.len() != rows || covariance.shape() != (rows, rows) || columns == 0 || rows < columns {
        return None;
    }
    let finite = |matrix: &DMatrix<f64>| matrix.iter().all(|value| value.is_finite());
    if !finite(design) || !finite(covariance) || y.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let errors: Cholesky<f64, Dyn> = Cholesky::new(covariance.clone())?;
    let lower = errors.l();
    let white_design = lower.solve_lower_triangular(design)?;
    let white_y = lower.solve_lower_triangular(y)?;

    // Columns scaled to length one: then the diagonal of R says what each adds to those before it.
    let scale = DVector::from_iterator(columns, white_design.column_iter().map(|column| column.norm()));
    if scale.iter().any(|length| *length <= 0.0) {
        return None;
    }
    let mut scaled = white_design.clone();
    for (mut column, length) in scaled.column_iter_mut().zip(scale.iter()) {
        column /= *length;
    }
    let qr = scaled.qr();
    let (q, r) = (qr.q(), qr.r());
    if r.diagonal().iter().any(|value| value.abs() < RANK_TOLERANCE) {
        return None;
    }
    let parameters = r
        .solve_upper_triangular(&(q.transpose() * &white_y))?
        .component_div(&scale);
    // Covariance (RᵀR)⁻¹ = R⁻¹R⁻ᵀ, with R⁻¹ found by solving, and the scale put back.
    let mut root = r.solve_upper_triangular(&DMatrix::identity(columns, columns))?;
    for (mut row, length) in root.row_iter_mut().zip(scale.iter()) {
        row /= *length;
    }
    let white_residuals = white_y - &white_design * &parameters;
    let chi_squared = white_residuals.norm_squared();
    let log_determinant_errors = 2.0 * lower.diagonal().iter().map(|value| value.ln()).sum::<f64>();
    let log_determinant_information = 2.0
        * r.diagonal()
            .iter()
            .zip(scale.iter())
            .map(|(value, length)| (value.abs() * length).ln())
            .sum::<f64>();
    let constant = rows as f64 * std::f64::consts::TAU.ln();
    Some(Fit {
        residuals: y - design * &parameters,
        covariance: &root * root.transpose(),
        parameters,
        chi_squared,
        degrees_of_freedom: rows - columns,
        log_likelihood: -0.5 * (constant + log_determinant_errors + chi_squared),
        log_determinant_information,
    })
}

#[cfg(test)]
#[path = "least_squares_tests.rs"]
mod tests;
