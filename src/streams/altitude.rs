//! Altitude and the plain channels: what cannot be is taken out.

use super::Streams;
use super::mark::{excursions, runs, take_out};

const JUMP_M: f64 = 30.0;
const LONGEST_EXCURSION: usize = 10;

/// Ranges outside which a value is a leftover "no value" or a broken sensor.
pub(super) fn clean_plain(streams: &mut Streams) {
    let time = &streams.time_s;
    let repairs = &mut streams.repairs;
    let mut range = |channel: &mut [f64], low: f64, high: f64, kind, name: &str, unit: &str| {
        let bad = |value: f64| !value.is_nan() && !(low..=high).contains(&value);
        let marked: Vec<usize> = (0..channel.len()).filter(|&i| bad(channel[i])).collect();
        take_out(channel, time, &marked, kind, repairs, |span| {
            format!(
                "{} outside {low:.0} to {high:.0} {unit} taken out {}",
                span.count(name),
                span.when()
            )
        });
    };
    // The Dead Sea shore and the highest roads, with room for the drift of a barometer.
    range(
        &mut streams.altitude_m,
        -500.0,
        9000.0,
        "impossible altitude",
        "altitude",
        "m",
    );
    range(
        &mut streams.distance_m,
        0.0,
        5e6,
        "impossible distance",
        "distance",
        "m",
    );
    range(
        &mut streams.cadence_rpm,
        0.0,
        250.0,
        "impossible cadence",
        "cadence",
        "rpm",
    );
    range(
        &mut streams.temperature_c,
        -40.0,
        60.0,
        "impossible temperature",
        "temperature",
        "°C",
    );
    range(
        &mut streams.pressure_pa,
        30_000.0,
        115_000.0,
        "impossible pressure",
        "pressure",
        "Pa",
    );
}

/// Jumps that come back, and altitudes that stood still on a climb. Needs clean power and speed.
pub(super) fn clean(streams: &mut Streams, gap_limit_s: f64) {
    let (time, altitude) = (&streams.time_s, &streams.altitude_m);
    let jump = |a: usize, b: usize| {
        let soon = time[b] - time[a] <= gap_limit_s.max(15.0);
        soon && (altitude[b] - altitude[a]).abs() > JUMP_M
    };
    let marked = excursions(
        altitude.len(),
        LONGEST_EXCURSION,
        |index| altitude[index].is_finite(),
        jump,
    );
    take_out(
        &mut streams.altitude_m,
        &streams.time_s,
        &marked,
        "altitude jump",
        &mut streams.repairs,
        |span| {
            format!(
                "{} more than {JUMP_M:.0} m off for a few samples taken out {}",
                span.count("altitude"),
                span.when()
            )
        },
    );
    frozen(streams, gap_limit_s);
}

/// One altitude for a minute and more while the pedals do the work of a climb of 20 m at 5 % or steeper.
/// A flat shore really gives one altitude for 75 s and 600 m (seen at 1 m resolution), so that standing
/// still proves nothing by itself. The balance is generous (90 kg, 6 N rolling, 0.3 v² N of air): at
/// 4 m/s it takes a head wind of 11 m/s to pass for such a climb. Gentler climbs are not told apart.
fn frozen(streams: &mut Streams, gap_limit_s: f64) {
    let (time, altitude) = (&streams.time_s, &streams.altitude_m);
    let mut marked = Vec::new();
    let equal = |a: usize, b: usize| altitude[a] == altitude[b] && time[b] - time[a] <= gap_limit_s;
    for run in runs(altitude.len(), 3, equal) {
        let (mut climb, mut length) = (0.0, 0.0);
        for i in run.start + 1..run.end {
            let (v, p) = (streams.speed_m_s[i], streams.power_w[i]);
            let step = time[i] - time[i - 1];
            if v.is_finite() && p.is_finite() {
                climb += (p - v * (6.0 + 0.3 * v * v)) * step / (90.0 * 9.81);
                length += v * step;
            }
        }
        let long = time[run.end - 1] - time[run.start] >= 60.0 && length >= 300.0;
        if long && climb > 20.0 && climb > 0.05 * length {
            marked.extend(run.skip(1));
        }
    }
    take_out(
        &mut streams.altitude_m,
        &streams.time_s,
        &marked,
        "frozen altitude",
        &mut streams.repairs,
        |span| {
            format!(
                "altitude stood still {} while the power was that of a climb: {} taken out",
                span.when(),
                span.count("altitude")
            )
        },
    );
}

#[cfg(test)]
mod tests {
    use crate::streams::testing::{after, after_long, kinds, missing};

    #[test]
    fn leftovers_and_broken_sensors_are_taken_out() {
        let streams = after(|samples| {
            samples[10].altitude_m = Some(12607.0);
            samples[20].cadence_rpm = Some(255.0);
            samples[30].temperature_c = Some(127.0);
            samples[40].pressure_pa = Some(0.0);
            samples[50].distance_m = Some(42_949_672.95);
        });
        assert_eq!(missing(&streams.altitude_m), [10]);
        assert_eq!(missing(&streams.cadence_rpm), [20]);
        assert_eq!(missing(&streams.temperature_c), [30]);
        assert!(streams.pressure_pa[40].is_nan());
        assert_eq!(missing(&streams.distance_m), [50]);
        assert_eq!(streams.repairs.len(), 5);
    }

    #[test]
    fn a_jump_that_comes_back_is_taken_out_and_a_step_is_a_step() {
        let streams = after(|samples| {
            samples[30].altitude_m = Some(350.0);
            for sample in &mut samples[60..] {
                sample.altitude_m = sample.altitude_m.map(|h| h + 45.0);
            }
        });
        assert_eq!(missing(&streams.altitude_m), [30]);
        assert_eq!(
            kinds(&streams.repairs),
            [("altitude jump", 1), ("altitude step", 60)]
        );
    }

    #[test]
    fn an_altitude_that_stands_still_on_a_climb_is_taken_out_and_on_a_flat_road_it_is_not() {
        let standing = |power: f64, speed: f64| {
            after_long(300, |samples| {
                let held = samples[50].altitude_m.unwrap();
                let later = samples[250].altitude_m.unwrap();
                for (i, sample) in samples.iter_mut().enumerate() {
                    sample.speed_m_s = Some(speed);
                    sample.distance_m = Some(speed * i as f64);
                    (sample.latitude_deg, sample.longitude_deg) = (None, None);
                    sample.power_w = Some(power + (i % 7) as f64);
                    if (50..250).contains(&i) {
                        sample.altitude_m = Some(held);
                    } else if i >= 250 {
                        sample.altitude_m = sample.altitude_m.map(|h| held + h - later);
                    }
                }
            })
        };
        assert_eq!(kinds(&standing(300.0, 4.0).repairs), [("frozen altitude", 199)]);
        assert_eq!(kinds(&standing(200.0, 9.0).repairs), []);
        // Into a head wind of 9 m/s.
        assert_eq!(kinds(&standing(300.0, 6.0).repairs), []);
    }
}
