//! Times as people write them. Without an offset they are UTC.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

/// Unix seconds; or what is wrong and what to do.
pub(super) fn unix_seconds(text: &str) -> Result<f64, (String, String)> {
    let text = text.trim();
    let example = "Write a date and a time, such as 2026-05-02T08:10:00Z or 2026-05-02T10:10:00+02:00.";
    if text.contains('[') {
        return Err((
            format!("{text} names a time zone"),
            "Write the offset from UTC instead, such as 2026-05-02T10:10:00+02:00.".into(),
        ));
    }
    let stamp = match text.parse::<Timestamp>() {
        Ok(stamp) => stamp,
        Err(_) => {
            if !text.contains(':') && text.parse::<Date>().is_ok() {
                return Err((format!("{text} has no time of day"), example.into()));
            }
            if !text.contains('-') && text.parse::<Time>().is_ok() {
                return Err((format!("{text} has no date"), example.into()));
            }
            let local = text.parse::<DateTime>().ok();
            let utc = local.and_then(|local| TimeZone::UTC.to_timestamp(local).ok());
            utc.ok_or_else(|| (format!("\"{text}\" is not a time"), example.to_string()))?
        }
    };
    let time_s = stamp.as_second() as f64 + f64::from(stamp.subsec_nanosecond()) / 1e9;
    // Bike recordings with GPS times did not exist before; a year such as 206 is a slip.
    let years = 631_152_000.0..4_102_444_800.0; // 1990 to 2100
    if !years.contains(&time_s) {
        return Err((
            format!("{text} is outside the years 1990 to 2100"),
            "Check the year.".into(),
        ));
    }
    Ok(time_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAME: f64 = 1_777_709_400.0; // 2026-05-02T08:10:00Z by `date -u -d … +%s`

    #[test]
    fn one_moment_written_in_many_ways() {
        for text in [
            "2026-05-02T08:10:00Z",
            "2026-05-02T08:10:00",
            "2026-05-02 08:10:00",
            "2026-05-02T08:10Z",
            "2026-05-02 08:10",
            "2026-05-02T10:10:00+02:00",
            "2026-05-02T08:10:00.000Z",
            "  2026-05-02T08:10:00z ",
        ] {
            assert_eq!(unix_seconds(text), Ok(SAME), "{text}");
        }
        assert_eq!(unix_seconds("2026-05-02T08:10:00.25Z"), Ok(SAME + 0.25));
    }

    #[test]
    fn what_is_missing_is_named() {
        let what = |text: &str| unix_seconds(text).unwrap_err().0;
        assert_eq!(what("08:10:00"), "08:10:00 has no date");
        assert_eq!(what("2026-05-02"), "2026-05-02 has no time of day");
        assert_eq!(what("morning"), "\"morning\" is not a time");
        assert_eq!(
            what("2026-13-02T08:10:00Z"),
            "\"2026-13-02T08:10:00Z\" is not a time"
        );
        assert!(what("0206-05-02T08:10:00Z").contains("1990 to 2100"));
        assert!(what("2026-05-02T08:10:00[Europe/Paris]").contains("time zone"));
    }
}
