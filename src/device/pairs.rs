//! Which output and input go together.

use serde::Serialize;

use super::list::Device;

/// Whether two devices run on one clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Clock {
    /// They are sides of one device.
    #[serde(rename = "same device")]
    Same,
    /// Nobody says so. An impedance does not depend on it, but drift may spoil the comparison with what was played.
    #[serde(rename = "unknown")]
    Unknown,
}

/// An output and an input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pair {
    /// The output's own name.
    pub output: String,
    /// The input's own name.
    pub input: String,
    /// Whether it can be measured with: two input channels and a common rate.
    pub suits: bool,
    /// Why not, where it cannot.
    pub why_not: Option<String>,
    /// Whether both run on one clock.
    pub clock: Clock,
    /// Rates that both have, Hz.
    pub common_rates_hz: Vec<u32>,
}

/// Every pair of a host, those of one device first, then those that suit.
pub(super) fn pairs(host: &str, outputs: &[Device], inputs: &[Device]) -> Vec<Pair> {
    let mut pairs: Vec<Pair> = outputs
        .iter()
        .flat_map(|output| inputs.iter().map(|input| pair(host, output, input)))
        .collect();
    // Stable: within these the sound system's own order stays.
    pairs.sort_by_key(|pair| (pair.clock == Clock::Unknown, !pair.suits));
    pairs
}

fn pair(host: &str, output: &Device, input: &Device) -> Pair {
    let common_rates_hz: Vec<u32> = output
        .rates_hz
        .iter()
        .copied()
        .filter(|rate_hz| input.rates_hz.contains(rate_hz))
        .collect();
    let why_not = if output.problem.is_some() || input.problem.is_some() {
        Some("one of them cannot be opened now".to_owned())
    } else if input.channels < 2 {
        Some("the input has one channel; the job takes two".to_owned())
    } else if common_rates_hz.is_empty() {
        Some("they have no rate in common".to_owned())
    } else {
        None
    };
    let is_same = match (body(host, &output.id), body(host, &input.id)) {
        (Some(output), Some(input)) => output == input,
        _ => false,
    };
    Pair {
        output: output.id.clone(),
        input: input.id.clone(),
        suits: why_not.is_none(),
        why_not,
        clock: if is_same { Clock::Same } else { Clock::Unknown },
        common_rates_hz,
    }
}

/// What names the device behind, in the way of each sound system.
fn body<'a>(host: &str, id: &'a str) -> Option<&'a str> {
    match host {
        // `hw:CARD=PCH,DEV=0`: devices of one card share its crystal.
        "alsa" => {
            let card = id.split_once("CARD=")?.1;
            Some(card.split(',').next().unwrap_or(card))
        }
        // `alsa_output.usb-Name-00.analog-stereo`: bus, device and profile; a monitor hears its own output.
        "pulseaudio" | "pipewire" => {
            let id = id.strip_suffix(".monitor").unwrap_or(id);
            let (kind, rest) = id.split_once('.').unwrap_or(("", id));
            if kind.ends_with("_output") || kind.ends_with("_input") {
                Some(rest.rsplit_once('.').map_or(rest, |(device, _)| device))
            } else {
                Some(id)
            }
        }
        // Elsewhere a device with two sides has one name.
        _ => Some(id),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(id: &str, channels: u16, rates_hz: &[u32]) -> Device {
        Device {
            id: id.to_owned(),
            label: id.to_owned(),
            channels,
            rates_hz: rates_hz.to_vec(),
            formats: vec!["f32".to_owned()],
            default_rate_hz: None,
            problem: None,
        }
    }

    fn clock(host: &str, output: &str, input: &str) -> Clock {
        let [output, input] = [output, input].map(|id| device(id, 2, &[48_000]));
        pairs(host, &[output], &[input])[0].clock
    }

    #[test]
    fn sides_of_one_device_are_recognised() {
        use Clock::{Same, Unknown};
        let at = "hw:CARD=Box,DEV=0";
        assert_eq!(clock("alsa", at, "plughw:CARD=Box,DEV=1"), Same);
        assert_eq!(clock("alsa", at, "hw:CARD=Boxer,DEV=0"), Unknown);
        // What stands behind these is anybody's guess.
        assert_eq!(clock("alsa", "default", "default"), Unknown);
        let output = "alsa_output.pci-0000_00_1f.3.analog-stereo";
        let input = "alsa_input.pci-0000_00_1f.3.analog-stereo";
        assert_eq!(clock("pulseaudio", output, input), Same);
        let other = "alsa_input.usb-Box-00.analog-stereo";
        assert_eq!(clock("pulseaudio", output, other), Unknown);
        assert_eq!(clock("pulseaudio", "sink", "sink.monitor"), Same);
        assert_eq!(
            clock("pulseaudio", output, &format!("{output}.monitor")),
            Same
        );
        assert_eq!(clock("coreaudio", "a", "a"), Same);
        assert_eq!(clock("wasapi", "a", "b"), Unknown);
    }

    #[test]
    fn what_does_not_suit_says_why() {
        let output = device("out", 2, &[48_000]);
        let inputs = [
            device("mono", 1, &[48_000]),
            device("slow", 2, &[44_100]),
            device("good", 2, &[44_100, 48_000]),
        ];
        let pairs = pairs("alsa", &[output], &inputs);
        let good = &pairs[0];
        assert!(good.suits && good.input == "good" && good.common_rates_hz == [48_000]);
        let why = |i: usize| pairs[i].why_not.clone().unwrap();
        assert!(why(1).contains("one channel"), "{}", why(1));
        assert!(why(2).contains("no rate"), "{}", why(2));
    }
}
