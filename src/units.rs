//! SI inside; the conversions at the doors stand here and nowhere else.

use jiff::Timestamp;

pub const KELVIN_AT_0_C: f64 = 273.15;
pub const PA_PER_HPA: f64 = 100.0;
/// One international knot, exact (one nautical mile, 1852 m, in an hour).
pub const M_S_PER_KNOT: f64 = 1852.0 / 3600.0;
pub const M_S_PER_KM_H: f64 = 1.0 / 3.6;
/// One international mile, exact.
pub const M_PER_MILE: f64 = 1609.344;
pub const M_PER_FOOT: f64 = 0.3048;
/// One inch of mercury at 0 °C in pascals (conventional value, NIST SP 811).
pub const PA_PER_INHG: f64 = 3386.389;
pub const PA_PER_BAR: f64 = 100_000.0;
/// One pound-force per square inch (NIST SP 811, from memory).
pub const PA_PER_PSI: f64 = 6_894.757;

/// Unix seconds as `2026-05-02T08:10:00.250Z`, to the given number of decimals.
pub fn utc_text(time_s: f64, decimals: u8) -> String {
    let step = 10f64.powi(i32::from(decimals.min(9)));
    let steps = (time_s * step).round() as i128;
    let nanoseconds = steps.saturating_mul(1_000_000_000 / step as i128);
    match Timestamp::from_nanosecond(nanoseconds) {
        Ok(stamp) => format!("{stamp:.*}", usize::from(decimals)),
        Err(_) => format!("{time_s:.*} s", usize::from(decimals)),
    }
}

/// The part of `utc_text` a reader of one day needs: `08:10:00`.
pub fn clock_text(time_s: f64) -> String {
    let text = utc_text(time_s, 0);
    match text.split_once('T') {
        Some((_, clock)) => clock.trim_end_matches('Z').to_string(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_read_back_as_they_are_written() {
        assert_eq!(utc_text(1_000_000_000.0, 0), "2001-09-09T01:46:40Z"); // POSIX: a known second
        assert_eq!(utc_text(1_777_709_400.254, 2), "2026-05-02T08:10:00.25Z");
        assert_eq!(utc_text(1_777_709_399.999, 0), "2026-05-02T08:10:00Z");
        assert_eq!(clock_text(1_777_709_400.0), "08:10:00");
    }
}
