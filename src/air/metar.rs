//! What an airport's report (WMO-No. 306, FM 15 METAR) says of temperature, pressure and wind.
//!
//! The numbers are read by the crate `metar`. It refuses a whole report for one trailing group it does
//! not know, and aborts on a variable range without numbers, so it is given only the groups that matter here: station,
//! time, wind, temperature and pressure. Remarks are searched for the tenths of temperature alone.

use ::metar::{Data, Metar, Pressure, Wind, WindDirection, WindSpeed};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

use crate::error::Fault;
use crate::units::{M_S_PER_KM_H, M_S_PER_KNOT, PA_PER_HPA, PA_PER_INHG};

/// An observation, decoded; what the report leaves out is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    pub station: String,
    pub day: u8,
    pub hour: u8,
    pub minute: u8,
    pub temperature_c: Option<f64>,
    pub dew_point_c: Option<f64>,
    /// Sea-level pressure as written. Where it is in whole hectopascals it was rounded down (M+), so it
    /// is 0.5 hPa low in the mean: left as it is, and carried as uncertainty.
    pub qnh_pa: Option<f64>,
    pub wind: Option<ReportedWind>,
}

/// Ten-minute mean at 10 m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReportedWind {
    pub speed_m_s: f64,
    /// Where it comes from, true north; `None` where variable or calm.
    pub from_deg: Option<f64>,
}

/// Groups that end the observation and begin a forecast or remarks.
const AFTER_THE_OBSERVATION: [&str; 5] = ["BECMG", "TEMPO", "NOSIG", "RMK", "PROB"];

/// Decode a report. Leading `METAR` or `SPECI`, a final `=`, forecast and remarks are allowed.
pub fn decode(report: &str) -> Result<Observation, Fault> {
    let upper = report.trim().trim_end_matches('=').to_ascii_uppercase();
    let groups: Vec<&str> = upper.split_whitespace().collect();
    let end = groups
        .iter()
        .position(|group| AFTER_THE_OBSERVATION.iter().any(|word| group.starts_with(word)) || is_from(group))
        .unwrap_or(groups.len());
    let (observation, rest) = groups.split_at(end);
    if observation.contains(&"NIL") {
        return Err(unknown_form(report, "it says NIL: no observation was made"));
    }
    let kept = needed_groups(observation).ok_or_else(|| {
        unknown_form(
            report,
            "no station and time, such as \"EHAM 221655Z\", stand at its start",
        )
    })?;
    let parsed =
        Metar::parse(&kept).map_err(|_| unknown_form(report, &format!("\"{kept}\" could not be read")))?;
    Ok(settle_groups(parsed, rest))
}

fn unknown_form(report: &str, why: &str) -> Fault {
    Fault::new(
        format!("the report \"{report}\" is not a METAR that can be read: {why}"),
        "Write it as it was issued, or give temperature_c, pressure_hpa and relative_humidity_percent instead.",
    )
}

/// `FM011200`, a forecast from an hour on; not a station that begins with FM.
fn is_from(group: &str) -> bool {
    group
        .strip_prefix("FM")
        .is_some_and(|rest| rest.len() >= 4 && rest.bytes().all(|b| b.is_ascii_digit()))
}

/// Station, time, wind, temperature and pressure, joined again; `None` without the first two.
fn needed_groups(observation: &[&str]) -> Option<String> {
    let mut groups = observation
        .iter()
        .copied()
        .skip_while(|group| matches!(*group, "METAR" | "SPECI" | "COR" | "AUTO"));
    let station = groups.next().filter(|group| {
        group.len() == 4
            && group
                .bytes()
                .all(|b| b.is_ascii_uppercase() || b.is_ascii_digit())
    })?;
    let time = groups.next().filter(|group| {
        group.len() == 7 && group.ends_with('Z') && group.bytes().take(6).all(|b| b.is_ascii_digit())
    })?;
    let rest: Vec<&str> = groups.collect();
    let first = |is: fn(&str) -> bool| rest.iter().copied().find(|group| is(group));
    let found = [first(is_wind), first(is_temperature), first(is_pressure)];
    Some(
        [station, time]
            .into_iter()
            .chain(found.into_iter().flatten())
            .collect::<Vec<_>>()
            .join(" "),
    )
}

fn is_wind(group: &str) -> bool {
    let ends = group.ends_with("KT") || group.ends_with("MPS") || group.ends_with("KPH");
    let begins = group.starts_with("VRB") || group.starts_with("///");
    ends && (begins || group.bytes().take(3).all(|b| b.is_ascii_digit()))
}

fn is_temperature(group: &str) -> bool {
    let whole = |text: &str| {
        let digits = text.strip_prefix('M').unwrap_or(text);
        text == "//" || (digits.len() == 2 && digits.bytes().all(|b| b.is_ascii_digit()))
    };
    group.split_once('/').is_some_and(|(air, dew)| {
        // "25///" splits behind the 25; "///11" and "/////" before their first slash.
        if air.is_empty() {
            group
                .strip_prefix("///")
                .is_some_and(|dew| dew.is_empty() || whole(dew))
        } else {
            whole(air) && (dew.is_empty() || whole(dew))
        }
    })
}

fn is_pressure(group: &str) -> bool {
    let value = group.strip_prefix('Q').or_else(|| group.strip_prefix('A'));
    value.is_some_and(|v| v == "////" || (v.len() == 4 && v.bytes().all(|b| b.is_ascii_digit())))
}

fn settle_groups(parsed: Metar, rest: &[&str]) -> Observation {
    let known = |value: Data<i32>| match value {
        Data::Known(degrees) => Some(f64::from(degrees)),
        Data::Unknown => None,
    };
    let tenths = rest.iter().find_map(|group| tenths_group(group));
    Observation {
        station: parsed.station,
        day: parsed.time.date,
        hour: parsed.time.hour,
        minute: parsed.time.minute,
        temperature_c: tenths.map(|(air, _)| air).or(known(parsed.temperature)),
        dew_point_c: tenths.and_then(|(_, dew)| dew).or(known(parsed.dewpoint)),
        qnh_pa: match parsed.pressure {
            Pressure::Hectopascals(Data::Known(hpa)) => Some(f64::from(hpa) * PA_PER_HPA),
            Pressure::InchesOfMercury(Data::Known(inches)) => {
                // Hundredths of an inch as written; the crate's single precision would add 1e-7.
                Some((f64::from(inches) * 100.0).round() / 100.0 * PA_PER_INHG)
            }
            _ => None,
        },
        wind: reported_wind(parsed.wind),
    }
}

/// `T02670050` in the remarks: temperature and dew point in tenths, a leading 1 is minus.
fn tenths_group(group: &str) -> Option<(f64, Option<f64>)> {
    let digits = group.strip_prefix('T')?;
    if !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let value = |text: &str| {
        let tenths: f64 = text.get(1..)?.parse().ok()?;
        match text.as_bytes().first()? {
            b'0' => Some(tenths / 10.0),
            b'1' => Some(-tenths / 10.0),
            _ => None,
        }
    };
    match digits.len() {
        4 => Some((value(digits)?, None)),
        8 => Some((value(digits.get(..4)?)?, value(digits.get(4..)?))),
        _ => None,
    }
}

fn reported_wind(wind: Wind) -> Option<ReportedWind> {
    let calm = ReportedWind {
        speed_m_s: 0.0,
        from_deg: None,
    };
    let Wind::Present { dir, speed, .. } = wind else {
        return Some(calm);
    };
    let speed_m_s = match speed {
        WindSpeed::Knots {
            speed: Data::Known(v),
            ..
        } => f64::from(v) * M_S_PER_KNOT,
        WindSpeed::MetresPerSecond {
            speed: Data::Known(v),
            ..
        } => f64::from(v),
        WindSpeed::KilometresPerHour {
            speed: Data::Known(v),
            ..
        } => f64::from(v) * M_S_PER_KM_H,
        _ => return None,
    };
    if speed_m_s == 0.0 {
        return Some(calm);
    }
    match dir {
        WindDirection::Heading(Data::Known(degrees)) => Some(ReportedWind {
            speed_m_s,
            from_deg: Some(f64::from(degrees)),
        }),
        WindDirection::Variable => Some(ReportedWind {
            speed_m_s,
            from_deg: None,
        }),
        WindDirection::Heading(Data::Unknown) => None,
    }
}

impl Observation {
    /// The report names day, hour and minute only: the moment with these that is nearest to `near_s`.
    /// Unix seconds; `None` where no month has such a day.
    pub fn time_s(&self, near_s: f64) -> Option<f64> {
        let near = Timestamp::from_second(near_s as i64).ok()?;
        let month = near.to_zoned_datetime(TimeZone::UTC).date().first_of_month();
        [-2, -1, 0, 1, 2]
            .into_iter()
            .filter_map(|months| self.in_month(month.checked_add(months.months()).ok()?))
            .min_by(|a, b| (a - near_s).abs().total_cmp(&(b - near_s).abs()))
    }

    fn in_month(&self, month: Date) -> Option<f64> {
        let day = Date::new(month.year(), month.month(), i8::try_from(self.day).ok()?).ok()?;
        let moment = day.at(
            i8::try_from(self.hour).ok()?,
            i8::try_from(self.minute).ok()?,
            0,
            0,
        );
        Some(
            moment
                .to_zoned_datetime(TimeZone::UTC)
                .ok()?
                .timestamp()
                .as_second() as f64,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::density::{moist_air_density_kg_m3, relative_humidity, saturation_vapour_pressure_pa};

    fn wind(speed_m_s: f64, from_deg: Option<f64>) -> Option<ReportedWind> {
        Some(ReportedWind { speed_m_s, from_deg })
    }

    /// Reports and what the Python package metar 2.0.2 makes of them (L).
    #[test]
    fn reports_read_as_another_decoder_reads_them() {
        let amsterdam = decode("EHAM 221655Z 24015G27KT 210V270 9999 FEW030 18/11 Q1009 NOSIG").unwrap();
        assert_eq!(
            (amsterdam.temperature_c, amsterdam.dew_point_c),
            (Some(18.0), Some(11.0))
        );
        assert_eq!(amsterdam.qnh_pa, Some(100_900.0));
        let blowing = amsterdam.wind.unwrap();
        assert!((blowing.speed_m_s - 7.717).abs() < 5e-4 && blowing.from_deg == Some(240.0));
        // Ratio of the vapour pressures, and density by the formula of `density` (D). Humidity itself holds
        // the enhancement factor of both temperatures, which is 1.1e-4 less.
        let ratio = saturation_vapour_pressure_pa(284.15) / saturation_vapour_pressure_pa(291.15);
        assert!((ratio - 0.6359).abs() < 5e-5, "{ratio}");
        let humidity = relative_humidity(100_900.0, 291.15, 284.15);
        assert!((humidity / ratio - (1.0 - 1.1e-4)).abs() < 1e-5, "{humidity}");
        let density = moist_air_density_kg_m3(100_900.0, 291.15, humidity);
        assert!((density - 1.201843).abs() < 1e-6, "{density}");

        let zurich = decode("LSZH 120550Z VRB02KT CAVOK M01/M03 Q1031").unwrap();
        assert_eq!(
            (zurich.temperature_c, zurich.dew_point_c),
            (Some(-1.0), Some(-3.0))
        );
        assert_eq!(zurich.qnh_pa, Some(103_100.0));
        let light = zurich.wind.unwrap();
        assert!((light.speed_m_s - 1.029).abs() < 5e-4 && light.from_deg.is_none());

        let petersburg = decode("ULLI 150600Z 18004MPS 6000 BKN010 05/05 Q1013").unwrap();
        assert_eq!(petersburg.wind, wind(4.0, Some(180.0)));

        let denver =
            decode("METAR KDEN 151453Z 20015G25KT 10SM FEW100 27/05 A3015 RMK SLP128 T02670050").unwrap();
        assert_eq!(
            (denver.temperature_c, denver.dew_point_c),
            (Some(26.7), Some(5.0))
        );
        assert!((denver.qnh_pa.unwrap() - 102_100.0).abs() < 5.0); // 1021.0 hPa

        let marseille = decode("LFML 011500Z 00000KT 9999 SCT040 25/// Q0998").unwrap();
        assert_eq!(
            (marseille.temperature_c, marseille.dew_point_c),
            (Some(25.0), None)
        );
        assert_eq!(marseille.wind, wind(0.0, None));
    }

    /// Each of these makes the crate refuse the whole report, or abort.
    #[test]
    fn what_surrounds_the_observation_does_no_harm() {
        for report in [
            "SPECI EHAM 221655Z 24015KT 9999 18/11 Q1009=",
            "metar cor EHAM 221655Z AUTO 24015KT 9999 18/11 Q1009 BECMG 30020KT",
            "EHAM 221655Z 24015KT 9999 18/11 Q1009 FM1800 30010KT",
            "EHAM 221655Z 24015KT VRBV240 9999 18/11 Q1009",
            "EHAM 221655Z 24015KT 1 1/2SM R24/1200U ??? 18/11 Q1009 NEWGROUP",
        ] {
            let found = decode(report).unwrap();
            assert_eq!(found.temperature_c, Some(18.0), "{report}");
            assert_eq!(found.qnh_pa, Some(100_900.0), "{report}");
            assert_eq!(found.wind.unwrap().from_deg, Some(240.0), "{report}");
        }
        let bare = decode("EHAM 221655Z /////KT 9999 ///// Q////").unwrap();
        assert_eq!((bare.temperature_c, bare.qnh_pa, bare.wind), (None, None, None));
    }

    #[test]
    fn what_is_no_report_is_a_fault_that_says_so() {
        for text in [
            "",
            "hello",
            "EHAM",
            "EHAM 9999 18/11",
            "EHAM 221655Z NIL",
            "EHAM 411655Z 18/11",
            "é 1234 ü",
        ] {
            let fault = decode(text).unwrap_err();
            assert!(fault.what.contains("METAR"), "{text}: {fault}");
        }
    }

    #[test]
    fn the_day_of_a_report_is_the_nearest_one() {
        let report = decode("EHAM 312355Z 24015KT 18/11 Q1009").unwrap();
        let early_may = 1_777_593_900.0; // 2026-05-01T00:05:00Z; April has no 31st
        assert_eq!(
            report.time_s(early_may),
            Some(1_775_001_300.0) // 2026-03-31T23:55:00Z
        );
        let first = decode("EHAM 010020Z 24015KT 18/11 Q1009").unwrap();
        let last_of_april = 1_777_593_300.0; // 2026-04-30T23:55:00Z
        assert_eq!(first.time_s(last_of_april), Some(last_of_april + 1500.0));
    }
}
