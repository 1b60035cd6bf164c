//! Quantities as people type them, and as they are shown.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::quantity::{
    Dimension, DisplayUnit, QuantityError, Spread, Stated, format_estimate, parse_band,
    parse_quantity, parse_quantity_of,
};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// Rounding: a unit's factor and its zero cost a few units in the last place.
const ROUNDING: f64 = 4.0 * f64::EPSILON;

fn read(text: &str, dimension: Dimension) -> Stated {
    parse_quantity(text, dimension).unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn refusal(text: &str, dimension: Dimension) -> QuantityError {
    parse_quantity(text, dimension).expect_err(text)
}

fn assert_close(got: f64, wanted: f64, what: &str) {
    assert!(
        (got - wanted).abs() <= ROUNDING * wanted.abs(),
        "{what}: {got:?} instead of {wanted:?}"
    );
}

#[test]
fn every_unit_comes_out_in_si() {
    use Dimension::*;
    let cases: &[(&str, Dimension, f64)] = &[
        ("5.2g", Mass, 0.0052),
        ("5200mg", Mass, 0.0052),
        ("0.0052kg", Mass, 0.0052),
        // One avoirdupois ounce is 28.349523125 g exactly.
        ("1oz", Mass, 0.028349523125),
        ("2.00L", Volume, 0.002),
        ("2l", Volume, 0.002),
        ("2000ml", Volume, 0.002),
        ("200cl", Volume, 0.002),
        ("20dl", Volume, 0.002),
        ("2000cm3", Volume, 0.002),
        ("2dm³", Volume, 0.002),
        ("0.002m^3", Volume, 0.002),
        // The inch is 25.4 mm exactly.
        ("100in3", Volume, 1.6387064e-3),
        ("47mohm", Resistance, 0.047),
        ("47ohm", Resistance, 47.0),
        ("4.7e1ohm", Resistance, 47.0),
        ("4.7E+1 ohm", Resistance, 47.0),
        ("470e-1Ω", Resistance, 47.0),
        ("10kohm", Resistance, 1e4),
        ("1Mohm", Resistance, 1e6),
        ("78mm", Length, 0.078),
        ("7.8cm", Length, 0.078),
        (".078m", Length, 0.078),
        ("10in", Length, 0.254),
        ("48cm2", Area, 0.0048),
        ("4800mm²", Area, 0.0048),
        ("0.0048m2", Area, 0.0048),
        ("10in2", Area, 6.4516e-3),
        ("20kHz", Frequency, 2e4),
        ("6.Hz", Frequency, 6.0),
        ("23C", Temperature, 296.15),
        ("-5°C", Temperature, 268.15),
        ("73.4F", Temperature, 296.15),
        ("296.15K", Temperature, 296.15),
        ("1013hPa", Pressure, 101300.0),
        ("101.3kPa", Pressure, 101300.0),
        ("1013mbar", Pressure, 101300.0),
        ("101300Pa", Pressure, 101300.0),
        ("450m", Altitude, 450.0),
        ("0m", Altitude, 0.0),
        ("-400m", Altitude, -400.0),
        ("1000ft", Altitude, 304.8),
        ("45%", Ratio, 0.45),
        ("0%", Ratio, 0.0),
        ("10s", Time, 10.0),
        ("250ms", Time, 0.25),
        ("-12dBFS", Level, -12.0),
        ("0dBFS", Level, 0.0),
        ("500mV", Voltage, 0.5),
        ("2.83V", Voltage, 2.83),
        ("0.6mH", Inductance, 0.6e-3),
        ("600uH", Inductance, 0.6e-3),
        ("600µH", Inductance, 0.6e-3),
        ("0.0006H", Inductance, 0.6e-3),
    ];
    for &(text, dimension, value) in cases {
        let stated = read(text, dimension);
        assert_close(stated.value, value, text);
        assert_eq!(stated.spread, Spread::Unstated, "{text}");
    }
}

/// A power of ten is applied to the digits, so the result is the nearest double, not one beside it.
#[test]
fn decimal_units_do_not_round_twice() {
    assert_eq!(read("5.2g", Dimension::Mass).value, 0.0052);
    assert_eq!(read("0.3mH", Dimension::Inductance).value, 0.0003);
    assert_eq!(read("78.3mm", Dimension::Length).value, 0.0783);
}

#[test]
fn spreads_are_half_widths_or_standard_uncertainties() {
    use Dimension::*;
    let cases: &[(&str, Dimension, Spread)] = &[
        ("5.2g+-0.05g", Mass, Spread::HalfWidth(5e-5)),
        ("5.2g+-50mg", Mass, Spread::HalfWidth(5e-5)),
        ("5.2g +- 0.05 g", Mass, Spread::HalfWidth(5e-5)),
        ("5.2g±0.05g", Mass, Spread::HalfWidth(5e-5)),
        ("5.2g+/-0.05g", Mass, Spread::HalfWidth(5e-5)),
        ("5.2g+-u0.05g", Mass, Spread::Standard(5e-5)),
        ("5.2g ± u 0.05g", Mass, Spread::Standard(5e-5)),
        ("47ohm+-1%", Resistance, Spread::HalfWidth(0.47)),
        ("47ohm+-u1%", Resistance, Spread::Standard(0.47)),
        // A difference of temperatures has no zero to shift.
        ("23C+-2C", Temperature, Spread::HalfWidth(2.0)),
        ("23C+-2K", Temperature, Spread::HalfWidth(2.0)),
        ("73F+-9F", Temperature, Spread::HalfWidth(5.0)),
        // Percentage points, not a percentage of a percentage.
        ("45%+-5%", Ratio, Spread::HalfWidth(0.05)),
        ("-12dBFS+-0.5dB", Level, Spread::HalfWidth(0.5)),
        ("0m+-50m", Altitude, Spread::HalfWidth(50.0)),
    ];
    for &(text, dimension, wanted) in cases {
        match (read(text, dimension).spread, wanted) {
            (Spread::HalfWidth(got), Spread::HalfWidth(wanted)) => assert_close(got, wanted, text),
            (Spread::Standard(got), Spread::Standard(wanted)) => assert_close(got, wanted, text),
            (got, _) => panic!("{text}: {got:?}"),
        }
    }
}

#[test]
fn refusals_say_what_to_write_instead() {
    use Dimension::*;
    let cases: &[(&str, Dimension, &str)] = &[
        (
            "5.2",
            Mass,
            "\"5.2\" has no unit; write 5.2g (units for a mass: g, mg, kg, oz)",
        ),
        ("5,2g", Mass, "write a decimal point, as in 5.2g"),
        ("1,000ohm", Resistance, "no thousands separators"),
        ("", Mass, "a mass is missing; write for example 5.2g"),
        ("  ", Area, "an area is missing"),
        ("heavy", Mass, "does not begin with a number"),
        ("+-0.1g", Mass, "does not begin with a number"),
        ("nan g", Mass, "does not begin with a number"),
        ("inf", Mass, "does not begin with a number"),
        ("1e999g", Mass, "too large"),
        ("1e99999999999g", Mass, "too large"),
        (
            "5.2G",
            Mass,
            "\"G\" in \"5.2G\" is not a unit known here; units for a mass: g, mg, kg, oz (mind upper",
        ),
        ("47R", Resistance, "not a unit known here"),
        (
            "78mm",
            Mass,
            "\"78mm\" is a length, but a mass belongs here; its units are g, mg, kg, oz",
        ),
        ("0g", Mass, "not above zero, as a mass has to be"),
        ("-5.2g", Mass, "not above zero"),
        ("-300C", Temperature, "not above zero"),
        ("-1%", Ratio, "below zero, which a ratio cannot be"),
        (
            "5.2g+-0.05",
            Mass,
            "the spread in \"5.2g+-0.05\" has no unit; write +-0.05g",
        ),
        (
            "5.2g+-0,05g",
            Mass,
            "write a decimal point, as in 5.2g+-0.05g",
        ),
        (
            "5.2g+-0g",
            Mass,
            "the spread in \"5.2g+-0g\" is not above zero",
        ),
        ("5.2g+--0.1g", Mass, "is not above zero"),
        ("5.2g+-6g", Mass, "as large as the value"),
        ("5.2g+-5.2g", Mass, "as large as the value"),
        ("5.2g+-100%", Mass, "as large as the value"),
        ("5.2g+-0.1mm", Mass, "is a length"),
        ("5.2g+-", Mass, "does not begin with a number"),
        ("5.2g+-0.1g+-0.2g", Mass, "more than one +-"),
        (
            "23C+-1%",
            Temperature,
            "a spread in % makes no sense for the temperature",
        ),
        ("-12dBFS+-1%", Level, "a spread in % makes no sense"),
    ];
    for &(text, dimension, part) in cases {
        let message = refusal(text, dimension).to_string();
        assert!(message.contains(part), "{text}: {message}");
    }
}

#[test]
fn the_unit_decides_between_dimensions() {
    let any = [
        Dimension::Temperature,
        Dimension::Pressure,
        Dimension::Altitude,
        Dimension::Ratio,
    ];
    for (text, wanted) in [
        ("23C", Dimension::Temperature),
        ("1013hPa", Dimension::Pressure),
        ("450m", Dimension::Altitude),
        ("45%", Dimension::Ratio),
    ] {
        assert_eq!(parse_quantity_of(text, &any).unwrap().0, wanted, "{text}");
    }
    let message = parse_quantity_of("23", &any).unwrap_err().to_string();
    assert!(
        message.contains("a temperature or a pressure or an altitude or a ratio"),
        "{message}"
    );
    assert!(matches!(
        parse_quantity_of("23C", &[]),
        Err(QuantityError::WrongDimension { .. })
    ));
}

#[test]
fn bands_are_two_frequencies() {
    assert_eq!(parse_band("6Hz..20kHz").unwrap(), (6.0, 20_000.0));
    assert_eq!(parse_band(" 6 Hz .. 20 kHz ").unwrap(), (6.0, 20_000.0));
    for (text, part) in [
        ("6..20kHz", "\"6\" has no unit; write 6Hz"),
        ("6Hz-20kHz", "is not a frequency band"),
        ("20kHz..6Hz", "write the lower frequency first"),
        ("6Hz..6Hz", "write the lower frequency first"),
        ("6Hz..", "a frequency is missing"),
        ("6Hz..20m", "is a length"),
        ("6Hz+-1Hz..20kHz", "is not a frequency band"),
    ] {
        let message = parse_band(text).unwrap_err().to_string();
        assert!(message.contains(part), "{text}: {message}");
    }
}

#[test]
fn digits_follow_the_uncertainty() {
    use DisplayUnit::*;
    let cases: &[(f64, Option<f64>, DisplayUnit, &str, &str)] = &[
        (42.874150, Some(0.031), Hertz, "42.87", "0.03"),
        (42.874150, Some(0.029), Hertz, "42.874", "0.029"),
        // 0.0296 would round to two digits as 0.030: one digit says the same.
        (42.874150, Some(0.0296), Hertz, "42.87", "0.03"),
        (42.874150, Some(0.0996), Hertz, "42.87", "0.10"),
        (42.874150, Some(1.0), Hertz, "42.9", "1.0"),
        (0.0212, Some(0.00012), Gram, "21.20", "0.12"),
        (0.0212, Some(0.004), Gram, "21", "4"),
        (56_789.0, Some(1234.0), Plain, "56800", "1200"),
        (
            0.65e-3,
            Some(0.013e-3),
            MillimetrePerNewton,
            "0.650",
            "0.013",
        ),
        (0.65e-3, Some(0.013e-3), MicrometrePerNewton, "650", "13"),
        (0.0215, Some(0.0005), SquareCentimetre, "215", "5"),
        (0.0053977, Some(0.0001), Percent, "0.540", "0.010"),
        (0.0, Some(0.2), Decibel, "0.00", "0.20"),
        (-0.001, Some(0.2), Decibel, "0.00", "0.20"),
        (0.02, Some(3.0), Decibel, "0", "3"),
        // Unknown is never zero, and zero is never believed.
        (42.874150, None, Hertz, "42.87", "unknown"),
        (42.874150, Some(0.0), Hertz, "42.87", "unknown"),
        (42.874150, Some(f64::NAN), Hertz, "42.87", "unknown"),
        (f64::NAN, Some(1.0), Hertz, "unknown", "unknown"),
        (42.874150, Some(1e-12), Hertz, "42.87415", "<0.00001"),
        (1.6e-12, None, Plain, "1.600e-12", "unknown"),
    ];
    for &(value, uncertainty, unit, value_text, plus_minus) in cases {
        let shown = format_estimate(value, uncertainty, unit);
        assert_eq!(
            (shown.value.as_str(), shown.plus_minus.as_str()),
            (value_text, plus_minus),
            "{value} {uncertainty:?}"
        );
    }
}

fn any_dimension() -> impl Strategy<Value = Dimension> {
    use Dimension::*;
    prop::sample::select(vec![
        Mass,
        Volume,
        Resistance,
        Length,
        Area,
        Frequency,
        Temperature,
        Pressure,
        Altitude,
        Ratio,
        Time,
        Level,
        Voltage,
        Inductance,
    ])
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(52), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_panics(text in any::<String>(), dimension in any_dimension()) {
        let _ = parse_quantity(&text, dimension);
        let _ = parse_band(&text);
    }

    /// Text that is nearly right reaches further into the reader than random characters do.
    #[test]
    fn no_nearly_right_text_panics(text in "[-+±u0-9.,eE]{0,8}[ gmLHzkΩµ%CF°dBS]{0,4}(\\+-|±|\\.\\.)?[u0-9.eE+-]{0,5}[gm%]?", dimension in any_dimension()) {
        let _ = parse_quantity(&text, dimension);
        let _ = parse_band(&text);
    }

    /// Written with the shortest digits that tell it apart, a number comes back: exactly in SI units, to rounding in others.
    #[test]
    fn what_is_written_is_read(value in 1e-9..1e9_f64, relative in 1e-6..0.9_f64) {
        let width = value * relative;
        for (unit, dimension, scale) in [
            ("ohm", Dimension::Resistance, 1.0),
            ("kg", Dimension::Mass, 1.0),
            ("g", Dimension::Mass, 1e-3),
            ("uH", Dimension::Inductance, 1e-6),
            ("kHz", Dimension::Frequency, 1e3),
            ("in", Dimension::Length, 0.0254),
        ] {
            let stated = parse_quantity(&format!("{value}{unit}+-u{width:e}{unit}"), dimension).unwrap();
            prop_assert!((stated.value - value * scale).abs() <= ROUNDING * value * scale);
            let Spread::Standard(read_width) = stated.spread else { panic!("{stated:?}") };
            prop_assert!((read_width - width * scale).abs() <= ROUNDING * width * scale);
            if scale == 1.0 {
                prop_assert_eq!(stated.value, value);
            }
        }
    }

    /// What is shown can be typed again, and is then within half of the last place of both numbers.
    #[test]
    fn what_is_shown_is_read(value in 1e-4..1e4_f64, relative in 1e-5..0.2_f64) {
        let uncertainty = value * relative;
        for (unit, dimension) in [
            (DisplayUnit::Ohm, Dimension::Resistance),
            (DisplayUnit::Gram, Dimension::Mass),
            (DisplayUnit::Litre, Dimension::Volume),
            (DisplayUnit::SquareCentimetre, Dimension::Area),
            (DisplayUnit::Hertz, Dimension::Frequency),
            (DisplayUnit::Millihenry, Dimension::Inductance),
        ] {
            let shown = format_estimate(value, Some(uncertainty), unit);
            let typed = format!("{}{}±{}{}", shown.value, shown.unit, shown.plus_minus, shown.unit);
            let stated = parse_quantity(&typed, dimension).unwrap_or_else(|e| panic!("{e}"));
            let Spread::HalfWidth(width) = stated.spread else { panic!("{stated:?}") };
            // Half a unit of a one-digit uncertainty of 3 is a sixth of it: the coarsest case.
            prop_assert!((width - uncertainty).abs() <= uncertainty / 5.99, "{typed}: {uncertainty}");
            prop_assert!((stated.value - value).abs() <= uncertainty / 5.99, "{typed}: {value}");
        }
    }
}
