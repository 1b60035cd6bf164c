//! Which rate, how many channels and which sample format, out of what a device offers.

use crate::capture::Side;
use cpal::SampleFormat;

use crate::recording::{MAX_RATE_HZ, MIN_RATE_HZ};

/// The rates that sound cards run at, Hz; the usual ones first where there is a choice.
pub(super) const RATES_HZ: [u32; 6] = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000];
const BY_HABIT_HZ: [u32; 6] = [48_000, 44_100, 96_000, 88_200, 192_000, 176_400];

/// Sample formats that are used, the best first: floats come through servers unchanged, and more bits keep more.
pub(super) const FORMATS: [SampleFormat; 4] = [
    SampleFormat::F32,
    SampleFormat::I32,
    SampleFormat::I24,
    SampleFormat::I16,
];

/// One way in which a device can be opened, or a range of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Offer {
    pub(super) n_channels: u16,
    pub(super) min_hz: u32,
    pub(super) max_hz: u32,
    pub(super) format: SampleFormat,
    /// Shortest and longest block, frames.
    pub(super) block: Option<(u32, u32)>,
}

/// Everything one side of a device offers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Ability {
    pub(super) offers: Vec<Offer>,
    /// What a server says of the device behind: its own channels and rate. Other counts and rates are converted there.
    pub(super) own: Option<(u16, u32)>,
    pub(super) default_hz: Option<u32>,
}

impl Ability {
    fn usable(&self) -> impl Iterator<Item = &Offer> {
        self.offers
            .iter()
            .filter(|offer| FORMATS.contains(&offer.format))
    }

    pub(super) fn has_rate(&self, rate_hz: u32) -> bool {
        (MIN_RATE_HZ..=MAX_RATE_HZ).contains(&rate_hz)
            && self
                .usable()
                .any(|offer| (offer.min_hz..=offer.max_hz).contains(&rate_hz))
    }

    /// Those of the usual rates that it offers.
    pub(super) fn rates_hz(&self) -> Vec<u32> {
        let offered = |rate_hz: &u32| self.has_rate(*rate_hz);
        RATES_HZ.into_iter().filter(offered).collect()
    }

    pub(super) fn formats(&self) -> Vec<SampleFormat> {
        let offered = |format: &SampleFormat| self.offers.iter().any(|o| o.format == *format);
        FORMATS.into_iter().filter(offered).collect()
    }

    /// How many channels it has, or offers at most.
    pub(super) fn n_channels(&self) -> u16 {
        let most = self.usable().map(|offer| offer.n_channels).max();
        self.own
            .map_or(most.unwrap_or(0), |(n_channels, _)| n_channels)
    }

    pub(super) fn own_hz(&self) -> Option<u32> {
        self.own.map(|(_, rate_hz)| rate_hz)
    }

    /// How to open it at a rate with at least so many channels: with its own number of channels, or else with the fewest,
    /// in the best format.
    pub(super) fn pick(&self, rate_hz: u32, n_least: u16) -> Option<Offer> {
        let own = self.own.map(|(n_channels, _)| n_channels);
        let suits = |offer: &&Offer| {
            offer.n_channels >= n_least && (offer.min_hz..=offer.max_hz).contains(&rate_hz)
        };
        let rank = |offer: &&Offer| {
            (
                Some(offer.n_channels) != own,
                offer.n_channels,
                FORMATS.iter().position(|format| *format == offer.format),
            )
        };
        self.usable().filter(suits).min_by_key(rank).copied()
    }
}

/// The rate for both sides, or which of the wanted or usual rates are missing where.
///
/// Without a wish: the rate that the devices behind run at, so that no server converts; where they differ the input's,
/// whose conversion would do more harm; else the common default; else what is usual.
pub(super) fn choose_rate(
    output: &Ability,
    input: &Ability,
    wanted_hz: Option<u32>,
) -> Option<u32> {
    let both = |rate_hz: &u32| output.has_rate(*rate_hz) && input.has_rate(*rate_hz);
    if wanted_hz.is_some() {
        return wanted_hz.filter(both);
    }
    let common_default_hz = input
        .default_hz
        .filter(|rate_hz| output.default_hz == Some(*rate_hz));
    [input.own_hz(), output.own_hz(), common_default_hz]
        .into_iter()
        .flatten()
        .chain(BY_HABIT_HZ)
        .find(both)
}

/// The rate of a device behind a server that converts, Hz; `None` where nothing is converted, or nobody says.
pub(super) fn converted_from_hz(output: &Ability, input: &Ability, rate_hz: u32) -> Option<u32> {
    [input.own_hz(), output.own_hz()]
        .into_iter()
        .flatten()
        .find(|own_hz| *own_hz != rate_hz)
}

/// Block length to ask for, frames: shorter ones are lost on busy machines (measured: 8192 survived where the default did
/// not). What is in the output's blocks when somebody stops is heard until it has been played.
const BLOCK: u32 = 8192;
/// For an input that reaches a sound server through ALSA, at up to 48 kHz, and twice that above. There ALSA says that a block is ready before it
/// is, and is asked again and again until then; how often depends on the server's own blocks. Measured with PulseAudio 16: 12 % of a core with
/// 8192 frames, 7 % with 16 384, 1 % with these, which survived four busy programs on two cores.
const SERVED_BLOCK: u32 = 3072;
const SERVED_BLOCK_UP_TO_HZ: u32 = 48_000;

/// The block length to ask for within what is offered, for a device of this name.
pub(super) fn block(side: Side, device: &str, offer: &Offer, rate_hz: u32) -> u32 {
    let direct = device.starts_with("hw:") || device.starts_with("plughw:");
    let wanted = match side {
        Side::Input if !direct && rate_hz <= SERVED_BLOCK_UP_TO_HZ => SERVED_BLOCK,
        Side::Input if !direct => 2 * SERVED_BLOCK,
        _ => BLOCK,
    };
    match offer.block {
        Some((least, most)) if least <= most => wanted.clamp(least, most),
        _ => wanted,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offer(n_channels: u16, min_hz: u32, max_hz: u32, format: SampleFormat) -> Offer {
        Offer {
            n_channels,
            min_hz,
            max_hz,
            format,
            block: None,
        }
    }

    fn card(rates_hz: &[u32], default_hz: u32) -> Ability {
        Ability {
            offers: rates_hz
                .iter()
                .map(|rate_hz| offer(2, *rate_hz, *rate_hz, SampleFormat::I32))
                .collect(),
            own: None,
            default_hz: Some(default_hz),
        }
    }

    fn server(n_channels: u16, own_hz: u32) -> Ability {
        let formats = [SampleFormat::U8, SampleFormat::I16, SampleFormat::F32];
        Ability {
            offers: formats
                .into_iter()
                .flat_map(|format| (1..32).map(move |n| offer(n, 1, 384_000, format)))
                .collect(),
            own: Some((n_channels, own_hz)),
            default_hz: Some(own_hz),
        }
    }

    #[test]
    fn servers_are_asked_for_what_the_device_runs_at() {
        let [at_44, at_48, at_96] = [44_100, 48_000, 96_000].map(|rate_hz| server(2, rate_hz));
        assert_eq!(choose_rate(&at_96, &at_96, None), Some(96_000));
        assert_eq!(choose_rate(&at_48, &at_44, None), Some(44_100));
        assert_eq!(converted_from_hz(&at_48, &at_44, 44_100), Some(48_000));
        assert_eq!(converted_from_hz(&at_44, &at_44, 44_100), None);
        assert_eq!(choose_rate(&at_48, &at_48, Some(96_000)), Some(96_000));
        assert_eq!(converted_from_hz(&at_48, &at_48, 96_000), Some(48_000));
        // A telephone's rate is no choice for the whole band.
        let slow = server(1, 16_000);
        assert_eq!(choose_rate(&slow, &slow, None), Some(48_000));
    }

    #[test]
    fn cards_agree_on_a_common_rate() {
        let output = card(&[44_100, 48_000, 96_000], 44_100);
        let same = card(&[44_100, 48_000], 44_100);
        assert_eq!(choose_rate(&output, &same, None), Some(44_100));
        let other = card(&[48_000, 44_100], 48_000);
        assert_eq!(choose_rate(&output, &other, None), Some(48_000));
        let high = card(&[96_000, 192_000], 192_000);
        assert_eq!(choose_rate(&output, &high, None), Some(96_000));
        assert_eq!(choose_rate(&output, &high, Some(48_000)), None);
        assert_eq!(choose_rate(&output, &card(&[32_000], 32_000), None), None);
        assert_eq!(converted_from_hz(&output, &same, 48_000), None);
        assert_eq!(output.rates_hz(), [44_100, 48_000, 96_000]);
    }

    #[test]
    fn a_device_is_opened_with_its_own_channels_in_the_best_format() {
        let picked = server(6, 48_000).pick(48_000, 2).unwrap();
        assert_eq!((picked.n_channels, picked.format), (6, SampleFormat::F32));
        let mut card = card(&[48_000], 48_000);
        card.offers.extend([
            offer(4, 48_000, 48_000, SampleFormat::F32),
            offer(2, 48_000, 48_000, SampleFormat::I16),
            offer(2, 48_000, 48_000, SampleFormat::F64),
        ]);
        let picked = card.pick(48_000, 2).unwrap();
        assert_eq!((picked.n_channels, picked.format), (2, SampleFormat::I32));
        assert_eq!(card.pick(48_000, 3).unwrap().n_channels, 4);
        assert_eq!((card.pick(48_000, 5), card.pick(44_100, 2)), (None, None));
        assert_eq!(card.n_channels(), 4);
        assert_eq!(server(1, 48_000).n_channels(), 1);
    }

    #[test]
    fn blocks_keep_to_what_is_offered() {
        let mut at = offer(2, 48_000, 48_000, SampleFormat::F32);
        assert_eq!(block(Side::Output, "default", &at, 48_000), 8192);
        assert_eq!(block(Side::Input, "hw:CARD=0,DEV=0", &at, 48_000), 8192);
        assert_eq!(block(Side::Input, "default", &at, 44_100), 3072);
        assert_eq!(block(Side::Input, "default", &at, 96_000), 6144);
        at.block = Some((16, 4096));
        assert_eq!(block(Side::Output, "default", &at, 48_000), 4096);
        at.block = Some((16_384, 65_536));
        assert_eq!(block(Side::Output, "default", &at, 48_000), 16_384);
        at.block = Some((9, 8));
        assert_eq!(block(Side::Output, "default", &at, 48_000), 8192);
    }
}
