//! Power: what cannot be is taken out; coasting is real and stays.

use super::Repair;
use super::Streams;
use super::mark::{list, runs, take_out};
use crate::treatment::{AsRecorded, Treatment};

/// Above what legs hold for a second (common practice, no published source), and above every "no
/// value" that a format writes as a number.
const LARGEST_W: f64 = 2500.0;
const SPIKE_W: f64 = 800.0;
const FROZEN_S: f64 = 10.0;
/// Equal readings after the first that may be held.
const HELD_READINGS: usize = 2;
/// Of rider and bike, to a factor of two.
const USUAL_MASS_KG: f64 = 85.0;
/// A push that makes less of the speed is lost in its noise over two seconds.
const LEAST_TOLD_M_S2: f64 = 0.06;

pub(super) fn clean(streams: &mut Streams, gap_limit_s: f64, as_recorded: &AsRecorded) {
    let near = near(&streams.time_s, gap_limit_s);
    impossible(streams);
    spikes(streams, &near);
    drop_outs(streams, &near);
    if !as_recorded.leaves(Treatment::StuckPower) {
        frozen(streams, &near);
        held_on(streams, &near);
    }
}

/// Whether two samples have no gap between them.
fn near(time_s: &[f64], gap_limit_s: f64) -> impl Fn(usize, usize) -> bool + use<> {
    let time_s = time_s.to_vec();
    move |a, b| time_s[b] - time_s[a] <= gap_limit_s
}

fn remove(streams: &mut Streams, marked: &[usize], kind: &'static str, why: impl Fn() -> String) {
    let repairs: &mut Vec<Repair> = &mut streams.repairs;
    take_out(
        &mut streams.power_w,
        &streams.time_s,
        marked,
        kind,
        repairs,
        |span| {
            format!(
                "{} taken out {}: {}; the power there counts as unknown",
                span.count("power reading"),
                span.when(),
                why()
            )
        },
    );
}

fn impossible(streams: &mut Streams) {
    let power = &streams.power_w;
    let marked: Vec<usize> = (0..power.len())
        .filter(|&i| !power[i].is_nan() && !(0.0..=LARGEST_W).contains(&power[i]))
        .collect();
    remove(streams, &marked, "impossible power", || {
        format!("below 0 or above {LARGEST_W:.0} W")
    });
}

fn spikes(streams: &mut Streams, near: &impl Fn(usize, usize) -> bool) {
    let power = &streams.power_w;
    let marked: Vec<usize> = (1..power.len().saturating_sub(1))
        .filter(|&i| {
            let around = power[i - 1].max(power[i + 1]);
            let known = power[i - 1].is_finite() && power[i + 1].is_finite();
            let single = known && near(i - 1, i) && near(i, i + 1);
            single && power[i] > SPIKE_W && power[i] > 3.0 * around
        })
        .collect();
    remove(streams, &marked, "power spike", || {
        format!("a single reading above {SPIKE_W:.0} W and three times its neighbours")
    });
}

/// Zeros of up to 3 s between readings of 100 W and more while the cranks turn on at one cadence.
/// The rule is narrow on purpose. In 26 h of real rides most zeros of 1 to 3 s under a cadence are real:
/// soft pedalling, or a cadence that is held for a second or two and then falls (87, 87, 87, 31, 61).
fn drop_outs(streams: &mut Streams, near: &impl Fn(usize, usize) -> bool) {
    let (power, cadence, time) = (&streams.power_w, &streams.cadence_rpm, &streams.time_s);
    let mut marked = Vec::new();
    for run in runs(power.len(), 1, |a, b| power[a] == 0.0 && power[b] == 0.0) {
        let (Some(before), after) = (run.start.checked_sub(1), run.end) else {
            continue;
        };
        if power[run.start] != 0.0 || after >= power.len() {
            continue;
        }
        let close = (before..after).all(|i| near(i, i + 1));
        let short = time[run.end - 1] - time[before] <= 3.0;
        let powered = power[before] >= 100.0 && power[after] >= 100.0;
        let steady = |i: usize| (cadence[i] - cadence[before]).abs() <= 0.1 * cadence[before];
        let turning = cadence[before] >= 40.0 && (run.start..=after).all(steady);
        if close && short && powered && turning {
            marked.extend(run);
        }
    }
    remove(streams, &marked, "power drop-out", || {
        "0 W for 3 s at most between powered readings while the cadence runs on".to_string()
    });
}

/// One value other than zero for 10 s and more while the cranks stand: the reading stuck. Real power in
/// whole watts stayed equal for at most 4 s in 26 h of rides. Without any cadence in the file a constant
/// power may be meant, so it is touched only where the rest of the ride varies.
fn frozen(streams: &mut Streams, near: &impl Fn(usize, usize) -> bool) {
    let (power, cadence, time) = (&streams.power_w, &streams.cadence_rpm, &streams.time_s);
    let equal = |a: usize, b: usize| power[a] == power[b] && power[a] > 0.0 && near(a, b);
    let standing = |i: usize| cadence[i].is_nan() || cadence[i] == 0.0;
    let stuck: Vec<_> = runs(power.len(), 2, |a, b| equal(a, b) && standing(a) && standing(b))
        .into_iter()
        .filter(|run| time[run.end - 1] - time[run.start] >= FROZEN_S)
        .collect();
    let powered = power.iter().filter(|power| **power > 0.0).count();
    let held: usize = stuck.iter().map(|run| run.len()).sum();
    let has_cadence = cadence.iter().any(|value| *value > 0.0);
    if !has_cadence && held * 20 > powered {
        return;
    }
    // The first reading of a run is where it stuck, and may be true.
    let marked: Vec<usize> = stuck.into_iter().flat_map(|run| run.skip(1)).collect();
    remove(streams, &marked, "frozen power", || {
        format!("the same value for {FROZEN_S:.0} s or longer while the cranks stand")
    });
}

/// Readings that a unit goes on showing after the pedals have stopped, until it says 0.
///
/// In 26 h of real rides of one unit, some 3 % of the stops have the last power once more, some twice, with the cadence
/// held as well and the speed falling as it does afterwards. Three equal readings of watts under power are as many
/// as that, so the speed decides: a rider who still did this work would slow down less than after the 0.
/// Where no speed tells, cranks that stand do.
fn held_on(streams: &mut Streams, near: &impl Fn(usize, usize) -> bool) {
    let (power, cadence, time) = (&streams.power_w, &streams.cadence_rpm, &streams.time_s);
    let mut marked = Vec::new();
    for run in runs(power.len(), 1 + HELD_READINGS, |a, b| {
        power[a] == power[b] && power[a] > 0.0 && near(a, b)
    }) {
        let (first, last) = (run.start, run.end - 1);
        let stops = run.end < power.len() && power[run.end] == 0.0 && near(last, run.end);
        if !stops || time[last] - time[first] >= FROZEN_S {
            continue;
        }
        let stood = run.clone().skip(1).all(|i| cadence[i] == 0.0);
        if rolls_on(streams, first, run.end).unwrap_or(stood) {
            marked.extend(run.skip(1));
        }
    }
    for &index in &marked {
        streams.power_w[index] = 0.0;
    }
    let time = &streams.time_s;
    list(time, &marked, "held power", &mut streams.repairs, |span| {
        format!(
            "{} set to 0 W {}: the unit held its last value after the pedals had stopped",
            span.count("power reading"),
            span.when()
        )
    });
}

/// Whether the speed falls from `first` to `stop` as it does once the power is 0, from `stop` on; `None` where it
/// does not tell.
fn rolls_on(streams: &Streams, first: usize, stop: usize) -> Option<bool> {
    let (speed, time) = (&streams.speed_m_s, &streams.time_s);
    let gained = |from: usize, to: usize| {
        let (a, b) = (speed.get(from)?, speed.get(to)?);
        let rate = (b - a) / (time[to] - time[from]);
        rate.is_finite().then_some(rate)
    };
    let end = (stop..(stop + 5).min(speed.len()))
        .take_while(|&i| streams.power_w[i] == 0.0 && time[i] - time[stop] <= 4.0)
        .last()?;
    let pushed = streams.power_w[first] / (USUAL_MASS_KG * speed[first].max(3.0));
    if end < stop + 2 || pushed < LEAST_TOLD_M_S2 {
        return None;
    }
    let more = gained(first, stop - 1)? - gained(stop, end)?;
    Some(more < 0.5 * pushed)
}

#[cfg(test)]
mod tests {
    use crate::streams::Streams;
    use crate::streams::testing::{after, after_long, kinds, missing};

    #[test]
    fn impossible_values_are_taken_out() {
        let streams = after(|samples| {
            samples[40].power_w = Some(-1.0);
            samples[41].power_w = Some(65535.0);
        });
        assert_eq!(missing(&streams.power_w), [40, 41]);
        assert_eq!(kinds(&streams.repairs), [("impossible power", 2)]);
    }

    #[test]
    fn a_single_spike_is_taken_out_and_a_sprint_is_not() {
        let streams = after(|samples| {
            samples[40].power_w = Some(1400.0);
            for sample in &mut samples[60..64] {
                sample.power_w = Some(1100.0);
            }
        });
        assert_eq!(missing(&streams.power_w), [40]);
        assert_eq!(kinds(&streams.repairs), [("power spike", 1)]);
    }

    #[test]
    fn a_drop_out_is_taken_out() {
        let streams = after(|samples| {
            samples[40].power_w = Some(0.0);
            samples[41].power_w = Some(0.0);
        });
        assert_eq!(missing(&streams.power_w), [40, 41]);
        assert_eq!(kinds(&streams.repairs), [("power drop-out", 2)]);
    }

    #[test]
    fn coasting_stays_as_it_is() {
        let streams = after(|samples| {
            // Cranks at rest; a cadence that is held and then falls; a long zero under a cadence.
            for sample in &mut samples[20..40] {
                (sample.power_w, sample.cadence_rpm) = (Some(0.0), Some(0.0));
            }
            for (i, cadence) in [(60, 87.0), (61, 87.0), (62, 31.0)] {
                (samples[i].power_w, samples[i].cadence_rpm) = (Some(0.0), Some(cadence));
            }
            for sample in &mut samples[80..90] {
                sample.power_w = Some(0.0);
            }
        });
        assert_eq!(missing(&streams.power_w), Vec::<usize>::new());
        assert_eq!(kinds(&streams.repairs), []);
    }

    #[test]
    fn power_that_stuck_is_taken_out_after_its_first_reading() {
        let streams = after(|samples| {
            for sample in &mut samples[40..55] {
                (sample.power_w, sample.cadence_rpm) = (Some(231.0), None);
            }
        });
        assert_eq!(missing(&streams.power_w), (41..55).collect::<Vec<_>>());
        assert_eq!(kinds(&streams.repairs), [("frozen power", 14)]);
    }

    /// From second 40 the pedals stand: the unit shows 231 W and 90 rpm for three more readings, and then 0.
    fn stops(falls_m_s2: f64, then_m_s2: f64, cadence: f64) -> Streams {
        after(|samples| {
            for (i, sample) in samples.iter_mut().enumerate().skip(39).take(20) {
                let since = i as f64 - 39.0;
                let held = i < 43;
                sample.power_w = Some(if held { 231.0 } else { 0.0 });
                sample.cadence_rpm = Some(if held { cadence } else { 0.0 });
                let lost = falls_m_s2 * since.min(3.0) + then_m_s2 * (since - 3.0).max(0.0);
                sample.speed_m_s = Some(9.5 - lost);
                sample.distance_m = None;
            }
        })
    }

    #[test]
    fn power_that_is_held_after_the_pedals_stopped_becomes_nought() {
        let streams = stops(0.25, 0.25, 90.0);
        assert_eq!(streams.power_w[39..44], [231.0, 0.0, 0.0, 0.0, 0.0]);
        assert_eq!(kinds(&streams.repairs)[0], ("held power", 3));
    }

    #[test]
    fn even_power_up_to_the_last_stroke_is_left_alone() {
        // 231 W are 0.29 m/s² at 85 kg and 9.5 m/s: the rider kept the speed, and then lost it.
        let streams = stops(0.0, 0.29, 90.0);
        assert_eq!(streams.power_w[39..44], [231.0, 231.0, 231.0, 231.0, 0.0]);
        assert!(
            !kinds(&streams.repairs)
                .iter()
                .any(|(kind, _)| *kind == "held power")
        );
    }

    #[test]
    fn without_speed_standing_cranks_tell() {
        let stood = |cadence: f64| {
            after(|samples| {
                for (i, sample) in samples.iter_mut().enumerate() {
                    (sample.speed_m_s, sample.distance_m) = (None, None);
                    if (39..60).contains(&i) {
                        sample.power_w = Some(if i < 43 { 231.0 } else { 0.0 });
                        sample.cadence_rpm = Some(if i < 40 { 90.0 } else { cadence });
                    }
                }
            })
        };
        assert_eq!(stood(0.0).power_w[39..43], [231.0, 0.0, 0.0, 0.0]);
        assert_eq!(stood(90.0).power_w[39..43], [231.0; 4]);
    }

    #[test]
    fn constant_power_is_left_alone_while_the_cranks_turn_or_no_cadence_was_ever_recorded() {
        let constant = |cadence| {
            after(|samples| {
                for sample in samples {
                    (sample.power_w, sample.cadence_rpm) = (Some(250.0), cadence);
                }
            })
        };
        assert_eq!(kinds(&constant(Some(90.0)).repairs), []);
        assert_eq!(kinds(&constant(None).repairs), []);
        let stuck_once = after_long(600, |samples| {
            for (i, sample) in samples.iter_mut().enumerate() {
                sample.cadence_rpm = None;
                if (300..320).contains(&i) {
                    sample.power_w = Some(231.0);
                }
            }
        });
        assert_eq!(kinds(&stuck_once.repairs), [("frozen power", 19)]);
    }
}
