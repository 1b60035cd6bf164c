//! `farcone devices`: which sound devices there are, by the names that other commands take.

use std::fmt::Write;

use clap::Args;
use farcone::device::{self, Clock, Device, DeviceList, HostDevices, Pair};

use super::EXIT_GOOD;
use super::console;
use super::failure::Failure;

/// Show which sound devices there are, by the names that other commands take
///
/// Nothing is played or recorded.
#[derive(Args)]
#[command(after_help = HELP)]
pub struct DevicesArgs {
    /// Print one JSON document in place of text
    #[arg(long)]
    json: bool,
}

const HELP: &str = "\
Needed are an output and an input with two channels, best of one device. Rates are in Hz, the unit of every rate here.

On Linux the same device often shows up under several sound systems: \"alsa\" reaches it directly (take hw: or plughw: \
names), \"pulseaudio\" through the sound server, PulseAudio or PipeWire, which other programs share.

Examples:
  farcone devices
  farcone devices --json";

/// How many pairs are listed as text; a card with many names makes hundreds, of which the first are the best.
const MOST_PAIRS: usize = 8;

const NOTHING: &str = "\
No sound devices were found.

What to do:
  - plug in a sound card with a stereo line input, or an interface with two inputs, and run this again
  - on Linux: see that the sound server runs (systemctl --user status pipewire pulseaudio), and that you may use the \
devices (membership of the group \"audio\" where no server runs)
  - recordings that were made elsewhere need no sound card: farcone fit --help
";

pub fn run(args: &DevicesArgs) -> Result<u8, Failure> {
    let list = device::list();
    if args.json {
        let text = serde_json::to_string_pretty(&list)
            .map_err(|error| Failure::Print(std::io::Error::other(error)))?;
        console::print(&format!("{text}\n"))?;
    } else {
        console::print(&text(&list))?;
    }
    Ok(EXIT_GOOD)
}

fn text(list: &DeviceList) -> String {
    let mut out = String::new();
    for host in &list.hosts {
        if !out.is_empty() {
            out.push('\n');
        }
        host_text(&mut out, host);
    }
    if list.is_empty() {
        if !out.is_empty() {
            out.push('\n');
        }
        out.push_str(NOTHING);
    }
    out
}

// Writing to a string cannot fail.
fn host_text(out: &mut String, host: &HostDevices) {
    let _ = writeln!(out, "{}", host.host);
    if let Some(problem) = &host.problem {
        let _ = writeln!(out, "  problem: {problem}");
    }
    for (side, devices) in [("outputs", &host.outputs), ("inputs", &host.inputs)] {
        if devices.is_empty() {
            let _ = writeln!(out, "  no {side}");
            continue;
        }
        let _ = writeln!(out, "  {side}");
        for device in devices {
            device_text(out, device);
        }
    }
    if !host.outputs.is_empty() && !host.inputs.is_empty() {
        pairs_text(out, &host.pairs);
    }
}

fn device_text(out: &mut String, device: &Device) {
    let _ = writeln!(out, "    {}", device.id);
    if device.label != device.id {
        let _ = writeln!(out, "      {}", device.label);
    }
    if let Some(problem) = &device.problem {
        let _ = writeln!(out, "      not usable now: {problem}");
        return;
    }
    let rates: Vec<String> = device
        .rates_hz
        .iter()
        .map(|rate_hz| match device.default_rate_hz {
            Some(default_hz) if default_hz == *rate_hz => format!("[{rate_hz}]"),
            _ => rate_hz.to_string(),
        })
        .collect();
    let rates = if rates.is_empty() {
        "no usual rate".to_owned()
    } else {
        format!("{} Hz", rates.join(" "))
    };
    let channels = match device.channels {
        1 => "1 channel".to_owned(),
        n => format!("{n} channels"),
    };
    let _ = writeln!(
        out,
        "      {channels}; {rates}; {}",
        device.formats.join(" ")
    );
}

fn pairs_text(out: &mut String, pairs: &[Pair]) {
    let suited: Vec<&Pair> = pairs.iter().filter(|pair| pair.suits).collect();
    if suited.is_empty() {
        let why = pairs.iter().find_map(|pair| pair.why_not.as_deref());
        let _ = writeln!(
            out,
            "  no output and input go together: {}",
            why.unwrap_or("none suits")
        );
        return;
    }
    let _ = writeln!(out, "  go together (output, input, clock)");
    for pair in suited.iter().take(MOST_PAIRS) {
        let clock = match pair.clock {
            Clock::Same => "same device",
            Clock::Unknown => "clock unknown",
        };
        let _ = writeln!(out, "    {}  {}  ({clock})", pair.output, pair.input);
    }
    if suited.len() > MOST_PAIRS {
        let _ = writeln!(out, "    and {} more (--json)", suited.len() - MOST_PAIRS);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(id: &str, channels: u16) -> Device {
        Device {
            id: id.to_owned(),
            label: format!("Label of {id}"),
            channels,
            rates_hz: vec![44_100, 48_000],
            formats: vec!["f32".to_owned(), "i16".to_owned()],
            default_rate_hz: Some(48_000),
            problem: None,
        }
    }

    fn pair(input: &str, why_not: Option<&str>) -> Pair {
        Pair {
            output: "out".to_owned(),
            input: input.to_owned(),
            suits: why_not.is_none(),
            why_not: why_not.map(str::to_owned),
            clock: Clock::Same,
            common_rates_hz: vec![48_000],
        }
    }

    #[test]
    fn names_come_first_and_default_rates_in_brackets() {
        let mut busy = device("busy", 0);
        busy.problem = Some("in use".to_owned());
        let list = DeviceList {
            hosts: vec![HostDevices {
                host: "alsa".to_owned(),
                problem: None,
                outputs: vec![device("out", 2)],
                inputs: vec![device("in", 2), device("mono", 1), busy],
                pairs: vec![pair("in", None), pair("mono", Some("one channel"))],
            }],
        };
        let expected = "\
alsa
  outputs
    out
      Label of out
      2 channels; 44100 [48000] Hz; f32 i16
  inputs
    in
      Label of in
      2 channels; 44100 [48000] Hz; f32 i16
    mono
      Label of mono
      1 channel; 44100 [48000] Hz; f32 i16
    busy
      Label of busy
      not usable now: in use
  go together (output, input, clock)
    out  in  (same device)
";
        assert_eq!(text(&list), expected);
    }

    #[test]
    fn what_is_missing_or_broken_is_said() {
        let mut host = HostDevices {
            host: "pulseaudio".to_owned(),
            problem: Some("it does not answer".to_owned()),
            outputs: vec![],
            inputs: vec![],
            pairs: vec![],
        };
        let list = DeviceList {
            hosts: vec![host.clone()],
        };
        let said = text(&list);
        assert!(said.contains("problem: it does not answer") && said.contains("What to do"));
        host.outputs = vec![device("out", 2)];
        host.inputs = vec![device("mono", 1)];
        host.pairs = vec![pair("mono", Some("one channel"))];
        let said = text(&DeviceList { hosts: vec![host] });
        assert!(said.contains("no output and input go together: one channel"));
        assert!(!said.contains("What to do"));
    }
}
