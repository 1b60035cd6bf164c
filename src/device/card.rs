//! A sound card that plays and records.

use super::choose::{self, choose_rate};
use super::engine::{LIMIT_S, Plan, within};
use super::hosts;
use super::take::record;
use crate::capture::{CaptureError, Monitor, Playback, Recorded, Side, SoundCard};
use crate::recording::{ChannelPick, RecordingError};

/// Which devices are used, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CardSettings {
    /// Name of the sound system, such as `alsa`.
    pub host: String,
    /// The output's own name, as [`list`](super::list()) has it.
    pub output: String,
    /// The input's own name.
    pub input: String,
    /// Samples a second of both; `None` takes the devices' own rate, so that nothing is converted on the way.
    pub sample_rate_hz: Option<u32>,
    /// Which of the input's channels are the source node and the driver.
    pub channels: ChannelPick,
}

impl CardSettings {
    /// At the devices' own rate, with the source node on the first input channel and the driver on the second.
    pub fn new(
        host: impl Into<String>,
        output: impl Into<String>,
        input: impl Into<String>,
    ) -> Self {
        Self {
            host: host.into(),
            output: output.into(),
            input: input.into(),
            sample_rate_hz: None,
            channels: ChannelPick::default(),
        }
    }
}

/// An output and an input that were found, with how to open them. The devices are open only while a take is made, so that
/// nothing hangs in between and other programs may use them.
#[derive(Clone, Debug)]
pub struct Card {
    plan: Plan,
    converted_from_hz: Option<u32>,
}

impl Card {
    /// Finds both devices and settles the rate.
    ///
    /// # Errors
    /// Devices that are not there, cannot be opened or have no rate in common; an input with one channel, or without the
    /// channels picked; a sound system that does not answer.
    pub fn open(settings: &CardSettings) -> Result<Self, CaptureError> {
        let settings = settings.clone();
        within("opening the devices", LIMIT_S, move || plan(&settings))?
    }

    /// The rate that a device itself runs at, Hz, where its server converts from and to [`sample_rate_hz`]; `None` where
    /// nothing is converted, or where the sound system does not say.
    ///
    /// [`sample_rate_hz`]: SoundCard::sample_rate_hz
    pub fn resampling(&self) -> Option<u32> {
        self.converted_from_hz
    }
}

impl SoundCard for Card {
    fn sample_rate_hz(&self) -> u32 {
        self.plan.sample_rate_hz
    }

    fn record(
        &mut self,
        playback: &Playback,
        monitor: &mut dyn Monitor,
    ) -> Result<Recorded, CaptureError> {
        record(&self.plan, playback, monitor)
    }
}

fn plan(settings: &CardSettings) -> Result<Card, CaptureError> {
    let unavailable = |side: Side, detail: String| CaptureError::Unavailable {
        side,
        device: match side {
            Side::Output => settings.output.clone(),
            Side::Input => settings.input.clone(),
        },
        detail,
    };
    let host = hosts::host(&settings.host).map_err(|said| unavailable(Side::Output, said))?;
    let ability = |side, name: &str| {
        let device = hosts::find(&host, name, side).map_err(|said| unavailable(side, said))?;
        hosts::ability(&device, side).map_err(|error| unavailable(side, error.to_string()))
    };
    let output = ability(Side::Output, &settings.output)?;
    let input = ability(Side::Input, &settings.input)?;

    let n_channels = input.n_channels();
    if n_channels < 2 {
        return Err(CaptureError::OneInput {
            device: settings.input.clone(),
            n_channels,
        });
    }
    let (source, driver) = (settings.channels.source(), settings.channels.driver());
    let highest = if source > driver { source } else { driver };
    let n_least = u16::try_from(highest + 1).unwrap_or(u16::MAX);
    if n_least > n_channels {
        return Err(RecordingError::NoSuchChannel {
            channel: highest + 1,
            n_channels: usize::from(n_channels),
        }
        .into());
    }

    let rates = |rates_hz: Vec<u32>| match rates_hz.as_slice() {
        [] => "none of the usual rates".to_owned(),
        rates_hz => format!("{rates_hz:?} Hz"),
    };
    let sample_rate_hz =
        choose_rate(&output, &input, settings.sample_rate_hz).ok_or_else(|| {
            let wanted = settings.sample_rate_hz.map_or_else(
                || "there is no rate that both devices run at".to_owned(),
                |rate_hz| format!("{rate_hz} Hz is not a rate that both devices run at"),
            );
            let detail = format!(
                "{wanted} (input: {}; output: {})",
                rates(input.rates_hz()),
                rates(output.rates_hz())
            );
            unavailable(Side::Input, detail)
        })?;
    let no_way = |side| {
        unavailable(
            side,
            format!("no known sample format at {sample_rate_hz} Hz"),
        )
    };
    let input_offer = input
        .pick(sample_rate_hz, n_least)
        .ok_or_else(|| no_way(Side::Input))?;
    // The fewest channels that have a right one to be silent.
    let output_offer = output
        .pick(sample_rate_hz, 2)
        .or_else(|| output.pick(sample_rate_hz, 1))
        .ok_or_else(|| no_way(Side::Output))?;
    Ok(Card {
        plan: Plan {
            host: settings.host.clone(),
            output: settings.output.clone(),
            input: settings.input.clone(),
            sample_rate_hz,
            output_offer,
            input_offer,
            channels: settings.channels,
        },
        converted_from_hz: choose::converted_from_hz(&output, &input, sample_rate_hz),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sound_system_that_is_not_there_is_no_card() {
        let error = Card::open(&CardSettings::new("gramophone", "horn", "needle")).unwrap_err();
        assert!(matches!(error, CaptureError::Unavailable { .. }));
        assert!(error.to_string().contains("gramophone"), "{error}");
    }
}
