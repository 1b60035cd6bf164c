//! How the value of each flag is read.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use clap::builder::{OsStringValueParser, TypedValueParser};
use farcone::circuit::CoilFamily;
use farcone::coins::{CoinError, parse_coins};
use farcone::jig::Wiring;
use farcone::kit::Method;
use farcone::quantity::{Dimension, QuantityError, Spread, Stated, parse_band, parse_quantity};
use farcone::recording::{ChannelPick, RecordingError};

/// A pair of frequencies, Hz.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band(pub f64, pub f64);

/// The files of one take.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TakePath(pub Vec<PathBuf>);

/// A photo, and what it shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoArg {
    pub of: String,
    pub file: PathBuf,
}

pub fn photo(text: &str) -> Result<PhotoArg, SettingError> {
    let parts = text.split_once('=').map(|(of, file)| (of.trim(), file));
    match parts {
        Some((of, file)) if !of.is_empty() && !file.is_empty() => Ok(PhotoArg {
            of: of.to_owned(),
            file: file.into(),
        }),
        _ => Err(SettingError::NotAPhoto(text.to_owned())),
    }
}

/// Width, depth and height of what a printer prints, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bed(pub [f64; 3]);

/// Input resistances of channel 1 and 2, ohm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputLoad(pub Stated, pub Stated);

macro_rules! quantity_parsers {
    ($($name:ident = $dimension:ident,)+) => {
        $(pub fn $name(text: &str) -> Result<Stated, QuantityError> {
            parse_quantity(text, Dimension::$dimension)
        })+
    };
}

quantity_parsers! {
    volume = Volume,
    resistance = Resistance,
    diameter = Length,
    area = Area,
    voltage = Voltage,
}

/// A mass, or coins: `coins:2xeur-20ct+putty`.
pub fn mass(text: &str) -> Result<Stated, SettingError> {
    match parse_coins(text) {
        Some(coins) => Ok(coins?),
        None => Ok(parse_quantity(text, Dimension::Mass)?),
    }
}

/// Why a setting is not taken.
#[derive(Debug, thiserror::Error)]
pub enum SettingError {
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    #[error(transparent)]
    Coins(#[from] CoinError),
    #[error("a setting has no +- behind it; leave it off")]
    Spread,
    #[error("{0} is not a whole number of hertz; write for example 48kHz")]
    NotWhole(f64),
    #[error("\"{0}\" is not two channel numbers; write the source's first, as in 1,2")]
    NotTwoChannels(String),
    #[error(transparent)]
    Channels(#[from] RecordingError),
    #[error("\"{0}\" is no printer's bed; write its width, depth and height, as in 220x220x250mm")]
    NotABed(String),
    #[error("\"{0}\" does not say what the photo shows; write for example wiring=wiring.jpg")]
    NotAPhoto(String),
    #[error(
        "a take is one file, or two mono files with one comma between them (source.wav,driver.wav)"
    )]
    ManyFiles,
}

/// A setting of the program: a quantity without a doubt.
fn setting(text: &str, dimension: Dimension) -> Result<f64, SettingError> {
    let stated = parse_quantity(text, dimension)?;
    if stated.spread != Spread::Unstated {
        return Err(SettingError::Spread);
    }
    Ok(stated.value)
}

pub fn frequency_hz(text: &str) -> Result<f64, SettingError> {
    setting(text, Dimension::Frequency)
}

pub fn volume_m3(text: &str) -> Result<f64, SettingError> {
    setting(text, Dimension::Volume)
}

pub fn length_m(text: &str) -> Result<f64, SettingError> {
    setting(text, Dimension::Length)
}

/// A length that may be nothing: no gasket.
pub fn thickness(text: &str) -> Result<Stated, QuantityError> {
    match text.trim() {
        "0mm" => Ok(Stated::within(0.0, 0.0)),
        text => diameter(text),
    }
}

/// A volume that may be nothing, or below zero for what stands out.
pub fn hollow(text: &str) -> Result<Stated, QuantityError> {
    let text = text.trim();
    if matches!(text, "0ml" | "0L" | "0cm3") {
        return Ok(Stated::unstated(0.0));
    }
    let stands_out = text.strip_prefix('-');
    let mut stated = volume(stands_out.unwrap_or(text))?;
    if stands_out.is_some() {
        stated.value = -stated.value;
    }
    Ok(stated)
}

/// Three lengths; a unit stands behind the last, or behind each.
pub fn bed(text: &str) -> Result<Bed, SettingError> {
    let not_a_bed = || SettingError::NotABed(text.chars().take(40).collect());
    let parts: Vec<&str> = text.split(['x', '\u{d7}']).map(str::trim).collect();
    let &[_, _, last] = parts.as_slice() else {
        return Err(not_a_bed());
    };
    let unit = last.trim_start_matches(|c: char| !c.is_alphabetic());
    let mut bed_m = [0.0; 3];
    for (length_m, part) in bed_m.iter_mut().zip(&parts) {
        let has_unit = part.ends_with(char::is_alphabetic);
        let part = format!("{part}{}", if has_unit { "" } else { unit });
        *length_m = setting(&part, Dimension::Length).map_err(|_| not_a_bed())?;
    }
    Ok(Bed(bed_m))
}

pub fn sample_rate_hz(text: &str) -> Result<u32, SettingError> {
    let hz = setting(text, Dimension::Frequency)?;
    if hz.fract() == 0.0 && hz <= f64::from(u32::MAX) {
        Ok(hz as u32)
    } else {
        Err(SettingError::NotWhole(hz))
    }
}

/// Zero is a length of time here: no fade, no silence.
pub fn time_s(text: &str) -> Result<f64, SettingError> {
    match text.trim() {
        "0s" | "0ms" => Ok(0.0),
        text => setting(text, Dimension::Time),
    }
}

pub fn level_dbfs(text: &str) -> Result<f64, SettingError> {
    setting(text, Dimension::Level)
}

pub fn band(text: &str) -> Result<Band, QuantityError> {
    parse_band(text).map(|(low_hz, high_hz)| Band(low_hz, high_hz))
}

pub fn input_load(text: &str) -> Result<InputLoad, QuantityError> {
    let (first, second) = text.split_once(',').unwrap_or((text, text));
    Ok(InputLoad(resistance(first)?, resistance(second)?))
}

pub fn channels(text: &str) -> Result<ChannelPick, SettingError> {
    let number = |part: &str| usize::from_str(part.trim()).ok();
    let numbers = text
        .split_once(',')
        .and_then(|(source, driver)| number(source).zip(number(driver)));
    let (source, driver) =
        numbers.ok_or_else(|| SettingError::NotTwoChannels(text.chars().take(40).collect()))?;
    Ok(ChannelPick::from_numbers(source, driver)?)
}

/// One of a few names, listed in the help.
fn named<T: Clone + Send + Sync + 'static>(
    names: &'static [&'static str],
    parse: fn(&str) -> Option<T>,
) -> impl TypedValueParser<Value = T> {
    clap::builder::PossibleValuesParser::new(names)
        .try_map(move |name| parse(&name).ok_or("not one of the names listed"))
}

pub fn wiring() -> impl TypedValueParser<Value = Wiring> {
    named(&["across-driver", "across-resistor"], Wiring::parse)
}

pub fn coil() -> impl TypedValueParser<Value = CoilFamily> {
    named(
        &["plain", "lr-2", "power-law", "semi-inductor"],
        CoilFamily::parse,
    )
}

pub fn kit_method() -> impl TypedValueParser<Value = Method> {
    named(&["added-mass", "test-box", "both"], Method::parse)
}

pub fn take() -> impl TypedValueParser<Value = TakePath> {
    OsStringValueParser::new().try_map(take_path)
}

/// A comma separates two mono files, unless a file of that whole name exists.
fn take_path(text: OsString) -> Result<TakePath, SettingError> {
    let pair = match text.to_str() {
        Some(text) if !Path::new(text).exists() => text.split_once(','),
        _ => None,
    };
    match pair {
        None => Ok(TakePath(vec![text.into()])),
        Some((source, driver))
            if driver.contains(',') || source.is_empty() || driver.is_empty() =>
        {
            Err(SettingError::ManyFiles)
        }
        Some((source, driver)) => Ok(TakePath(vec![source.into(), driver.into()])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_have_units_and_no_doubt() {
        assert_eq!(level_dbfs("-20dBFS").unwrap(), -20.0);
        assert_eq!(sample_rate_hz("48kHz").unwrap(), 48_000);
        assert_eq!(time_s("0s").unwrap(), 0.0);
        assert!(matches!(time_s("0"), Err(SettingError::Quantity(_))));
        assert!(matches!(
            frequency_hz("5Hz+-1Hz"),
            Err(SettingError::Spread)
        ));
        assert!(matches!(
            sample_rate_hz("44100.5Hz"),
            Err(SettingError::NotWhole(_))
        ));
    }

    #[test]
    fn a_bed_has_three_lengths() {
        for text in [
            "220x220x250mm",
            "22cm x 220mm x 250mm",
            "220\u{d7}220\u{d7}250mm",
        ] {
            assert_eq!(bed(text).unwrap(), Bed([0.22, 0.22, 0.25]), "{text}");
        }
        for text in ["220x220mm", "220x220x250", "axbxcmm", "220x-220x250mm", ""] {
            let said = bed(text).unwrap_err().to_string();
            assert!(said.contains("220x220x250mm"), "{said}");
        }
    }

    #[test]
    fn a_hollow_may_stand_out() {
        assert_eq!(hollow("12ml").unwrap().value, 12e-6);
        assert_eq!(hollow("-3ml").unwrap().value, -3e-6);
        assert_eq!(hollow("0ml").unwrap().value, 0.0);
        assert!(hollow("--3ml").is_err() && hollow("12").is_err());
        assert_eq!(thickness("0mm").unwrap().value, 0.0);
        assert!(thickness("0").is_err() && thickness("-1mm").is_err());
    }

    #[test]
    fn one_load_is_both_inputs() {
        let one = input_load("10kohm").unwrap();
        assert_eq!((one.0.value, one.1.value), (1e4, 1e4));
        let two = input_load("10kohm,1Mohm").unwrap();
        assert_eq!((two.0.value, two.1.value), (1e4, 1e6));
    }

    #[test]
    fn channels_count_from_one() {
        assert_eq!(channels("3,1").unwrap().source(), 2);
        for text in ["0,1", "1,1", "1", "a,b", "1,2,3", ""] {
            assert!(channels(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_comma_separates_two_files() {
        assert_eq!(take_path("a.wav".into()).unwrap().0.len(), 1);
        assert_eq!(take_path("a.wav,b.wav".into()).unwrap().0.len(), 2);
        assert!(take_path("a.wav,b.wav,c.wav".into()).is_err());
        assert!(take_path("a.wav,".into()).is_err());
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a,b.wav");
        std::fs::write(&file, "").unwrap();
        assert_eq!(take_path(file.into()).unwrap().0.len(), 1);
    }
}
