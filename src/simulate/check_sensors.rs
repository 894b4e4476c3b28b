//! What the sensors write, against the true ride.

use super::ride::Trace;
use super::*;
use crate::recording::Sample;

fn day_and_trace(plan: &DayPlan) -> (TrueDay, Trace) {
    let road = road::Road::new(&plan.course);
    let path = itinerary::build(plan, &road);
    (ride_day(plan), ride::ride(plan, &path))
}

fn all(day: &TrueDay) -> Vec<Sample> {
    let samples = day.recordings.iter().flat_map(|r| r.samples.iter());
    samples.copied().collect()
}

fn on_step(value: f64, step: f64) -> bool {
    ((value / step).round() * step - value).abs() < 1e-9
}

#[test]
fn power_is_the_mean_of_the_interval_that_ends_at_the_stamp() {
    let mut plan = out_and_back_plan(61, "AB", -3.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    let (day, trace) = day_and_trace(&plan);
    let samples = all(&day);
    let mut compared = 0;
    for pair in samples.windows(2) {
        let seconds = pair[1].time_s - trace.start_s;
        let work = Trace::at(&trace.work_j, seconds) - Trace::at(&trace.work_j, seconds - 1.0);
        let power = pair[1].power_w.expect("power");
        assert!((power - work).abs() < 1e-9);
        let v = Trace::at(&trace.speed_m_s, seconds);
        assert_eq!(pair[1].speed_m_s, Some(v));
        compared += usize::from(power > 0.0);
    }
    assert!(compared > 500);
    // All of the crank's work is in the file.
    let sum: f64 = samples.iter().filter_map(|s| s.power_w).sum();
    let total = trace.work_j.last().copied().expect("a ride");
    assert!((sum / total - 1.0).abs() < 1e-3, "{sum} of {total}");
}

#[test]
fn values_stand_on_the_steps_of_the_format() {
    for format in [Format::Fit, Format::Gpx, Format::Csv] {
        let mut plan = loop_plan(62, "AB", -3.0);
        plan.format = format;
        let samples = all(&ride_day(&plan));
        assert!(samples.len() > 1000);
        for sample in &samples {
            assert!(sample.time_s.fract() == 0.0);
            assert!(on_step(sample.altitude_m.expect("altitude"), 0.2));
            assert!(on_step(sample.speed_m_s.expect("speed"), 0.001));
            assert!(on_step(sample.power_w.expect("power"), 1.0));
            assert!(on_step(sample.temperature_c.expect("temperature"), 1.0));
            let latitude = sample.latitude_deg.expect("latitude");
            match format {
                Format::Fit => {
                    let semicircles = latitude * 2f64.powi(31) / 180.0;
                    assert!((semicircles - semicircles.round()).abs() < 1e-5);
                    assert!(on_step(sample.distance_m.expect("distance"), 0.01));
                }
                Format::Csv => {
                    assert!(on_step(latitude, 1e-7));
                    assert!(on_step(sample.distance_m.expect("distance"), 0.01));
                }
                Format::Gpx => {
                    assert!(on_step(latitude, 1e-7));
                    assert_eq!(sample.distance_m, None);
                }
            }
        }
    }
}

#[test]
fn errors_have_the_size_asked_for() {
    let mut plan = loop_plan(63, "ABBAABBA", -3.0);
    plan.rider.timer = TimerHabit::KeepsRunning;
    let mut exact = plan.clone();
    exact.sensors = SensorTruth::perfect();
    let (noisy, exact) = (all(&ride_day(&plan)), all(&ride_day(&exact)));
    assert_eq!(noisy.len(), exact.len());
    let sd = |differences: Vec<f64>| {
        let n = differences.len() as f64;
        let mean = differences.iter().sum::<f64>() / n;
        (differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n).sqrt()
    };
    let moving = || {
        let pairs = noisy.iter().zip(&exact);
        pairs.filter(|(_, e)| e.speed_m_s > Some(3.0) && e.power_w > Some(50.0))
    };
    let power = sd(moving()
        .filter_map(|(a, b)| Some(a.power_w? - b.power_w?))
        .collect());
    // 2 W of noise and rounding to 1 W (a 12th of a watt squared).
    assert!((power - (4.0 + 1.0 / 12.0f64).sqrt()).abs() < 0.1, "{power}");
    let speed = sd(moving()
        .filter_map(|(a, b)| Some(a.speed_m_s? - b.speed_m_s?))
        .collect());
    assert!((speed / 0.03 - 1.0).abs() < 0.1, "{speed}");
    let north: Vec<f64> = noisy
        .iter()
        .zip(&exact)
        .filter_map(|(a, b)| Some((a.latitude_deg? - b.latitude_deg?) * 111_000.0))
        .collect();
    // Some 80 independent pieces of 2 × 45 s: 8 % on the standard deviation.
    let wander = sd(north);
    assert!((1.7..3.3).contains(&wander), "{wander}");
}

#[test]
fn scale_errors_offsets_and_delay_do_what_they_say() {
    let mut plan = out_and_back_plan(64, "AB", -3.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    let exact = all(&ride_day(&plan));
    plan.sensors.power_scale_error = 0.02;
    plan.sensors.speed_scale_error = -0.01;
    plan.sensors.altitude_offset_m = 7.0;
    plan.sensors.power_delay_s = 2.0;
    let off = all(&ride_day(&plan));
    for k in 2..exact.len() {
        let power = exact[k - 2].power_w.expect("power") * 1.02;
        assert!((off[k].power_w.expect("power") - power).abs() < 1e-6);
        let speed = exact[k].speed_m_s.expect("speed") * 0.99;
        assert!((off[k].speed_m_s.expect("speed") - speed).abs() < 1e-12);
        let altitude = exact[k].altitude_m.expect("altitude") + 7.0;
        assert!((off[k].altitude_m.expect("altitude") - altitude).abs() < 1e-9);
    }
}

#[test]
fn a_silent_power_meter_leaves_holes() {
    let mut plan = out_and_back_plan(65, "AB", -3.0);
    plan.incidents = vec![Incident::PowerDropOut {
        pass: 2,
        at_m: 300.0,
        duration_s: 15.0,
    }];
    let day = ride_day(&plan);
    let silent: Vec<f64> = all(&day)
        .iter()
        .filter(|s| s.power_w.is_none())
        .map(|s| s.time_s)
        .collect();
    assert!((14..=16).contains(&silent.len()), "{}", silent.len());
    let pass = &day.passes[1];
    let inside = |t: &f64| pass.start_s < *t && *t < pass.end_s;
    assert!(silent.iter().all(inside));
}

#[test]
fn a_unit_without_a_wheel_sensor_does_not_claim_one() {
    let mut plan = out_and_back_plan(66, "A", 0.0);
    assert_eq!(ride_day(&plan).recordings[0].wheel_sensor, Some(true));
    plan.sensors.speed_source = SpeedTruth::Unit;
    assert_eq!(ride_day(&plan).recordings[0].wheel_sensor, None);
    plan.sensors.speed_source = SpeedTruth::None;
    let day = ride_day(&plan);
    let bare = |s: &Sample| s.speed_m_s.is_none() && s.distance_m.is_none();
    assert!(day.recordings[0].samples.iter().all(bare));
}

#[test]
fn smart_sampling_is_irregular_and_never_longer_than_asked() {
    let mut plan = loop_plan(67, "A", 0.0);
    let every = all(&ride_day(&plan)).len();
    plan.sensors.sampling = Sampling::OnChange { longest_s: 7.0 };
    plan.rider.timer = TimerHabit::KeepsRunning;
    let samples = all(&ride_day(&plan));
    let steps: Vec<f64> = samples
        .windows(2)
        .map(|pair| pair[1].time_s - pair[0].time_s)
        .collect();
    assert!(samples.len() < every / 2, "{} of {every}", samples.len());
    assert!(steps.iter().all(|&step| (1.0..=7.0).contains(&step)));
    assert!(steps.contains(&1.0) && steps.contains(&7.0));
}

#[test]
fn the_timer_stops_where_the_rider_stands() {
    let mut plan = out_and_back_plan(68, "ABA", -3.0);
    plan.rider.timer = TimerHabit::AutoPause;
    let day = ride_day(&plan);
    let recording = &day.recordings[0];
    // Start, a pair for the first stand and for each of two changes, end.
    let running: Vec<bool> = recording.timer_events.iter().map(|e| e.running).collect();
    let pair = [false, true];
    assert_eq!(running, [&[true][..], &pair, &pair, &pair, &[false]].concat());
    let hole = |a: f64, b: f64| recording.samples.iter().all(|s| s.time_s <= a || s.time_s >= b);
    for events in recording.timer_events.windows(2) {
        if !events[0].running && events[1].running {
            assert!(hole(events[0].time_s, events[1].time_s));
            assert!(events[1].time_s - events[0].time_s > 10.0);
        }
    }
    assert_eq!(recording.lap_marks_s.len(), 3);
}

#[test]
fn one_file_a_block_shares_no_time() {
    let mut plan = out_and_back_plan(69, "ABBA", -3.0);
    plan.files = Files::PerBlock;
    let day = ride_day(&plan);
    assert_eq!(day.recordings.len(), 4);
    let ends: Vec<(f64, f64)> = day
        .recordings
        .iter()
        .map(|r| (r.samples[0].time_s, r.samples[r.samples.len() - 1].time_s))
        .collect();
    assert!(ends.windows(2).all(|pair| pair[0].1 < pair[1].0));
    for pass in &day.passes {
        let (from, to) = ends[pass.block];
        assert!(from < pass.start_s && pass.end_s < to);
    }
    assert!(
        day.recordings
            .iter()
            .all(|r| r.samples[0].distance_m == Some(0.0))
    );
}

#[test]
fn the_drag_area_can_be_worked_out_from_the_samples() {
    let mut plan = out_and_back_plan(70, "AB", -5.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    plan.sensors.sampling = Sampling::Every(0.1);
    let day = ride_day(&plan);
    let samples = all(&day);
    let density = balance::density_kg_m3(&plan.air);
    let gravity = balance::gravity_m_s2(plan.course.latitude_deg, plan.course.elevation_m);
    for pass in &day.passes {
        let within: Vec<&Sample> = samples
            .iter()
            .filter(|s| pass.start_s <= s.time_s && s.time_s <= pass.end_s)
            .collect();
        let setup = &plan.setups[pass.setup.expect("a set-up")];
        let weight = setup.total_mass_kg * gravity;
        let inertia = setup.total_mass_kg + setup.wheel_inertia_kg_m2 / setup.wheel_radius_m.powi(2);
        let (mut work, mut cubes) = (0.0, 0.0);
        for pair in within.windows(2) {
            let (a, b) = (
                pair[0].speed_m_s.expect("speed"),
                pair[1].speed_m_s.expect("speed"),
            );
            let (dt, v) = (pair[1].time_s - pair[0].time_s, 0.5 * (a + b));
            let climb = pair[1].altitude_m.expect("height") - pair[0].altitude_m.expect("height");
            let flat = ((v * dt).powi(2) - climb * climb).sqrt();
            work += setup.drivetrain_efficiency * pair[1].power_w.expect("power") * dt
                - 0.5 * inertia * (b * b - a * a)
                - weight * (climb + setup.crr * flat)
                - (0.091 + 0.0087 * v) * v * dt;
            cubes += 0.25 * (a + b) * (a * a + b * b) * dt;
        }
        let cda = work / (0.5 * density * cubes);
        assert!((cda - setup.cda_m2).abs() < 1e-5, "{cda} for {}", setup.cda_m2);
        assert_eq!(pass.cda_m2, setup.cda_m2);
    }
}

#[test]
fn the_barometer_walks_and_follows_the_weather() {
    let mut plan = loop_plan(81, "ABBAABBA", 0.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    let exact = all(&ride_day(&plan));
    plan.sensors.barometer_walk_m_per_sqrt_min = 0.15;
    plan.sensors.barometer_trend_m_per_h = 6.0;
    let drifting = all(&ride_day(&plan));
    let error: Vec<f64> = drifting
        .iter()
        .zip(&exact)
        .filter_map(|(a, b)| Some(a.altitude_m? - b.altitude_m?))
        .collect();
    let steps: Vec<f64> = error.windows(61).map(|w| w[60] - w[0] - 0.1).collect();
    let square = steps.iter().map(|d| d * d).sum::<f64>() / steps.len() as f64;
    // Two hours are some 120 independent minutes: 7 % on the standard deviation, three times.
    assert!((square.sqrt() / 0.15 - 1.0).abs() < 0.21, "{}", square.sqrt());
}

#[test]
fn shelter_takes_the_wind_off_where_it_stands() {
    let mut plan = out_and_back_plan(82, "A", 0.0).ideal();
    plan.course.bends.clear();
    plan.course.bearing_deg = 90.0;
    plan.wind.mean_east_m_s = -3.0;
    plan.wind.shelter = Some(Shelter {
        depth: 1.0,
        length_m: plan.course.length_m,
    });
    let (day, trace) = day_and_trace(&plan);
    let pass = &day.passes[0];
    // sin is 1 after a quarter of the length, and −1 after three quarters.
    for (part, expected) in [(0.25, 0.0), (0.75, 3.0)] {
        let time = pass
            .time_at(part * plan.course.length_m)
            .expect("within the pass");
        let seconds = time - trace.start_s;
        let headwind = Trace::at(&trace.airspeed_m_s, seconds) - Trace::at(&trace.speed_m_s, seconds);
        assert!((headwind - expected).abs() < 1e-3, "{headwind}");
    }
}

#[test]
fn the_air_speed_sensor_reads_ground_speed_and_head_wind() {
    let mut plan = out_and_back_plan(83, "AB", -3.0).ideal();
    plan.course.bends.clear();
    plan.course.bearing_deg = 90.0;
    plan.wind.mean_east_m_s = -3.0;
    plan.wind.mean_north_m_s = 2.0;
    assert!(ride_day(&plan).recordings[0].extra.is_empty());
    plan.sensors.air_speed = Some(AirSpeedTruth {
        scale_error: 0.04,
        noise_m_s: 0.0,
        resolution_m_s: 0.0,
    });
    let day = ride_day(&plan);
    let recording = &day.recordings[0];
    let [channel] = recording.extra.as_slice() else {
        panic!("{:?}", recording.extra)
    };
    assert_eq!(
        (channel.name.as_str(), channel.units.as_str()),
        ("air speed", "m/s")
    );
    // On the straight road to the east the wind is 3 m/s in the face, and behind on the way back.
    for pass in &day.passes {
        let headwind = if pass.forward { 3.0 } else { -3.0 };
        let mut compared = 0;
        for (sample, air) in recording.samples.iter().zip(&channel.values) {
            if (pass.start_s..pass.end_s).contains(&sample.time_s) {
                let expected = 1.04 * (sample.speed_m_s.expect("speed") + headwind);
                let air = air.expect("air speed");
                assert!((air - expected).abs() < 0.01, "{air} {expected}");
                compared += 1;
            }
        }
        assert!(compared > 100);
    }
}

/// Neither the ride nor another sensor knows of it.
#[test]
fn an_air_speed_sensor_changes_nothing_else_and_errs_as_it_should() {
    let mut plan = loop_plan(84, "ABBA", -3.0);
    let without = ride_day(&plan);
    let noisy = AirSpeedTruth {
        scale_error: 0.0,
        noise_m_s: 0.2,
        resolution_m_s: 0.01,
    };
    plan.sensors.air_speed = Some(noisy);
    let with = ride_day(&plan);
    assert_eq!(all(&with), all(&without));
    plan.sensors.air_speed = Some(AirSpeedTruth {
        noise_m_s: 0.0,
        resolution_m_s: 0.0,
        ..noisy
    });
    let exact = ride_day(&plan);
    let channel = |day: &TrueDay| day.recordings[0].extra[0].values.clone();
    let errors: Vec<f64> = channel(&with)
        .iter()
        .zip(channel(&exact))
        .filter(|(_, exact)| *exact > Some(5.0))
        .filter_map(|(a, b)| Some(a.as_ref()? - b?))
        .collect();
    let square = errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64;
    // Some 3000 samples: 1.3 % on the standard deviation, four times.
    assert!(
        errors.len() > 2000 && (square.sqrt() / 0.2 - 1.0).abs() < 0.05,
        "{}",
        square.sqrt()
    );
    assert!(channel(&with).iter().flatten().all(|v| on_step(*v, 0.01)));
}

#[test]
fn a_zeroed_meter_drifts_from_block_to_block_only() {
    let mut plan = out_and_back_plan(85, "ABA", -3.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    let exact = all(&ride_day(&plan));
    plan.sensors.power_drift_w_per_h = 30.0;
    plan.sensors.power_zeroed = true;
    let (day, trace) = day_and_trace(&plan);
    let changes: Vec<f64> = trace
        .stands
        .iter()
        .filter(|stand| stand.changes_block())
        .map(|stand| stand.to_s)
        .collect();
    assert_eq!((changes.len(), day.power_zeros_nm.len()), (3, 4));
    let mut compared = 0;
    for (a, b) in all(&day).iter().zip(&exact) {
        let seconds = a.time_s - trace.start_s;
        let since = changes
            .iter()
            .copied()
            .filter(|t| *t < seconds)
            .fold(0.0, f64::max);
        if b.power_w > Some(0.0) {
            let drift = a.power_w.expect("power") - b.power_w.expect("power");
            assert!((drift - 30.0 * (seconds - since) / 3600.0).abs() < 1e-9);
            compared += 1;
        }
    }
    assert!(compared > 500);
    // 30 W/h at 88 rpm, whose turning is 9.215 rad/s (88 · 2π / 60), is 3.2555 N m in an hour.
    let second = day.power_zeros_nm[1] / (3.2555 * (changes[1] - changes[0]) / 3600.0);
    assert!((second - 1.0).abs() < 1e-4, "{second}");
}

#[test]
fn a_wind_meter_beside_the_road_reads_the_minute_before_each_block() {
    let mut plan = out_and_back_plan(86, "ABBAABBAABBA", 0.0);
    let still = ride_day(&plan);
    assert!(!still.test_toml(false).contains("wind_speed_m_s"));
    plan.sensors.hand_held_wind_sd_m_s = Some(0.0);
    let (exact, trace) = day_and_trace(&plan);
    assert_eq!(all(&exact), all(&still), "a meter in the hand changes no ride");
    let changes = trace.stands.iter().filter(|stand| stand.changes_block());
    for (stand, read) in changes.zip(&exact.hand_held_winds_m_s) {
        for k in [0, 1] {
            let component: Vec<f64> = trace.wind_m_s.iter().map(|wind| wind[k]).collect();
            let length_s = (stand.to_s - stand.from_s).min(60.0);
            let count = (length_s / 0.1).round();
            let ago = (0..count as usize).map(|back| Trace::at(&component, stand.to_s - 0.1 * back as f64));
            // A tick more at one end and less at the other: a change of wind over 600.
            assert!((ago.sum::<f64>() / count - read[k]).abs() < 0.005);
        }
    }
    plan.sensors.hand_held_wind_sd_m_s = Some(0.6);
    let noisy = ride_day(&plan);
    assert_eq!(noisy.hand_held_winds_m_s.len(), 12);
    let pairs = noisy.hand_held_winds_m_s.iter().zip(&exact.hand_held_winds_m_s);
    let square = pairs
        .map(|(a, b)| (a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2))
        .sum::<f64>()
        / 24.0;
    // 24 numbers: 14 % on the standard deviation, three times.
    assert!((square.sqrt() / 0.6 - 1.0).abs() < 0.43, "{}", square.sqrt());
    // As written: the air comes from where it is said to come from.
    let toml = noisy.test_toml(false);
    let typed = |key: &str| -> f64 {
        let line = toml.lines().find(|line| line.starts_with(key)).expect("a wind");
        line.split(" = ")
            .nth(1)
            .expect("a value")
            .parse()
            .expect("a number")
    };
    let (speed, from) = (typed("wind_speed_m_s"), typed("wind_from_deg").to_radians());
    let [east, north] = noisy.hand_held_winds_m_s[0];
    assert!((-speed * from.sin() - east).abs() < 0.02 && (-speed * from.cos() - north).abs() < 0.02);
    assert_eq!(typed("wind_standard_uncertainty_m_s"), 0.6);
}

#[test]
fn averaged_power_is_the_mean_of_the_last_seconds() {
    let mut plan = out_and_back_plan(61, "AB", -3.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    let plain = all(&ride_day(&plan));
    plan.sensors.power_averaged_s = 3.0;
    let averaged = all(&ride_day(&plan));
    let power = |sample: &Sample| sample.power_w.expect("power");
    let mut largest: f64 = 0.0;
    for (three, own) in plain.windows(3).zip(averaged.iter().skip(2)) {
        let mean = three.iter().map(power).sum::<f64>() / 3.0;
        assert!((power(own) - mean).abs() < 1e-6);
        largest = largest.max((power(own) - power(&three[2])).abs());
    }
    assert!(largest > 100.0, "{largest}");
}

#[test]
fn an_altitude_that_lags_is_late_by_its_time_constant_on_an_even_slope() {
    let mut plan = one_way_plan(63, "A", 0.0).ideal();
    plan.course.hills.clear();
    plan.sensors.altitude_lag_s = 3.0;
    let day = ride_day(&plan);
    let pass = &day.passes[0];
    // The filter has forgotten the foot of the climb after some time constants.
    let from_s = pass.start_s + 20.0;
    let climbing = all(&day)
        .into_iter()
        .filter(|s| from_s < s.time_s && s.time_s < pass.end_s);
    let mut seen = 0;
    for sample in climbing {
        let at_m = |time_s: f64| {
            let after = pass.times_s.partition_point(|t| *t < time_s);
            let (t0, t1) = (pass.times_s[after - 1], pass.times_s[after]);
            let share = (time_s - t0) / (t1 - t0);
            pass.distance_m[after - 1] + share * (pass.distance_m[after] - pass.distance_m[after - 1])
        };
        let shown_m = (sample.altitude_m.expect("altitude") - plan.course.elevation_m) / 0.018;
        assert!((shown_m - at_m(sample.time_s - 3.0)).abs() < 1.5, "{shown_m}");
        seen += 1;
    }
    assert!(seen > 100, "{seen}");
}

#[test]
fn an_altitude_that_is_set_anew_stays_where_it_was_set() {
    let plan = out_and_back_plan(64, "AB", -3.0);
    let mut set_anew = plan.clone();
    set_anew.incidents.push(Incident::AltitudeJump {
        pass: 2,
        at_m: 700.0,
        jump_m: 12.0,
    });
    let (before, after) = (all(&ride_day(&plan)), ride_day(&set_anew));
    let pass = &after.passes[1];
    let at_s = pass.time_at(800.0).expect("ridden");
    for (plain, jumped) in before.iter().zip(&all(&after)) {
        let jump = jumped.altitude_m.expect("altitude") - plain.altitude_m.expect("altitude");
        let expected = if plain.time_s < at_s { 0.0 } else { 12.0 };
        assert!((jump - expected).abs() < 1e-9, "{} {jump}", plain.time_s - at_s);
        assert_eq!(
            (plain.power_w, plain.speed_m_s),
            (jumped.power_w, jumped.speed_m_s)
        );
    }
}

#[test]
fn an_altitude_by_satellites_wanders_about_the_height_and_changes_nothing_else() {
    let plan = out_and_back_plan(65, "ABBAABBA", -3.0);
    let mut by_satellites = plan.clone();
    by_satellites.sensors.altitude_from_positions = Some(PositionAltitude {
        sd_m: 4.0,
        memory_s: 60.0,
        resolution_m: 0.2,
    });
    let mut perfect = plan.clone();
    perfect.sensors = SensorTruth::perfect();
    let (before, after) = (all(&ride_day(&plan)), all(&ride_day(&by_satellites)));
    let truth = all(&ride_day(&perfect));
    let mut squares = 0.0;
    for ((plain, seen), real) in before.iter().zip(&after).zip(&truth) {
        let off = seen.altitude_m.expect("altitude")
            - plan.sensors.altitude_offset_m
            - real.altitude_m.expect("altitude");
        squares += off * off;
        assert_eq!(
            (plain.power_w, plain.latitude_deg),
            (seen.power_w, seen.latitude_deg)
        );
    }
    // Some 40 memories: a standard deviation of 4 m is known to 11 %.
    let sd = (squares / after.len() as f64).sqrt();
    assert!((3.0..5.2).contains(&sd), "{sd}");
}

/// The unit counts turns with one circumference: with a tyre 1 % larger it counts fewer, and its distance falls behind
/// by as much, from the block on in which the tyre is ridden.
#[test]
fn a_larger_tyre_is_counted_with_the_circumference_of_the_first() {
    let mut plan = out_and_back_plan(71, "ABA", 0.0).ideal();
    let same = ride_day(&plan);
    plan.setups[1].rollout_factor = 1.01;
    let other = ride_day(&plan);
    let pairs = same.recordings[0]
        .samples
        .iter()
        .zip(&other.recordings[0].samples);
    let second = |time_s: f64| {
        let pass = |block: usize| same.passes.iter().filter(move |p| p.block == block);
        pass(1).any(|p| p.start_s < time_s && time_s < p.end_s)
    };
    let mut seen = 0;
    for (a, b) in pairs {
        let (a_m_s, b_m_s) = (a.speed_m_s.unwrap(), b.speed_m_s.unwrap());
        if second(a.time_s) {
            assert!((a_m_s / b_m_s - 1.01).abs() < 1e-9);
            seen += 1;
        } else if same
            .passes
            .iter()
            .any(|p| p.block != 1 && p.start_s < a.time_s && a.time_s < p.end_s)
        {
            assert_eq!(a_m_s, b_m_s);
        }
    }
    assert!(seen > 200);
    let ends = [&same, &other].map(|day| day.recordings[0].samples.last().unwrap().distance_m.unwrap());
    let in_b: f64 = 2.0 * plan.course.length_m;
    let behind = ends[0] - ends[1];
    assert!((in_b * 0.0099..in_b * 0.0125).contains(&behind), "{behind}");
}

/// The same rides with and without, sample by sample.
fn with_and_without(change: impl FnOnce(&mut DayPlan)) -> (DayPlan, Vec<Sample>, Vec<Sample>) {
    let mut plan = out_and_back_plan(66, "AB", -3.0).ideal();
    plan.rider.timer = TimerHabit::KeepsRunning;
    let plain = all(&ride_day(&plan));
    change(&mut plan);
    let changed = all(&ride_day(&plan));
    (plan, plain, changed)
}

fn powers<'a>(plain: &'a [Sample], changed: &'a [Sample]) -> impl Iterator<Item = (f64, f64, f64)> + 'a {
    let both = plain.iter().zip(changed);
    both.filter_map(|(a, b)| Some((a.time_s, a.power_w?, b.power_w?)))
        .filter(|(_, power_w, _)| *power_w > 0.0)
}

#[test]
fn a_meter_reads_more_in_warmer_air_by_its_share_for_each_kelvin() {
    let warm = |plan: &mut DayPlan| {
        plan.air.temperature_trend_c_per_h = 6.0;
    };
    let (plan, _, felt) = with_and_without(|plan| {
        warm(plan);
        plan.sensors.power_scale_per_k = 0.002;
    });
    let (_, _, unfelt) = with_and_without(warm);
    assert_eq!(unfelt.len(), felt.len());
    let mut seen = 0;
    for (time_s, before, after) in powers(&unfelt, &felt) {
        let kelvin = 6.0 * (time_s - plan.start_s) / 3600.0;
        assert!((after / before - (1.0 + 0.002 * kelvin)).abs() < 1e-9);
        seen += 1;
    }
    assert!(seen > 300);
    // The thermometer shows the air.
    let last = felt.last().unwrap();
    let air_c = plan.air.after(last.time_s - plan.start_s).temperature_c;
    assert!((last.temperature_c.unwrap() - air_c).abs() < 1e-9 && air_c > plan.air.temperature_c + 1.0);
}

#[test]
fn one_leg_is_doubled() {
    let (plan, plain, changed) = with_and_without(|plan| {
        plan.sensors.one_leg = Some(OneLeg {
            share: 0.51,
            share_per_h: 0.02,
            share_by_setup: 0.0,
            wander_sd: 0.0,
            wander_memory_s: 60.0,
        });
    });
    for (time_s, before, after) in powers(&plain, &changed) {
        let share = 0.51 + 0.02 * (time_s - plan.start_s) / 3600.0;
        assert!((after / before - 2.0 * share).abs() < 1e-9);
    }
}

#[test]
fn power_and_cadence_are_held_when_the_pedals_stop() {
    let (_, plain, held) = with_and_without(|plan| plan.sensors.power_sticks_s = 3.0);
    let mut stops = 0;
    for at in 4..plain.len() - 6 {
        let power = |of: &[Sample], i: usize| of[i].power_w.unwrap();
        let stops_here = power(&plain, at - 1) > 0.0 && (at..at + 5).all(|i| power(&plain, i) == 0.0);
        if stops_here {
            stops += 1;
            let last = power(&plain, at - 1);
            assert!((at..at + 3).all(|i| power(&held, i) == last && held[i].cadence_rpm > Some(0.0)));
            assert_eq!((power(&held, at + 3), held[at + 3].cadence_rpm), (0.0, Some(0.0)));
        }
    }
    assert!(stops > 2, "{stops}");
}

#[test]
fn sampled_by_need_the_intervals_are_those_of_real_units_and_means_keep_the_work() {
    let (_, plain, kept) = with_and_without(|plan| {
        plan.sensors.sampling = Sampling::ByNeed;
        plan.sensors.power_since_last = true;
    });
    let steps: Vec<f64> = kept.windows(2).map(|two| two[1].time_s - two[0].time_s).collect();
    assert!(steps.iter().all(|step| (1.0..=8.0).contains(step)));
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    // 1·27 + 2·24 + 3·18 + 4·11 + 5·8 + 6·6 + 7·4 + 8·2 percent: 2.93 s, ± 0.05 for a thousand seconds.
    assert!((mean - 2.93).abs() < 0.3, "{mean}");
    let work: f64 = kept
        .windows(2)
        .map(|two| two[1].power_w.unwrap() * (two[1].time_s - two[0].time_s))
        .sum();
    let last_s = kept.last().unwrap().time_s;
    let whole = plain
        .iter()
        .filter(|s| s.time_s > kept[0].time_s && s.time_s <= last_s);
    let expected: f64 = whole.map(|s| s.power_w.unwrap()).sum();
    assert!((work / expected - 1.0).abs() < 1e-3, "{work} {expected}");
}

#[test]
fn a_unit_out_of_the_house_cools_while_it_is_ridden() {
    let (plan, _, cooled) = with_and_without(|plan| {
        plan.sensors.thermometer_memory_s = 300.0;
        plan.sensors.temperature_start_c = 10.0;
    });
    let (first, last) = (cooled[0].temperature_c.unwrap(), cooled[cooled.len() - 1]);
    assert!((first - plan.air.temperature_c - 10.0).abs() < 0.1);
    let left = 10.0 * (-(last.time_s - plan.start_s) / 300.0).exp();
    assert!((last.temperature_c.unwrap() - plan.air.temperature_c - left).abs() < 0.05);
    let (_, _, none) = with_and_without(|plan| plan.sensors.has_thermometer = false);
    assert!(none.iter().all(|sample| sample.temperature_c.is_none()));
}

#[test]
fn steps_are_cut_off_where_a_unit_cuts() {
    let (_, plain, cut) = with_and_without(|plan| {
        plan.sensors.power_resolution_w = 1.0;
        plan.sensors.cuts_off = true;
    });
    for (_, before, after) in powers(&plain, &cut) {
        assert!(
            after == before.floor() || (after - before).abs() < 1e-9,
            "{before} {after}"
        );
    }
}
