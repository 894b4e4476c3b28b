#![no_main]
//! Whatever somebody types for a report of the air.

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(seen) = stillair::air::metar::decode(text) {
        let values = [seen.temperature_c, seen.dew_point_c, seen.qnh_pa];
        assert!(values.into_iter().flatten().all(f64::is_finite));
        assert!(seen.wind.iter().all(|wind| wind.speed_m_s.is_finite()));
        for near_s in [0.0, 1.7e9, -1e18] {
            assert!(seen.time_s(near_s).is_none_or(f64::is_finite));
        }
    }
});
