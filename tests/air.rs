//! Air against printed values and an independent equation of state.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::air::{Air, AirError, AirInput, PressureInput, parse_air, standard_pressure_pa};
use farcone::finding::{Code, Severity, Verdict};
use farcone::quantity::{Spread, Stated};

/// Rounding: half a unit of the last printed digit (relative), for eight and for seven printed digits.
const PRINTED: f64 = 6e-8;
/// Method: CIPM-2007 states a relative standard uncertainty of 22e-6; twice that covers the equation of state as well.
const DENSITY_METHOD: f64 = 45e-6;
/// Method: Cramer states an uncertainty of 300e-6 over 0 to 30 °C.
const SPEED_METHOD: f64 = 300e-6;
/// Rounding of arithmetic alone.
const ROUNDING: f64 = 1e-12;

fn air(celsius: f64, pressure_pa: f64, relative_humidity: f64) -> Air {
    Air {
        temperature_k: celsius + 273.15,
        pressure_pa,
        relative_humidity,
    }
}

fn assert_within(got: f64, wanted: f64, relative: f64, what: &str) {
    assert!(
        (got / wanted - 1.0).abs() <= relative,
        "{what}: {got:.9} against {wanted:.9}"
    );
}

/// IEC 61094-2:2009, Table F.1, as quoted in a public validation module.
#[test]
fn the_printed_table_of_iec_61094_2() {
    for (state, density, speed) in [
        (air(23.0, 101_325.0, 0.5), 1.1860848, 345.86652),
        (air(20.0, 80_000.0, 0.65), 0.9441589, 344.38267),
    ] {
        assert_within(state.density_kg_per_m3(), density, PRINTED, "density");
        assert_within(
            state.speed_of_sound_m_per_s(),
            speed,
            PRINTED,
            "speed of sound",
        );
    }
}

/// Dry air at 0 °C: Cramer's equation at 314 ppm of carbon dioxide gives 331.4550 m/s (computed independently). At our
/// 400 ppm it has to be lower by the equation's slope there, 85.2 m/s per unit of mole fraction.
#[test]
fn dry_air_at_the_freezing_point() {
    let at_314_ppm = 331.4550 - 85.2 * (400e-6 - 314e-6);
    let speed = air(0.0, 101_325.0, 0.0).speed_of_sound_m_per_s();
    // Rounding: four printed decimals.
    assert_within(speed, at_314_ppm, 0.0001 / 331.0, "speed of sound");
}

/// CoolProp 8.0.0, HAPropsSI (1/Vha, speed_of_sound); generator `fixtures/tables/air_coolprop.py`.
#[test]
fn an_independent_equation_of_state_agrees() {
    let table = include_str!("../fixtures/tables/air_coolprop.csv");
    let (mut worst_density, mut worst_speed, mut n_rows) = (0.0_f64, 0.0_f64, 0);
    for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let state = air(cells[0], cells[1], cells[2]);
        let density = (state.density_kg_per_m3() / cells[3] - 1.0).abs();
        let speed = (state.speed_of_sound_m_per_s() / cells[4] - 1.0).abs();
        assert!(
            density <= DENSITY_METHOD && speed <= SPEED_METHOD,
            "{line}: {density:e}, {speed:e}"
        );
        worst_density = if density > worst_density {
            density
        } else {
            worst_density
        };
        worst_speed = if speed > worst_speed {
            speed
        } else {
            worst_speed
        };
        n_rows += 1;
    }
    assert_eq!(n_rows, 42);
    // The page and the finding promise these, for the whole range in which no caution is given.
    assert!(
        worst_density < 40e-6 && worst_speed < 140e-6,
        "{worst_density:e}, {worst_speed:e}"
    );
}

/// ρc² of the six points, computed independently (numpy) and given to the pascal.
#[test]
fn the_stiffness_of_air_follows_the_pressure() {
    for (celsius, pressure_pa, humidity, modulus_pa) in [
        (20.0, 101_325.0, 0.0, 142_012.0),
        (20.0, 101_325.0, 0.5, 141_911.0),
        (23.0, 101_325.0, 0.5, 141_884.0),
        (15.0, 95_000.0, 0.3, 133_109.0),
        (25.0, 98_000.0, 0.6, 137_173.0),
        (30.0, 101_325.0, 0.8, 141_688.0),
    ] {
        let state = air(celsius, pressure_pa, humidity);
        assert!(
            (state.bulk_modulus_pa() - modulus_pa).abs() <= 0.5,
            "{state:?}: {}",
            state.bulk_modulus_pa()
        );
        let impedance = state.density_kg_per_m3() * state.speed_of_sound_m_per_s();
        assert_within(
            state.characteristic_impedance_pa_s_per_m(),
            impedance,
            ROUNDING,
            "ρc",
        );
    }
}

/// Values of the ISO 2533 table at geopotential altitudes, from memory, confirmed by computation.
#[test]
fn the_standard_atmosphere() {
    for (altitude_m, pressure_pa) in [
        (0.0, 101_325.0),
        (500.0, 95_460.8),
        (1000.0, 89_874.6),
        (5000.0, 54_019.9),
        (11_000.0, 22_632.0),
    ] {
        assert!(
            (standard_pressure_pa(altitude_m) - pressure_pa).abs() <= 0.1,
            "{altitude_m} m"
        );
    }
}

#[test]
fn text_in_any_order_is_told_apart_by_its_units() {
    let air = parse_air("45%, 1013hPa+-2hPa ,23C+-1C").unwrap();
    assert_eq!(air.temperature_k, Some(Stated::within(296.15, 1.0)));
    assert_eq!(
        air.pressure,
        Some(PressureInput::Pressure(Stated::within(101_300.0, 200.0)))
    );
    assert_eq!(air.relative_humidity, Some(Stated::unstated(0.45)));

    let air = parse_air("23C,450m").unwrap();
    assert_eq!(
        air.pressure,
        Some(PressureInput::Altitude(Stated::unstated(450.0)))
    );
    assert_eq!(air.relative_humidity, None);

    for (text, part) in [
        ("23", "\"23\" has no unit; write 23C"),
        ("23,5C", "\"23\" has no unit"),
        ("23C,,45%", "is missing"),
        ("", "write for example 23C,1013hPa,45%"),
        ("23C,21C", "temperature is given twice"),
        ("1013hPa,450m", "a pressure or an altitude, not both"),
        ("23C,5.2g", "is a mass"),
        ("23C+-1%", "makes no sense for the temperature"),
        ("23C,0hPa", "not above zero"),
    ] {
        let message = parse_air(text).unwrap_err().to_string();
        assert!(message.contains(part), "{text}: {message}");
    }
}

#[test]
fn gaps_are_filled_and_said() {
    let (resolved, findings) = AirInput::default().resolve().unwrap();
    assert_eq!(resolved.air(), air(20.0, 101_325.0, 0.5));
    assert_eq!(resolved.temperature_k.spread, Spread::HalfWidth(5.0));
    assert_eq!(resolved.pressure_pa.spread, Spread::HalfWidth(5000.0));
    assert_eq!(findings.len(), 3);
    assert!(findings.iter().all(|finding| finding.code == Code::ValueAssumed && finding.severity == Severity::Note));
    assert_eq!(
        findings[0].message,
        "The air's temperature was not given; 20 ± 5 °C is assumed."
    );
    assert_eq!(Verdict::of(&findings), Verdict::Good);

    let (resolved, findings) = parse_air("23C,1013hPa,45%").unwrap().resolve().unwrap();
    assert_eq!(resolved.temperature_k, Stated::within(296.15, 2.0));
    assert_eq!(resolved.pressure_pa, Stated::within(101_300.0, 500.0));
    assert_eq!(resolved.relative_humidity, Stated::within(0.45, 0.2));
    assert_eq!(
        findings
            .iter()
            .filter(|finding| finding.code == Code::UncertaintyAssumed)
            .count(),
        3
    );

    let (resolved, findings) = parse_air("23C+-1C,1013hPa+-u1hPa,45%+-5%")
        .unwrap()
        .resolve()
        .unwrap();
    assert_eq!(resolved.pressure_pa.spread, Spread::Standard(100.0));
    assert_eq!(findings, []);
}

#[test]
fn an_altitude_becomes_a_pressure_with_the_weather_on_top() {
    let (resolved, findings) = parse_air("23C+-1C,450m+-10m,45%+-5%")
        .unwrap()
        .resolve()
        .unwrap();
    assert_eq!(resolved.pressure_pa.value, standard_pressure_pa(450.0));
    // 10 m make 116 Pa at this altitude; rectangular; the weather adds 8 hPa of standard uncertainty.
    let wanted_pa = (116.0_f64.powi(2) / 3.0 + 800.0_f64.powi(2)).sqrt();
    let Spread::Standard(standard_pa) = resolved.pressure_pa.spread else {
        panic!("{resolved:?}")
    };
    assert!(
        (standard_pa - wanted_pa).abs() < 0.1,
        "{standard_pa} against {wanted_pa}"
    );
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert!(
        findings[0].message.contains("960 hPa"),
        "{}",
        findings[0].message
    );
}

#[test]
fn outside_the_formulas_is_a_caution_and_beyond_reason_an_error() {
    for (text, is_caution) in [
        ("0C,1013hPa,45%", false),
        ("30C,1013hPa,45%", false),
        ("-5C,1013hPa,45%", true),
        ("-20C,1013hPa,45%", true),
        ("60C,1013hPa,45%", true),
        ("20C,600hPa,45%", false),
        ("20C,599hPa,45%", true),
        ("20C,1100hPa,0%", false),
        ("20C,5000m,100%", true),
    ] {
        let (_, findings) = parse_air(text).unwrap().resolve().unwrap();
        let cautions: Vec<_> = findings
            .iter()
            .filter(|finding| finding.severity == Severity::Caution)
            .collect();
        assert_eq!(
            cautions.len(),
            usize::from(is_caution),
            "{text}: {findings:?}"
        );
        if let Some(caution) = cautions.first() {
            assert_eq!(caution.code, Code::AirOutOfRange);
            assert!(caution.evidence.as_ref().unwrap().limit.is_some());
        }
    }
    for (text, part) in [
        (
            "61C",
            "temperature of 61.00 °C is not one of a room; it has to be from -20 to 60 °C",
        ),
        ("-21C", "temperature"),
        ("23K", "temperature"),
        ("499hPa", "pressure"),
        ("1101hPa", "pressure"),
        ("1013kPa", "pressure"),
        ("9000m", "altitude of 9000.00 m"),
        ("-501m", "altitude"),
        ("101%", "relative humidity of 101.00 %"),
    ] {
        let error = parse_air(text).unwrap().resolve().unwrap_err();
        assert!(
            matches!(error, AirError::Absurd { .. }) && error.to_string().contains(part),
            "{text}: {error}"
        );
    }
    // A caller can build the input without the text; not a number is refused as well.
    let input = AirInput {
        temperature_k: Some(Stated::unstated(f64::NAN)),
        ..AirInput::default()
    };
    assert!(matches!(
        input.resolve(),
        Err(AirError::Absurd {
            what: "temperature",
            ..
        })
    ));
}
