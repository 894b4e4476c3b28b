//! What a test day is worth over an event.

use super::super::table::table;
use super::super::words::{listed, real_minus, signed, signed_range, wrapped};
use super::{km_h, letter, shape_text};
use crate::event::{Change, Conditions, EventRoad, Pacing};
use crate::study::{Compared, Prediction};
use crate::test_day::WindReading;

/// Everything that the answer says.
pub struct Foretold<'a> {
    pub compared: &'a Compared,
    pub road: &'a EventRoad,
    pub conditions: &'a Conditions,
    pub density_given: bool,
    pub wind: Option<WindReading>,
    pub prediction: &'a Prediction,
}

pub fn predict(told: &Foretold, width: usize) -> String {
    let mut parts = vec![answer(told, width), times(told, width)];
    parts.extend(differences(told, width));
    parts.push(rests_on(told, width));
    parts.join("\n\n")
}

/// "52:07" or "1:02:07".
pub fn clock(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{seconds:02}")
    } else {
        format!("{minutes}:{seconds:02}")
    }
}

fn name(told: &Foretold, place: usize) -> String {
    let setup = told.prediction.setups[place];
    told.compared.setups[setup].name.clone()
}

fn answer(told: &Foretold, width: usize) -> String {
    let event = event(told);
    let sentences: Vec<String> = match told.prediction.predicted.changes.as_slice() {
        [] => vec![format!(
            "{event} takes '{}' {}. There is one set-up, so nothing is compared.",
            name(told, 0),
            clock(told.prediction.predicted.times[0].time_s.value)
        )],
        changes => changes
            .iter()
            .map(|change| sentence(told, change, &event))
            .collect(),
    };
    let all = sentences.iter().map(|s| wrapped(s, width));
    all.collect::<Vec<_>>().join("\n")
}

fn event(told: &Foretold) -> String {
    format!(
        "{:.1} km with {:.0} m of climbing at {:.0} W",
        told.road.length_m / 1000.0,
        told.road.climb_m,
        told.conditions.power_w
    )
}

fn sentence(told: &Foretold, change: &Change, event: &str) -> String {
    let (setup, base) = (name(told, change.setup), name(told, change.baseline));
    let seconds = change.time_change_s;
    let Some([low, high]) = seconds.interval_90 else {
        return format!("Over {event} '{setup}' and '{base}' cannot be compared.");
    };
    if low < 0.0 && high > 0.0 {
        return format!(
            "Over {event} the difference between '{setup}' and '{base}' is not resolved: {} s (90 % interval {} s).",
            signed(seconds.value, 0),
            signed_range([low, high], 0)
        );
    }
    format!(
        "Over {event} '{setup}' is {:.0} s {} than '{base}' (90 % interval {} s).",
        seconds.value.abs(),
        if seconds.value < 0.0 { "faster" } else { "slower" },
        signed_range([low, high], 0)
    )
}

fn times(told: &Foretold, width: usize) -> String {
    let rows = told
        .prediction
        .predicted
        .times
        .iter()
        .enumerate()
        .map(|(place, times)| {
            let [low, high] = times.time_s.interval_90.unwrap_or([f64::NAN; 2]);
            vec![
                format!("{}: {}", letter(told.prediction.setups[place]), name(told, place)),
                clock(times.time_s.value),
                format!("{} to {}", clock(low), clock(high)),
                format!("{:.1}", km_h(times.mean_speed_m_s)),
            ]
        })
        .collect();
    table(&["set-up", "time", "90 % interval", "km/h"], &[0], rows, width)
}

fn differences(told: &Foretold, width: usize) -> Option<String> {
    let changes = &told.prediction.predicted.changes;
    if changes.is_empty() {
        return None;
    }
    let rows = changes
        .iter()
        .zip(&told.prediction.multiplied_s)
        .map(|(change, multiplied)| {
            let range =
                |ends: Option<[f64; 2]>, decimals| ends.map_or(String::new(), |e| signed_range(e, decimals));
            let letters = [change.baseline, change.setup].map(|place| letter(told.prediction.setups[place]));
            vec![
                format!("{} to {}", letters[0], letters[1]),
                signed(change.time_change_s.value, 1),
                range(change.time_change_s.interval_90, 1),
                signed(change.watts_at_equal_time.value, 1),
                range(change.watts_at_equal_time.interval_90, 1),
                multiplied.map_or(String::new(), |seconds| signed(seconds, 1)),
            ]
        })
        .collect();
    let header = ["", "s", "90 %", "W, equal time", "90 %", "test × length, s"];
    Some(format!(
        "{}\n{}",
        table(&header, &[0], rows, width),
        wrapped(&why_not_multiplied(told), width)
    ))
}

/// The last column is what many would do, and what is wrong with it on this event.
fn why_not_multiplied(told: &Foretold) -> String {
    let course = &told.compared.surveyed.ridden.course;
    let passes = told.compared.passes.iter().filter(|pass| pass.kept);
    let speeds: Vec<f64> = passes
        .map(|pass| {
            let pass = &told.compared.surveyed.ridden.passes[pass.pass];
            course.length_m() / pass.duration_s()
        })
        .collect();
    let test_km_h = km_h(speeds.iter().sum::<f64>() / speeds.len() as f64);
    let event_km_h = km_h(told.prediction.predicted.times[0].mean_speed_m_s);
    let slope = |climb_m: f64, length_m: f64| 100.0 * climb_m / length_m;
    format!(
        "The last column is the seconds of one pass of the test times the length of the event, which does not do: \
         seconds saved on a kilometre depend on its speed and slope, and the test ({}, {:+.1} % from start to finish, \
         {test_km_h:.1} km/h) is ridden otherwise than the event ({event_km_h:.1} km/h, {:.1} m of climb a kilometre).",
        shape_text(course.shape),
        slope(course.climb_m().unwrap_or(0.0), course.length_m()),
        10.0 * slope(told.road.climb_m, told.road.length_m)
    )
}

fn rests_on(told: &Foretold, width: usize) -> String {
    let mut lines = vec!["What this rests on:".to_string()];
    lines.extend(assumptions(told).iter().map(|line| listed(line, width)));
    real_minus(&lines.join("\n"))
}

/// One sentence each.
pub fn assumptions(told: &Foretold) -> Vec<String> {
    let density = told.conditions.around.air_density_kg_m3;
    let mut all = vec![
        match told.conditions.pacing {
            Pacing::Constant => "Power is the same everywhere.".to_string(),
            Pacing::HarderUphill { limit } => format!(
                "Power rises uphill and falls downhill in proportion to the slope, by {:.0} % at 4 % and beyond; \
                 {:.0} W on the level give the mean asked for.",
                100.0 * limit,
                told.prediction.predicted.level_power_w
            ),
        },
        if told.density_given {
            format!("Air density {density:.3} kg/m³, as given.")
        } else {
            format!("Air density {density:.3} kg/m³, that of the test day (--density gives another).")
        },
        match told.wind {
            Some(wind) => format!(
                "Wind {:.1} m/s from {:.0}°, the same along the whole event.",
                wind.speed_m_s, wind.from_deg
            ),
            None => "Still air.".to_string(),
        },
        "Nobody brakes, for bends, junctions or fast descents; nobody shelters another. Start rolling at 2 m/s."
            .to_string(),
        "Tyres and surface roll as on the test course; each set-up keeps the mass of test.toml.".to_string(),
    ];
    all.push(match told.road.cleaned {
        Some(cleaned) => format!(
            "Heights of the event: {} taken out as errors, {} filled in, then averaged over {:.0} m of road (bell, one \
             standard deviation), which makes {:.0} m of climbing out of {:.0} m as recorded.",
            cleaned.taken_out, cleaned.without, cleaned.smoothing_m, told.road.climb_m, cleaned.raw_climb_m
        ),
        None if told.road.has_heights => "A level road.".to_string(),
        None => "The event's file has no heights, so its road is taken as level.".to_string(),
    });
    all.push(format!(
        "Intervals are of {} draws of drag area, rolling resistance, mass, power scale and efficiency together, as \
         the test day leaves them; the air and the power of the event are taken as certain.",
        crate::study::DRAWS
    ));
    all
}
