//! How the value of each flag is read.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use clap::builder::{OsStringValueParser, TypedValueParser};
use farcone::circuit::CoilFamily;
use farcone::jig::Wiring;
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
    mass = Mass,
    volume = Volume,
    resistance = Resistance,
    diameter = Length,
    area = Area,
    voltage = Voltage,
}

/// Why a setting is not taken.
#[derive(Debug, thiserror::Error)]
pub enum SettingError {
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    #[error("a setting has no +- behind it; leave it off")]
    Spread,
    #[error("{0} is not a whole number of hertz; write for example 48kHz")]
    NotWhole(f64),
    #[error("\"{0}\" is not two channel numbers; write the source's first, as in 1,2")]
    NotTwoChannels(String),
    #[error(transparent)]
    Channels(#[from] RecordingError),
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
