//! Recordings that tell of the same time are used once.

use super::{SpeedSource, Streams};
use crate::recording::ExtraChannel;
use crate::units::utc_text;
use crate::warning::Warning;
use std::cmp::Ordering;

/// Longer intervals without samples do not count as recorded: another recording may fill them. [s]
const HOLE_S: f64 = 60.0;
/// Shorter overlaps are two units' clocks, not the same ride twice. [s]
const LEAST_OVERLAP_S: f64 = 1.0;
/// From this share on, a recording is a duplicate and is left out wholly.
const DUPLICATE_SHARE: f64 = 0.8;

/// Keeps every stretch of time once: of two recordings that overlap, the one with power, a measured speed and
/// positions, else with more samples, else first by file name, is used whole. The other is left out when 80 %
/// of its time is told by better ones, else only what overlaps is cut out of it (which may leave several
/// pieces, each a `Streams` of its own). The result is in order of time and does not depend on the order given.
pub fn use_once(mut streams: Vec<Streams>) -> (Vec<Streams>, Vec<Warning>) {
    streams.retain(|streams| !streams.time_s.is_empty());
    streams.sort_by(better_first);
    let mut kept: Vec<Streams> = Vec::new();
    let mut remarks: Vec<(f64, Warning)> = Vec::new();
    for candidate in streams {
        let own = covered(&candidate);
        let least = LEAST_OVERLAP_S.min(0.5 * length_s(&own));
        let mut rivals: Vec<(f64, &Streams)> = kept
            .iter()
            .map(|other| (shared_s(&own, &covered(other)), other))
            .filter(|(shared, _)| *shared > 0.0 && *shared >= least)
            .collect();
        rivals.sort_by(|a, b| b.0.total_cmp(&a.0));
        let Some((_, rival)) = rivals.first() else {
            kept.push(candidate);
            continue;
        };
        let taken: Vec<(f64, f64)> = rivals.iter().flat_map(|(_, other)| covered(other)).collect();
        let shared: f64 = rivals.iter().map(|(shared, _)| shared).sum();
        let duplicate = shared >= DUPLICATE_SHARE * length_s(&own);
        let rest = if duplicate {
            Vec::new()
        } else {
            without(&candidate, &taken)
        };
        remarks.push((
            candidate.start_s(),
            remark(&candidate, rival, &own, &taken, &rest),
        ));
        kept.extend(rest);
    }
    kept.sort_by(|a, b| {
        let by_time = a.start_s().total_cmp(&b.start_s());
        by_time.then_with(|| a.file.cmp(&b.file))
    });
    remarks.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.message.cmp(&b.1.message)));
    (kept, remarks.into_iter().map(|(_, warning)| warning).collect())
}

fn better_first(a: &Streams, b: &Streams) -> Ordering {
    let merits = |s: &Streams| (s.has_power(), speed_rank(s), s.has_positions());
    merits(b)
        .cmp(&merits(a))
        .then(b.time_s.len().cmp(&a.time_s.len()))
        .then_with(|| a.name().cmp(&b.name()))
        .then_with(|| a.file.cmp(&b.file))
        .then_with(|| a.start_s().total_cmp(&b.start_s()))
}

/// A measured speed is better than one from positions, and that than none.
fn speed_rank(streams: &Streams) -> u8 {
    match streams.speed_source {
        SpeedSource::WheelSensor | SpeedSource::Unit | SpeedSource::Distance => 2,
        SpeedSource::Positions => 1,
        SpeedSource::None => 0,
    }
}

/// Stretches of time with samples.
pub(super) fn covered(streams: &Streams) -> Vec<(f64, f64)> {
    let longest_s = HOLE_S.max(2.5 * streams.nominal_interval_s);
    let mut out: Vec<(f64, f64)> = Vec::new();
    for &time in &streams.time_s {
        match out.last_mut() {
            Some(last) if time - last.1 <= longest_s => last.1 = time,
            _ => out.push((time, time)),
        }
    }
    out
}

pub(super) fn length_s(spans: &[(f64, f64)]) -> f64 {
    spans.iter().map(|(a, b)| b - a).sum()
}

pub(super) fn shared_s(one: &[(f64, f64)], other: &[(f64, f64)]) -> f64 {
    let both = one.iter().flat_map(|a| other.iter().map(move |b| (a, b)));
    both.map(|(a, b)| (a.1.min(b.1) - a.0.max(b.0)).max(0.0)).sum()
}

/// The parts of a recording that lie outside the spans, each with two samples or more.
pub(super) fn without(streams: &Streams, taken: &[(f64, f64)]) -> Vec<Streams> {
    let free = |i: usize| {
        let time = streams.time_s[i];
        !taken.iter().any(|&(a, b)| (a..=b).contains(&time))
    };
    let parts = super::mark::runs(streams.time_s.len(), 2, |a, b| {
        // A better recording may lie wholly between two samples.
        let between = |&(start, _): &(f64, f64)| (streams.time_s[a]..streams.time_s[b]).contains(&start);
        free(a) && free(b) && !taken.iter().any(between)
    });
    parts.into_iter().map(|range| part(streams, range)).collect()
}

fn part(streams: &Streams, range: std::ops::Range<usize>) -> Streams {
    let cut = |channel: &[f64]| channel.get(range.clone()).unwrap_or_default().to_vec();
    let time_s = cut(&streams.time_s);
    let (start_s, end_s) = (streams.time_s[range.start], streams.time_s[range.end - 1]);
    let touches = |a: f64, b: f64| a <= end_s && b >= start_s;
    let extra = |extra: &ExtraChannel| ExtraChannel {
        name: extra.name.clone(),
        units: extra.units.clone(),
        values: extra.values.get(range.clone()).unwrap_or_default().to_vec(),
    };
    let mut gaps = streams.gaps.clone();
    gaps.retain(|gap| gap.start_s >= start_s && gap.end_s <= end_s);
    let mut repairs = streams.repairs.clone();
    repairs.retain(|repair| touches(repair.start_s, repair.end_s));
    let mut lap_marks_s = streams.lap_marks_s.clone();
    lap_marks_s.retain(|&mark| touches(mark, mark));
    let mut altitude_steps_s = streams.altitude_steps_s.clone();
    altitude_steps_s.retain(|&step| touches(step, step));
    Streams {
        file: streams.file.clone(),
        time_s,
        latitude_deg: cut(&streams.latitude_deg),
        longitude_deg: cut(&streams.longitude_deg),
        altitude_m: cut(&streams.altitude_m),
        distance_m: cut(&streams.distance_m),
        speed_m_s: cut(&streams.speed_m_s),
        power_w: cut(&streams.power_w),
        cadence_rpm: cut(&streams.cadence_rpm),
        temperature_c: cut(&streams.temperature_c),
        pressure_pa: cut(&streams.pressure_pa),
        air_speed_m_s: cut(&streams.air_speed_m_s),
        extra: streams.extra.iter().map(extra).collect(),
        nominal_interval_s: streams.nominal_interval_s,
        gaps,
        altitude_steps_s,
        repairs,
        speed_source: streams.speed_source,
        speed_check: streams.speed_check,
        lap_marks_s,
        rider_mass_kg: streams.rider_mass_kg,
        joined: streams.joined.clone(),
        one_leg_power: streams.one_leg_power,
        by_need: streams.by_need,
    }
}

fn remark(
    worse: &Streams,
    better: &Streams,
    own: &[(f64, f64)],
    taken: &[(f64, f64)],
    rest: &[Streams],
) -> Warning {
    let both = own.iter().flat_map(|a| taken.iter().map(move |b| (a, b)));
    let shared = both
        .map(|(a, b)| (a.0.max(b.0), a.1.min(b.1)))
        .filter(|(start, end)| start <= end);
    let (start_s, end_s) = shared.fold((f64::INFINITY, f64::NEG_INFINITY), |all, one| {
        (all.0.min(one.0), all.1.max(one.1))
    });
    let fate = match rest {
        [] => "left out".to_string(),
        parts => {
            let times: Vec<String> = parts.iter().map(span_text).collect();
            format!("used only for {}", times.join(" and for "))
        }
    };
    Warning::new(
        "overlap",
        format!(
            "{} and {} tell of the same time, from {} to {}: {} is used there, because it {}; {} is {fate}",
            better.name(),
            worse.name(),
            utc_text(start_s, 0),
            utc_text(end_s, 0),
            better.name(),
            reason(worse, better),
            worse.name(),
        ),
        format!(
            "Take {} out of the folder if it is a copy, or the other one if you would rather use this.",
            worse.name()
        ),
    )
}

fn span_text(part: &Streams) -> String {
    format!("{} to {}", utc_text(part.start_s(), 0), utc_text(part.end_s(), 0))
}

fn reason(worse: &Streams, better: &Streams) -> &'static str {
    if better.has_power() != worse.has_power() {
        "has power"
    } else if speed_rank(better) != speed_rank(worse) {
        "has the better source of speed"
    } else if better.has_positions() != worse.has_positions() {
        "has positions"
    } else if better.time_s.len() != worse.time_s.len() {
        "has more samples"
    } else {
        "comes first by name"
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Recording;
    use crate::streams::align;
    use crate::streams::testing::{START_S, ride};

    fn named(file: &str, from: usize, to: usize) -> Recording {
        let mut recording = ride(to);
        recording.file = file.into();
        recording.samples.drain(..from);
        recording
    }

    fn streams(file: &str, from: usize, to: usize) -> Streams {
        align(named(file, from, to)).unwrap()
    }

    /// Name, first and last second.
    fn told(streams: &[Streams]) -> Vec<(String, f64, f64)> {
        streams
            .iter()
            .map(|s| (s.name(), s.start_s() - START_S, s.end_s() - START_S))
            .collect()
    }

    #[test]
    fn recordings_one_after_the_other_are_both_used() {
        let given = vec![streams("b.fit", 100, 200), streams("a.fit", 300, 400)];
        let (kept, warnings) = use_once(given.clone());
        assert_eq!(told(&kept), told(&given));
        assert!(warnings.is_empty());
    }

    #[test]
    fn the_same_ride_under_two_names_is_used_once() {
        let (kept, warnings) = use_once(vec![
            streams("copy of ride.fit", 0, 300),
            streams("ride.fit", 0, 300),
        ]);
        assert_eq!(told(&kept), [("copy of ride.fit".into(), 0.0, 299.0)]);
        assert_eq!(warnings.len(), 1);
        assert_eq!(warnings[0].kind, "overlap");
        assert!(
            warnings[0].message.contains("ride.fit is left out"),
            "{}",
            warnings[0].message
        );
    }

    #[test]
    fn the_recording_with_power_wins_over_the_longer_one() {
        let mut other = named("a.gpx", 0, 310);
        other.samples.iter_mut().for_each(|s| s.power_w = None);
        let (kept, warnings) = use_once(vec![align(other).unwrap(), streams("ride.fit", 0, 300)]);
        assert_eq!(told(&kept), [("ride.fit".into(), 0.0, 299.0)]);
        assert!(
            warnings[0].message.contains("it has power"),
            "{}",
            warnings[0].message
        );
    }

    #[test]
    fn a_measured_speed_wins_over_one_from_positions() {
        let mut track = named("a.gpx", 0, 310);
        for sample in &mut track.samples {
            (sample.speed_m_s, sample.distance_m) = (None, None);
        }
        let (kept, warnings) = use_once(vec![align(track).unwrap(), streams("ride.fit", 0, 300)]);
        assert_eq!(told(&kept), [("ride.fit".into(), 0.0, 299.0)]);
        assert!(
            warnings[0].message.contains("source of speed"),
            "{}",
            warnings[0].message
        );
    }

    #[test]
    fn a_partial_overlap_is_cut_out_of_the_worse_one() {
        let (kept, warnings) = use_once(vec![streams("a.fit", 0, 300), streams("b.fit", 200, 600)]);
        let wanted = [("a.fit".into(), 0.0, 199.0), ("b.fit".into(), 200.0, 599.0)];
        assert_eq!(told(&kept), wanted);
        assert_eq!(kept[0].power_w.len(), 200);
        assert!(warnings[0].message.contains("a.fit is used only for"));
    }

    #[test]
    fn a_better_one_in_the_middle_leaves_both_ends() {
        let mut long = named("long.fit", 0, 900);
        long.samples.iter_mut().for_each(|s| s.power_w = None);
        let (kept, _) = use_once(vec![align(long).unwrap(), streams("short.fit", 300, 500)]);
        let wanted = [
            ("long.fit".into(), 0.0, 299.0),
            ("short.fit".into(), 300.0, 499.0),
            ("long.fit".into(), 500.0, 899.0),
        ];
        assert_eq!(told(&kept), wanted);
    }

    #[test]
    fn a_recording_made_in_the_pause_of_another_is_no_overlap() {
        let mut long = named("long.fit", 0, 900);
        long.samples.drain(200..600);
        let (kept, warnings) = use_once(vec![align(long).unwrap(), streams("short.fit", 300, 500)]);
        assert_eq!(kept.len(), 2);
        assert!(warnings.is_empty());
    }

    #[test]
    fn the_order_given_does_not_matter() {
        let all = [
            streams("a.fit", 0, 300),
            streams("b.fit", 200, 600),
            streams("c.fit", 550, 700),
            streams("d.fit", 200, 600),
            streams("e.fit", 100, 110),
        ];
        // A missing value equals nothing, not even itself, so what is compared is how they print.
        let print = |given: Vec<Streams>| format!("{:?}", use_once(given));
        let first = print(all.to_vec());
        for turn in 1..all.len() {
            let mut given = all.to_vec();
            given.rotate_left(turn);
            assert!(print(given.clone()) == first, "turned by {turn}");
            given.reverse();
            assert!(print(given) == first, "turned by {turn} and reversed");
        }
        let (kept, _) = use_once(all.to_vec());
        let sorted: Vec<f64> = kept.iter().map(Streams::start_s).collect();
        assert!(sorted.is_sorted());
    }
}
