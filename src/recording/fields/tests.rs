use super::*;

fn reads(text: &str) -> (Quantity, f64) {
    match header(text) {
        Header::Known {
            known, conversion, ..
        } => (known.quantity, conversion.apply(10.0)),
        other => panic!("{text}: {other:?}"),
    }
}

#[test]
fn no_name_and_no_unit_stands_twice() {
    let mut names: Vec<_> = NAMES.iter().flat_map(|(_, _, names)| names.iter()).collect();
    let count = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), count);
    for (quantity, units) in UNITS {
        let mut names: Vec<_> = units.iter().map(|(name, _, _)| name).collect();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), units.len(), "{quantity:?}");
    }
}

#[test]
fn headers_with_units_in_every_way_of_writing() {
    let close = |text: &str, quantity: Quantity, expected: f64| {
        let (got, value) = reads(text);
        assert_eq!(got, quantity, "{text}");
        assert!((value - expected).abs() < 1e-9, "{text}: {value}");
    };
    close("speed (km/h)", Quantity::Speed, 10.0 / 3.6);
    close("Speed [m/s]", Quantity::Speed, 10.0);
    close("speed_m_s", Quantity::Speed, 10.0);
    close("speed_kmh", Quantity::Speed, 10.0 / 3.6);
    close("Speed (mph)", Quantity::Speed, 4.4704); // 1 mph is 0.44704 m/s exactly: common practice
    close("kph", Quantity::Speed, 10.0 / 3.6);
    close("power_w", Quantity::Power, 10.0);
    close("Watts", Quantity::Power, 10.0);
    close("alt_ft", Quantity::Altitude, 3.048);
    close("Enhanced Altitude", Quantity::Altitude, 10.0);
    close("temperature (F)", Quantity::Temperature, -12.222_222_222_222_2);
    close("Temp (°C)", Quantity::Temperature, 10.0);
    close("distance km", Quantity::Distance, 10_000.0);
    close("DISTANCE", Quantity::Distance, 10.0);
    close(
        "position_lat (semicircles)",
        Quantity::Latitude,
        10.0 * 180.0 / 2f64.powi(31),
    );
    close("Heart Rate (bpm)", Quantity::HeartRate, 10.0);
    close("pressure_hpa", Quantity::Pressure, 1000.0);
    close("time (ms)", Quantity::Time, 0.01);
    close("elapsed time", Quantity::Elapsed, 10.0);
}

#[test]
fn what_is_not_understood_is_not_guessed() {
    assert_eq!(
        header("speed (furlongs/fortnight)"),
        Header::StrangeUnit {
            quantity: Quantity::Speed,
            unit: "furlongs/fortnight".into()
        }
    );
    assert_eq!(
        header("yaw (deg)"),
        Header::Unknown {
            name: "yaw".into(),
            unit: "deg".into()
        }
    );
    assert_eq!(
        header("power balance"),
        Header::Unknown {
            name: "power balance".into(),
            unit: "".into()
        }
    );
    assert_eq!(
        header(""),
        Header::Unknown {
            name: "".into(),
            unit: "".into()
        }
    );
    assert_eq!(conversion(Quantity::Power, "m"), None);
}

#[test]
fn positions_outside_the_globe_are_missing_and_the_date_line_is_wrapped() {
    let mut sample = Sample::default();
    sample.put(Quantity::Latitude, 90.5);
    sample.put(Quantity::Longitude, 180.0);
    assert_eq!((sample.latitude_deg, sample.longitude_deg), (None, Some(-180.0)));
    sample.put(Quantity::Longitude, 190.0);
    assert_eq!(sample.longitude_deg, Some(-170.0));
    sample.put(Quantity::Longitude, 1e6);
    assert_eq!(sample.longitude_deg, None);
    sample.put(Quantity::Altitude, f64::NAN);
    assert_eq!(sample.altitude_m, None);
}
