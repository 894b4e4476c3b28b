//! A published set of studies that differ among each other, for what combines days.

/// The thirteen trials of a vaccine of Colditz et al. 1994, JAMA 271:698: ill and well of those vaccinated, ill and
/// well of those not (from memory, M+; the numbers that others publish of them follow from these, see the tests).
const TRIALS: [[f64; 4]; 13] = [
    [4.0, 119.0, 11.0, 128.0],
    [6.0, 300.0, 29.0, 274.0],
    [3.0, 228.0, 11.0, 209.0],
    [62.0, 13536.0, 248.0, 12619.0],
    [33.0, 5036.0, 47.0, 5761.0],
    [180.0, 1361.0, 372.0, 1079.0],
    [8.0, 2537.0, 10.0, 619.0],
    [505.0, 87886.0, 499.0, 87892.0],
    [29.0, 7470.0, 45.0, 7232.0],
    [17.0, 1699.0, 65.0, 1600.0],
    [186.0, 50448.0, 141.0, 27197.0],
    [5.0, 2493.0, 3.0, 2338.0],
    [27.0, 16886.0, 29.0, 17825.0],
];

/// Log relative risk of each, and its variance (large samples: 1/a − 1/(a+b) + 1/c − 1/(c+d)).
pub(crate) fn log_risks() -> [(f64, f64); 13] {
    TRIALS.map(|[a, b, c, d]| {
        let log_ratio = (a / (a + b)).ln() - (c / (c + d)).ln();
        (log_ratio, 1.0 / a - 1.0 / (a + b) + 1.0 / c - 1.0 / (c + d))
    })
}
