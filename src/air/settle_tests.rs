use super::*;
use crate::air::density::moist_air_density_kg_m3;
use crate::air::{KnownBy, Source, Warming};

/// 2026-05-02T08:00:00Z to 09:30.
const START: f64 = 1_777_708_800.0;

fn site() -> RideSite {
    RideSite {
        start_s: START,
        end_s: START + 5400.0,
        latitude_deg: 45.0,
        height_m: Some(830.0),
        unit_temperature_c: Some(21.0),
        unit_pressure_pa: None,
        unit_warming: None,
    }
}

fn measured(value: f64, standard_uncertainty: f64) -> Option<Measured> {
    Some(Measured {
        value,
        standard_uncertainty,
        given: true,
    })
}

fn at_road(hpa: f64) -> Option<Pressure> {
    Some(Pressure::AtRoad {
        hpa: measured(hpa, 0.5).unwrap(),
    })
}

fn run(readings: &[AirReading], site: &RideSite) -> Result<(Air, Vec<Warning>)> {
    settle(Path::new("test.toml"), readings, site)
}

fn kinds(warnings: &[Warning]) -> Vec<&str> {
    warnings.iter().map(|warning| warning.kind.as_str()).collect()
}

#[test]
fn a_full_reading_needs_no_remark() {
    let reading = AirReading {
        line: 20,
        temperature_c: measured(20.0, 0.5),
        pressure: at_road(920.0),
        relative_humidity_percent: measured(50.0, 5.0),
        ..AirReading::default()
    };
    let (air, warnings) = run(&[reading], &site()).unwrap();
    assert_eq!(warnings, vec![]);
    assert_eq!(air.source.as_text(), "measured");
    let state = air.at(START);
    assert!((state.density_kg_m3 - moist_air_density_kg_m3(92_000.0, 293.15, 0.5)).abs() < 1e-12);
    assert_eq!(
        (state.wind_east_m_s, state.wind_standard_uncertainty_m_s),
        (0.0, 2.0)
    );
    // By the relative sensitivities of the formula (D), the pressure's in proportion: 0.5 hPa, 0.5 K, 5 %.
    let relative: f64 = [50.0 * 9.916e-6 * 1013.25 / 920.0, 0.5 * 3.692e-3, 0.05 * 8.73e-3]
        .iter()
        .map(|part: &f64| part * part)
        .sum::<f64>()
        .sqrt();
    let expected = relative * state.density_kg_m3;
    let found = state.density_standard_uncertainty_kg_m3;
    assert!((found / expected - 1.0).abs() < 0.02, "{found} {expected}");
}

#[test]
fn a_sea_level_value_at_the_road_is_questioned_and_used() {
    let reading = AirReading {
        line: 20,
        temperature_c: measured(20.0, 0.5),
        pressure: at_road(1013.0),
        ..AirReading::default()
    };
    let (air, warnings) = run(&[reading], &site()).unwrap();
    assert_eq!(kinds(&warnings), ["pressure"]);
    assert!(warnings[0].message.contains("line 20") && warnings[0].message.contains("830 m"));
    assert!(warnings[0].next_step.contains("sea_level_pressure_hpa"));
    assert!((air.at(START).density_kg_m3 - moist_air_density_kg_m3(101_300.0, 293.15, 0.5)).abs() < 1e-12);
}

#[test]
fn a_sea_level_pressure_is_brought_to_the_road() {
    let reading = |hpa: f64| AirReading {
        temperature_c: measured(20.0, 0.5),
        pressure: Some(Pressure::SeaLevel {
            hpa: measured(hpa, 0.5).unwrap(),
        }),
        ..AirReading::default()
    };
    let (air, warnings) = run(&[reading(1013.25)], &site()).unwrap();
    assert_eq!(warnings, vec![]);
    let pressure = standard_pressure_pa(geopotential_height_m(830.0));
    assert!((air.at(START).density_kg_m3 - moist_air_density_kg_m3(pressure, 293.15, 0.5)).abs() < 1e-9);
    let (_, warnings) = run(&[reading(918.0)], &site()).unwrap();
    assert_eq!(kinds(&warnings), ["pressure"]);
    let lost = RideSite {
        height_m: None,
        ..site()
    };
    let error = run(&[reading(1013.25)], &lost).unwrap_err();
    assert!(error.to_string().contains("pressure_hpa"), "{error}");
}

#[test]
fn without_a_reading_the_unit_and_the_standard_serve_and_it_is_said() {
    let (air, warnings) = run(&[], &site()).unwrap();
    assert_eq!(air.source.as_text(), "unit's thermometer and standard pressure");
    assert_eq!(kinds(&warnings), ["thermometer", "pressure"]);
    let state = air.at(START);
    let pressure = standard_pressure_pa(geopotential_height_m(830.0));
    assert!((state.density_kg_m3 - moist_air_density_kg_m3(pressure, 294.15, 0.5)).abs() < 1e-12);
    // 3 K and 10 hPa are 1.0 and 1.1 %.
    let relative = state.density_standard_uncertainty_kg_m3 / state.density_kg_m3;
    assert!((0.014..0.017).contains(&relative), "{relative}");

    let blind = RideSite {
        height_m: None,
        unit_temperature_c: None,
        ..site()
    };
    let (air, warnings) = run(&[], &blind).unwrap();
    assert_eq!(air.source.as_text(), "standard atmosphere");
    assert_eq!(warnings.len(), 2);
    let state = air.at(START);
    assert!(state.density_standard_uncertainty_kg_m3 / state.density_kg_m3 > 0.045);

    let barometer = RideSite {
        unit_pressure_pa: Some(91_000.0),
        ..site()
    };
    let (air, _) = run(&[], &barometer).unwrap();
    assert_eq!(air.source, Source::Unit);
    let expected = moist_air_density_kg_m3(91_000.0, 294.15, 0.5);
    assert!((air.at(START).density_kg_m3 - expected).abs() < 1e-12);
    // Reduced to the sea by the unit, it does not fit 830 m and is not used.
    let reduced = RideSite {
        unit_pressure_pa: Some(101_500.0),
        ..site()
    };
    let (air, _) = run(&[], &reduced).unwrap();
    assert_eq!(air.source, Source::UnitThermometer);
    assert_eq!(air.at(START).density_kg_m3, state_of_unit_alone());
}

fn state_of_unit_alone() -> f64 {
    run(&[], &site()).unwrap().0.at(START).density_kg_m3
}

#[test]
fn a_median_of_nothing_is_not_known() {
    let nothing = RideSite {
        height_m: Some(f64::NAN),
        unit_temperature_c: Some(f64::NAN),
        unit_pressure_pa: Some(f64::NAN),
        ..site()
    };
    let (air, _) = run(&[], &nothing).unwrap();
    assert_eq!(air.source, Source::StandardAtmosphere);
    assert!(air.at(START).density_kg_m3.is_finite());
}

#[test]
fn a_report_gives_density_and_a_wide_wind_at_rider_height() {
    let reading = AirReading {
        line: 7,
        metar: Some("EHAM 020855Z 24010KT 9999 18/11 Q1009 NOSIG".to_string()),
        ..AirReading::default()
    };
    let low = RideSite {
        height_m: Some(0.0),
        ..site()
    };
    let (air, warnings) = run(&[reading], &low).unwrap();
    assert_eq!(warnings, vec![]);
    assert_eq!(air.source.as_text(), "METAR");
    let state = air.at(START);
    assert!(
        (state.density_kg_m3 - 1.201843).abs() < 1e-6,
        "{}",
        state.density_kg_m3
    ); // D
    let speed = 10.0 * 1852.0 / 3600.0 * 0.6350;
    assert!((state.wind_east_m_s - speed * 60f64.to_radians().sin()).abs() < 1e-3);
    assert!((state.wind_north_m_s - speed * 60f64.to_radians().cos()).abs() < 1e-3);
    assert!(state.wind_standard_uncertainty_m_s > 0.25 * speed);
}

#[test]
fn a_report_of_another_day_is_refused_and_an_old_one_questioned() {
    let of = |metar: &str| AirReading {
        line: 7,
        metar: Some(metar.to_string()),
        ..AirReading::default()
    };
    let error = run(&[of("EHAM 090855Z 24010KT 18/11 Q1009"), of("nonsense")], &site()).unwrap_err();
    assert_eq!(error.faults.len(), 2);
    let text = error.to_string();
    assert!(
        text.contains("test.toml") && text.contains("line 7") && text.contains("2026-05-02"),
        "{text}"
    );
    let (_, warnings) = run(&[of("EHAM 020155Z 24010KT 18/11 Q1009")], &site()).unwrap();
    assert_eq!(kinds(&warnings), ["air-time"]);
}

#[test]
fn readings_with_times_are_joined_and_each_quantity_keeps_its_own() {
    let at = |minutes: f64| Some(START + 60.0 * minutes);
    let readings = [
        AirReading {
            time_s: at(0.0),
            temperature_c: measured(16.0, 0.3),
            pressure: at_road(918.0),
            ..AirReading::default()
        },
        AirReading {
            time_s: at(30.0),
            wind: Some(WindReading {
                speed_m_s: 2.0,
                from_deg: 90.0,
                standard_uncertainty_m_s: 0.5,
            }),
            ..AirReading::default()
        },
        AirReading {
            time_s: at(60.0),
            temperature_c: measured(20.0, 0.3),
            ..AirReading::default()
        },
    ];
    let (air, warnings) = run(&readings, &site()).unwrap();
    assert_eq!(warnings, vec![]);
    let middle = air.at(START + 1800.0);
    assert!((middle.density_kg_m3 - moist_air_density_kg_m3(91_800.0, 291.15, 0.5)).abs() < 1e-9);
    // Wind from the east moves west; one reading holds all day.
    for minutes in [-60.0, 30.0, 300.0] {
        let state = air.at(START + 60.0 * minutes);
        assert!((state.wind_east_m_s + 2.0).abs() < 1e-12 && state.wind_north_m_s.abs() < 1e-12);
        assert_eq!(state.wind_standard_uncertainty_m_s, 0.5);
    }
    let mut untimed = readings.clone();
    untimed[1].time_s = None;
    let error = run(&untimed, &site()).unwrap_err();
    assert!(error.to_string().contains("no time"));
}

#[test]
fn a_typed_value_stands_instead_of_the_reports() {
    let reading = AirReading {
        metar: Some("EHAM 020855Z 24010KT 9999 18/11 Q1009".to_string()),
        temperature_c: measured(25.0, 0.3),
        ..AirReading::default()
    };
    let low = RideSite {
        height_m: Some(0.0),
        ..site()
    };
    let (air, _) = run(&[reading], &low).unwrap();
    let cold = moist_air_density_kg_m3(100_900.0, 298.15, 0.6359);
    assert!((air.at(START).density_kg_m3 - cold).abs() < 1e-5);
}

/// A reading in the middle of the ride, and a unit whose thermometer climbs by 2 K/h in its 1.5 h.
#[test]
fn between_few_readings_the_air_follows_the_units_thermometer() {
    let warming = |k_per_h: f64| {
        Some(Warming {
            k_per_h,
            standard_uncertainty_k_per_h: 0.6,
            known_by: KnownBy::UnitThermometer,
        })
    };
    let at = |time_s: f64, celsius: f64| AirReading {
        line: 20,
        time_s: Some(time_s),
        temperature_c: measured(celsius, 0.5),
        pressure: at_road(920.0),
        ..AirReading::default()
    };
    let warms = RideSite {
        unit_warming: warming(2.0),
        ..site()
    };
    let (air, _) = run(&[at(START + 2700.0, 20.0)], &warms).unwrap();
    for (hours, celsius) in [(0.0, 18.5), (0.75, 20.0), (1.5, 21.5)] {
        let found = air.at(START + 3600.0 * hours);
        assert!((found.temperature_c - celsius).abs() < 1e-9, "{found:?}");
        let expected = moist_air_density_kg_m3(92_000.0, celsius + 273.15, 0.5);
        assert!((found.density_kg_m3 - expected).abs() < 1e-12);
    }
    assert_eq!(air.warming.known_by, KnownBy::UnitThermometer);
    // Two readings that span the ride are believed instead.
    let (air, _) = run(&[at(START, 20.0), at(START + 5400.0, 20.6)], &warms).unwrap();
    assert!((air.at(START + 2700.0).temperature_c - 20.3).abs() < 1e-9);
    assert_eq!(air.warming.known_by, KnownBy::Readings);
    assert!((air.warming.k_per_h - 0.4).abs() < 1e-9);
    // Nothing is followed that nothing showed.
    let (air, _) = run(&[at(START, 20.0)], &site()).unwrap();
    assert_eq!(air.at(START + 5400.0).temperature_c, air.at(START).temperature_c);
    assert_eq!(air.warming, Warming::unknown());
}
